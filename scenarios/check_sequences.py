"""Inputs to try a controller with: a closed loop on the demo plant, walks over the process image, late scans.

All are seeded: the same seed gives the same inputs, but for the closed loop, in which the controller has its say.
"""

from __future__ import annotations

import tempfile
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from controller.process_image import Health, Inputs, Selection
from scenarios.chance import generator
from scenarios.check_bench import Longs, Played, Recorder, Sequence, Subject
from scenarios.entries import PythonEntry
from scenarios.preparation import SCAN_MS, prepare
from scenarios.records import RecordArray, dtype_of, to_array
from scenarios.session import Session, memory_buffers

_PLANT = Path(__file__).resolve().parent / "library" / "plants" / "harrow_ness.toml"
CLOSED_LOOP_MS = 26 * 60_000

# A start from rest, a load step, two instruments that fail for a while, a stop and a restart, and the stop button.  The
# last two come after the usual 20 min from start to start (common practice, no source).
_CLOSED_LOOP = """
title = "Contract"
purpose = "a stretch on the demo plant in which a controller shows what it does"
expects = "nothing: it is judged scan by scan"
plant = "{plant}"
controller = "three_position"
duration = "{minutes} min"
seed = {seed}
start = {{ suction_pressure = "-7 °C sat", discharge_pressure = "30 °C sat", load = "420 kW" }}
event = [
  {{ kind = "load_step", at = "4 min", change = "+60 kW" }},
  {{ kind = "instrument_fault", at = "5 min", instrument = "capacity_position", fault = "open_circuit", lasting = "20 s" }},
  {{ kind = "instrument_fault", at = "6 min", instrument = "suction_pressure", fault = "short_circuit", lasting = "5 s" }},
  {{ kind = "operator", at = "8 min", action = "select_off" }},
  {{ kind = "operator", at = "10 min", action = "select_local" }},
  {{ kind = "operator", at = "24 min", action = "stop_button" }},
  {{ kind = "operator", at = "25 min", action = "reset" }},
]
"""


def _prepared(seed: int) -> Any:
    with tempfile.TemporaryDirectory(prefix="twoslide-") as folder:
        path = Path(folder) / "contract.toml"
        text = _CLOSED_LOOP.format(plant=_PLANT.as_posix(), minutes=CLOSED_LOOP_MS // 60_000, seed=seed)
        path.write_text(text, encoding="utf-8")
        return prepare([path], log_ms=60_000)[0]


def warm_engine() -> None:
    """Load or compile the engine, so that no controller is blamed for that time."""
    idle = PythonEntry(lambda _inputs, _outputs, _now_ms: None)
    Session(_prepared(1), idle, memory_buffers(CLOSED_LOOP_MS, SCAN_MS, 60_000)).warm_up()


def closed_loop(subject: Subject, seed: int) -> Played:
    """Run an instance on the demo plant; what came of it, scan by scan."""
    subject.heart.begin("closed loop")
    recorder = Recorder(subject, CLOSED_LOOP_MS // SCAN_MS + 1)
    Session(_prepared(seed), recorder, memory_buffers(CLOSED_LOOP_MS, SCAN_MS, 60_000)).play()
    subject.look_at_guards()
    return recorder.played("closed loop")


# Where a machine in service is found; what is not named here walks over its transmitter's whole span.
_IN_SERVICE = {
    "suction_pressure_kpa_abs": (220.0, 400.0),
    "discharge_pressure_kpa_abs": (900.0, 1720.0),
    "discharge_temperature_c": (40.0, 108.0),
    "oil_temperature_c": (30.0, 70.0),
    "oil_level_pct": (30.0, 80.0),
    "motor_current_a": (100.0, 450.0),
}
# How likely a contact is found closed, and how likely a signal is bad.
_CLOSED = {
    "vessel_high_high_level": 0.03,
    "motor_running": 0.7,
    "safety_chain_closed": 0.97,
    "stop_button_pressed": 0.03,
    "reset_pressed": 0.2,
    "valves_open": 0.95,
    "remote_run": 0.6,
    "second_set_point": 0.3,
    "capacity_manual": 0.2,
    "volume_ratio_manual": 0.2,
}
_BAD = 0.05
_SPELL_SCANS = 40.0  # mean length between two changes


def _spells(chance: np.random.Generator, scans: int) -> Longs:
    """The number of the spell that each scan belongs to."""
    ends = np.cumsum(np.maximum(1, chance.exponential(_SPELL_SCANS, size=scans // 20 + 10).astype(np.int64)))
    return np.searchsorted(ends, np.arange(scans), side="right")


Range = tuple[float, float]


def _analog(chance: np.random.Generator, scans: int, usual: Range, span: Range) -> Any:
    """A broken line, mostly within the usual range and sometimes anywhere in the span, with a little noise."""
    spell = _spells(chance, scans)
    count = int(spell[-1]) + 2
    aims = np.where(chance.random(count) < 0.8, chance.uniform(*usual, count), chance.uniform(*span, count))
    starts = np.searchsorted(spell, np.arange(count))
    line = np.interp(np.arange(scans), np.append(starts[:-1], scans), aims)
    return np.clip(line + chance.normal(0.0, 1e-3 * (span[1] - span[0]), scans), *span)


def _switch(inputs: RecordArray, chance: np.random.Generator, names: tuple[str, ...]) -> None:
    """Contacts, selection and healths in spells."""
    scans = len(inputs)
    for name in names:
        spell = _spells(chance, scans)
        draw = chance.random(int(spell[-1]) + 1)[spell]
        if name == "selection":
            inputs[name] = np.select([draw < 0.75, draw < 0.95], [Selection.LOCAL, Selection.REMOTE], Selection.OFF)
        elif name.endswith("_health"):
            kinds = chance.integers(1, len(Health), int(spell[-1]) + 1)[spell]
            inputs[name] = np.where(draw < _BAD, kinds, Health.GOOD)
        else:
            inputs[name] = draw < _CLOSED[name]


_HEALTHS = tuple(f.name for f in fields(Inputs) if f.name.endswith("_health"))
_SPANS: dict[str, Range] = {
    f.name: (f.metadata["low"], f.metadata["high"]) for f in fields(Inputs) if isinstance(f.default, float)
}


def _records(scans: int) -> RecordArray:
    return np.repeat(to_array(Inputs()), scans)


def walk(seed: int, scans: int, name: str = "walk") -> Sequence:
    """Seeded walks of every input over its range, one scan of 100 ms after the other."""
    chance, inputs = generator(seed, f"check {name}"), _records(scans)
    for field_name, span in _SPANS.items():
        inputs[field_name] = _analog(chance, scans, _IN_SERVICE.get(field_name, span), span)
    _switch(inputs, chance, (*_CLOSED, "selection", *_HEALTHS))
    return Sequence(name, inputs, SCAN_MS * np.arange(scans))


def overlaid(seed: int, base: Sequence) -> Sequence:
    """A recorded sequence over which hands, second set points and failing signals come in spells."""
    chance, inputs = generator(seed, "check overlay"), base.inputs.copy()
    scans = len(inputs)
    for name in ("capacity_manual_demand_pct", "volume_ratio_manual_demand_pct", "announced_load_pct"):
        inputs[name] = _analog(chance, scans, _SPANS[name], _SPANS[name])
    _switch(inputs, chance, ("second_set_point", "capacity_manual", "volume_ratio_manual", *_HEALTHS))
    return Sequence(f"{base.name}, overlaid", inputs, base.time_ms)


_LATE_MS = (0, 100, 300, 1_000, 5_000, 30_000)
_LATE_SHARE = (0.15, 0.5, 0.2, 0.12, 0.02, 0.01)


def late(seed: int, base: Sequence, keep_time: bool) -> Sequence:
    """The same inputs at late, lost and repeated scans.

    keep_time: inputs belong to their time and are skipped where scans are lost; else each scan takes the next inputs.
    """
    chance, scans = generator(seed, f"check late {base.name}"), len(base.inputs)
    steps = chance.choice(_LATE_MS, size=scans, p=_LATE_SHARE).astype(np.int64)
    times = np.cumsum(steps) - steps[0]
    if keep_time:
        times = times[times < base.time_ms[-1]] if scans else times
        picked = np.searchsorted(base.time_ms, times, side="right") - 1
    else:
        picked = np.arange(scans)
    return Sequence(f"{base.name}, late scans", base.inputs[picked], times)


def pressed(base: Sequence, at: int, cause: str, hold_scans: int) -> Sequence:
    """A recorded sequence up to scan `at`, from which a stop is held while all else invites a start.

    cause: "stop_button_pressed" or "safety_chain_closed" (which opens).
    """
    held = np.repeat(base.inputs[at : at + 1], hold_scans)
    for name in _HEALTHS:
        held[name] = Health.GOOD
    held[cause] = cause == "stop_button_pressed"
    held["motor_running"][5:] = False
    held["selection"], held["remote_run"] = Selection.LOCAL, True
    for position in (name for name in _SPANS if "_position_" in name):
        held[position][20:] = 0.0
    held["suction_pressure_kpa_abs"], held["discharge_pressure_kpa_abs"] = 340.0, 1000.0
    held["reset_pressed"] = np.arange(hold_scans) % 50 >= 45
    return _joined(f"{cause} from {base.time_ms[at] / 1000.0:.1f} s", base, at, held)


def failed(base: Sequence, at: int, signal: str, health: Health, hold_scans: int) -> Sequence:
    """A recorded sequence up to scan `at`, from which a signal is bad while all else asks for more capacity."""
    held = np.repeat(base.inputs[at : at + 1], hold_scans)
    for name in _HEALTHS:
        held[name] = Health.GOOD
    held["suction_pressure_kpa_abs"] += 60.0
    value = {"suction_pressure": "suction_pressure_kpa_abs", "capacity_position": "capacity_position_pct"}[signal]
    low, high = _SPANS[value]
    if health == Health.UNDER:
        held[value] = low - 0.03 * (high - low)
    elif health == Health.OVER:
        held[value] = high + 0.09 * (high - low)
    held[f"{signal}_health"] = health
    return _joined(f"{signal} {health.name} from {base.time_ms[at] / 1000.0:.1f} s", base, at, held)


def _joined(name: str, base: Sequence, at: int, held: RecordArray) -> Sequence:
    inputs = np.concatenate([base.inputs[:at], held]).astype(dtype_of(Inputs))
    times = np.concatenate([base.time_ms[:at], base.time_ms[at] + SCAN_MS * np.arange(len(held))])
    return Sequence(name, inputs, times)
