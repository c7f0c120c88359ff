"""How far the clocks of two files are apart, by cross-correlation of what both of them see.

The changes of the same quantity (or of two that move together: current and power, running contact and current) are
compared at every shift; the shift with the best correlation counts if it is good and clearly the best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from scenarios.logged_data.records import Floats, Series, Times

WIDEST_MS = 3 * 3_600_000  # also finds a zone or summer time that was not told
POINTS_AT_MOST = 200_000
LEAST_CORRELATION = 0.5
CLEARLY = 1.15  # times the best one elsewhere
PAIRS = (
    ("motor_current_a", "motor_power_kw"), ("motor_running", "motor_current_a"), ("motor_running", "motor_power_kw"),
    ("motor_running", "motor_run"), ("discharge_pressure_kpa_abs", "oil_pressure_kpa_abs"),
    ("oil_pressure_kpa_abs", "oil_pressure_before_filter_kpa_abs"), ("capacity_position_pct",
    "capacity_position_opposite_pct"),
    ("capacity_position_pct", "motor_current_a"), ("suction_pressure_kpa_abs", "suction_pressure_kpa_abs"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Skew:
    """offset_ms: to add to the second file's times; uncertainty_ms: ±; by: the signals compared."""

    offset_ms: int
    uncertainty_ms: int
    correlation: float
    by: str


def _grid(series: Series, start_ms: int, step_ms: int, count: int) -> Floats:
    times = start_ms + step_ms * np.arange(count, dtype=np.int64)
    held, _ = series.held(times)
    known = np.isfinite(held)
    if not known.any():
        return np.zeros(count)
    held[: int(np.argmax(known))] = held[int(np.argmax(known))]
    return held


def skew_between(first: Series, second: Series, widest_ms: int = WIDEST_MS) -> Skew | None:
    """The shift of the second series that fits the first best; None if none fits clearly."""
    (t1, _), (t2, _) = first.good(), second.good()
    if len(t1) < 20 or len(t2) < 20:
        return None
    start_ms, end_ms = int(min(t1[0], t2[0])), int(max(t1[-1], t2[-1]))
    if min(t1[-1], t2[-1]) + widest_ms < max(t1[0], t2[0]):
        return None
    step_ms = max(500, int(max(_usual(t1), _usual(t2)) // 2), (end_ms - start_ms) // POINTS_AT_MOST + 1)
    count = (end_ms - start_ms) // step_ms + 1
    if count < 40:
        return None
    a = _changes(_grid(first, start_ms, step_ms, count))
    b = _changes(_grid(second, start_ms, step_ms, count))
    norm = float(np.sqrt(np.dot(a, a) * np.dot(b, b)))
    if norm <= 0.0:
        return None
    whole = fftconvolve(a, b[::-1]) / norm
    middle = len(b) - 1
    reach = min(int(widest_ms // step_ms), middle, len(whole) - 1 - middle)
    near = whole[middle - reach : middle + reach + 1]
    best = int(np.argmax(near))
    top = float(near[best])
    apart = max(3, int(10_000 // step_ms), int(4 * max(_usual(t1), _usual(t2)) // step_ms))
    elsewhere = np.concatenate([near[: max(0, best - apart)], near[best + apart + 1 :]])
    other = float(elsewhere.max()) if len(elsewhere) else 0.0
    if top < LEAST_CORRELATION or top < CLEARLY * other:
        return None
    shift = float(best - reach)
    if 0 < best < len(near) - 1:  # the top of a parabola through three points
        left, right = float(near[best - 1]), float(near[best + 1])
        bend = left - 2.0 * top + right
        shift += 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    uncertainty = max(step_ms, int(0.5 * (_usual(t1) + _usual(t2))))
    return Skew(round(shift * step_ms), int(uncertainty), top, f"{first.name} against {second.name}")


def _usual(times: Times) -> float:
    return float(np.median(np.diff(times))) if len(times) > 1 else 0.0


def _changes(values: Floats) -> Floats:
    """Standardised changes over a few steps: levels and slow drift say nothing of a clock; single spikes count less."""
    width = 4
    smooth = np.convolve(values, np.ones(width) / width, mode="same")
    out = np.diff(smooth, prepend=smooth[:1])
    out[:width] = out[-width:] = 0.0
    scale = float(np.std(out))
    if scale > 0.0:
        out = np.clip(out / scale, -8.0, 8.0)
    return np.asarray(out - out.mean(), dtype=np.float64)


def best_skew(reference: dict[str, Series], other: dict[str, Series]) -> Skew | None:
    """The best shift over all that two files share, the same signal first."""
    pairs = [(n, n) for n in reference if n in other]
    pairs += [(a, b) for a, b in PAIRS if a != b and a in reference and b in other]
    pairs += [(b, a) for a, b in PAIRS if a != b and b in reference and a in other]
    found = [s for s in (skew_between(reference[a], other[b]) for a, b in pairs[:8]) if s is not None]
    return max(found, key=lambda s: s.correlation) if found else None


def skew_of_events(
    edges_ms: Times, events_ms: Times, widest_ms: int = WIDEST_MS, within_ms: int = 3000
) -> tuple[int, int] | None:
    """(offset to add to the events, ±) that puts most events on an edge of the trend; None if no shift is clearly best."""
    if len(edges_ms) < 2 or len(events_ms) < 2:
        return None
    differences = (edges_ms[:, None] - events_ms[None, :]).ravel()
    differences = np.sort(differences[np.abs(differences) <= widest_ms])
    if len(differences) < 2:
        return None
    upper = np.searchsorted(differences, differences + within_ms, side="right")
    counts = upper - np.arange(len(differences))
    best = int(np.argmax(counts))
    top = int(counts[best])
    inside = differences[best : best + top]
    rest = np.concatenate([counts[: max(0, best - top)], counts[best + top :]])
    if top < max(2, 0.6 * min(len(edges_ms), len(events_ms))) or (len(rest) and top <= int(rest.max())):
        return None
    return int(np.median(inside)), int(within_ms // 2)
