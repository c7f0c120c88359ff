"""Two settings of one controller on one plant: margins of the capacity loop at a few points of the operating map.

A small map, because the question is which way a change goes and not what the worst of all points is: three travels, two
pressure ratios, both directions of pressure, at the plant's own fill and the first sheet's suction temperature.  The
plant is settled once; drive, filter and law are those of each sheet (`map_loops`).

A step control has no linear loop, and none is made up here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from plant_model.derived import Parameters
from plant_model.properties import saturation_temperature_k
from tools.tuning.map_loops import MapLoops, has_linear_loop
from tools.tuning.operating_map import Grid, operating_map

TRAVELS_FRAC = (0.15, 0.45, 0.80)
PRESSURE_RATIOS = (3.0, 4.6)


@dataclass(frozen=True, slots=True)
class LoopFigures:
    """Margins of one sheet at one point: Ms nominal and over the spread of ± 20 %, gain margin as a ratio (0: unstable)."""

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


def why_no_loop(settings: Any) -> str:
    """Why this controller has no margins here; "" if it has."""
    if has_linear_loop(settings):
        return ""
    return "this controller has no linear loop, so no margins; try the change on scenarios"


def _figures(loops: MapLoops, settings: Any) -> list[LoopFigures]:
    found = loops.margins(settings)
    rows = zip(found.ms.tolist(), found.ms_spread.tolist(), found.gain_margin.tolist(), strict=True)
    return [LoopFigures(ms, spread, gain if math.isfinite(ms) else 0.0) for ms, spread, gain in rows]


def loop_changes(
    parameters: Parameters, before: Any, after: Any, progress: Callable[[float], None] | None = None
) -> list[LoopChange]:
    """Margins at each point of the small map.  Some 10 s.

    Raises ValueError for settings without a linear loop (`why_no_loop`), PointError where the plant stands at no point.
    """
    if why_no_loop(before):
        raise ValueError(why_no_loop(before))
    evaporating_k = saturation_temperature_k(
        parameters.refrigerant, 1000.0 * before.common.capacity.suction_set_point_kpa_abs
    )
    level = parameters.plant.suction_vessel.level_set_frac
    grid = Grid(TRAVELS_FRAC, PRESSURE_RATIOS, (level,), (evaporating_k,))
    points = operating_map(parameters, before.common.capacity, grid, progress=progress).points
    loops = MapLoops.of(points)
    return [
        LoopChange(p.capacity_travel_frac, p.pressure_ratio, str(p.direction), one, other)
        for p, one, other in zip(points, _figures(loops, before), _figures(loops, after), strict=True)
    ]
