"""Two settings of one controller on one plant: margins of the capacity loop at a few points of the operating map.

A small map, because the question is which way a change goes and not what the worst of all points is: three travels, two
pressure ratios, both directions of pressure, at the plant's own fill and the first sheet's suction temperature.  The
plant is settled once; drive and filter are those of each sheet.  Margins are from the unreduced response.

A step control has no linear loop, and of a controller without a gain in %/kPa none is made up here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from plant_model.derived import Parameters
from plant_model.properties import saturation_temperature_k
from tools.tuning.gain_schedule import FREQUENCIES, W_HIGH, W_LOW, map_margins, scheduled_gain_pct_kpa
from tools.tuning.linear_process import PiSettings
from tools.tuning.linearisation import Complex, Float
from tools.tuning.operating_map import Grid, MapPoint, OperatingMap, map_point, operating_map

TRAVELS_FRAC = (0.15, 0.45, 0.80)
PRESSURE_RATIOS = (3.0, 4.6)


@dataclass(frozen=True, slots=True)
class LoopFigures:
    """Margins of one sheet at one point: Ms nominal and over the spread of ± 20 %, gain margin as a ratio."""

    ms: float
    ms_spread: float
    gain_margin: float


@dataclass(frozen=True, slots=True)
class LoopChange:
    """A point of the map under both sheets."""

    capacity_travel_frac: float
    pressure_ratio: float
    direction: str
    before: LoopFigures
    after: LoopFigures


def gain_margin(response: Complex) -> float:
    """How many times the gain may grow until the loop is at its limit, from an open-loop response over rising frequency.

    1/|L| where the phase falls through −180°, the least of several above 1; inf where it never does.

    An integrator with a dead time of 1 s and a gain of 0.5: π/2 over 0.5 (closed form).

    >>> w = np.geomspace(0.01, 10.0, 4000)
    >>> round(gain_margin(0.5 * np.exp(-1j * w) / (1j * w)), 3)
    3.142
    """
    phase = np.unwrap(np.angle(response))
    phase = phase - 2.0 * math.pi * math.ceil((phase[0] - 0.25 * math.pi) / (2.0 * math.pi))  # begins at or below +45°
    turns = np.floor((phase + math.pi) / (2.0 * math.pi))
    found = []
    for k in np.flatnonzero(turns[1:] < turns[:-1]):
        level = 2.0 * math.pi * turns[k] - math.pi
        share = (phase[k] - level) / (phase[k] - phase[k + 1])
        found.append(
            math.exp(-float(np.log(np.abs(response[k])) * (1.0 - share) + np.log(np.abs(response[k + 1])) * share))
        )
    return min((g for g in found if g > 1.0), default=min(found, default=math.inf))


def _open_loop(point: MapPoint, pi: PiSettings) -> Complex:
    w: Float = np.geomspace(W_LOW * point.band_rad_s[1], W_HIGH * point.band_rad_s[1], FREQUENCIES)
    return np.asarray(point.loop_response(w) * pi.gain_pct_kpa * (1.0 + 1.0 / (1j * pi.integral_s * w)))


def _figures(found: OperatingMap, settings: Any) -> list[LoopFigures]:
    out = []
    for margin in map_margins(found, settings.pi):
        gain = scheduled_gain_pct_kpa(settings.pi, 100.0 * margin.point.capacity_travel_frac)
        loop = _open_loop(margin.point, PiSettings(gain, 0.001 * settings.pi.integral_time_ms))
        stable = math.isfinite(margin.ms)
        out.append(LoopFigures(margin.ms, margin.ms_spread, gain_margin(loop) if stable else 0.0))
    return out


def why_no_loop(settings: Any) -> str:
    """Why this controller has no margins here; "" if it has."""
    if hasattr(settings, "pi"):
        return ""
    if hasattr(settings, "step"):
        return "a step control has no linear loop, so no margins; try the change on scenarios"
    return "margins are worked out for the scheduled PI only; try the change on scenarios"


def loop_changes(
    parameters: Parameters, before: Any, after: Any, progress: Callable[[float], None] | None = None
) -> list[LoopChange]:
    """Margins at each point of the small map.  Some 10 s.

    Raises ValueError for settings without a linear PI (`why_no_loop`), PointError where the plant stands at no point.
    """
    if why_no_loop(before):
        raise ValueError(why_no_loop(before))
    evaporating_k = saturation_temperature_k(
        parameters.refrigerant, 1000.0 * before.common.capacity.suction_set_point_kpa_abs
    )
    level = parameters.plant.suction_vessel.level_set_frac
    grid = Grid(TRAVELS_FRAC, PRESSURE_RATIOS, (level,), (evaporating_k,))
    first = operating_map(parameters, before.common.capacity, grid, progress=progress)
    second = first
    if after.common.capacity != before.common.capacity:
        points = tuple(map_point(p.steady, p.direction, after.common.capacity) for p in first.points)
        second = OperatingMap(points, first.skipped)
    return [
        LoopChange(p.capacity_travel_frac, p.pressure_ratio, str(p.direction), one, other)
        for p, one, other in zip(first.points, _figures(first, before), _figures(second, after), strict=True)
    ]
