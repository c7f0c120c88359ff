"""A lane may lose gaps, but no pulse."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from tools.report.thinning import join_spans


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
