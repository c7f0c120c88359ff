"""Columns of numbers packed into a page: 16 bits a value, differences, deflated, base64; `trends.js` unpacks them.

A value is kept to a 65,534th of its column's reach.  Where there are more rows than a page should carry, each stretch of
rows is kept as its lowest and its highest value in their order, so that no pulse disappears; their times are then right
to half a stretch.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROWS_AT_MOST = 60_000
LEVELS = 65_533  # from −32766 to 32767
GAP = -32768  # a nan


def extremes(y: Floats, size: int) -> Floats:
    """Two values for each stretch of `size` rows: its lowest and highest in their order; nan where it has nothing else.

    >>> extremes(np.array([1.0, 5.0, 2.0, 9.0, 3.0, np.nan]), 3).tolist()
    [1.0, 5.0, 9.0, 3.0]
    """
    stretches = -(-len(y) // size)
    padded = np.concatenate((y, np.full(stretches * size - len(y), y[-1]))).reshape(stretches, size)
    missing = np.isnan(padded)
    low_at = np.argmin(np.where(missing, np.inf, padded), axis=1)
    high_at = np.argmax(np.where(missing, -np.inf, padded), axis=1)
    rows = np.arange(stretches)
    first, second = np.minimum(low_at, high_at), np.maximum(low_at, high_at)
    return np.column_stack((padded[rows, first], padded[rows, second])).ravel()


def quantised(y: Floats) -> tuple[NDArray[np.int16], float, float]:
    """Whole numbers, and the base and the step that turn them into values: base + step · number."""
    known = y[np.isfinite(y)]
    if not len(known):
        return np.full(len(y), GAP, np.int16), 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    step = (high - low) / LEVELS
    if step == 0.0:
        return np.where(np.isfinite(y), 0, GAP).astype(np.int16), low, 1.0
    base = low + 32766.0 * step
    numbers = np.where(np.isfinite(y), np.round((y - base) / step), GAP)
    return numbers.astype(np.int16), base, step


class Columns:
    """What a page carries: time axes and columns, each named by its number."""

    def __init__(self) -> None:
        self.times: list[dict[str, Any]] = []
        self.columns: list[dict[str, Any]] = []
        self._sizes: list[int] = []  # rows of a stretch, by time axis; 1: all are kept
        self._parts: list[bytes] = []
        self._known: dict[tuple[int, bytes], int] = {}

    def time_axis(self, time_ms: Floats, rows_at_most: int = ROWS_AT_MOST) -> int:
        """A time axis, rising, in ms; of a long one a stretch becomes two rows (`bundled` tells its length)."""
        size = 1 if len(time_ms) <= rows_at_most else -(-2 * len(time_ms) // rows_at_most)
        if size > 1:
            starts = time_ms[::size]
            ends = np.append(starts[1:], time_ms[-1])
            time_ms = np.column_stack((starts, 0.5 * (starts + ends))).ravel()
        ticks = np.round(time_ms).astype(np.int64)
        steps = np.diff(ticks)
        axis: dict[str, Any] = {"n": len(ticks), "start": int(ticks[0]), "bundled": size}
        if len(steps) and steps.min() == steps.max() and steps[0] > 0:
            axis["step"] = int(steps[0])
        else:
            self._parts.append(np.diff(ticks, prepend=ticks[0]).astype("<i4").tobytes())
            axis["listed"] = True
        self.times.append({**axis, "before": len(self.columns)})
        self._sizes.append(size)
        return len(self.times) - 1

    def column(self, axis: int, data: Any) -> int:
        """A column on a time axis; the same one twice is kept once."""
        y = np.asarray(data, dtype=np.float64)
        if self._sizes[axis] > 1:
            y = extremes(y, self._sizes[axis])
        key = (axis, y.tobytes())
        if key in self._known:
            return self._known[key]
        numbers, base, step = quantised(y)
        # differences modulo 2^16, high bytes apart from low ones: both deflate better
        changes = np.diff(numbers.astype(np.int32), prepend=0).astype(np.uint16)
        self._parts.append((changes >> 8).astype(np.uint8).tobytes() + (changes & 255).astype(np.uint8).tobytes())
        self.columns.append({"axis": axis, "base": float(f"{base:.13g}"), "step": float(f"{step:.9g}")})
        self._known[key] = len(self.columns) - 1
        return len(self.columns) - 1

    def packed(self) -> str:
        """All parts in the order in which they were added."""
        return base64.b64encode(zlib.compress(b"".join(self._parts), 9)).decode("ascii")

    def as_data(self) -> dict[str, Any]:
        """For `trends.js`.  `before`: how many columns stand before a time axis in the packed bytes."""
        return {"times": self.times, "columns": self.columns}
