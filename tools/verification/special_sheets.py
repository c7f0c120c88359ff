"""The settings sheets that only verification uses: the demo sheets with a few values moved, so that limits are reached.

    python -m tools.verification.special_sheets        writes scenarios/library/verification/sheets/

No machine should run with them.  Results are an engineering aid, no safety system.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from controller.registry import SHIPPED
from scenarios.demo_sheets import demo_settings
from scenarios.settings_sheet import write_sheet

SHEETS = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "verification" / "sheets"
AID = "Not for a machine.  An engineering aid, not a safety system: hard-wired cut-outs come first."
SHORT_START_TO_START_MS = 360_000  # six minutes, so that the count of starts an hour is reached before the wait
SHORT_STOP_TO_START_MS = 240_000  # longer than what is left of the other wait, so that it is the one that binds
SMALL_MOTOR_A = 270.0  # the demo machine draws more at high suction, so that hold, unload and overload are reached


def short_waits(name: str) -> Any:
    """The demo settings with short waits between starts."""
    settings = demo_settings(name)
    sequence = replace(
        settings.common.sequence, start_to_start_ms=SHORT_START_TO_START_MS, stop_to_start_ms=SHORT_STOP_TO_START_MS
    )
    return replace(settings, common=replace(settings.common, sequence=sequence))


def small_motor(name: str) -> Any:
    """The demo settings with a smaller motor's name plate."""
    settings = demo_settings(name)
    motor = replace(settings.common.motor, full_load_current_a=SMALL_MOTOR_A)
    return replace(settings, common=replace(settings.common, motor=motor))


SPECIAL = {
    "short_waits": ("Short waits, for verification only", short_waits),
    "small_motor": ("A smaller motor's name plate, for verification only", small_motor),
}


def write_special_sheets(folder: Path = SHEETS) -> list[Path]:
    """Write one sheet a kind and shipped controller; returns their paths."""
    made = []
    for start, (title, settings_of) in SPECIAL.items():
        for name in SHIPPED:
            path = folder / f"{start}_{name}.toml"
            write_sheet(path, name, settings_of(name), title=title, purpose=AID)
            made.append(path)
    return made


if __name__ == "__main__":
    for written in write_special_sheets():
        print(f"wrote {written}")
