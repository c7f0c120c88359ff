"""What the process side keeps of the disturbances, and that every switched one restarts the two-step rule."""

from __future__ import annotations

import copy

import pytest

from plant_model.derived import Parameters
from plant_model.initial import running_state
from plant_model.process_inputs import feel_process_inputs, inputs_mark
from plant_model.state import Disturbances, PlantState

SCALARS = (
    "evaporator_open_frac",
    "condenser_fans_frac",
    "surge_kg_s",
    "strainer_fouling_frac",
    "stop_check_stuck_open_frac",
    "discharge_check_stuck_open_frac",
    "other_compressor_m3_s",
    "condenser_fouling_frac",
)


@pytest.mark.parametrize("name", SCALARS)
def test_each_scalar_moves_the_mark(name: str) -> None:
    d = Disturbances()
    before = inputs_mark(d)
    setattr(d, name, getattr(d, name) * 0.5 + 0.01)
    assert inputs_mark(d) != before


@pytest.mark.parametrize("i", range(4))
@pytest.mark.parametrize(("name", "value"), [("group_open_frac", 0.5), ("defrost", 1), ("group_load_w", 1.0e3)])
def test_each_groups_input_moves_the_mark(name: str, value: float, i: int) -> None:
    d = Disturbances()
    before = inputs_mark(d)
    getattr(d, name)[i] = value
    assert inputs_mark(d) != before


def test_the_marks_of_different_groups_differ() -> None:
    marks = set()
    for i in range(4):
        for phase in (0, 1, 2):
            d = Disturbances()
            d.defrost[i] = phase
            marks.add(inputs_mark(d))
    assert len(marks) == 1 + 4 * 2


def test_the_state_keeps_what_closing_needs(p: Parameters) -> None:
    d = Disturbances(strainer_fouling_frac=0.5, other_compressor_m3_s=0.07)
    s = PlantState()
    feel_process_inputs(s, d)
    assert (s.suction.strainer_fouling_frac, s.vessel.other_m3_s) == (0.5, 0.07)
    running = running_state(p, Disturbances(strainer_fouling_frac=0.5), 290.64e3)
    assert copy.deepcopy(running).suction.strainer_fouling_frac == 0.5
