"""The books: they balance over a start, a loaded run and a stop, and they see what is missing."""

from __future__ import annotations

import copy

import pytest

from plant_model.derived import Parameters
from plant_model.initial import stopped_state
from plant_model.ledger import energy_residual_frac, mass_residual_frac, stored_energy_j, stored_mass_kg
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances, PlantState


def start_run_stop(p: Parameters) -> tuple[PlantState, PlantState]:
    d = Disturbances(load_heat_w=350.0e3, other_compressor_m3_s=0.01, defrost=[0, 0, 1, 0])
    s = stopped_state(p, d, 330.0e3, 1.0e6)
    start = copy.deepcopy(s)
    program = (
        (50, Actuators(oil_pump=True, oil_heater=True)),
        (100, Actuators(motor_run=True, oil_pump=True)),
        (600, Actuators(motor_run=True, oil_pump=True, capacity_load=True, volume_ratio_increase=True)),
        (900, Actuators(motor_run=True, oil_pump=True, injection_cooling=True)),
        (200, Actuators(oil_heater=True)),
    )
    for steps, a in program:
        for _ in range(steps):
            assert step(p, s, d, a, 100) == 0
    return start, s


def test_books_balance_over_start_run_and_stop(p: Parameters) -> None:
    start, end = start_run_stop(p)
    assert end.ledger.compressor_kg > 30.0
    assert mass_residual_frac(p, start, end) < 1.0e-10
    assert energy_residual_frac(p, start, end) < 1.0e-10


@pytest.mark.parametrize(
    "name",
    [
        "load_j",
        "line_j",
        "shaft_j",
        "other_j",
        "melt_j",
        "oil_heater_j",
        "oil_pump_j",
        "condenser_j",
        "oil_cooler_j",
        "ambient_j",
    ],
)
def test_every_flow_over_the_border_is_in_the_balance(p: Parameters, name: str) -> None:
    start, end = start_run_stop(p)
    value_j = getattr(end.ledger, name)
    assert value_j != 0.0
    setattr(end.ledger, name, value_j * 1.001)
    assert energy_residual_frac(p, start, end) > 1.0e-8


def test_the_refrigerant_is_conserved(p: Parameters) -> None:
    start, end = start_run_stop(p)
    assert sum(stored_mass_kg(end)) == pytest.approx(sum(stored_mass_kg(start)), rel=1.0e-12)
    assert stored_energy_j(p, end) != stored_energy_j(p, start)


def test_the_books_see_a_missing_gram_and_joule(p: Parameters) -> None:
    start, end = start_run_stop(p)
    end.discharge.mass_kg += 2.0e-6 * end.ledger.compressor_kg
    assert mass_residual_frac(p, start, end) > 1.0e-6
    end.discharge.energy_j += 1.0e-5 * end.ledger.load_j
    assert energy_residual_frac(p, start, end) > 1.0e-6
