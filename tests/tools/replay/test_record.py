"""The stretch of a log that is replayed, and the straight lines through what is near."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Trip
from tools.replay.record import PINNED, Record, filled, local_lines, stretch_of


def a_record(rows: int, trip_row: int = -1, running_from: int = 0) -> Record:
    measured = {name: np.full(rows, 0.5) for name in PINNED}
    none = {name: np.zeros(rows, dtype=bool) for name in PINNED}
    running = np.arange(rows) >= running_from
    if trip_row >= 0:
        running &= np.arange(rows) < trip_row
    trip = Trip.LOW_SUCTION_PRESSURE if trip_row >= 0 else Trip.NONE
    return Record(0, measured, none, none, none, {"motor_running": running}, trip=trip, trip_row=trip_row)


@given(st.floats(-5.0, 5.0), st.floats(-0.1, 0.1), st.integers(0, 2**32 - 1))
def test_a_straight_line_comes_through_local_lines_unchanged_whatever_is_missing(
    level: float, slope: float, seed: int
) -> None:
    at = np.arange(200.0)
    line = level + slope * at
    good = np.random.default_rng(seed).random(200) > 0.3
    found, rate = local_lines(np.where(good, line, 99.0), good, 6.0)
    np.testing.assert_allclose(found, line, atol=1e-6)
    np.testing.assert_allclose(rate, slope, atol=1e-6)


def test_gaps_are_bridged_and_ends_held() -> None:
    nan = np.nan
    np.testing.assert_allclose(filled(np.array([nan, 1.0, nan, 3.0, nan])), [1.0, 1.0, 2.0, 3.0, 3.0])


def test_the_stretch_ends_before_the_trip_and_begins_after_the_run_up() -> None:
    first, end = stretch_of(a_record(3000, trip_row=2500, running_from=400))
    assert first == 400 + 120
    assert 2490 <= end < 2500


def test_the_stretch_is_an_hour_at_most() -> None:
    first, end = stretch_of(a_record(9000, trip_row=8000))
    assert end - first == 3600


@pytest.mark.parametrize("running_from", [2300, 2999])
def test_too_short_a_service_is_no_stretch(running_from: int) -> None:
    assert stretch_of(a_record(3000, trip_row=2500, running_from=running_from)) == (0, 0)


def test_a_steering_signal_lost_before_the_event_ends_the_stretch_there() -> None:
    record = a_record(3000, trip_row=2500)
    record.measured["suction_pressure"][2470:] = np.nan
    assert stretch_of(record)[1] == 2470


def test_a_short_gap_is_bridged_and_a_long_one_is_not() -> None:
    record = a_record(3000, trip_row=2500)
    record.measured["suction_pressure"][1000:1200] = np.nan
    assert stretch_of(record)[0] == 0
    record.measured["suction_pressure"][1000:1400] = np.nan
    assert stretch_of(record)[0] == 1400


def test_a_missing_steering_signal_is_no_stretch() -> None:
    record = a_record(3000, trip_row=2500)
    del record.measured["capacity_position"]
    assert stretch_of(record) == (0, 0)


def test_a_part_keeps_its_trip_only_where_it_has_it() -> None:
    record = a_record(3000, trip_row=2500)
    assert record.part(0, 2500).trip is Trip.NONE
    part = record.part(2000, 2600)
    assert (part.trip, part.trip_row, part.start_ms) == (Trip.LOW_SUCTION_PRESSURE, 500, 2_000_000)


def test_the_stretch_ends_where_the_command_goes() -> None:
    record = a_record(1000, trip_row=900)
    record.change_of_value = True
    record.switches["motor_run"] = np.arange(1000) < 898  # two rows before the contact shows it
    assert stretch_of(record)[1] == 898
