"""The event as a scenario: reconstructed load, the wet bulb that the condenser showed, and the diagnosed fault.

What is saved is what the what-if runs, so that `run`, `tune` and `verify` take up the same event.  Plant file and sheet
are copied beside it, and it names them without a folder: the whole may be carried elsewhere.
"""

from __future__ import annotations

import itertools
import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from controller.process_image import Trip
from tools.replay.diagnosis import Diagnosis
from tools.replay.fitting import Evidence, Fit, amounts_of, spans_of
from tools.replay.hypotheses import profile_value
from tools.replay.load import Load
from tools.replay.record import Floats, Record, local_lines

LOAD_EVERY_S = 15
WEATHER_EVERY_S = 120
BEFORE_ONSET_S = 420
LONGEST_S = 2400
PLANT_NAME, SHEET_NAME = "plant.toml", "settings.toml"
AFTER_S = 300  # beyond the trip; load held and a growing fault growing on: what else they did nobody logged
MOST_LOST = 0.98  # that a scenario takes of every fault
STILL_GROWING_S = 90  # a fault that grew until so long before the end of the record grows on
FASTEST_DRIFT_H = 10.0  # spans an hour, as scenarios take it: what comes faster comes at once
FAULT_EVENTS = {
    "strainer": "strainer_fouling", "oil_filter": "oil_filter_fouling", "oil_pump": "oil_pump_weak",
    "oil_cooler": "oil_cooler_fouling", "coupling": "coupling_worn",
}  # fmt: skip
SENSOR_EVENTS = {
    "suction_transmitter": "suction_pressure", "discharge_transmitter": "discharge_pressure",
    "discharge_thermometer": "discharge_temperature", "oil_thermometer": "oil_temperature",
    "oil_transmitter": "oil_pressure", "oil_transmitter_before": "oil_pressure_before_filter",
    "process_thermometer": "process_temperature", "current_transducer": "motor_current",
    "capacity_feedback": "capacity_position",
}  # fmt: skip


@dataclass(slots=True)
class Story:
    """What a scenario of the event is made from.  first: row of the record's stretch at which it begins; trip_s: of the
    logged trip, from there; plant, sheet: files that are copied beside it; problem: why there can be none, "" if there
    can."""

    text: str
    load_csv: str
    first: int
    trip_s: float
    plant: Path
    sheet: Path
    problem: str = ""


def _event(kind: str, **values: str) -> str:
    return f'\n[[event]]\nkind = "{kind}"\n' + "".join(f'{key} = "{value}"\n' for key, value in values.items())


def story_of(
    evidence: Evidence, whole: Record, diagnosis: Diagnosis, load: Load, plant: Path, sheet: Path, controller: str,
    trip_row: int, stretch_first: int, sound: bool = False,
) -> Story:  # fmt: skip
    """The scenario of an event; trip_row: in the whole record; `sound`: without the diagnosed fault."""
    record = evidence.record
    found = _fault_of(diagnosis)
    trip_s = trip_row - stretch_first
    onset_s = found.onset_s if found is not None else trip_s - 900.0
    first = int(max(60, min(trip_s - 600, onset_s - BEFORE_ONSET_S), trip_s - LONGEST_S))
    first = min(first, record.rows - 60)
    duration_s = int(trip_s - first + AFTER_S)
    level, _ = local_lines(load.load_w, np.ones(len(load.load_w), dtype=bool), 4.0)
    at = list(range(first, record.rows - 2, LOAD_EVERY_S))
    rows = ["time_s,load_kW"] + [f"{k - first},{level[k] / 1000.0:.2f}" for k in at]
    rows.append(f"{max(record.rows - first, at[-1] - first + 1)},{float(np.mean(level[-60:-5])) / 1000.0:.2f}")
    text = _head(evidence, first, duration_s, controller, whole, level[first])
    text += _event("load_log", file="load.csv")
    text += _weather(evidence, diagnosis, first, found, sound)
    problem = ""
    if not sound:
        lines, problem = _fault_lines(evidence, diagnosis, found, first, trip_s, whole)
        text += lines
    return Story(text, "\n".join(rows) + "\n", first, trip_s - first, plant, sheet, problem)


def _fault_of(diagnosis: Diagnosis) -> Fit | None:
    top = diagnosis.ranked[0]
    if not top.fits or top.fits[0].chi2 >= diagnosis.null_chi2 - 6.0 or top.fits[0].amount == 0.0:
        return None
    return top.fits[0]


def _head(
    evidence: Evidence,
    first: int,
    duration_s: int,
    controller: str,
    whole: Record,
    load_w: float,
) -> str:
    path = evidence.targets.path[first]
    trip = whole.trip.name.replace("_", " ").lower() if whole.trip is not Trip.NONE else "a stop"
    return f'''title = "A logged event: {trip}"
purpose = "The stretch of a log before {trip}, with the load that replay reconstructed. Reconstructed, not measured."
expects = "With the settings of that time it trips as logged; whether others ride through is the question."
plant = "{PLANT_NAME}"
controller = "{controller}"
settings = "{SHEET_NAME}"
duration = "{duration_s} s"
seed = 1

[start]
machine = "running"
suction_pressure = "{path[0] / 1000.0:.3f} kPa"
discharge_pressure = "{path[1] / 1000.0:.3f} kPa"
capacity_travel = "{100.0 * float(np.clip(path[2], 0.0, 1.0)):.2f} %"
load = "{load_w / 1000.0:.2f} kW"
'''


def reached(evidence: Evidence, found: Fit) -> float:
    """A fault's amount at the end of the record, in reference sizes: what grows beyond that has not come so far."""
    return float(amounts_of(evidence, found)[-1])


def _before_k(evidence: Evidence, found: Fit) -> Floats:
    """The effective wet bulb without what the condenser lost."""
    return evidence.played["effective_wet_bulb_k"] - found.hypothesis.size * amounts_of(evidence, found)


def lost_conductance_frac(evidence: Evidence, found: Fit) -> float:
    """Share of the condenser's conductance that is gone at the end, if the weather stayed as it was before."""
    conductance_w_k = evidence.parameters.plant.discharge_side.conductance_w_k
    last = slice(-180, -10)
    out_w = evidence.played["condenser_w"][last]
    condensing_k = evidence.played["effective_wet_bulb_k"][last] + out_w / conductance_w_k
    rows = np.arange(evidence.record.rows)
    early = _before_k(evidence, found)[(rows > 120) & (rows < max(180.0, found.onset_s))]
    before_k = float(np.median(early)) if len(early) else float(np.median(_before_k(evidence, found)))
    left = float(np.mean(out_w)) / (conductance_w_k * max(1.0, float(np.mean(condensing_k)) - before_k))
    return min(0.95, max(0.0, 1.0 - left))


def _with_lost_conductance(evidence: Evidence, found: Fit) -> Floats:
    """The wet bulb that goes with a condenser of the conductance that is left: a weak condenser gives way to a load swing,
    which a warm day with a sound one would not."""
    conductance_w_k = evidence.parameters.plant.discharge_side.conductance_w_k
    share = np.clip(amounts_of(evidence, found) / (reached(evidence, found) or 1.0), 0.0, 1.0)
    left = 1.0 - lost_conductance_frac(evidence, found) * share
    out_w = evidence.played["condenser_w"]
    condensing_k = evidence.played["effective_wet_bulb_k"] + out_w / conductance_w_k
    everywhere = np.ones(len(left), dtype=bool)
    return local_lines(condensing_k - out_w / (conductance_w_k * left), everywhere, 40.0)[0]


def _weather(evidence: Evidence, diagnosis: Diagnosis, first: int, found: Fit | None, sound: bool) -> str:
    """The effective wet bulb as a step and drifts; with `sound` and a condenser that failed, as it was before."""
    wet_k = evidence.played["effective_wet_bulb_k"].copy()
    if found is not None and found.hypothesis.key == "heat_rejection":
        wet_k = _before_k(evidence, found) if sound else _with_lost_conductance(evidence, found)
    smooth, _ = local_lines(wet_k, np.ones(len(wet_k), dtype=bool), 20.0)
    every = 30 if found is not None and found.hypothesis.key == "heat_rejection" else WEATHER_EVERY_S
    at = [*range(first, evidence.record.rows - 20, every), evidence.record.rows - 3]
    lines = _event("wet_bulb_step", at="0 s", to=f"{smooth[first] - 273.15:.3f} °C")
    for a, b in itertools.pairwise(at):
        if b > a:
            lines += _event(
                "wet_bulb_drift",
                **{"from": f"{a - first} s", "until": f"{b - first} s", "by": f"{smooth[b] - smooth[a]:.3f} K"},
            )
    return lines


def _fault_lines(
    evidence: Evidence, diagnosis: Diagnosis, found: Fit | None, first: int, trip_s: float, whole: Record
) -> tuple[str, str]:
    group = diagnosis.ranked[0].group
    if whole.trip is Trip.SAFETY_CHAIN:
        return _event("safety_chain", at=f"{trip_s - first:.0f} s", lasting="60 s"), ""
    if whole.trip is Trip.STOP_BUTTON:
        return _event("operator", at=f"{trip_s - first:.0f} s", action="stop_button"), ""
    if whole.trip is Trip.SIGNAL_LOST:
        for name in ("suction_pressure", "discharge_pressure", "oil_pressure"):
            lost = whole.open_.get(name)
            if lost is not None and lost.any():
                at_s = int(np.flatnonzero(lost)[0])
                start = max(0.0, at_s - _offset(evidence, whole) - first)
                return _event("instrument_fault", instrument=name, fault="open_circuit", at=f"{start:.0f} s"), ""
    if found is None:
        return (
            "",
            "",
        )  # nothing stands out: whether load and weather alone bring the event back is what the first run shows
    key = found.hypothesis.key
    onset_s = max(0.0, found.onset_s - first)
    rise_s = found.rise_s if found.rise_s is not None else _rise_s(found, evidence.record.rows)
    rise_s = min(rise_s, max(1.0, evidence.record.rows - found.onset_s))
    goes_on = rise_s >= 60.0 and found.onset_s + rise_s >= evidence.record.rows - STILL_GROWING_S
    if key in FAULT_EVENTS:
        share = float(profile_value(found.hypothesis, np.array([reached(evidence, found)]))[0])
        share = 1.0 - share if found.hypothesis.law == "left" else share
        if goes_on and key != "coupling":
            share, rise_s = share * (rise_s + AFTER_S) / rise_s, rise_s + AFTER_S
        if share > MOST_LOST:  # at the same pace
            share, rise_s = MOST_LOST, rise_s * MOST_LOST / share
        growth = {"over": f"{max(1.0, rise_s):.0f} s"} if key != "coupling" and rise_s >= 5.0 else {}
        size = f"{100.0 * max(0.0, share):.2f} %"
        return _event("plant_fault", fault=FAULT_EVENTS[key], at=f"{onset_s:.0f} s", size=size, **growth), ""
    if key in SENSOR_EVENTS:
        return _sensor_lines(evidence, found, onset_s, rise_s, goes_on), ""
    if key == "other_machine":
        return _event("other_compressor", at=f"{onset_s:.0f} s", flow=f"{max(0.0, found.size):.4f} m³/s"), ""
    if key == "oil_loss":
        rate = found.hypothesis.size * reached(evidence, found) / max(60.0, rise_s)
        return _event("oil_loss", at=f"{onset_s:.0f} s", flow=f"{rate:.5f} kg/s"), ""
    if key in ("capacity_slide", "volume_ratio_slide"):
        if found.amount > 0.6:
            return _event("plant_fault", fault=f"{key}_stuck", at=f"{onset_s:.0f} s"), ""
        size = f"{100.0 * found.amount:.1f} %"
        return _event("plant_fault", fault=f"{key}_slow", at=f"{onset_s:.0f} s", size=size), ""
    if key in ("capacity_linkage", "volume_ratio_linkage"):
        size = f"{100.0 * found.amount:.1f} %"
        return _event("plant_fault", fault=f"{key}_slip", at=f"{onset_s:.0f} s", size=size), ""
    if key == "heat_rejection":
        growth = {"over": f"{rise_s:.0f} s"} if rise_s >= 5.0 else {}
        size = f"{100.0 * lost_conductance_frac(evidence, found):.2f} %"
        return _event("plant_fault", fault="condenser_fouling", at=f"{onset_s:.0f} s", size=size, **growth), ""
    if key == "load_change":
        return "", ""  # in the load
    return "", f"a cause of the kind “{group}” is not simulated"


def _offset(evidence: Evidence, whole: Record) -> int:
    return (evidence.record.start_ms - whole.start_ms) // 1000


def _rise_s(found: Fit, rows: int) -> float:
    from tools.replay.hypotheses import RISE_S, STEP

    return 0.0 if found.shape == STEP else RISE_S.get(found.shape, rows - found.onset_s)


def _sensor_lines(evidence: Evidence, found: Fit, onset_s: float, rise_s: float, goes_on: bool) -> str:
    """An instrument's error: a bias at once, or a drift that ends in one unless it goes on."""
    instrument = SENSOR_EVENTS[found.hypothesis.key]
    reference = found.hypothesis.shift[1] if found.hypothesis.shift else _reference(found)
    size = reached(evidence, found) * reference / spans_of(evidence.parameters)[instrument]
    if rise_s < max(5.0, 3600.0 * abs(size) / FASTEST_DRIFT_H):
        return _event(
            "instrument_fault", instrument=instrument, fault="bias", at=f"{onset_s:.0f} s", size=f"{100.0 * size:.3f} %"
        )
    drift = {
        "instrument": instrument, "fault": "drift", "at": f"{onset_s:.0f} s",
        "size": f"{100.0 * size * 3600.0 / rise_s:.3f} %",
    }  # fmt: skip
    if goes_on:
        return _event("instrument_fault", **drift)
    lines = _event("instrument_fault", **drift, lasting=f"{rise_s:.0f} s")
    return lines + _event(
        "instrument_fault",
        instrument=instrument,
        fault="bias",
        at=f"{onset_s + rise_s:.0f} s",
        size=f"{100.0 * size:.3f} %",
    )


def _reference(found: Fit) -> float:
    value: float = next(iter(found.hypothesis.channels.values()))
    return -value if found.hypothesis.key == "oil_transmitter" else value


def write_story(folder: Path, story: Story) -> Path:
    """Write scenario.toml, load.csv and copies of plant file and sheet into an existing folder; returns the scenario's
    path.  Raises OSError."""
    shutil.copyfile(story.plant, folder / PLANT_NAME)
    shutil.copyfile(story.sheet, folder / SHEET_NAME)
    (folder / "load.csv").write_text(story.load_csv, encoding="utf-8")
    path = folder / "scenario.toml"
    path.write_text(story.text, encoding="utf-8")
    return path
