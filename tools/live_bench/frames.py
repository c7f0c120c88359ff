"""What is told of a row: the columns that pages draw, in the units of people, and the two moving figures."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from controller.process_image import Inhibit, Mode, StartRefused, StopReason, Trip
from scenarios.row import INDEX, TEXTS
from scenarios.trace import Event, Floats
from tools.figures.compression_loop import loop_at
from tools.figures.rotor_strip import edges_at


class Shown(NamedTuple):
    """A column as pages see it: value · factor + offset, in `unit`."""

    name: str
    label: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0
    digits: int = 1

    @property
    def text(self) -> str:
        """What it is, in a sentence."""
        return TEXTS[self.name]


_KPA, _KW, _PCT, _C = ("kPa", 1e-3), ("kW", 1e-3), ("%", 100.0), ("°C", 1.0, -273.15)
COLUMNS_SHOWN: tuple[Shown, ...] = (
    Shown("time_ms", "time", "ms", digits=0),
    Shown("suction_pressure_pa", "suction pressure", *_KPA),
    Shown("suction_pressure_measured_pa", "suction pressure as read", *_KPA),
    Shown("suction_set_point_pa", "suction set point", *_KPA),
    Shown("discharge_pressure_pa", "discharge pressure", *_KPA),
    Shown("discharge_temperature_k", "discharge temperature", *_C),
    Shown("oil_temperature_k", "oil temperature", *_C),
    Shown("oil_differential_pa", "oil pressure above separator", *_KPA),
    Shown("room_temperature_k", "room temperature", *_C),
    Shown("capacity_travel_frac", "capacity slide", *_PCT),
    Shown("capacity_demand_frac", "capacity demand", *_PCT),
    Shown("volume_ratio_travel_frac", "volume-ratio slide", *_PCT),
    Shown("volume_ratio_demand_frac", "volume-ratio demand", *_PCT),
    Shown("volume_ratio", "volume ratio, seen by the gas", "", digits=2),
    Shown("volume_ratio_attainable", "volume ratio, best attainable", "", digits=2),
    Shown("volume_ratio_ideal", "volume ratio, ideal", "", digits=2),
    Shown("motor_power_w", "motor power", *_KW),
    Shown("motor_current_a", "motor current", "A", digits=0),
    Shown("mismatch_power_w", "lost to volume-ratio mismatch", *_KW),
    Shown("load_heat_w", "load on the rooms", *_KW),
    Shown("evaporator_heat_w", "cooling delivered", *_KW),
    Shown("vessel_level_frac", "level in the suction vessel", *_PCT),
    Shown("wet_bulb_temperature_k", "wet bulb", *_C),
    Shown("capacity_load_on_ms", "load drive on", "ms", digits=0),
    Shown("capacity_unload_on_ms", "unload drive on", "ms", digits=0),
    Shown("volume_ratio_increase_on_ms", "ratio-up drive on", "ms", digits=0),
    Shown("volume_ratio_decrease_on_ms", "ratio-down drive on", "ms", digits=0),
)
_PLACES = np.array([INDEX[one.name] for one in COLUMNS_SHOWN])
_FACTORS = np.array([one.factor for one in COLUMNS_SHOWN])
_OFFSETS = np.array([one.offset for one in COLUMNS_SHOWN])
_STATES = {
    "mode": Mode, "inhibit": Inhibit, "trip_first_out": Trip, "start_refused": StartRefused, "stop_reason": StopReason
}  # fmt: skip
TOLD_KINDS = frozenset(
    ("sequence", "inhibit", "trip", "alarm", "start", "motor", "disturbance", "operator", "instrument")
)


def shown_rows(rows: Floats) -> list[list[float]]:
    """Rows (n, columns) of the trace as pages draw them, to six figures: a screen shows no more."""
    found = rows[:, _PLACES] * _FACTORS + _OFFSETS
    return [[int(row[0]), *(float(f"{value:.6g}") for value in row[1:])] for row in found.tolist()]


def state_words(values: Floats) -> dict[str, str]:
    """Mode, inhibit, trip and so on of a row, in words; a number that is no state is told as such."""
    out = {}
    for name, kind in _STATES.items():
        number = int(values[INDEX[name]])
        known = {int(member): member.name for member in kind}
        out[name] = known.get(number, f"unknown {number}").replace("_", " ").lower()
    out["motor"] = "running" if values[INDEX["motor_running"]] else "at rest"
    return out


class RowOf:
    """A row of the trace that is asked by column name."""

    def __init__(self, values: Floats) -> None:
        self._values = values

    def __getitem__(self, name: str) -> float:
        return float(self._values[INDEX[name]])


def figures_of(parameters: Any, values: Floats) -> dict[str, Any]:
    """The compression loop and the edges on the rotor strip at a row."""
    row = RowOf(values)
    edges = edges_at(
        parameters.plant.rotor, parameters.curves, row["capacity_travel_frac"], row["volume_ratio_travel_frac"]
    )
    loop = loop_at(parameters, row)
    return {
        "strip": {**edges.as_data(), "words": edges.in_words()},
        "loop": {**loop.as_data(), "words": loop.in_words(), "running": bool(row["motor_running"])},
    }


def told_events(events: list[Event]) -> list[list[Any]]:
    """Events for the page's list: all but the slides' drives, which the trends show."""
    return [[e.time_ms, e.kind, e.text or e.source] for e in events if e.kind in TOLD_KINDS]
