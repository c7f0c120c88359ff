"""Rows whose clock is crooked."""

from __future__ import annotations

import numpy as np

from scenarios.logged_data.order import put_events_in_order, put_in_order
from scenarios.logged_data.records import NO_TIME


def lines(n: int) -> np.ndarray:  # type: ignore[type-arg]
    return np.arange(2, n + 2)


def test_a_sound_clock_is_left_alone() -> None:
    times = np.arange(0, 60_000, 1000)
    found = put_in_order(times, lines(60), True)
    assert found.issues == []
    assert np.array_equal(found.time_ms, times)
    assert (found.step_ms, found.resolution_ms) == (1000.0, 1000.0)


def test_rows_without_a_time_and_twins_are_counted() -> None:
    times = np.array([0, 1000, NO_TIME, 1000, 2000, 3000])
    found = put_in_order(times, lines(6), True)
    assert found.time_ms.tolist() == [0, 1000, 2000, 3000]
    assert found.keep.tolist() == [0, 3, 4, 5]  # of the twins the later counts
    assert [(i.kind, i.count) for i in found.issues] == [("time", 1), ("order", 1)]


def test_single_late_rows_are_sorted_in() -> None:
    times = np.array([0, 1000, 3000, 2000, 4000, 5000])
    found = put_in_order(times, lines(6), True)
    assert found.time_ms.tolist() == [0, 1000, 2000, 3000, 4000, 5000]
    assert found.keep.tolist() == [0, 1, 3, 2, 4, 5]


def test_a_clock_set_back_leaves_no_time_twice() -> None:
    times = np.concatenate([np.arange(0, 100_000, 1000), np.arange(70_000, 200_000, 1000)])
    found = put_in_order(times, lines(len(times)), True)
    assert np.all(np.diff(found.time_ms) > 0)
    assert found.keep[-1] == len(times) - 1
    assert any("goes back by 30 s" in i.text and i.line == 102 for i in found.issues) or any(
        "goes back by" in i.text for i in found.issues
    )


def test_an_hour_back_without_a_zone_is_noticed() -> None:
    times = np.concatenate([np.arange(0, 7_200_000, 10_000), np.arange(3_600_000, 9_000_000, 10_000)])
    assert put_in_order(times, lines(len(times)), False).hour_back == 722
    assert put_in_order(times, lines(len(times)), True).hour_back == 0


def test_coarse_stamps_are_spread() -> None:
    times = np.repeat(np.arange(0, 600_000, 60_000), 12)
    found = put_in_order(times, lines(120), True)
    assert np.all(np.diff(found.time_ms) == 5000)
    assert "spread evenly" in found.issues[0].text


def test_newest_first_is_turned_round() -> None:
    found = put_in_order(np.arange(50_000, 0, -1000), lines(50), True)
    assert np.all(np.diff(found.time_ms) > 0)


def test_an_event_list_keeps_every_line_and_the_order_of_ties() -> None:
    found = put_events_in_order(np.array([3000, 2000, 2000, 1000]), lines(4))
    assert found.keep.tolist() == [3, 2, 1, 0]
    assert found.time_ms.tolist() == [1000, 2000, 2000, 3000]
