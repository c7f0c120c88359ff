"""Changes in trends as events: between which two moments each lies, and what it is called."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Trip
from scenarios.logged_data.records import LoggedData, LoggedEvent, Quality, Series
from tools.replay.edges import edge_events, logger_scan_ms


def series(name: str, times: list[int], values: list[float], cov: bool = False, slack_ms: float = 0.0) -> Series:
    return Series(
        name, np.array(times, dtype=np.int64), np.array(values, dtype=np.float64), np.zeros(len(times), dtype=np.uint8),
        0.0 if cov else 1000.0, cov, f"t.csv: {name}", slack_ms,
    )  # fmt: skip


def data_of(*some: Series) -> LoggedData:
    return LoggedData({one.name: one for one in some}, [], {}, (Path("t.csv"),))


def only(data: LoggedData) -> LoggedEvent:
    (event,) = edge_events(data)
    return event


def test_an_edge_lies_between_the_sample_before_and_the_one_that_shows_it() -> None:
    event = only(data_of(series("motor_running", [0, 1000, 2000, 3000], [1, 1, 0, 0], slack_ms=300.0)))
    assert (event.time_ms, event.earliest_ms, event.latest_ms) == (2000, 700, 2300)
    assert (event.kind, event.state, event.text) == ("motor", "off", "motor running off")


def test_a_sample_that_is_not_to_be_believed_widens_the_edge() -> None:
    one = series("motor_running", [0, 1000, 2000, 3000], [1, 0, 0, 0])
    one.quality[1] = np.uint8(Quality.NOT_A_NUMBER)
    event = only(data_of(one))
    assert (event.earliest_ms, event.latest_ms) == (0, 2000)


def test_on_change_of_value_an_edge_is_as_wide_as_the_loggers_scan() -> None:
    """The row before may be an hour old: the logger looked since, every 2 s, and saw no change."""
    steps = np.cumsum(np.random.default_rng(3).integers(1, 9, 60)) * 2000 + 16_500
    analog = series("suction_pressure_kpa_abs", steps.tolist(), list(np.arange(60.0)), cov=True)
    contact = series("motor_running", [16_500, int(steps[30])], [1, 0], cov=True)
    event = only(data_of(analog, contact))
    assert event.latest_ms == steps[30]
    assert event.latest_ms - event.earliest_ms == 2000


def test_few_stamps_tell_their_own_grain_and_no_more() -> None:
    """Three stamps by chance seven minutes apart do not make a logger that looks every seven minutes."""
    contact = series("motor_running", [60_000, 480_000, 900_000], [1, 0, 1], cov=True)
    assert logger_scan_ms(data_of(contact), contact) == 60_000
    contact = series("motor_running", [60_010, 480_000, 900_000], [1, 0, 1], cov=True)
    assert logger_scan_ms(data_of(contact), contact) == 10


@given(
    scan_ms=st.sampled_from([100, 500, 1000, 2000, 5000]),
    steps=st.lists(st.integers(1, 50), min_size=25, max_size=60),
    offset=st.integers(0, 99_999),
)
def test_the_true_moment_is_never_outside_the_edge(scan_ms: int, steps: list[int], offset: int) -> None:
    """Whatever the stamps: a change that the logger's scan saw first lies within (earliest, latest]."""
    stamps = (np.cumsum(steps) * scan_ms + offset).tolist()
    analog = series("suction_pressure_kpa_abs", stamps, list(np.arange(float(len(stamps)))), cov=True)
    contact = series("motor_running", [stamps[0], stamps[12]], [1, 0], cov=True)
    event = only(data_of(analog, contact))
    assert event.earliest_ms <= stamps[12] - scan_ms < event.latest_ms == stamps[12]


def test_bits_of_a_trip_word_are_events_of_their_own() -> None:
    both = (1 << int(Trip.HIGH_DISCHARGE_PRESSURE)) | (1 << int(Trip.FAILED_START))
    found = edge_events(data_of(series("trip_word", [0, 1000, 2000], [0, both, 1 << int(Trip.FAILED_START)])))
    assert [(e.name, e.state, e.time_ms) for e in found] == [
        ("HIGH_DISCHARGE_PRESSURE", "on", 1000), ("FAILED_START", "on", 1000), ("HIGH_DISCHARGE_PRESSURE", "off", 2000),
    ]  # fmt: skip


def test_a_set_point_that_creeps_is_no_event_and_one_that_jumps_is() -> None:
    creeping = series("suction_set_point_kpa_abs", [0, 1000, 2000], [290.0, 290.4, 290.8])
    assert edge_events(data_of(creeping)) == []
    event = only(data_of(series("suction_set_point_kpa_abs", [0, 1000], [290.0, 305.0])))
    assert (event.kind, event.text) == ("setting", "suction set point 290.0 → 305.0 kPa abs")


def test_the_chain_is_told_by_what_it_does_and_not_by_its_contact() -> None:
    event = only(data_of(series("safety_chain_closed", [0, 1000], [1, 0])))
    assert (event.state, event.text) == ("on", "hard-wired safety chain opened")
