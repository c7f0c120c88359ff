"""The operating map of a tuning run as rows: processes, bump tests, relay experiments, coupling, margins."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from controller.scheduled_pi import PiSettings as ScheduleSettings
from scenarios.errors import InputRefused, Problem
from tools.tuning.bump_test import bump_test
from tools.tuning.coupling import FollowedLoop, least_filter_ms, map_coupling
from tools.tuning.gain_schedule import scheduled_gain_pct_kpa
from tools.tuning.linear_process import LinearProcess, PiSettings
from tools.tuning.linearisation import PointError
from tools.tuning.map_loops import MapLoops, has_linear_loop
from tools.tuning.operating_map import MapPoint, OperatingMap, operating_map
from tools.tuning.relay_test import RelayError, relay_test
from tools.tuning.rules import ultimate_point
from tools.tuning.tuning_inputs import TuningInputs
from tools.tuning.tuning_result import Bump, CouplingRow, MapRow, RelayRow, SkippedRow

NAN = math.nan
Told = Callable[[float], None] | None


@dataclass
class PlantMap:
    """The map, computed when somebody needs its points: a resumed run mostly needs rows only."""

    inputs: TuningInputs
    progress: Told = None
    _map: OperatingMap | None = field(default=None, repr=False)

    @property
    def map(self) -> OperatingMap:
        """All points.  InputRefused where the plant stands at none."""
        if self._map is None:
            i = self.inputs
            try:
                self._map = operating_map(
                    i.parameters,
                    i.base.common.capacity,
                    i.effort.grid(i.evaporating_k),
                    progress=self.progress,
                )
            except PointError as error:
                raise InputRefused(
                    Problem(str(error), file=str(i.plant.path), way_out="change the plant file")
                ) from error
        return self._map

    @property
    def points(self) -> tuple[MapPoint, ...]:
        """The points, in the grid's order."""
        return self.map.points

    def correct(self, points: tuple[MapPoint, ...]) -> None:
        """From here on the map has these points: some processes were measured on the plant."""
        self._map = replace(self.map, points=points)


def point_rows(points: Sequence[MapPoint]) -> tuple[MapRow, ...]:
    """The map's processes; margins and bump tests come later."""
    return tuple(_row(p) for p in points)


def _row(p: MapPoint) -> MapRow:
    return MapRow(
        where=p.where(),
        capacity_travel_frac=p.capacity_travel_frac,
        pressure_ratio=p.pressure_ratio,
        level_frac=p.level_frac,
        evaporating_k=p.evaporating_k,
        direction=p.direction.value,
        suction_pa=p.suction_pa,
        discharge_pa=p.discharge_pa,
        load_w=p.load_w,
        **process_fields(p.process),
        fit_error_frac=p.fit_error_frac,
        stroke_s=p.drive.stroke_s,
        measured=False,
        controller_gain_pct_kpa=NAN,
        integral_s=NAN,
        ms=NAN,
        ms_spread=NAN,
        gain_margin=NAN,
        phase_margin_deg=NAN,
    )


def process_fields(process: LinearProcess) -> dict[str, Any]:
    """The fields of a MapRow that a process decides."""
    return {
        "integrating": process.integrating,
        "gain_kpa_pct": None if process.integrating else process.gain,
        "slope_kpa_s_pct": slope_of(process),
        "dead_time_s": process.dead_time_s,
        "lags_s": process.lags_s,
    }


def slope_of(process: LinearProcess) -> float:
    """kPa a second and % of travel: of the integrator, or gain over the longest lag."""
    return process.gain if process.integrating or not process.lags_s else process.gain / max(process.lags_s)


def skipped_rows(found: OperatingMap) -> tuple[SkippedRow, ...]:
    """Where the plant cannot stand."""
    return tuple(
        SkippedRow(s.capacity_travel_frac, s.pressure_ratio, s.level_frac, s.evaporating_k, s.reason)
        for s in found.skipped
    )


def bump_row(point: MapPoint) -> Bump:
    """A simulated bump test at a point."""
    try:
        found = bump_test(point)
    except ValueError as error:  # no room to move, or the plant leaves its tables
        return Bump(0.0, 0.0, 0.0, 0.0, False, NAN, NAN, NAN, NAN, 0.0, NAN, (), (), str(error))
    apart, process = found.against_linear, found.process
    return Bump(
        bump_pct=found.bump_pct,
        slope_kpa_s_pct=slope_of(process),
        dead_time_s=process.dead_time_s,
        lag_s=max(process.lags_s, default=0.0),
        integrating=process.integrating,
        gain_apart_frac=apart.gain_frac,
        lag_apart_frac=apart.lag_frac,
        slope_apart_frac=apart.slope_frac,
        response_apart_frac=apart.response_frac,
        dead_time_apart_s=apart.dead_time_s,
        trace_error_frac=found.trace_error_frac,
        flagged=tuple(name.removesuffix("_frac") for name in apart.flagged),
        flagged_form=tuple(name.removesuffix("_frac") for name in found.against_map.flagged),
    )


def relay_places(rows: Sequence[MapRow], count: int) -> list[tuple[int, ...]]:
    """`count` places for relay experiments, spread over the map, away from the end stops: the points of each, by index."""
    places: dict[str, list[int]] = {}
    for k, row in enumerate(rows):
        if 0.1 <= row.capacity_travel_frac <= 0.9:
            places.setdefault(_place(row.where), []).append(k)
    every = max(1, len(places) // max(1, count))
    return [tuple(points) for points in list(places.values())[::every][:count]]


def _place(where: str) -> str:
    return where.rsplit(", ", 1)[0]  # without the direction


def relay_row(both: Sequence[MapPoint]) -> RelayRow:
    """A relay experiment; it goes both ways, so it stands against the geometric mean of the place's two directions."""
    where = _place(both[0].where())
    known = [ultimate_point(p.process) for p in both]
    gain = math.prod(u.gain_pct_kpa for u in known) ** (1.0 / len(known))
    period_s = math.prod(u.period_s for u in known) ** (1.0 / len(known))
    try:
        found = relay_test(both[0])
    except (RelayError, ValueError) as error:
        return RelayRow(where, NAN, NAN, gain, period_s, NAN, NAN, str(error))
    plain = found.cycle.describing_function
    return RelayRow(
        where, found.ultimate.gain_pct_kpa, found.ultimate.period_s, gain, period_s, plain.gain_pct_kpa, plain.period_s
    )


def coupling_rows(
    points: Sequence[MapPoint], volume_ratio: Any, schedule: ScheduleSettings
) -> tuple[tuple[CouplingRow, ...], str]:
    """What the volume-ratio slide does to the capacity loop under a schedule, and the speed limit in words."""

    def pi_of(point: MapPoint) -> PiSettings:
        gain = scheduled_gain_pct_kpa(schedule, 100.0 * point.capacity_travel_frac)
        return PiSettings(gain, 0.001 * schedule.integral_time_ms)

    rows = []
    for point in points:
        here = map_coupling(point)
        try:
            cost = FollowedLoop(point, volume_ratio).cost(volume_ratio.filter_ms, pi_of(point))
            ms = (cost.ms_alone, cost.ms_coupled, cost.ms_shared_oil)
        except ValueError:  # unstable alone, or the drive stalls: the map's own Ms says so too
            ms = (math.inf, math.inf, math.inf)
        rows.append(
            CouplingRow(
                point.where(),
                point.capacity_travel_frac,
                point.volume_ratio_travel_frac,
                point.pressure_ratio,
                point.direction.value,
                here.relative_gain,
                abs(here.relative_gain_at_crossover),
                here.through_path_kg_s,
                *ms,
            )
        )
    try:
        words = least_filter_ms(points, volume_ratio, pi_of).text()
    except ValueError as error:
        words = str(error)
    return tuple(rows), words


def with_margins(rows: Sequence[MapRow], loops: MapLoops, settings: Any) -> tuple[MapRow, ...]:
    """The map's rows with the margins of settings; unchanged for a law without a linear loop."""
    if not has_linear_loop(settings):
        return tuple(rows)
    found = loops.margins(settings)
    law = getattr(settings, "pi", None)
    out = []
    for k, row in enumerate(rows):
        gain = scheduled_gain_pct_kpa(law, 100.0 * row.capacity_travel_frac) if law else NAN
        out.append(
            replace(
                row,
                controller_gain_pct_kpa=gain,
                integral_s=0.001 * law.integral_time_ms if law else NAN,
                ms=float(found.ms[k]),
                ms_spread=float(found.ms_spread[k]),
                gain_margin=float(found.gain_margin[k]),
                phase_margin_deg=float(found.phase_margin_deg[k]),
            )
        )
    return tuple(out)
