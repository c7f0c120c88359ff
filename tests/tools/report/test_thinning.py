"""A curve may lose points, but no peak; a lane may lose gaps, but no pulse."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.report.thinning import POINTS, join_spans, thin


@given(st.integers(1, 20_000), st.integers(4, 500), st.integers(0, 2**32 - 1))
def test_extremes_and_ends_stay(count: int, points: int, seed: int) -> None:
    x = np.arange(count) * 100.0
    y = np.random.default_rng(seed).standard_normal(count)
    fewer_x, fewer_y = thin(x, y, points)
    assert len(fewer_x) <= max(points + 2, 6)
    assert fewer_y.min() == y.min()
    assert fewer_y.max() == y.max()
    assert (fewer_x[0], fewer_x[-1]) == (x[0], x[-1])
    assert np.all(np.diff(fewer_x) > 0)
    assert np.isin(fewer_x, x).all()


@pytest.mark.parametrize("place", [0, 1, 43_210, 86_399, 86_400])
def test_one_row_in_a_day_is_seen_in_both_directions(place: int) -> None:
    x, y = np.arange(86_401) * 1000.0, np.zeros(86_401)
    for height in (1.0, -1.0):
        y[place] = height
        fewer_x, fewer_y = thin(x, y)
        assert len(fewer_x) <= POINTS + 2
        assert fewer_x[np.flatnonzero(fewer_y == height)].tolist() == [x[place]]


def test_a_gap_stays_a_gap() -> None:
    y = np.ones(20_000)
    y[5000:15_000] = np.nan
    y[2000] = 3.0
    fewer_x, fewer_y = thin(np.arange(20_000.0), y, 400)
    assert np.isnan(fewer_y[(fewer_x > 5100) & (fewer_x < 14_900)]).all()
    assert np.nanmax(fewer_y) == 3.0
    assert len(fewer_y) <= 402


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(1, 50)), min_size=1, max_size=200), st.integers(1, 50))
def test_joined_spans_cover_every_pulse(pairs: list[tuple[int, int]], limit: int) -> None:
    spans, at = [], 0
    for gap, length in pairs:
        spans.append((at + gap, at + gap + length))
        at += gap + length
    joined = join_spans(spans, limit)
    assert len(joined) <= limit
    assert all(any(a <= start and end <= b for a, b in joined) for start, end in spans)
    assert all(before[1] < after[0] for before, after in pairwise(joined))
    if len(spans) <= limit:
        assert joined == spans
