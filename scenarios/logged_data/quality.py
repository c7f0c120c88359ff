"""What the samples themselves say against them: gaps, change of value only, stuck spans, values beyond NE 43."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.logged_data.records import Flags, Floats, Quality, Times
from scenarios.logged_data.signals import Signal

# times the usual step, and more than two steps: what happened in between is not known; common practice, no source
GAP_FACTOR = 5.0
UNDER_FRAC = -0.4 / 16.0  # of span: 3.6 mA, NAMUR NE 43
OVER_FRAC = 17.0 / 16.0  # of span: 21 mA, NAMUR NE 43
STUCK_LEAST_MS = 120_000
STUCK_RUNS = 40.0  # times the usual time between two changes
MOVED_OTHERS = 2  # other signals that must have moved meanwhile


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, from the last sample before it to the first after it."""

    start_ms: int
    end_ms: int


def gaps(time_ms: Times, step_ms: float) -> list[Span]:
    """Where a log of a regular step has none."""
    if step_ms <= 0.0 or len(time_ms) < 2:
        return []
    steps = np.diff(time_ms)
    return [
        Span(int(time_ms[k]), int(time_ms[k + 1]))
        for k in np.flatnonzero(steps > max(GAP_FACTOR, 2.0) * step_ms).tolist()
    ]


def is_change_of_value(time_ms: Times, values: Floats) -> bool:
    """Whether a sample is written only when the value moved: uneven steps, and hardly two equal values in a row."""
    good = np.isfinite(values)
    times, some = time_ms[good], values[good]
    if len(times) < 6:
        return False
    steps = np.diff(times)
    usual = float(np.median(steps))
    even = float(np.mean(np.abs(steps - usual) <= 0.25 * usual)) if usual else 0.0
    equal = float(np.mean(np.diff(some) == 0.0))
    return even < 0.8 and equal < 0.25


def coverage(time_ms: Times, flags: Flags, step_ms: float, start_ms: int, end_ms: int, change_of_value: bool) -> float:
    """Share of the span for which there is a believable sample."""
    good = (flags & ~np.uint8(Quality.CLOCK)) == 0
    if end_ms <= start_ms or not good.any():
        return float(good.any())
    if change_of_value or step_ms <= 0.0:
        times = time_ms[good]
        return float(times[-1] - times[0] + step_ms) / float(end_ms - start_ms + step_ms)
    return min(1.0, int(np.count_nonzero(good)) * step_ms / (end_ms - start_ms + step_ms))


def out_of_range(signal: Signal, values: Floats, low: float | None, high: float | None) -> NDArray[np.bool_]:
    """Beyond what a live loop of this span can say (low, high at 4 and 20 mA), else beyond what the thing can be."""
    with np.errstate(invalid="ignore"):
        if low is not None and high is not None and high > low:
            span = high - low
            # strictly beyond, by a thousandth of the span: a logger rounds
            return (values <= low + (UNDER_FRAC + 1e-3) * span) | (values >= low + (OVER_FRAC - 1e-3) * span)
        return (values < signal.low) | (values > signal.high)


def still_spans(time_ms: Times, values: Floats) -> list[Span]:
    """Stretches in which a signal that usually moves does not move at all."""
    good = np.flatnonzero(np.isfinite(values))
    if len(good) < 20:
        return []
    times, some = time_ms[good], values[good]
    changes = np.flatnonzero(np.diff(some) != 0.0)
    if len(changes) < 10:
        return []
    between = np.diff(times[changes])
    usual = max(
        float(np.median(between)), float(np.percentile(between, 98)) / 10.0
    )  # a level of coarse counts rests often
    at = np.concatenate([[0], changes + 1, [len(times) - 1]])
    spans = []
    for a, b in zip(at[:-1].tolist(), at[1:].tolist(), strict=True):
        length = int(times[b] - times[a])
        if length >= max(STUCK_LEAST_MS, STUCK_RUNS * usual):
            spans.append(Span(int(times[a]), int(times[b])))
    return spans


def moved(time_ms: Times, values: Floats, span: Span) -> bool:
    """Whether a signal moved within a span as it moves elsewhere: its range there is a quarter of its usual spread."""
    inside = values[(time_ms >= span.start_ms) & (time_ms <= span.end_ms)]
    inside, whole = inside[np.isfinite(inside)], values[np.isfinite(values)]
    if len(inside) < 3 or len(whole) < 20:
        return False
    low, high = np.percentile(whole[:: max(1, len(whole) // 5000)], [10, 90])
    return float(inside.max() - inside.min()) > 0.25 * max(float(high - low), 1e-12) and float(high - low) > 0.0
