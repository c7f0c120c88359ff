"""What a logger leaves of a night: trends every second, every five or on change of value, and an alarm list.

The alarm list has a clock of its own, off by less than what is told of it, and whole seconds.  Whether the controller's own
first-out is in the trends is drawn by chance: most loggers do not have it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from controller.process_image import Health, StopReason, Trip
from scenarios.chance import generator
from scenarios.logged_data.event_words import classify
from scenarios.logged_data.records import LoggedData, LoggedEvent, Quality, Series
from scenarios.row import INDEX
from tests.tools.replay.truth import Night

ANALOGS = {
    "suction_pressure": "suction_pressure_kpa_abs",
    "discharge_pressure": "discharge_pressure_kpa_abs",
    "suction_temperature": "suction_temperature_c",
    "discharge_temperature": "discharge_temperature_c",
    "oil_pressure_before_filter": "oil_pressure_before_filter_kpa_abs",
    "oil_pressure": "oil_pressure_kpa_abs",
    "oil_temperature": "oil_temperature_c",
    "oil_level": "oil_level_pct",
    "motor_current": "motor_current_a",
    "motor_power": "motor_power_kw",
    "capacity_position": "capacity_position_pct",
    "capacity_position_opposite": "capacity_position_opposite_pct",
    "volume_ratio_position": "volume_ratio_position_pct",
    "volume_ratio_position_opposite": "volume_ratio_position_opposite_pct",
    "process_temperature": "process_temperature_c",
}
PER_SI = {"pa": 1.0e-3, "k": 1.0, "frac": 100.0, "a": 1.0, "w": 1.0e-3}  # cabinet's unit per SI, of a span
CONTACTS = ("motor_running", "vessel_high_high_level", "safety_chain_closed", "stop_button_pressed", "capacity_manual",
            "volume_ratio_manual")  # fmt: skip
COMMANDS = ("motor_run", "oil_pump", "injection_cooling")
STATES = ("mode", "inhibit")
DEAD_BAND = 0.0012  # of span: what a change-of-value logger keeps quiet about
AFTER_TRIP_S = 90
LEFT_S = 300  # of the night is not in the log: what-if looks as far ahead
LIST_OFF_MS, LIST_TOLD_MS = 400, 500  # the list's clock is off by up to the first; the second is told


def kept(values: Any, sampling: str, band: float) -> Any:
    """Places that the logger wrote."""
    if sampling == "1 s":
        return np.arange(len(values))
    if sampling == "5 s":
        return np.arange(0, len(values), 5)
    out, last = [0], values[0]
    for k, value in enumerate(values.tolist()):
        if abs(value - last) > band or (band > 0.0 and k % 120 == 0):
            out.append(k)
            last = value
    return np.unique(np.array(out))


def log_of(night: Night) -> LoggedData:
    """The night as its logger has it, from 60 s on to a little after the trip."""
    end = int(np.searchsorted(night.time_ms, night.time_ms[-1] - 1000 * LEFT_S))
    if night.trip_ms > 0:
        end = min(end, int(np.searchsorted(night.time_ms, night.trip_ms)) + AFTER_TRIP_S)
    chance = generator(night.seed, f"logger of {night.cause.name}")
    data = LoggedData({}, [], {}, (Path("trend.csv"), Path("alarms.csv")))

    def put(name: str, values: Any, band: float, failed: Any = None) -> None:
        at = kept(values, night.sampling, band)
        flags = np.zeros(len(at), dtype=np.uint8)
        if failed is not None:
            at = np.union1d(at, 1 + np.flatnonzero(np.diff(failed))) if night.sampling == "change of value" else at
            flags = np.where(failed[at], np.uint8(Quality.OUT_OF_RANGE), np.uint8(0)).astype(np.uint8)
        step_ms = {"1 s": 1000.0, "5 s": 5000.0}.get(night.sampling, 0.0)
        data.series[name] = Series(
            name, night.time_ms[at], values[at].astype(float), flags, step_ms, step_ms == 0.0, f"trend.csv: {name}"
        )

    for instrument, name in ANALOGS.items():
        span = getattr(night.prepared.plant.parameters.instruments, instrument)
        low, high = list(type(span).__dataclass_fields__)[:2]
        band = DEAD_BAND * (getattr(span, high) - getattr(span, low)) * PER_SI[low.rsplit("_", 1)[1]]
        failed = night.inputs[f"{instrument}_health"][:end]
        put(name, night.inputs[name][:end], band, (failed == Health.UNDER) | (failed == Health.OVER))
    for name in CONTACTS:
        put(name, night.inputs[name][:end].astype(float), 0.0)
    own_word = ("trip_first_out",) if chance.random() < 1.0 / 3.0 else ()
    for name in (*COMMANDS, *STATES, *own_word):
        put(name, night.outputs[name][:end].astype(float), 0.0)
    for drive, on_ms in night.on_ms.items():
        counted = np.add.reduceat(on_ms[:end], np.arange(0, end, 5)) if night.sampling == "5 s" else on_ms[:end]
        at = night.time_ms[:end:5] if night.sampling == "5 s" else night.time_ms[:end]
        name = f"{drive}_on_ms"
        data.series[name] = Series(
            name, at, counted, np.zeros(len(at), dtype=np.uint8), float(at[1] - at[0]), False, f"trend.csv: {name}"
        )
    data.events = alarm_list(night, int(night.time_ms[end - 1]), int(chance.integers(-LIST_OFF_MS, LIST_OFF_MS)))
    return data


def alarm_list(night: Night, end_ms: int, off_ms: int) -> list[LoggedEvent]:
    """Each trip as it came into the word, and idle stops."""
    out = []
    for time_ms, column, old, new in night.edges.tolist():
        said: list[tuple[str, str, str]] = []
        if int(column) == INDEX["trip_word"]:
            for trip in Trip:
                if trip and int(new) & ~int(old) & (1 << int(trip)):
                    text = "TRIP: " + trip.name.replace("_", " ").lower()
                    assert classify(text)[:2] == ("trip", trip.name), text
                    said.append(("trip", trip.name, text))
        elif int(column) == INDEX["stop_reason"] and int(new) == StopReason.IDLE:
            said.append(("stop", "stop_reason", "idle stop"))
        at_ms = (int(time_ms) + off_ms) // 1000 * 1000
        if time_ms <= end_ms:
            out += [
                LoggedEvent(
                    at_ms, at_ms - LIST_TOLD_MS, at_ms + 1000 + LIST_TOLD_MS, kind, name, "on", text, "alarms.csv"
                )
                for kind, name, text in said
            ]
    return out
