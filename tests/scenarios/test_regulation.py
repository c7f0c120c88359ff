"""Settling and the minimum-variance index."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from scenarios.regulation import harris_index, settling_times


@pytest.mark.parametrize(
    ("phi", "delay", "index"),
    [(0.9, 3, 0.46856), (0.9, 1, 0.190), (0.95, 5, 0.40126), (0.8, 2, 0.5904)],
)
def test_harris_index_of_a_first_order_disturbance(phi: float, delay: int, index: float) -> None:
    """Source: published_checks §5, Harris 1989, closed form 1 − φ^(2b), tolerance 0.01."""
    noise = np.random.default_rng(1).standard_normal(400_000)
    found = harris_index(lfilter([1.0], [1.0, -phi], noise), delay)
    assert found == pytest.approx(index, abs=0.01)
    assert 1.0 - phi ** (2 * delay) == pytest.approx(index, abs=5e-4)


def test_harris_index_of_white_noise_is_one_and_a_constant_has_none() -> None:
    assert harris_index(np.random.default_rng(2).standard_normal(100_000), 3) == pytest.approx(1.0, abs=0.01)
    assert harris_index(np.full(1000, 3.0), 3) is None
    assert harris_index(np.arange(50.0), 3) is None


def test_harris_index_stands_a_smooth_signal() -> None:
    """A pure sine is singular for AR(20): the index must still be a number between 0 and 1."""
    found = harris_index(np.sin(np.arange(5000) / 40.0), 3)
    assert found is not None
    assert 0.0 <= found < 1e-3


def test_settling_is_the_last_time_outside_the_band() -> None:
    time_ms = np.arange(0.0, 100_001.0, 1000.0)
    deviation_k = np.zeros(101)
    deviation_k[12:31] = -2.0  # outside until 30 s, back at 31 s
    deviation_k[20] = 0.5
    (only,) = settling_times(time_ms, deviation_k, [(10_000, "step")], 1.0)
    assert (only.settling_s, only.settled) == (21.0, True)


def test_settling_ends_with_the_next_disturbance_or_the_run() -> None:
    time_ms = np.arange(0.0, 100_001.0, 1000.0)
    deviation_k = np.zeros(101)
    deviation_k[10:60] = 3.0
    deviation_k[90:] = 3.0
    noted = [(10_000, "one"), (10_000, "two"), (40_000, "three"), (80_000, "four"), (200_000, "after the end")]
    found = settling_times(time_ms, deviation_k, noted, 1.0)
    assert [item.text for item in found] == ["one; two", "three", "four"]
    assert [(item.settling_s, item.settled) for item in found] == [(30.0, False), (20.0, True), (20.0, False)]
