"""The logged night as trends on one clock: all of the log lies in the page, which opens at the event."""

from __future__ import annotations

from typing import Any

import numpy as np

from scenarios.logged_data.clock import zone_of
from tools.figures.trends import Curve, Limit, Mark, Trend, TrendSheet
from tools.replay.findings import Findings
from tools.replay.watched import watched_limits

HEIGHT = 230
MARKS_AT_MOST = 400
HOLE = 5.0  # usual steps
_PANELS: tuple[tuple[str, str, tuple[tuple[str, str, str, str], ...]], ...] = (
    # title, unit, (series, label, colour, dash)
    ("Pressures", "kPa abs", (
        ("discharge_pressure_kpa_abs", "discharge", "--run-3", "solid"),
        ("suction_pressure_kpa_abs", "suction", "--plain", "solid"),
        ("suction_set_point_kpa_abs", "suction set point", "--set-point", "dashed"),
    )),
    ("Slides", "%", (
        ("capacity_position_pct", "capacity slide", "--capacity", "solid"),
        ("capacity_demand_pct", "capacity demand, logged", "--capacity", "dotted"),
        ("volume_ratio_position_pct", "volume-ratio slide", "--ratio", "solid"),
    )),
    ("Temperatures", "°C", (
        ("discharge_temperature_c", "discharge", "--run-3", "solid"),
        ("oil_temperature_c", "oil", "--ratio", "dashed"),
        ("suction_temperature_c", "suction gas", "--plain", "solid"),
        ("process_temperature_c", "room or product", "--band", "dotdash"),
    )),
    ("Motor", "A", (("motor_current_a", "current", "--set-point", "solid"),)),
)  # fmt: skip
_MARKS = {"trip": "trip", "setting": "operator", "operator": "operator", "manual": "operator", "motor": "disturbance"}


def shift_ms(found: Findings) -> int:
    """What turns the log's times into the pictures' clock: the zone's offset at the start, so that the axis runs on."""
    if not found.data.zone:
        return 0
    from datetime import UTC, datetime

    start = datetime.fromtimestamp(found.data.start_ms / 1000.0, UTC).astimezone(zone_of(found.data.zone))
    offset = start.utcoffset()
    return int(offset.total_seconds() * 1000) if offset else 0


def with_holes(times_ms: Any, values: Any) -> tuple[Any, Any]:
    """Times and values with a nan in each hole of what is sampled evenly; a log of changes has no holes.

    >>> import numpy as np
    >>> with_holes(np.array([0, 1, 2, 3, 90, 91]), np.ones(6))[1].tolist()
    [1.0, 1.0, 1.0, 1.0, nan, 1.0, 1.0]
    """
    times, y = np.asarray(times_ms, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if len(times) < 3:
        return times, y
    gaps = np.diff(times)
    usual = float(np.median(gaps))
    if np.percentile(gaps, 75) > 2.0 * usual:
        return times, y
    at = np.flatnonzero(gaps > HOLE * usual) + 1
    return np.insert(times, at, times[at - 1] + 1.0), np.insert(y, at, np.nan)


def _curve(made: TrendSheet, trend: Trend, times_ms: Any, values: Any, label: str, colour: str, dash: str) -> None:
    if len(times_ms):
        times_ms, values = with_holes(times_ms, values)
        axis = made.axis(times_ms)
        unit = trend.unit.removesuffix(" abs")
        trend.curves.append(Curve(made.columns.column(axis, values), label, unit, colour, dash))


def log_sheet(found: Findings, window_ms: tuple[int, int]) -> TrendSheet | None:
    """Trends of what is logged of pressures, slides, temperatures and current; None of a log without any."""
    shift = shift_ms(found)
    made = TrendSheet("log", found.data.start_ms + shift, max(found.data.end_ms, found.data.start_ms + 1) + shift)
    made.clock, made.view = "wall", (window_ms[0] + shift, window_ms[1] + shift)
    for title, unit, lines in _PANELS:
        present = [(found.data.series[n], label, ink, dash) for n, label, ink, dash in lines if n in found.data.series]
        if not present:
            continue
        trend = made.add(title.lower(), title, "", unit=unit, height=HEIGHT)
        for series, label, ink, dash in present:
            times, values = series.good()
            _curve(made, trend, times + shift, values, label, ink, dash)
        if title == "Slides" and found.replay is not None:
            demand = found.replay.outputs["capacity_demand_pct"]
            times = found.replay.time_ms[: len(demand)] + shift
            _curve(made, trend, times, demand, "capacity demand, recomputed", "--band", "dashed")
        if title == "Pressures":
            trend.limits += _limits(found)
        trend.told = f"In {unit}: {', '.join(curve.label for curve in trend.curves)}."
    if not made.columns.times:
        return None
    notable = [e for e in found.events if e.kind in _MARKS]
    notable.sort(key=lambda e: (e.kind != "trip", e.time_ms))
    kept = sorted(notable[:MARKS_AT_MOST], key=lambda e: e.time_ms)
    made.marks = [Mark(e.time_ms + shift, f"{e.kind}: {e.text}", _MARKS[e.kind]) for e in kept]
    return made


def _limits(found: Findings) -> list[Limit]:
    """Trip limits of the settings valid at the end."""
    if found.history is None:
        return []
    return [
        Limit(one.limit, f"{one.quantity} trip {one.limit:.0f} kPa", "--limit")
        for one in watched_limits(found.history.last)
        if one.kind == "trip" and one.quantity in ("discharge pressure", "suction pressure")
    ]
