"""A process that was identified from a log on the plant takes the model's place at the point of the map nearest to it.

Only there: one test on one day says nothing of another travel.  Where the log shows moves both ways, both directions of
the point are replaced, because it shows a mean of the two.  Nearest: in travel first, then in suction pressure; fill and
pressure ratio of the test are not known, so of those points the one with the middle slope is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from scenarios.errors import InputRefused
from scenarios.quantities import Site
from scenarios.toml_source import read_bytes
from tools.tuning.identification import Identified, identify
from tools.tuning.identification_fit import Interval
from tools.tuning.linearisation import Direction
from tools.tuning.map_analysis import process_fields, slope_of
from tools.tuning.map_loops import MapLoops
from tools.tuning.operating_map import BAND, MapPoint
from tools.tuning.tuning_result import MapRow, MeasuredRow

HORIZON = 2.0  # over the band's low end: as long as the map's own bump tests are fitted
SAME_TRAVEL_FRAC = 0.01
FAR_PCT, FAR_KPA_FRAC = 15.0, 0.15  # farther from any point of the map is told


def directions_of(found: Identified) -> tuple[Direction, ...]:
    """The ways that the log's moves go; a loading slide makes pressure fall."""
    up, down = found.drive.speed_up_pct_s, found.drive.speed_down_pct_s
    if up is not None and down is None:
        return (Direction.FALLING,)
    if down is not None and up is None:
        return (Direction.RISING,)
    return tuple(Direction)


def nearest(points: Sequence[MapPoint], found: Identified, direction: Direction) -> int:
    """Index of the point that a log stands for; the same place of the map for both directions."""
    off = [abs(100.0 * p.capacity_travel_frac - found.travel_pct) for p in points]
    travel_frac = points[min(range(len(points)), key=lambda k: round(off[k], 1))].capacity_travel_frac
    near = [k for k, p in enumerate(points) if abs(p.capacity_travel_frac - travel_frac) < SAME_TRAVEL_FRAC]
    away = [abs(points[k].suction_pa / 1000.0 - found.suction_kpa_abs) for k in near]
    near = [k for k, kpa in zip(near, away, strict=True) if kpa <= min(away) + 1.0]
    there = [k for k in near if points[k].direction is direction]
    there.sort(key=lambda k: slope_of(points[k].process))
    return there[len(there) // 2]


def measured(
    path: Path, first: Identified, site: Site, refrigerant: str, points: Sequence[MapPoint], loops: MapLoops,
    rows: Sequence[MapRow],
) -> tuple[tuple[MapPoint, ...], MapLoops, tuple[MapRow, ...], MeasuredRow]:  # fmt: skip
    """The map's points, loops and rows with the log's process in them, and what the log said.

    The log is read again over the time that matters for the loop; where it cannot answer over so short a time, the answer
    of the whole log stands.
    """
    places = [nearest(points, first, direction) for direction in directions_of(first)]
    low_rad_s = BAND[0] * min(points[k].band_rad_s[1] for k in places)
    try:
        found = identify(path, site, refrigerant, horizon_s=HORIZON / low_rad_s)
    except InputRefused:
        found = first
    changed, there = list(rows), list(points)
    for k in places:
        loops = loops.with_measured(k, found.process)
        process = found.in_loop(points[k].drive.total_s, points[k].filter_s)
        there[k] = replace(points[k], process=process, measured=True)
        changed[k] = replace(changed[k], **process_fields(process), measured=True)
    point = points[places[0]]
    bare = point.process.dead_time_s - point.drive.total_s - point.filter_s
    lines = [*found.lines(), *_far(found, point)]
    row = MeasuredRow(
        file=str(path),
        sha256=_hash(path),
        where=" and ".join(points[k].where() for k in places),
        form=str(found.form),
        slope_kpa_s_pct=_three(found.slope),
        dead_time_s=_three(found.dead_time_s),
        lag_s=_three(found.lag_s) if found.lag_s is not None else None,
        model_slope_kpa_s_pct=slope_of(point.process),
        model_dead_time_s=max(bare, 0.0),
        lines=tuple(lines),
    )
    return tuple(there), loops, tuple(changed), row


def _far(found: Identified, point: MapPoint) -> list[str]:
    off_pct = abs(100.0 * point.capacity_travel_frac - found.travel_pct)
    off_frac = abs(point.suction_pa / 1000.0 / found.suction_kpa_abs - 1.0)
    if off_pct <= FAR_PCT and off_frac <= FAR_KPA_FRAC:
        return []
    return [
        f"note: the nearest point of the map is {off_pct:.0f} % of travel and {100.0 * off_frac:.0f} % of suction pressure "
        "away from the test"
    ]


def _three(interval: Interval) -> tuple[float, float, float]:
    return (interval.value, interval.low, interval.high)


def _hash(path: Path) -> str:
    import hashlib

    return hashlib.sha256(read_bytes(path)).hexdigest()


def disagreement(row: MeasuredRow) -> str:
    """In words, where the model's slope lies outside the log's interval; "" where it does not."""
    value, low, high = row.slope_kpa_s_pct
    if low <= row.model_slope_kpa_s_pct <= high:
        return ""
    return (
        f"{Path(row.file).name}: the plant's slope is {value:.3g} kPa/s per % ({low:.3g} to {high:.3g}), the model's "
        f"{row.model_slope_kpa_s_pct:.3g} at {row.where}: only this point of the map was corrected"
    )
