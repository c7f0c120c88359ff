"""Fewer stretches of time without losing one."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

SPANS = 12_000


def join_spans(spans: list[tuple[int, int]], limit: int = SPANS) -> list[tuple[int, int]]:
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
