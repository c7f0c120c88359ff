"""Samples as a logger wrote them on rows of one second."""

from __future__ import annotations

import numpy as np

from tools.replay.gridding import on_grid


def test_regular_samples_are_joined_and_a_gap_is_not_believed() -> None:
    at = np.array([0, 5, 10, 100, 105]) * 1000
    values, frozen = on_grid(at, np.array([0.0, 5.0, 10.0, 100.0, 105.0]), 0, 106, False, 5000.0)
    np.testing.assert_allclose(values[:11], np.arange(11.0))
    assert np.isnan(values[20:90]).all()
    np.testing.assert_allclose(values[100:], np.arange(100.0, 106.0))
    assert not frozen.any()


def test_on_change_of_value_the_last_one_is_held() -> None:
    values, _ = on_grid(np.array([0, 40_000]), np.array([1.0, 2.0]), 0, 60, True, 0.0)
    assert (values[:40] == 1.0).all()
    assert (values[40:] == 2.0).all()


def test_a_signal_that_stands_for_a_minute_is_frozen() -> None:
    at = np.arange(200) * 1000
    live = np.random.default_rng(3).normal(size=200)
    live[80:160] = live[80]
    _, frozen = on_grid(at, live, 0, 200, False, 1000.0)
    assert frozen[80:160].all()
    assert not frozen[:80].any()


def test_nothing_logged_is_nothing_believed() -> None:
    values, frozen = on_grid(np.zeros(0, dtype=np.int64), np.zeros(0), 0, 10, False, 1000.0)
    assert np.isnan(values).all()
    assert not frozen.any()
