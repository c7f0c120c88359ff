"""What is told of a row: units of people, finite numbers, states in words."""

from __future__ import annotations

import json

import numpy as np
import pytest

from scenarios.row import COLUMNS, INDEX, TEXTS, UNITS
from scenarios.trace import Event
from scenarios.units import find_unit
from tools.live_bench.bench import Bench
from tools.live_bench.frames import COLUMNS_SHOWN, figures_of, shown_rows, state_words, told_events


@pytest.mark.parametrize("shown", COLUMNS_SHOWN, ids=lambda one: one.name)
def test_factor_and_unit_fit_the_column(shown: object) -> None:
    """The same conversion by the project's table of units, which is checked against pint."""
    one = COLUMNS_SHOWN[[c.name for c in COLUMNS_SHOWN].index(shown.name)]  # type: ignore[attr-defined]
    inside, told = find_unit(UNITS[one.name]), find_unit(one.unit or "1")
    assert one.factor == pytest.approx(inside.factor / told.factor)
    assert one.offset == (-273.15 if one.unit == "°C" else 0.0)
    assert one.text == TEXTS[one.name]


def test_rows_are_six_figures_and_whole_times() -> None:
    rows = np.zeros((2, len(COLUMNS)))
    rows[:, INDEX["time_ms"]] = (1000, 86_400_000)
    rows[:, INDEX["suction_pressure_pa"]] = 290_640.123456
    rows[:, INDEX["oil_temperature_k"]] = 318.15
    first, second = shown_rows(rows)
    assert (first[0], second[0]) == (1000, 86_400_000)
    assert first[1] == 290.64
    assert first[[c.name for c in COLUMNS_SHOWN].index("oil_temperature_k")] == 45.0


def test_states_in_words_and_a_number_that_is_none() -> None:
    values = np.zeros(len(COLUMNS))
    assert state_words(values)["motor"] == "at rest"
    values[INDEX["mode"]], values[INDEX["motor_running"]] = 77, 1
    assert (state_words(values)["mode"], state_words(values)["motor"]) == ("unknown 77", "running")


def test_the_drives_are_not_told_as_events() -> None:
    events = [Event(5, "drive", "capacity_load", "on"), Event(7, "trip", "trip_first_out", ""), Event(9, "x", "y", "z")]
    assert told_events(events) == [[7, "trip", "trip_first_out"]]


def test_the_figures_of_a_running_machine_are_finite(bench: Bench) -> None:
    for _ in range(5):
        frame = bench.scan()
    assert frame is not None
    assert json.loads(json.dumps(frame, allow_nan=False)) == frame
    found = figures_of(bench.prepared.parameters, bench.session.values)
    assert found["loop"]["running"]
    assert found["loop"]["opening_kpa"] > 290.0
    # the shaded power is the model's own loss: what the row says, within the rounding of the figure
    row = {name: bench.session.values[INDEX[name]] for name in ("mismatch_power_w", "unavoidable_power_w")}
    assert found["loop"]["lost_kw"] == pytest.approx(sum(row.values()) / 1000.0, abs=0.15)
