"""Fewer points without losing a peak: of each stretch of rows, the lowest and the highest stay."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POINTS = 4000


def thin(x: Floats, y: Floats, points: int = POINTS) -> tuple[Floats, Floats]:
    """At most about `points` of a curve, its first, last, and every extreme among them, in order.

    nan (a gap) is no extreme, and a stretch of nothing else stays a gap.
    """
    count = len(y)
    if count <= points:
        return x, y
    size = -(-count // max(1, points // 2 - 1))
    stretches = -(-count // size)
    padded = np.concatenate((y, np.full(stretches * size - count, y[-1]))).reshape(stretches, size)
    start = np.arange(stretches) * size
    missing = np.isnan(padded)
    low = start + np.argmin(np.where(missing, np.inf, padded), axis=1)
    high = start + np.argmax(np.where(missing, -np.inf, padded), axis=1)
    chosen = np.unique(np.minimum(np.concatenate(([0, count - 1], low, high)), count - 1))
    return x[chosen], y[chosen]


def join_spans(spans: list[tuple[int, int]], limit: int = POINTS) -> list[tuple[int, int]]:
    """At most `limit` spans, by joining those with the shortest gaps between: none disappears."""
    if len(spans) <= limit:
        return spans
    gaps = np.array([after[0] - before[1] for before, after in pairwise(spans)])
    kept = set(np.argsort(-gaps, kind="stable")[: limit - 1].tolist())
    out = [spans[0]]
    for k, span in enumerate(spans[1:]):
        if k in kept:
            out.append(span)
        else:
            out[-1] = (out[-1][0], span[1])
    return out
