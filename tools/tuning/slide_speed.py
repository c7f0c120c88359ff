"""Are the slides fast enough for any settings at all?

A loop with a small enough gain is stable on paper with any drive, because small moves take little time.  A change of load
is no small move: the slide runs at its full speed and the pressure goes on falling until it has caught up.  So the best
that any law can do is reckoned: the load falls by LOAD_STEP_PCT of capacity at once, and the slide begins to unload after
the drive's own dead time and runs at full speed until it is there.  Where suction then still falls from the set point to
the pressure at which the protective layer takes over (the load inhibit's hold), no tuning can keep the law in charge, and
that is refused, with the slowest stroke that would do.

The plant is the linearised one of the map, falling direction; the slide's speed is that at the point's oil pressure.
The size of the step is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scenarios.errors import InputRefused, Problem
from tools.tuning.bump_test import linear_trace
from tools.tuning.linearisation import Direction
from tools.tuning.operating_map import MapPoint

LOAD_STEP_PCT = 25.0
STEP_S = 0.2
LONGEST_S = 1200.0
NEAR_SET_POINT_FRAC = 0.02


@dataclass(frozen=True, slots=True)
class SlideSpeed:
    """The worst point: where, suction lost at best in kPa, the room there is, stroke in s, and the slowest that would do."""

    where: str
    lost_kpa: float
    room_kpa: float
    stroke_s: float
    slowest_stroke_s: float

    @property
    def fast_enough(self) -> bool:
        """Whether some settings can keep the law in charge."""
        return self.lost_kpa < self.room_kpa


def lost_kpa(point: MapPoint, stroke_s: float, step_pct: float) -> float:
    """How far suction falls, kPa, while a slide of this stroke takes `step_pct` of capacity off at full speed."""
    ramp_s = 0.01 * step_pct * stroke_s
    dead_s = point.drive.scan_s + point.drive.solenoid_s
    time_s = np.arange(0.0, min(LONGEST_S, dead_s + ramp_s + 60.0), STEP_S)
    # too much travel for the load is what the step leaves, and what the slide takes away
    travel_pct = step_pct - np.clip((time_s - dead_s) / ramp_s * step_pct, 0.0, step_pct)
    return float(max(0.0, -linear_trace(point.plant, travel_pct, STEP_S).min()))


def slide_speed(points: Sequence[MapPoint], settings: Any) -> SlideSpeed:
    """The point at which the slide is worst off, of those at the set point with room for the step."""
    set_kpa = float(settings.common.capacity.suction_set_point_kpa_abs)
    room_kpa = set_kpa - float(settings.common.inhibit.suction_hold_kpa_abs)
    unloading = {_place(p): p.drive.stroke_s for p in points if p.direction is Direction.RISING}
    found: list[tuple[float, MapPoint, float, float]] = []
    for p in points:
        if p.direction is not Direction.FALLING or _place(p) not in unloading:
            continue
        if abs(p.suction_pa / 1000.0 / set_kpa - 1.0) > NEAR_SET_POINT_FRAC:
            continue
        step_pct = min(LOAD_STEP_PCT, 100.0 * p.capacity_travel_frac)
        stroke_s = unloading[_place(p)]
        found.append((lost_kpa(p, stroke_s, step_pct), p, stroke_s, step_pct))
    if not found:
        return SlideSpeed("", 0.0, room_kpa, 0.0, float("inf"))
    worst, point, stroke_s, step_pct = max(found, key=lambda row: row[0])
    low_s, high_s = 0.001, stroke_s
    if worst < room_kpa:
        return SlideSpeed(point.where(), worst, room_kpa, stroke_s, float("inf"))
    for _ in range(20):
        middle_s = 0.5 * (low_s + high_s)
        low_s, high_s = (middle_s, high_s) if lost_kpa(point, middle_s, step_pct) < room_kpa else (low_s, middle_s)
    return SlideSpeed(point.where(), worst, room_kpa, stroke_s, low_s)


def _place(p: MapPoint) -> tuple[float, float, float, float]:
    return (round(p.capacity_travel_frac, 6), round(p.pressure_ratio, 6), p.level_frac, round(p.evaporating_k, 3))


def refuse_slow_slides(points: Sequence[MapPoint], settings: Any, plant_file: str) -> SlideSpeed:
    """InputRefused where no settings can hold the plant, with the limiting figure; else the worst point."""
    found = slide_speed(points, settings)
    if found.fast_enough:
        return found
    if found.slowest_stroke_s < 0.1:
        limit = f"only {found.room_kpa:.0f} kPa lie between set point and load inhibit: no slide is quick enough"
    else:
        limit = f"the stroke must not take more than about {found.slowest_stroke_s:.0f} s there"
    raise InputRefused(
        Problem(
            f"the capacity slide is too slow for any settings: with a full unload stroke of {found.stroke_s:.0f} s, a load "
            f"that falls by {LOAD_STEP_PCT:g} % takes suction {found.lost_kpa:.0f} kPa down before the slide has followed, "
            f"and the load inhibit takes over {found.room_kpa:.0f} kPa below the set point ({found.where})",
            file=plant_file,
            value=f"{found.stroke_s:.0f} s",
            limit=limit,
            way_out="a faster drive, a larger vessel, or a lower suction_hold in the sheet",
        )
    )
