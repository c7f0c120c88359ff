"""Separator gas, discharge check valve, and what flows back through a machine at rest."""

from __future__ import annotations

import copy
from dataclasses import replace

import pytest
from CoolProp.CoolProp import PropsSI

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.plant import step
from plant_model.separator import (
    back_torque_n_m,
    check_valve_kg_s,
    equalising_kg_s,
    standstill_frac,
    stop_check_backflow_kg_s,
)
from plant_model.state import Actuators, Disturbances, PlantState

RUNNING = Actuators(motor_run=True, oil_pump=True)
NO_LOAD = {"load_heat_w": 0.0}


def run(p: Parameters, s: PlantState, d: Disturbances, seconds: float, a: Actuators) -> None:
    for _ in range(round(10 * seconds)):
        assert step(p, s, d, a, 100) == 0


def test_running_the_separator_stands_at_the_condensers_pressure(p: Parameters) -> None:
    d = Disturbances()
    s = running_state(p, d, 290.64e3)
    run(p, s, d, 60.0, Actuators(motor_run=True, oil_pump=True, capacity_load=True))
    assert s.separator.pressure_pa == pytest.approx(s.discharge.volume.pressure_pa, rel=2.0e-3)
    assert s.rates.check_kg_s == pytest.approx(s.rates.compressor_kg_s, rel=0.02)
    # source: CoolProp's density; the saturated gas stretched with temperature is some per cent too heavy
    density_kg_m3 = PropsSI("D", "P", s.separator.pressure_pa, "T", s.oil.mixture_k, "R717")
    assert s.separator.gas_kg == pytest.approx(0.5 * density_kg_m3, rel=0.10)


def test_at_rest_the_separator_equalises_and_the_condenser_is_held(p: Parameters) -> None:
    d = Disturbances(**NO_LOAD)
    s = stopped_state(p, d, 290.64e3, 1.0e6, separator_pa=1.0e6)
    start = copy.deepcopy(s)
    tight = derive(replace(p.plant, discharge_side=replace(p.plant.discharge_side, equalise_ms=0)), "R717", 100)
    kept = copy.deepcopy(s)
    run(p, s, d, 300.0, Actuators())
    run(tight, kept, d, 300.0, Actuators())
    above = (s.separator.pressure_pa - s.suction.pressure_pa) / (1.0e6 - 290.64e3)
    assert 0.25 < above < 0.45  # near 1/e after one time constant; suction has risen a little
    assert s.ledger.backflow_kg > 1.0
    assert kept.ledger.backflow_kg == 0.0
    assert kept.separator.pressure_pa == pytest.approx(kept.discharge.volume.pressure_pa, rel=0.1)
    # what the check valve holds back stays in the condenser: its pressure goes its own way in both
    assert s.discharge.volume.pressure_pa == pytest.approx(kept.discharge.volume.pressure_pa, rel=0.01)
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10


def test_suction_that_rises_at_rest_lifts_the_stop_check_valve_and_fills_the_separator(p: Parameters) -> None:
    """Else suction stands above the separator after a long stop, the oil has no pressure to give and no slide moves."""
    d = Disturbances(**(NO_LOAD | {"load_heat_w": 150.0e3}))
    s = stopped_state(p, d, 290.64e3, 1.0e6)
    start = copy.deepcopy(s)
    run(p, s, d, 900.0, Actuators())
    assert s.suction.pressure_pa > 330.0e3
    assert s.separator.pressure_pa == pytest.approx(s.vessel.zone.pressure_pa, rel=0.01)
    assert s.ledger.backflow_kg < 0.0
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10


def test_the_start_fills_the_separator_before_the_condenser_gets_any(p: Parameters) -> None:
    d = Disturbances(**NO_LOAD)
    s = stopped_state(p, d, 330.0e3, 1.2e6)
    assert s.separator.pressure_pa == pytest.approx(330.0e3)
    empty_n_m = s.compression.shaft_torque_n_m
    full_n_m = stopped_state(p, d, 330.0e3, 1.2e6, separator_pa=1.2e6).compression.shaft_torque_n_m
    assert empty_n_m < full_n_m
    a = Actuators(motor_run=True, oil_pump=True, capacity_load=True)
    passed_kg, seconds = 0.0, 0.0
    while s.separator.pressure_pa < 0.95 * s.discharge.volume.pressure_pa:
        run(p, s, d, 0.1, a)
        passed_kg += 0.1 * s.rates.check_kg_s
        seconds += 0.1
        assert seconds < 120.0
    assert passed_kg == 0.0
    assert s.ledger.compressor_kg > 2.0


def coasting(p: Parameters, d: Disturbances, seconds: float) -> tuple[PlantState, float, float]:
    """(state after a stop from running, fastest back-spin in rad/s, most back-flow in kg/s)."""
    s = running_state(p, d, 290.64e3)
    backspin_rad_s = backflow_kg_s = 0.0
    for _ in range(round(10 * seconds)):
        assert step(p, s, d, Actuators(), 100) == 0
        backspin_rad_s = max(backspin_rad_s, -s.motor.speed_rad_s)
        backflow_kg_s = max(backflow_kg_s, s.rates.backflow_kg_s)
    return s, backspin_rad_s, backflow_kg_s


def test_a_stop_check_valve_that_closes_leaves_the_rotors_at_rest(p: Parameters) -> None:
    s, backspin_rad_s, backflow_kg_s = coasting(p, Disturbances(), 20.0)
    assert backspin_rad_s == 0.0
    assert backflow_kg_s < 0.05
    assert s.separator.pressure_pa > 0.8 * s.discharge.volume.pressure_pa


def test_one_that_does_not_lets_the_separator_empty_through_the_rotors(p: Parameters) -> None:
    d = Disturbances(stop_check_stuck_open_frac=1.0)
    s, backspin_rad_s, backflow_kg_s = coasting(p, d, 20.0)
    sound, _, _ = coasting(p, Disturbances(), 20.0)
    assert backflow_kg_s > 0.5
    assert backspin_rad_s > 1.0
    assert s.separator.pressure_pa < 1.1 * s.suction.pressure_pa
    assert s.suction.pressure_pa > sound.suction.pressure_pa + 5.0e3
    # the condenser is held by its own check valve
    assert s.discharge.volume.pressure_pa == pytest.approx(sound.discharge.volume.pressure_pa, rel=0.005)
    assert s.motor.speed_rad_s == 0.0  # and it ends by itself


def test_running_it_changes_nothing(p: Parameters) -> None:
    ends = []
    for frac in (0.0, 1.0):
        d = Disturbances(stop_check_stuck_open_frac=frac, discharge_check_stuck_open_frac=frac)
        s = running_state(p, d, 290.64e3)
        run(p, s, d, 30.0, RUNNING)
        ends.append((s.suction.pressure_pa, s.discharge.volume.pressure_pa, s.compression.shaft_power_w))
    assert ends[0] == ends[1]


def test_both_valves_stuck_let_the_condenser_blow_back_and_the_books_close(p: Parameters) -> None:
    d = Disturbances(stop_check_stuck_open_frac=1.0, discharge_check_stuck_open_frac=1.0)
    s = running_state(p, Disturbances(), 290.64e3)
    start = copy.deepcopy(s)
    run(p, s, d, 40.0, Actuators())
    sound, _, _ = coasting(p, Disturbances(), 40.0)
    assert s.ledger.backflow_kg > 10.0
    assert s.rates.check_kg_s < 0.0
    assert s.discharge.volume.pressure_pa < sound.discharge.volume.pressure_pa - 20.0e3
    assert s.ledger.shaft_j < sound.ledger.shaft_j  # the expander's work comes out of the gas
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10


def test_back_torque_is_a_share_of_pressure_times_swept_volume(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 300.0e3, 1.2e6, capacity_travel_frac=1.0, separator_pa=1.2e6)
    swept_m3_rad = p.curves.displacement_m3 / 6.283185307179586
    half = back_torque_n_m(p, s, Disturbances(stop_check_stuck_open_frac=0.5))
    assert half == pytest.approx(0.5 * 0.5 * 0.9e6 * swept_m3_rad, rel=1.0e-3)
    assert back_torque_n_m(p, s, Disturbances()) == 0.0
    # choked: Δp counts half of 1.2 MPa, softened by 5 %: 0.6·A·√(2ρΔp)
    d = Disturbances(stop_check_stuck_open_frac=1.0)
    density = s.separator.gas_kg / 0.5
    softened_pa = 0.6e6 * 0.6e6 / (0.6e6 + 0.06e6)
    assert stop_check_backflow_kg_s(p, s, d) == pytest.approx(0.6 * 0.0015 * (2.0 * density * softened_pa) ** 0.5)
    s.motor.speed_rad_s = 0.3 * p.derived.motor.synchronous_rad_s
    assert stop_check_backflow_kg_s(p, s, d) == standstill_frac(p, s) == equalising_kg_s(p, s) == 0.0


def test_no_flow_without_pressure(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 300.0e3, 1.2e6)
    d = Disturbances(stop_check_stuck_open_frac=1.0)
    assert stop_check_backflow_kg_s(p, s, d) == pytest.approx(0.0, abs=1.0e-9)
    assert equalising_kg_s(p, s) == pytest.approx(0.0, abs=1.0e-9)
    assert check_valve_kg_s(p, s, Disturbances(), 0.0) == 0.0
    assert check_valve_kg_s(p, s, Disturbances(discharge_check_stuck_open_frac=0.5), 0.0) < 0.0
