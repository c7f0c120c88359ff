"""A logged test made ready for the fit: travel on a uniform grid, pressure in bins, in one stretch or in several.

One stretch is the whole log.  With a horizon each move of the slide has its own stretch, from a little before it to the
horizon after it or to the next move, with its own start and its own load: what happens more slowly than the horizon is
then the load's business.  A plant with several lags has a different first-order process for each horizon; the one that
counts is as long as the loop is slow.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline
from scipy.signal import lfilter

Float = NDArray[np.float64]

BINS = 400  # samples are averaged down to so many, and so is the model


class Stretch:
    """Rows that are fitted with one start and one load."""

    def __init__(self, time_s: Float, travel_pct: Float, pressure_kpa: Float, per_bin: int, step_s: float) -> None:
        time_s = time_s - time_s[0]
        self.step_s, self.per_bin = step_s, per_bin
        self.grid_s = np.arange(0.0, time_s[-1] + step_s, step_s)
        still = max(1, min(5, len(time_s) // 20))
        self.u = np.interp(self.grid_s, time_s, travel_pct - float(travel_pct[:still].mean()))
        used = len(time_s) // per_bin * per_bin
        self.sample_s = time_s[:used]
        self.y = self.binned(pressure_kpa[:used])
        self.length_s = float(time_s[-1])

    def binned(self, values: Float) -> Float:
        """Means of neighbouring samples, along the first axis."""
        return np.asarray(values.reshape(-1, self.per_bin, *values.shape[1:]).mean(axis=1), dtype=np.float64)

    def response(self, dead_time_s: float, corner_1_s: float) -> Float:
        """Binned answer of 1/(s + a) to the travel, late by the dead time."""
        a, h, u = corner_1_s, self.step_s, self.u
        z = a * h
        if z < 1e-4:
            w0, w1 = h * (0.5 - z / 3.0), h * (0.5 - z / 6.0)
        else:  # exact for a straight line between two samples
            e = float(np.exp(-z))
            w1 = (1.0 - (1.0 - e) / z) / a
            w0 = (1.0 - e) / a - w1
        x = lfilter([1.0], [1.0, -float(np.exp(-z))], np.concatenate([[0.0], w0 * u[:-1] + w1 * u[1:]]))
        late = self.sample_s - dead_time_s
        curve = CubicHermiteSpline(self.grid_s, x, u - a * x)
        return self.binned(np.where(late > 0.0, curve(np.maximum(late, 0.0)), 0.0))

    def nuisance(self, corner_1_s: float, ramp: bool) -> Float:
        """Columns of start, load offset and, if asked for, load ramp."""
        t, a, length = self.sample_s, corner_1_s, self.length_s
        z = a * t
        start = np.exp(-z)
        if a * length < 1e-4:
            offset, bend = t * (1.0 - 0.5 * z), t * t * (0.5 - z / 6.0)
        else:
            offset = -np.expm1(-z) / a
            bend = (t - offset) / a
        columns = [start, offset / length, *([bend / length**2] if ramp else [])]
        return self.binned(np.column_stack(columns))


class Record:
    """One stretch or several, as one problem: slope, corner and dead time in common."""

    def __init__(self, stretches: Sequence[Stretch], starts_s: Sequence[float]) -> None:
        self.stretches = tuple(stretches)
        self.bin_s = stretches[0].step_s * stretches[0].per_bin
        self.y = np.concatenate([s.y for s in stretches])
        ends = np.cumsum([len(s.y) for s in stretches])
        self.parts = tuple((int(e) - len(s.y), int(e)) for e, s in zip(ends, stretches, strict=True))
        times = [start + s.binned(s.sample_s) for s, start in zip(stretches, starts_s, strict=True)]
        self.time_s = np.concatenate(times)
        self.length_s = max(s.length_s for s in stretches)

    def basis(self, dead_time_s: float, corner_1_s: float) -> Float:
        """First column: answer to the travel; then each stretch's own start and load."""
        alone = len(self.stretches) == 1
        own = [s.nuisance(corner_1_s, ramp=alone) for s in self.stretches]
        width = own[0].shape[1]
        out = np.zeros((len(self.y), 1 + width * len(own)))
        for k, (s, (a, b)) in enumerate(zip(self.stretches, self.parts, strict=True)):
            out[a:b, 0] = s.response(dead_time_s, corner_1_s)
            out[a:b, 1 + k * width : 1 + (k + 1) * width] = own[k]
        return out


def whole_record(time_s: Float, travel_pct: Float, pressure_kpa: Float) -> Record:
    """The log as one stretch."""
    per_bin = max(1, int(np.ceil(len(time_s) / BINS)))
    return Record([Stretch(time_s, travel_pct, pressure_kpa, per_bin, float(np.median(np.diff(time_s))))], [0.0])


def record_of_moves(
    time_s: Float, travel_pct: Float, pressure_kpa: Float, moves: Sequence[tuple[float, float]], horizon_s: float
) -> Record:
    """A stretch for every move (its first and last second), from a quarter horizon before it to a horizon after it.

    A move that begins before the stretch of the one before has lasted half its horizon belongs to that stretch.
    Raises ValueError where no stretch is long enough.
    """
    step_s = float(np.median(np.diff(time_s)))
    spans: list[list[float]] = []
    for first_s, last_s in moves:
        if spans and first_s < spans[-1][2] + 0.5 * horizon_s:
            spans[-1][1], spans[-1][2] = last_s + horizon_s, last_s
            continue
        if spans:
            spans[-1][1] = min(spans[-1][1], first_s)
        spans.append([first_s - 0.25 * horizon_s, last_s + horizon_s, last_s])
    rows = sum(int(np.count_nonzero((time_s >= a) & (time_s <= b))) for a, b, _ in spans)
    per_bin = max(1, int(np.ceil(rows / BINS)))
    found, starts = [], []
    for a, b, _ in spans:
        keep = (time_s >= a) & (time_s <= b)
        if np.count_nonzero(keep) >= 15 * per_bin:
            found.append(Stretch(time_s[keep], travel_pct[keep], pressure_kpa[keep], per_bin, step_s))
            starts.append(float(time_s[keep][0]))
    if not found:
        raise ValueError(f"no move is followed by enough rows within the horizon of {horizon_s:g} s")
    return Record(found, starts)
