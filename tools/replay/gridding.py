"""From samples as a logger wrote them to one row a second."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tools.replay.record import GRID_MS, Floats, Marks

Times = NDArray[np.int64]
FROZEN_S = 60.0  # without one count of change, while noise moves a live signal every few samples
FROZEN_SAMPLES = 6
GAP_FACTOR = 6.0  # times the usual distance of samples: longer is a gap, and nothing is believed in it


def on_grid(
    time_ms: Times, values: Floats, start_ms: int, rows: int, change_of_value: bool, usual_ms: float
) -> tuple[Floats, Marks]:
    """(values a second, NaN in gaps; where the signal was frozen) of good samples in rising time.

    Regular samples are joined by straight lines; on change of value the last one is held, which is within the logger's
    dead band.  A gap is more than six usual distances, and ten minutes on change of value.
    """
    grid_ms = start_ms + GRID_MS * np.arange(rows, dtype=np.int64)
    out = np.full(rows, np.nan)
    frozen = np.zeros(rows, dtype=bool)
    if not len(time_ms):
        return out, frozen
    place = np.searchsorted(time_ms, grid_ms, side="right") - 1
    known = place >= 0
    longest_ms = 600_000.0 if change_of_value else GAP_FACTOR * max(usual_ms, float(GRID_MS))
    if change_of_value:
        out[known] = values[place[known]]
        fresh = grid_ms - time_ms[np.maximum(place, 0)] <= longest_ms
    else:
        out = np.interp(grid_ms, time_ms, values)
        exact = known & (time_ms[np.maximum(place, 0)] == grid_ms)
        following = np.minimum(place + ~exact, len(time_ms) - 1)  # a row on a sample is that sample
        step_ms = time_ms[following] - time_ms[np.maximum(place, 0)]
        fresh = (step_ms <= longest_ms) & (grid_ms <= time_ms[-1] + longest_ms)
    out[~(known & fresh)] = np.nan
    for first, last in _still(values):
        span_s = (time_ms[last] - time_ms[first]) / 1000.0
        samples = last - first + 1
        enough = samples >= 3 and span_s >= 4.0 * FROZEN_S if change_of_value else samples >= FROZEN_SAMPLES
        if enough and span_s >= FROZEN_S:
            frozen |= (grid_ms >= time_ms[first]) & (grid_ms <= time_ms[last])
    return out, frozen


def _still(values: Floats) -> list[tuple[int, int]]:
    """First and last place of every run of equal values."""
    ends = np.flatnonzero(np.diff(values) != 0.0)
    firsts = np.concatenate([[0], ends + 1])
    lasts = np.concatenate([ends, [len(values) - 1]])
    return [(int(a), int(b)) for a, b in zip(firsts, lasts, strict=True) if b > a]
