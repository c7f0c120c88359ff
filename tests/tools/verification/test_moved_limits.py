"""A limit that is half or twice what the sheet says: does the record notice?

A copy of the settings with one value moved runs the scenarios in which requirements ask for that value, and is judged by
the sheet as it was.  What nobody notices is listed here with the reason.

pytest -n 0 -m slow -s tests/tools/verification/test_moved_limits.py      # the whole table
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from controller.registry import CROSS_CHECKS
from scenarios.preparation import Prepared
from scenarios.settings_change import setting_keys, setting_value, with_setting
from tools.verification.campaign import LIBRARY, plan
from tools.verification.findings import Verdict, evaluate
from tools.verification.pack import Pack, load_pack
from tools.verification.trial_judge import player_of

QUICK = ("common.protection.failed_start", "common.protection.running_feedback_lost", "common.sequence.run_up")


@cache
def pack() -> Pack:
    return load_pack()


@cache
def scenario(name: str) -> Prepared:
    places = [p for p in (LIBRARY / f"{name}.toml", LIBRARY / "verification" / f"{name}.toml") if p.is_file()]
    return plan(pack(), places).prepared[0]


def asked() -> dict[str, list[str]]:
    """Every numeric setting that requirements ask for → the scenarios that bring those requirements about."""
    out: dict[str, list[str]] = {}
    rules = setting_keys(scenario("stop_in_run_up").settings)
    for requirement in pack().requirements:
        for key in requirement.settings():
            if rules[key].is_number and requirement.shown_by not in out.setdefault(key, []):
                out[key].append(requirement.shown_by)
    return {key: names for key, names in sorted(out.items()) if rules[key].is_number}


def moved(settings: Any, key: str, factor: float) -> Any:
    """The settings with one value moved, within its field; None where that is no move, or contradicts the rest."""
    rule, value = setting_keys(settings)[key], setting_value(settings, key)
    wanted = value * factor
    wanted = wanted if rule.low is None else max(wanted, rule.low)
    wanted = wanted if rule.high is None else min(wanted, rule.high)
    wanted = round(wanted) if rule.kind is int else float(wanted)
    candidate = with_setting(settings, key.split("."), wanted)
    return candidate if wanted != value and not CROSS_CHECKS[type(candidate)](candidate) else None


def noticed(key: str, factor: float, names: list[str], folder: Path) -> str | None:
    """What notices the move, "" for nothing, None where no scenario can have it."""
    possible = False
    for name in names:
        prepared = scenario(name)
        settings = moved(prepared.settings, key, factor)
        if settings is None:
            continue
        possible = True
        trace, _ = player_of(folder)(replace(prepared, settings=settings))
        broken = [
            one.id
            for one in evaluate(pack(), trace, prepared.settings, f"{name}.toml")
            if one.verdict is Verdict.FAILED
        ]
        if broken:
            return f"{', '.join(broken)} in {name}"
    return "" if possible else None


# nothing notices these, and why that is right or what it would take
_TOLERANCE = "a tolerance of the logic itself: no requirement asks for it, the one that names it asks for the slide"
_SAFE = "on the safe side: it holds, unloads or stops sooner than it is asked to"
_SLOW = "slower than it may be, which no requirement forbids"
_BETWEEN = "the scenarios do not tell it apart: it would take one that stands between the two values"
UNNOTICED: dict[tuple[str, float], str] = {
    ("common.calibration.low_window", 0.5): _TOLERANCE,
    ("common.calibration.low_window", 2.0): _TOLERANCE,
    ("common.capacity.drive.high_end", 0.5): _TOLERANCE,
    ("common.capacity.drive.high_end", 2.0): _TOLERANCE,
    ("common.capacity.drive.low_end", 0.5): _TOLERANCE,
    ("common.capacity.drive.low_end", 2.0): _TOLERANCE,
    ("common.capacity.drive.stroke_down", 0.5): _TOLERANCE,
    ("common.capacity.drive.stroke_down", 2.0): _TOLERANCE,
    ("common.volume_ratio.drive.high_end", 0.5): _TOLERANCE,
    ("common.volume_ratio.drive.high_end", 2.0): _TOLERANCE,
    ("common.volume_ratio.drive.low_end", 0.5): _TOLERANCE,
    ("common.volume_ratio.drive.low_end", 2.0): _TOLERANCE,
    ("common.volume_ratio.drive.stroke_down", 2.0): _TOLERANCE,
    ("common.capacity.windup_band", 0.5): _TOLERANCE,
    ("common.capacity.windup_band", 2.0): _TOLERANCE,
    ("common.sequence.idle_band", 0.5): _TOLERANCE,
    ("common.sequence.idle_band", 2.0): _TOLERANCE,
    ("common.slide_watch.stuck_travel", 0.5): _TOLERANCE,
    ("common.slide_watch.stuck_travel", 2.0): _TOLERANCE,
    ("common.inhibit.current_hold", 0.5): _SAFE,
    ("common.inhibit.discharge_pressure_hold", 0.5): _SAFE,
    ("common.inhibit.discharge_temperature_hold", 0.5): _SAFE,
    ("common.inhibit.signal_unload_delay", 0.5): _SAFE,
    ("common.motor.full_load_current", 0.5): _SAFE,
    ("common.sequence.valves_closed", 0.5): _SAFE,
    ("common.sequence.volume_ratio_unloads_below", 0.5): _SAFE,
    ("common.slide_watch.position_lost", 0.5): _SAFE,
    ("common.slide_watch.stuck", 0.5): _SAFE,
    ("common.capacity.load_ramp", 2.0): _SLOW,
    ("common.capacity.set_point_ramp", 2.0): _SLOW,
    ("common.volume_ratio.fastest", 0.5): _SLOW,
    ("common.sequence.oil_minimum", 0.5): _BETWEEN,
    ("common.sequence.spin_down", 2.0): _BETWEEN,
    ("common.slide_watch.disagree", 0.5): _BETWEEN,
    ("common.slide_watch.stuck", 2.0): _BETWEEN,
}


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("key", QUICK)
def test_a_moved_limit_is_noticed(key: str, factor: float, tmp_path: Path) -> None:
    assert noticed(key, factor, asked()[key], tmp_path)


@pytest.mark.slow
def test_which_moved_limits_are_noticed(tmp_path: Path) -> None:
    """The whole table; `UNNOTICED` says what nobody sees, and holds no move that is seen."""
    found = {}
    for key, names in asked().items():
        for factor in (0.5, 2.0):
            words = found[key, factor] = noticed(key, factor, names, tmp_path)
            said = "cannot be moved so" if words is None else words or "NOT NOTICED"
            print(f"{key} x {factor:g}: {said}", flush=True)
    assert {one for one, words in found.items() if words == ""} == set(UNNOTICED)
