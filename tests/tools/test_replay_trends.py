"""The logged night's trends: holes are holes, a log of changes has none, and the page opens at the event."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tools.replay_trends import with_holes


@given(st.lists(st.sampled_from([1000, 1000, 1000, 1000, 60_000]), min_size=20, max_size=80))
def test_every_hole_of_an_even_log_has_one_nan_and_nothing_else_changes(steps: list[int]) -> None:
    times = np.cumsum([0, *steps])
    values = np.arange(len(times), dtype=np.float64)
    found_ms, found = with_holes(times, values)
    kept = np.isfinite(found)
    assert np.array_equal(found_ms[kept], times)
    assert np.array_equal(found[kept], values)
    assert np.all(np.diff(found_ms) > 0.0)
    if np.percentile(steps, 75) == 1000:
        assert np.count_nonzero(~kept) == steps.count(60_000)


def test_a_log_of_changes_has_no_holes() -> None:
    times = np.cumsum([1000, 3000, 200_000, 1000, 90_000, 5000, 400_000, 1000])
    assert np.isfinite(with_holes(times, np.ones(8))[1]).all()
