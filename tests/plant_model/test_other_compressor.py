"""The other compressor on the header."""

from __future__ import annotations

import copy

import pytest

from plant_model.derived import Parameters
from plant_model.initial import running_state, stopped_state
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.other_compressor import other_flow_kg_s, other_work_j_kg
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances

RUNNING = Actuators(motor_run=True, oil_pump=True)


def test_its_flow_and_work(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.640e3, 1349.992e3)
    # source: published_checks.md section 1, −10 °C: ρ_v 2.3907 kg/m³; isentropic work −10/35 °C 223.02 kJ/kg, Tol 1.5 %
    assert other_flow_kg_s(p, s, Disturbances(other_compressor_m3_s=0.1)) == pytest.approx(
        0.1 * 0.88 * 2.3907, rel=1e-4
    )
    assert other_work_j_kg(p, s) == pytest.approx(223.02e3 / 0.72, rel=0.015)
    assert other_flow_kg_s(p, s, Disturbances()) == 0.0


def test_it_takes_from_the_vessel_and_gives_to_the_condenser(p: Parameters) -> None:
    d = Disturbances()
    s = running_state(p, d, 290.64e3)
    alone, start = copy.deepcopy(s), copy.deepcopy(s)
    d.other_compressor_m3_s = 0.05
    for _ in range(600):
        assert step(p, s, d, RUNNING, 100) == 0
        assert step(p, alone, Disturbances(), RUNNING, 100) == 0
    assert s.suction.pressure_pa < alone.suction.pressure_pa - 5.0e3
    assert s.discharge.volume.pressure_pa > alone.discharge.volume.pressure_pa + 5.0e3
    assert s.capacity.travel_frac == alone.capacity.travel_frac
    assert s.ledger.other_kg > 5.0
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10


def test_its_trip_raises_suction(p: Parameters) -> None:
    d = Disturbances(load_heat_w=480.0e3, other_compressor_m3_s=0.08)
    s = running_state(p, d, 290.64e3)
    before_pa = s.suction.pressure_pa
    d.other_compressor_m3_s = 0.0
    for _ in range(300):
        assert step(p, s, d, RUNNING, 100) == 0
    assert s.suction.pressure_pa > before_pa + 5.0e3
    assert s.rates.other_kg_s == s.rates.other_w == 0.0


def test_it_keeps_pulling_while_the_machine_stands(p: Parameters) -> None:
    d = Disturbances(load_heat_w=150.0e3, other_compressor_m3_s=0.15)
    s = stopped_state(p, d, 330.0e3, 1.1e6)
    for _ in range(600):
        assert step(p, s, d, Actuators(), 100) == 0
    assert s.suction.pressure_pa < 330.0e3
    assert s.ledger.compressor_kg == 0.0
