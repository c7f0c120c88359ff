"""Units, states and settings of formulas: what fits, what a bare quantity means, and what is refused where."""

from __future__ import annotations

import numpy as np
import pytest

from scenarios.row import COLUMNS, FORMS
from tests.tools.verification.bench import SETTINGS, trace, truth
from tools.verification.sorts import column_sort, columns, find_setting
from tools.verification.syntax import FormulaError
from tools.verification.terms import check_definition, check_truth


@pytest.mark.parametrize(
    ("text", "at", "words"),
    [
        ("suction_pressure > 3 K", 0, "compares a pressure with a temperature"),
        ("mode > RUN_UP", 0, "states have no order"),
        ("mode == AUTO", 8, 'did you mean "AUTOMATIC"'),
        ("suction_pressure + discharge_pressure > 3 kPa", 0, "the sum of two pressures"),
        ("oil_differential - suction_pressure > 3 kPa", 0, "means nothing"),
        ("oil_differential > suction_pressure", 0, "with a pressure difference"),
        ("suction > 3 kPa", 0, 'there is no column "suction"'),
        ("rise(motor_current)", 5, "something that holds"),
        ("rise(motor_run, oil_pump)", 0, "takes 1 parts, not 2"),
        ("always[5 s, 2 s] motor_run", 12, "a window ends before it begins"),
        ("motor_run until[-1 s, 2 s] oil_pump", 16, "a window begins before its own scan"),
        ("always[0 s, mode] motor_run", 12, "a number is expected"),
        ("always[0 s, 5 kPa] motor_run", 12, "but a time is expected"),
        ("always[0 s, age(motor_run)] motor_run", 12, "must be a quantity or a setting"),
        ("suction_pressure > 2 psig", 19, "barometric pressure is not known"),
        ("suction_pressure > 2 bar", 19, "does not say gauge or absolute"),
        ("suction_pressure > 3 furlong", 19, "do not know the unit"),
        ("suction_pressure > 3 blorks", 19, "is no unit"),
        ("suction_pressure > 3", 0, "compares a pressure with a number"),
        ("oil_differential > 20 °C", 0, "compares a pressure difference with a temperature"),
        ("discharge_temperature - oil_temperature > 5 °C", 0, "temperature difference"),
        ("motor_run > 3", 0, "cannot be compared with a number"),
        ("{common.sequence.run} > 3 s", 0, 'did you mean "run_up"'),
        ("{common.sequence} > 3 s", 0, "names a group"),
        ("{pi.proportional_band} > 3 kPa", 0, "begin with common"),
        ("{common.capacity.nothing} > 3", 0, "there is no"),
        ("foo(3)", 0, "no function"),
        ("event(3 s)", 0, "event takes the name"),
        ("FOO in trip_word", 0, "a trip's cause is expected"),
        ("STOP_BUTTON in mode", 0, "no word of causes"),
        ("trip_word > 0", 0, "words of causes have no order"),
        ("motor_current in (RUN_UP)", 0, "only states"),
        ("suction_pressure", 0, "something that holds"),
        ("age(motor_run) > 3", 0, "compares a time with a number"),
        ("suction_pressure * motor_current > 3", 0, "a unit that formulas do not know"),
    ],
)
def test_what_does_not_fit_is_refused_at_its_place(text: str, at: int, words: str) -> None:
    with pytest.raises(FormulaError) as caught:
        check_truth(text, {})
    assert words in caught.value.message
    assert caught.value.at == at


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("discharge_temperature > 26 °C", True),
        ("discharge_temperature > 300.1 K", False),
        ("discharge_temperature - oil_temperature >= 10 K", True),
        ("discharge_temperature >= oil_temperature + 10 K", True),
        ("oil_temperature + 10 K <= discharge_temperature", True),
        ("suction_pressure + 2 kPa > 3.01 bar(a)", True),
        ("suction_pressure - 1 kPa < 300 kPa", True),
        ("discharge_pressure / suction_pressure >= 4", True),
        ("0.25 * discharge_pressure == suction_pressure", True),
        ("motor_current <= 110 % * {common.motor.full_load_current}", True),
        ("capacity_travel == 50 % and capacity_travel_frac == 0.5", True),
        ("min(motor_current, 5 A) == 5 A and max(5 A, motor_current) == 100 A", True),
        ("abs(oil_temperature - discharge_temperature) == 10 K", True),
        ("-motor_current < -99 A", True),
        ("motor_power > 0.09 MW", True),
        ("{common.protection.classes.motor_overload} == immediate_stop", True),
        ("{common.slide_watch.opposite_fitted} != OFF", True),
        ("{common.volume_ratio.drive.backlash} == 0 %", True),
    ],
)
def test_what_a_quantity_means_follows_from_what_stands_beside_it(text: str, holds: bool) -> None:
    run = trace(
        3, discharge_temperature_k=300.0, oil_temperature_k=290.0, suction_pressure_pa=300e3, motor_power_w=1e5,
        discharge_pressure_pa=1.2e6, motor_current_a=100.0, capacity_travel_frac=0.5,
    )  # fmt: skip
    assert np.all(truth(text, run).holds == holds)


def test_every_column_has_a_sort_and_two_names() -> None:
    names = columns()
    for column in COLUMNS:
        assert names[column] == column
        assert (column_sort(column).kind == "truth") is (FORMS[column] is bool)
    assert names["suction_pressure"] == "suction_pressure_pa"
    assert names["capacity_travel"] == "capacity_travel_frac"


def test_a_setting_is_read_in_the_trace_unit() -> None:
    expected = {
        "common.protection.high_discharge_temperature_trip": 105.0 + 273.15,
        "common.protection.high_discharge_pressure_trip": 1.7e6,
        "common.sequence.run_up": 20_000.0,
        "common.sequence.start_limit": 0.05,
        "common.sequence.starts_per_hour": 3.0,
    }
    for name, value in expected.items():
        assert find_setting(name).value(SETTINGS) == pytest.approx(value, rel=1e-12)


def test_a_definition_may_not_take_a_name_that_is_there() -> None:
    known = {"late": check_definition("late", "age(motor_run) > 1 s", {})}
    assert check_truth("late and not late", known).columns() == ["motor_run"]
    for name in ("mode", "rise"):
        with pytest.raises(FormulaError, match="already"):
            check_definition(name, "motor_run", {})
