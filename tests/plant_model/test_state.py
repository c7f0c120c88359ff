"""The records: fixed layouts, and a round trip through memory."""

from __future__ import annotations

import copy

import pytest

from plant_model.derived import Parameters
from plant_model.initial import running_state
from plant_model.plant import step
from plant_model.state import CHANNELS, Actuators, Disturbances, PlantState, Readings
from scenarios.records import dtype_of, from_record, to_array


@pytest.mark.parametrize("kind", [Actuators, Disturbances, PlantState, Readings])
def test_records_have_a_c_layout_and_come_back(kind: type) -> None:
    assert dtype_of(kind).isalignedstruct
    assert from_record(kind, to_array(kind())[0]) == kind()


def test_lists_have_a_place_for_each_channel() -> None:
    for values in (Readings().milliamp, Disturbances().fault_kind, PlantState().noise, PlantState().lagged):
        assert len(values) == CHANNELS


def test_a_copy_of_the_state_is_a_snapshot(p: Parameters) -> None:
    d, a = Disturbances(), Actuators(motor_run=True, oil_pump=True, capacity_load=True)
    s = running_state(p, d, 290.64e3)
    for _ in range(7):
        assert step(p, s, d, a, 100) == 0
    saved = from_record(PlantState, to_array(s)[0])
    other = copy.deepcopy(s)
    for state in (s, saved, other):
        for _ in range(50):
            assert step(p, state, d, a, 100) == 0
    assert s == saved == other
