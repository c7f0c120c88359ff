"""What a Python controller may put out: every usual value passes, everything else is told by its field."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Mode, Outputs, Trip
from scenarios.python_outputs import output_check

check = output_check(Outputs)


def told(**values: Any) -> str:
    outputs = Outputs()
    for name, value in values.items():
        setattr(outputs, name, value)
    wrong = check(outputs)
    return "" if wrong is None else str(wrong)


@pytest.mark.parametrize("value", [True, False, 0, 1, np.True_, np.bool_(0), np.int64(1)])
def test_what_a_bool_takes(value: Any) -> None:
    assert told(oil_pump=value) == ""


@pytest.mark.parametrize("value", ["off", "", "True", None, 2, -1, 1.0, 0.5, [], [1], np.array([True, False]), 10**30])
def test_any_other_truth_is_refused(value: Any) -> None:
    assert told(motor_run=value).startswith("outputs.motor_run = ")
    assert told(motor_run=value).endswith("is neither True nor False")


@pytest.mark.parametrize("value", [0, 12.5, -3, np.float64(4.0), np.float32(0.5), np.int16(7)])
def test_what_a_number_takes(value: Any) -> None:
    assert told(capacity_demand_pct=value) == ""


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, np.nan, "12", None, 1j, True, np.array([1.0]), {}])
def test_what_is_no_finite_real_number_is_refused(value: Any) -> None:
    for name in ("capacity_demand_pct", "suction_set_point_kpa_abs"):
        assert told(**{name: value}) == f"outputs.{name} = {value!r} is no finite number"


@pytest.mark.parametrize("value", [Mode.AUTOMATIC, int(Mode.TRIPPED), np.int64(0), 99])
def test_a_state_may_be_its_number_and_one_that_nobody_knows_is_for_the_contract_suite(value: Any) -> None:
    assert told(mode=value) == ""


@pytest.mark.parametrize("value", ["AUTOMATIC", True, 1.5, 1.0, 0j, None, [], 10**30])
def test_what_is_no_state_is_refused(value: Any) -> None:
    assert told(mode=value) == f"outputs.mode = {value!r} is no Mode"


@pytest.mark.parametrize(("value", "good"), [(1 << Trip.SIGNAL_LOST, True), (2**63, False), (1.0, False), ("1", False)])
def test_words_are_whole_numbers_of_64_bits(value: Any, good: bool) -> None:
    assert (told(trip_word=value) == "") == good


@given(st.sampled_from(list(Outputs.__dataclass_fields__)), st.one_of(st.text(), st.none(), st.complex_numbers()))
def test_no_field_takes_a_text_or_nothing(name: str, value: Any) -> None:
    assert told(**{name: value}).startswith(f"outputs.{name} = ")


def test_a_long_value_is_shortened() -> None:
    assert len(told(oil_pump="x" * 5000)) < 200
