"""Exact step functions out of rows and events."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Inhibit, Mode, Trip
from scenarios.row import COLUMNS, INDEX
from scenarios.steps import both, number_of, steps
from scenarios.trace import Trace, edge_events


def _trace(edges: list[tuple[int, str, float, float]], end_ms: int = 10_000, **first: float) -> Trace:
    time_ms = np.arange(0, end_ms + 1, 1000, dtype=np.float64)
    values = {name: np.zeros(len(time_ms)) for name in COLUMNS} | {"time_ms": time_ms}
    for name, value in first.items():
        values[name][:] = value
    table = np.array([(t, INDEX[c], old, new) for t, c, old, new in edges]).reshape(-1, 4)
    return Trace(values, edge_events(table))


def test_a_pulse_between_two_rows_is_seen() -> None:
    trace = _trace([(1200, "capacity_load", 0, 1), (1500, "capacity_load", 1, 0)])
    assert trace["capacity_load"].max() == 0.0  # no row saw it
    assert steps(trace, "capacity_load").spans_ms() == [(1200, 1500)]
    assert steps(trace, "capacity_load").on_ms(0, 1300) == 100


def test_what_is_on_before_the_first_scan_has_no_rise() -> None:
    trace = _trace([(4000, "motor_run", 1, 0), (6000, "motor_run", 0, 1)], motor_run=1.0)
    run = steps(trace, "motor_run")
    assert run.rises_ms().tolist() == [6000]
    assert run.spans_ms() == [(0, 4000), (6000, 10_000)]


def test_what_is_switched_on_in_the_first_scan_rises_there() -> None:
    trace = _trace([(0, "motor_run", 0, 1), (4000, "motor_run", 1, 0), (6000, "motor_run", 0, 1)], motor_run=1.0)
    run = steps(trace, "motor_run")
    assert run.rises_ms().tolist() == [0, 6000]
    assert run.falls_ms().tolist() == [4000]
    assert run.spans_ms() == [(0, 4000), (6000, 10_000)]


def test_without_events_the_rows_are_used() -> None:
    trace = _trace([])
    trace["motor_run"][3:5] = 1.0
    assert steps(trace, "motor_run").spans_ms() == [(3000, 5000)]


@given(st.lists(st.integers(0, 2**20 - 1).map(lambda bits: 2 * bits), min_size=1, max_size=8))
def test_words_come_back_from_the_text_of_events(words: list[int]) -> None:
    """Causes and bits without a name alike; bit 0 is no cause (Trip.NONE) and is never set."""
    edges = [(1000 * k + 100, "alarm_word", -1.0, float(word)) for k, word in enumerate(words)]
    held = steps(_trace(edges), "alarm_word")
    assert held.values.tolist()[1:] == words


@pytest.mark.parametrize(("column", "form"), [("mode", Mode), ("inhibit", Inhibit), ("trip_first_out", Trip)])
def test_states_come_back_from_the_text_of_events(column: str, form: type[Mode]) -> None:
    for member in form:
        event = edge_events(np.array([[0.0, INDEX[column], 0.0, float(member)]]))[0]
        assert number_of(column, event.text) == int(member)


def test_a_state_that_nobody_knows_comes_back_too() -> None:
    event = edge_events(np.array([[0.0, INDEX["mode"], 0.0, 77.0]]))[0]
    assert number_of("mode", event.text) == 77


def test_both_is_the_overlap() -> None:
    trace = _trace(
        [
            (1000, "capacity_load", 0, 1),
            (3000, "capacity_load", 1, 0),
            (2500, "capacity_unload", 0, 1),
            (4000, "capacity_unload", 1, 0),
        ]
    )
    assert both(steps(trace, "capacity_load"), steps(trace, "capacity_unload")).spans_ms() == [(2500, 3000)]
