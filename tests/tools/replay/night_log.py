"""Makes logged nights for tests and for the demo: another plant than the model's, other noise, a crooked logger.

Nothing under tools/ or scenarios/ reads this file or what it knows: replay sees the log alone.

    python -m tests.tools.replay.night_log          writes scenarios/library/logs/
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from controller.process_image import Inputs, Outputs
from scenarios.engine import BlockEnd
from scenarios.preparation import prepare
from scenarios.records import write_into
from scenarios.runner import open_session
from scenarios.session import Session, memory_buffers
from scenarios.settings_sheet import write_sheet
from scenarios.trace import Event, edge_events

ROOT = Path(__file__).resolve().parents[3]
LIBRARY = ROOT / "scenarios" / "library"
ZONE = ZoneInfo("Europe/Berlin")


def true_plant(seed: int, spread: float = 1.0) -> str:
    """A plant file in the neighbourhood of the demo plant: what the night's log comes from, and nobody else knows."""
    draw = np.random.default_rng([seed, 71])
    u = draw.uniform(-1.0, 1.0, 8) * spread
    return f"""\
title = "The night's own plant"
refrigerant = "R717"
[site]
altitude = "12 m"
ambient = "20 °C"
[machine]
filling = {0.96 * (1 + 0.02 * u[0]):.5f}
leakage = {0.019 * (1 + 0.15 * u[1]):.5f}
friction_torque = "{42.0 * (1 + 0.15 * u[2]):.2f} N·m"
[suction_vessel]
volume = "{5.0 * (1 + 0.15 * u[3]):.3f} m³"
level_set = "40 %"
[evaporator]
conductance = "{60.0 * (1 + 0.15 * u[4]):.2f} kW/K"
room_capacity = "0.5 MJ/K"
base_load = "380 kW"
[discharge_side]
conductance = "{55.0 * (1 + 0.15 * u[5]):.2f} kW/K"
wet_bulb = "19 °C"
[motor]
rated_shaft_power = "220 kW"
supply_voltage = "400 V"
[capacity_drive]
load_stroke = "{50.0 * (1 + 0.1 * u[6]):.1f} s"
unload_stroke = "{25.0 * (1 + 0.1 * u[7]):.1f} s"
[volume_ratio_drive]
load_stroke = "50 s"
unload_stroke = "25 s"
"""


@dataclass(slots=True)
class Night:
    """What really happened: process image at every log instant, and every edge at its own scan.  Times from 0."""

    time_ms: np.ndarray[Any, Any]
    values: dict[str, np.ndarray[Any, Any]]
    events: list[Event]
    truth: dict[str, np.ndarray[Any, Any]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Change:
    """Settings that somebody changed in service: from this time on the sheet's record is that of `settings`."""

    at_ms: int
    settings: Any


def play(
    scenario: Path, every_ms: int, seed: int, changes: Sequence[Change] = (), truth: Sequence[str] = ("load_heat_w",)
) -> Night:
    """Run a scenario on its plant and note the whole process image every `every_ms`."""
    prepared = prepare([scenario], seed=seed, log_ms=100)[0]
    duration_ms = prepared.scenario.duration_ms
    session, _ = open_session(prepared, memory_buffers(duration_ms, prepared.scan_ms, 100))
    names = [f.name for f in fields(Inputs)] + [f.name for f in fields(Outputs)]
    count = duration_ms // every_ms + 1
    data = {name: np.empty(count) for name in names}
    extra = {name: np.empty(count) for name in truth}
    session.world.start_all()
    left = sorted(changes, key=lambda c: c.at_ms)
    for k in range(count):
        until_ms = k * every_ms + 100
        while left and left[0].at_ms < until_ms:
            _run_to(session, left[0].at_ms)
            assert session.entry is not None
            write_into(left.pop(0).settings, session.entry.settings)
        if not _run_to(session, until_ms):
            count = k
            break
        inputs, outputs = session._records[0][0], session._records[1][0]
        for f in fields(Inputs):
            data[f.name][k] = float(inputs[f.name])
        for f in fields(Outputs):
            data[f.name][k] = float(outputs[f.name])
        row = session.buffers.rows[session.run.row_count - 1]
        from scenarios.row import INDEX

        for name in truth:
            extra[name][k] = row[INDEX[name]]
    edges = session.buffers.edges[: session.run.edge_count]
    events = sorted([*session.noted, *edge_events(edges)], key=lambda e: e.time_ms)
    time_ms = np.arange(count, dtype=np.int64) * every_ms
    return Night(time_ms, {n: v[:count] for n, v in data.items()}, events, {n: v[:count] for n, v in extra.items()})


def _run_to(session: Session, until_ms: int) -> bool:
    """Advance to a time; False where the run ended early."""
    world, env = session.world, session.world.env
    while session.time_ms < until_ms:
        while env.peek() <= session.time_ms:
            env.step()
        session.watches = world.watch_table()
        end = session.advance(int(min(env.peek(), until_ms)))
        if end is BlockEnd.WATCH:
            world.fire(int(session.run.watch_fired), session.time_ms)
            session._set_run("watch_fired", -1)
        elif end is not BlockEnd.REACHED:
            return False
    return True


def local_text(start: datetime, elapsed_ms: float, form: str = "%d.%m.%Y %H:%M:%S") -> str:
    """The wall clock's time: `start` is UTC."""
    return (start + timedelta(milliseconds=elapsed_ms)).astimezone(ZONE).strftime(form)


def comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


# ---------------------------------------------------------------- the demo: one night at an invented quay store

DEMO_START = datetime(2026, 10, 24, 23, 20, tzinfo=UTC)  # 01:20 summer time; the clocks go back at 01:00 UTC
ALARM_CLOCK_AHEAD_MS = 17_400
COLUMNS: tuple[tuple[str, str, Callable[[dict[str, Any], int], str]], ...] = (
    ("Saugdruck", "bar", lambda v, k: comma(v["suction_pressure_kpa_abs"][k] / 100 - 1.01325, 3)),
    ("Druckgasdruck", "bar", lambda v, k: comma(v["discharge_pressure_kpa_abs"][k] / 100 - 1.01325, 2)),
    ("Saugtemp.", "°C", lambda v, k: comma(v["suction_temperature_c"][k], 1)),
    ("Druckgastemp.", "°C", lambda v, k: comma(v["discharge_temperature_c"][k], 1)),
    ("Öldruck vor Filter", "bar", lambda v, k: comma(v["oil_pressure_before_filter_kpa_abs"][k] / 100 - 1.01325, 2)),
    ("Öldruck nach Filter", "bar", lambda v, k: comma(v["oil_pressure_kpa_abs"][k] / 100 - 1.01325, 2)),
    ("Öltemp.", "°C", lambda v, k: comma(v["oil_temperature_c"][k], 1)),
    ("Ölstand", "%", lambda v, k: comma(v["oil_level_pct"][k], 0)),
    ("Motorstrom", "A", lambda v, k: comma(v["motor_current_a"][k], 0)),
    ("Motorleistung", "kW", lambda v, k: comma(v["motor_power_kw"][k], 1)),
    ("Leistungsschieber Stellung", "%", lambda v, k: comma(v["capacity_position_pct"][k], 1)),
    ("Leistungsschieber Soll", "%", lambda v, k: comma(v["capacity_demand_pct"][k], 1)),
    ("Vi-Schieber Stellung", "%", lambda v, k: comma(v["volume_ratio_position_pct"][k], 1)),
    ("Sollwert Saugdruck", "bar", lambda v, k: comma(v["suction_set_point_kpa_abs"][k] / 100 - 1.01325, 3)),
    ("Raumtemp. Halle 2", "°C", lambda v, k: comma(v["process_temperature_c"][k], 1)),
    ("Motor Befehl", "", lambda v, k: str(int(v["motor_run"][k]))),
    ("Motor läuft", "", lambda v, k: str(int(v["motor_running"][k]))),
    ("Kanal 18", "", lambda v, k: "0"),
)
ALARM_TEXTS = {
    "HIGH_DISCHARGE_PRESSURE": "Voralarm Druckgasdruck hoch",
    "LOW_SUCTION_PRESSURE": "Voralarm Saugdruck niedrig",
    "HIGH_DISCHARGE_TEMPERATURE": "Voralarm Druckgastemperatur hoch",
    "HIGH_OIL_TEMPERATURE": "Voralarm Öltemperatur hoch",
    "LOW_OIL_DIFFERENTIAL": "Voralarm Öldruckdifferenz niedrig",
    "MOTOR_OVERLOAD": "Voralarm Motorüberlast",
}
TRIP_TEXTS = {
    "HIGH_DISCHARGE_PRESSURE": "Störabschaltung Druckgasdruck hoch",
    "LOW_SUCTION_PRESSURE": "Störabschaltung Saugdruck niedrig",
    "HIGH_OIL_TEMPERATURE": "Störabschaltung Öltemperatur hoch",
    "LOW_OIL_DIFFERENTIAL": "Störabschaltung Öldruckdifferenz niedrig",
    "MOTOR_OVERLOAD": "Störabschaltung Motorüberlast",
    "FAILED_START": "Störabschaltung Rückmeldung Motor fehlt",
}
DEMO_SCENARIO = """\
title = "The night"
purpose = "for the demo log"
expects = "trips on high discharge pressure"
plant = "night_plant.toml"
controller = "scheduled_pi"
settings = "evening.toml"
duration = "150 min"
seed = 41
[start]
machine = "running"
suction_pressure = "-9.5 °C sat"
discharge_pressure = "31 °C sat"
load = "400 kW"
[[event]]
kind = "batch_arrivals"
from = "5 min"
until = "140 min"
every = "14 min"
heat = "50 kW"
lasting = "6 min"
[[event]]
kind = "condenser_fans"
at = "70 min"
running = "25 %"
[[event]]
kind = "wait_for"
column = "trip_first_out"
above = 1
after = "22 min"
[event.then]
kind = "condenser_fans"
running = "100 %"
[[event]]
kind = "wait_for"
column = "trip_first_out"
above = 1
after = "25 min"
[event.then]
kind = "operator"
action = "reset"
"""


def demo_settings() -> tuple[Any, Any]:
    """The sheet of the evening, and that after somebody raised the two discharge-pressure limits to get the hall down."""
    base = prepare([LIBRARY / "demo_shift.toml"])[0].settings
    inhibit = replace(base.common.inhibit, discharge_pressure_hold_kpa_abs=1690.0, discharge_pressure_unload_kpa_abs=1695.0,
                      discharge_pressure_release_kpa=10.0)  # fmt: skip
    return base, replace(base, common=replace(base.common, inhibit=inhibit))


def demo_night(folder: Path) -> tuple[Night, int]:
    """The demo's night, and when the settings were changed."""
    changed_at_ms = 21 * 60_000
    evening, raised = demo_settings()
    (folder / "night_plant.toml").write_text(true_plant(5), encoding="utf-8")
    write_sheet(folder / "evening.toml", "scheduled_pi", evening)
    (folder / "night.toml").write_text(DEMO_SCENARIO, encoding="utf-8")
    return play(folder / "night.toml", 2000, 41, [Change(changed_at_ms, raised)]), changed_at_ms


def write_trend(night: Night, path: Path, start: datetime, seed: int) -> None:
    """An ugly trend: Windows-1252, semicolons, decimal commas, a preamble, a unit row, wall-clock time, holes and words."""
    draw = np.random.default_rng([seed, 72])
    lines = ["Kühlhaus Nordkai;;;;", f"Aufzeichnung exportiert am {local_text(start, 3.6e7)};;;;", ""]
    lines.append(";".join(["Zeit", *(name for name, _, _ in COLUMNS)]))
    lines.append(";".join(["", *(unit for _, unit, _ in COLUMNS)]))
    gap = range(1230, 1252)  # 44 s without a row
    for k, time_ms in enumerate(night.time_ms.tolist()):
        if k in gap:
            continue
        cells = [write(night.values, k) for _, _, write in COLUMNS]
        if 600 <= k < 640:
            cells[6] = "---"  # the oil thermometer's card restarts
        if draw.random() < 0.0006:
            cells[int(draw.integers(0, 10))] = "Bad"
        if 2000 <= k < 2400:
            cells[14] = comma(night.values["process_temperature_c"][2000], 1)  # the room's channel hangs
        lines.append(";".join([local_text(start, time_ms), *cells]))
        if k in (300, 2222):
            lines.append(lines[-1])  # written twice
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def write_alarms(night: Night, path: Path, start: datetime, changed_at_ms: int) -> None:
    """The alarm printer's list: another clock, newest first, whole seconds, states K (came) and G (went)."""
    rows: list[tuple[int, str, str, str]] = []
    for event in night.events:
        old, _, new = event.text.rpartition(" → ")
        if event.source == "alarm_word":
            before, after = set(old.split(" + ")) - {"none"}, set(new.split(" + ")) - {"none"}
            rows += [
                (event.time_ms, "K", "AL", ALARM_TEXTS.get(name, f"Voralarm {name}")) for name in sorted(after - before)
            ]
            rows += [
                (event.time_ms, "G", "AL", ALARM_TEXTS.get(name, f"Voralarm {name}")) for name in sorted(before - after)
            ]
        elif event.source == "trip_first_out" and new != "NONE":
            rows.append((event.time_ms, "K", "ST", TRIP_TEXTS.get(new, f"Störabschaltung {new}")))
        elif event.source == "inhibit" and new != "NONE":
            rows.append(
                (
                    event.time_ms,
                    "K",
                    "BM",
                    "Lastbegrenzung Hochdruck aktiv" if "DISCHARGE_P" in new else "Lastbegrenzung aktiv",
                )
            )
        elif event.source == "motor_running":
            rows.append(
                (
                    event.time_ms,
                    "K",
                    "BM",
                    "Verdichter gestartet" if new == "on" or event.text == "on" else "Verdichter gestoppt",
                )
            )
        elif event.kind == "operator":
            rows.append(
                (event.time_ms, "K", "BD", "Quittierung durch Bediener" if "reset" in event.text else event.text)
            )
    rows.append(
        (changed_at_ms, "K", "BD", "Parameter Lastbegrenzung Hochdruck geändert 14,59 -> 15,89 bar, Bediener 3")
    )
    rows.append(
        (
            changed_at_ms + 9000,
            "K",
            "BD",
            "Parameter Zwangsentlastung Hochdruck geändert 15,19 -> 15,94 bar, Bediener 3",
        )
    )
    rows.sort(key=lambda r: -r[0])
    lines = ["Datum;Uhrzeit;Zustand;Klasse;Meldetext"]
    for time_ms, state, kind, text in rows:
        stamp = time_ms + ALARM_CLOCK_AHEAD_MS
        lines.append(
            f"{local_text(start, stamp, '%d.%m.%Y')};{local_text(start, stamp, '%H:%M:%S')};{state};{kind};{text}"
        )
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def write_demo(target: Path, work: Path) -> Night:
    """Write the demo's files into `target`, with scratch in `work`."""
    target.mkdir(parents=True, exist_ok=True)
    night, changed_at_ms = demo_night(work)
    write_trend(night, target / "nordkai_night.csv", DEMO_START, 5)
    write_alarms(night, target / "nordkai_alarms.csv", DEMO_START, changed_at_ms)
    evening, raised = demo_settings()
    note = "Demo.  An engineering aid, not a safety system: hard-wired cut-outs come first."
    write_sheet(
        target / "nordkai_evening.toml", "scheduled_pi", evening, title="Nordkai, as found in the evening", purpose=note
    )
    write_sheet(
        target / "nordkai_raised.toml",
        "scheduled_pi",
        raised,
        title="Nordkai, discharge limits raised by hand",
        purpose=note,
    )
    return night


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        made = write_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else LIBRARY / "logs", Path(scratch))
    for event in made.events:
        if event.kind not in ("drive",):
            print(event.time_ms / 60_000.0, event.kind, event.source, event.text)
