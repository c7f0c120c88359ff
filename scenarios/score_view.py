"""What the scores look at: a trace from the end of its first pull-down to its end, each quantity computed at most once."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Mode
from scenarios.limits import Limits
from scenarios.regulation import Settling, settling_times
from scenarios.requirements import Verdict, check_all
from scenarios.steps import Steps, steps

if TYPE_CHECKING:
    from scenarios.trace import Trace

Floats = NDArray[np.float64]

BAND_K = 1.0
HOUR_MS = 3.6e6
SATURATION_POINTS = 256


def saturation_temperatures_k(refrigerant: Any, pressure_pa: Floats) -> Floats:
    """Saturation temperature of each pressure, interpolated over ln p; held at the ends of the property fit."""
    from plant_model.properties import saturation_temperature_k

    low, high = float(refrigerant.pressure_low_pa), float(refrigerant.pressure_high_pa)
    held = np.clip(pressure_pa, low, high)
    least, most = float(held.min()), float(held.max())
    logs = np.linspace(np.log(least), np.log(max(most, least * (1.0 + 1e-9))), SATURATION_POINTS)
    grid = [float(saturation_temperature_k(refrigerant, p)) for p in np.exp(logs).tolist()]
    return np.interp(np.log(held), logs, grid)


def band_pressures_pa(refrigerant: Any, set_point_pa: Floats, band_k: float = BAND_K) -> tuple[Floats, Floats]:
    """Suction pressures `band_k` below and above the set point's saturation temperature."""
    from plant_model.properties import saturation_pressure_pa

    middle_k = saturation_temperatures_k(refrigerant, set_point_pa)
    edges = []
    for shift_k in (-band_k, band_k):
        wanted_k = middle_k + shift_k
        grid_k = np.linspace(float(wanted_k.min()), float(wanted_k.max()) + 1e-9, SATURATION_POINTS)
        grid_pa = [float(saturation_pressure_pa(refrigerant, t)) for t in grid_k.tolist()]
        edges.append(np.interp(wanted_k, grid_k, grid_pa))
    return edges[0], edges[1]


def _filled(set_point_pa: Floats) -> Floats:
    """The working set point; where none is reported, the last one that was (at the start, the first)."""
    known = np.flatnonzero(set_point_pa > 0.0)
    place = np.searchsorted(known, np.arange(len(set_point_pa)), side="right") - 1
    held: Floats = set_point_pa[known[np.maximum(place, 0)]]
    return held


def in_automatic(trace: Trace) -> NDArray[np.bool_]:
    """Rows in which the controller is in AUTOMATIC; one that reports no mode at all is where its motor runs."""
    modes = trace["mode"]
    found: NDArray[np.bool_] = modes == Mode.AUTOMATIC if modes.any() else trace["motor_running"] != 0.0
    return found


def window_start(trace: Trace, refrigerant: Any) -> int | None:
    """The row where regulation begins: the first in AUTOMATIC with saturated suction within ± 1 K of the set point.

    Before it the machine pulls down after its start, which no tuning of the loop changes.  A run that never gets there,
    or whose controller reports no set point, is looked at from its first row in AUTOMATIC; None if there is none.
    """
    automatic = in_automatic(trace)
    if not automatic.any():
        return None
    first = int(np.argmax(automatic))
    set_point_pa = trace["suction_set_point_pa"][first:]
    if refrigerant is None or not (set_point_pa > 0.0).any():
        return first
    wanted_k = saturation_temperatures_k(refrigerant, _filled(set_point_pa))
    found_k = saturation_temperatures_k(refrigerant, trace["suction_pressure_pa"][first:])
    held = automatic[first:] & (np.abs(found_k - wanted_k) <= BAND_K)
    return first + int(np.argmax(held))  # 0 where it never holds


class View:
    """What the formulas look at: the evaluation window of a trace, computed at most once each."""

    def __init__(self, trace: Trace, limits: Limits | None, refrigerant: Any) -> None:
        self.trace, self.limits, self.refrigerant = trace, limits or Limits(), refrigerant
        self.all_ms = trace["time_ms"]
        self.first = window_start(trace, refrigerant)
        self._steps: dict[str, Steps] = {}

    def __getitem__(self, name: str) -> Floats:
        return self.trace[name][self.first or 0 :]

    @property
    def valid(self) -> bool:
        """There is a window, and it has a length."""
        return self.first is not None and self.hours > 0.0

    @property
    def start_ms(self) -> float:
        return float(self.all_ms[self.first or 0])

    @property
    def end_ms(self) -> float:
        return float(self.all_ms[-1])

    @property
    def hours(self) -> float:
        return (self.end_ms - self.start_ms) / HOUR_MS

    @property
    def run_hours(self) -> float:
        return float(self.all_ms[-1] - self.all_ms[0]) / HOUR_MS

    @cached_property
    def seconds(self) -> Floats:
        """How long each row stands: up to the next row."""
        return np.diff(self["time_ms"], append=self.end_ms) / 1000.0

    @cached_property
    def automatic(self) -> NDArray[np.bool_]:
        """Rows of the window in which the controller is in AUTOMATIC."""
        return in_automatic(self.trace)[self.first or 0 :]

    @cached_property
    def has_set_point(self) -> bool:
        """The controller reports a set point at least once in the window."""
        return self.valid and bool(np.any(self["suction_set_point_pa"] > 0.0))

    @cached_property
    def set_point_pa(self) -> Floats:
        return _filled(self["suction_set_point_pa"])

    @cached_property
    def deviation_pa(self) -> Floats:
        return self["suction_pressure_pa"] - self.set_point_pa

    @cached_property
    def saturated_k(self) -> Floats:
        return saturation_temperatures_k(self.refrigerant, self["suction_pressure_pa"])

    @cached_property
    def set_point_k(self) -> Floats:
        return saturation_temperatures_k(self.refrigerant, self.set_point_pa)

    @cached_property
    def deviation_k(self) -> Floats:
        return self.saturated_k - self.set_point_k

    @cached_property
    def settling(self) -> tuple[Settling, ...]:
        if not self.has_set_point:
            return ()
        noted = [(e.time_ms, e.text or e.source) for e in self.trace.events if e.kind == "disturbance"]
        return settling_times(self["time_ms"], self.deviation_k, noted, BAND_K)

    @cached_property
    def verdict(self) -> Verdict:
        return check_all(self.trace, self.limits)

    def steps(self, column: str) -> Steps:
        if column not in self._steps:
            self._steps[column] = steps(self.trace, column)
        return self._steps[column]

    def in_window(self, times_ms: Any) -> list[int]:
        return [int(t) for t in times_ms if t >= self.start_ms]

    def operations(self, up: str, down: str) -> list[tuple[int, int]]:
        """Switchings-on of a slide's two drives as (time_ms, direction), in time order."""
        ups = [(t, 1) for t in self.in_window(self.steps(up).rises_ms())]
        downs = [(t, -1) for t in self.in_window(self.steps(down).rises_ms())]
        return sorted(ups + downs)

    def gained(self, column: str) -> float:
        """Growth of a running total over the window."""
        return float(self[column][-1] - self[column][0])
