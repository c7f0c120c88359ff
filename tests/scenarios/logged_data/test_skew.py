"""Clocks of two files, put together by what both see."""

from __future__ import annotations

import numpy as np
import pytest

from scenarios.logged_data.records import Series
from scenarios.logged_data.skew import skew_between, skew_of_events


def series(shift_ms: int, step_ms: int, seed: int, name: str = "motor_current_a") -> Series:
    truth = np.random.default_rng(1)
    changes = np.cumsum(truth.exponential(60_000, 200))
    levels = truth.uniform(100, 300, 201)
    times = np.arange(0, 7_200_000, step_ms, dtype=np.int64)
    values = levels[np.searchsorted(changes, times)] + np.random.default_rng(seed).normal(0, 2, len(times))
    return Series(name, times - shift_ms, values, np.zeros(len(times), dtype=np.uint8), float(step_ms), False, "x")


@pytest.mark.parametrize("shift_ms", [0, 17_400, -63_000, 3_600_000, -3_605_000])
@pytest.mark.parametrize("steps", [(1000, 1000), (1000, 5000), (2000, 7000)])
def test_a_shift_is_found_within_its_uncertainty(shift_ms: int, steps: tuple[int, int]) -> None:
    found = skew_between(series(0, steps[0], 2), series(shift_ms, steps[1], 3))
    assert found is not None
    assert abs(found.offset_ms - shift_ms) <= found.uncertainty_ms
    assert found.uncertainty_ms <= sum(steps)


def test_two_unrelated_signals_give_no_shift() -> None:
    draw = np.random.default_rng(9)
    other = series(0, 1000, 2)
    other.values = np.cumsum(draw.standard_normal(len(other.values)))
    assert skew_between(series(0, 1000, 2), other) is None


def test_events_against_edges() -> None:
    edges = np.array([10_000, 400_000, 910_000, 2_000_000])
    found = skew_of_events(edges, edges - 17_000 + np.array([300, -200, 100, 0]))
    assert found is not None
    assert abs(found[0] - 17_000) <= found[1]
    assert skew_of_events(edges, np.array([5, 99_000, 777_000])) is None
