"""Oil and discharge temperature, against the published oil balance."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.oil_circuit import close_oil, oil_cooler_w, oil_flow_kg_s, oil_fluxes
from plant_model.parameters import PlantParameters
from plant_model.plant import close, step
from plant_model.properties import Saturation, saturated, saturation_pressure_pa
from plant_model.state import Actuators, Disturbances, PlantState, Rates

RUNNING = Actuators(motor_run=True, oil_pump=True)


def set_up(p: Parameters, evaporating_c: float, work_j_kg: float, oil_c: float) -> tuple[PlantState, Rates]:
    """A machine of 0.5 kg/s with saturated suction, condensing at 35 °C, metal as warm as the mixture."""
    s = PlantState()
    sat = Saturation()
    saturated(p.refrigerant, saturation_pressure_pa(p.refrigerant, evaporating_c + 273.15), sat)
    s.compression.suction_enthalpy_j_kg = sat.h_v_j_kg
    s.discharge.volume.pressure_pa = saturation_pressure_pa(p.refrigerant, 308.15)
    saturated(p.refrigerant, s.discharge.volume.pressure_pa, s.discharge.volume.saturation)
    s.separator.pressure_pa = s.discharge.volume.pressure_pa
    s.compression.mass_flow_kg_s = 0.5
    s.compression.shaft_power_w = 0.5 * work_j_kg
    s.oil.supply_k = s.oil.sump_k = oil_c + 273.15
    return s, Rates(compressor_kg_s=0.5)


def mixture_rate(p: Parameters, s: PlantState, f: Rates, discharge_k: float, oil_kg_s: float) -> float:
    s.oil.mixture_k = s.oil.metal_k = discharge_k
    close_oil(p, s)
    s.oil.flow_kg_s = oil_kg_s
    oil_fluxes(p, s, Disturbances(), RUNNING, f)
    return f.mixture_k_s


# source: published_checks.md section 3, oil energy balance, c_oil 2.0 kJ/(kg K), saturated NH3 suction; Tol 0.5 %
@pytest.mark.parametrize(
    ("evaporating_c", "work_j_kg", "oil_c", "discharge_c", "ratio", "oil_share"),
    [
        (-10.0, 297.36e3, 50.0, 80.0, 2.124, 0.428),
        (-10.0, 297.36e3, 50.0, 90.0, 1.264, 0.340),
        (-30.0, 533.00e3, 50.0, 85.0, 4.612, 0.606),
    ],
)
def test_published_oil_balance(
    p: Parameters,
    evaporating_c: float,
    work_j_kg: float,
    oil_c: float,
    discharge_c: float,
    ratio: float,
    oil_share: float,
) -> None:
    s, f = set_up(p, evaporating_c, work_j_kg, oil_c)
    oil_kg_s = brentq(lambda m: mixture_rate(p, s, f, discharge_c + 273.15, m), 0.0, 10.0)
    assert oil_kg_s / 0.5 == pytest.approx(ratio, rel=5.0e-3)
    heat_w = oil_kg_s * p.plant.oil.heat_capacity_j_kg_k * (discharge_c - oil_c)
    assert heat_w / s.compression.shaft_power_w == pytest.approx(oil_share, rel=5.0e-3)
    back_k = brentq(lambda t: mixture_rate(p, s, f, t, ratio * 0.5), 320.0, 430.0)
    assert back_k - 273.15 == pytest.approx(discharge_c, abs=0.1)


def test_published_discharge_temperature_without_oil(p: Parameters) -> None:
    # source: as above, 129.7 °C at −10/35 °C; the −30/35 row (212.8 °C) lies beyond the vapour tables' superheat
    s, f = set_up(p, -10.0, 297.36e3, 50.0)
    dry_k = brentq(lambda t: mixture_rate(p, s, f, t, 0.0), 320.0, 450.0)
    assert dry_k - 273.15 == pytest.approx(129.7, abs=0.3)


def test_full_load_numbers_an_engineer_believes(p: Parameters) -> None:
    # common practice, no source: T_d 70–90 °C, supply 40–55 °C, oil over discharge 150–250 kPa with a full-time pump
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    assert 70.0 < s.oil.mixture_k - 273.15 < 90.0
    assert 46.0 < s.oil.supply_k - 273.15 < 50.0
    assert 150.0e3 < s.oil.supply_pa - s.discharge.volume.pressure_pa < 250.0e3
    assert 1.5 < s.oil.flow_kg_s / s.compression.mass_flow_kg_s < 2.6
    assert 0.5 < s.oil.level_frac < 0.7


@given(difference_pa=st.floats(1.0, 3.0e6), open_frac=st.floats(0.05, 1.0), thickened=st.floats(1.0, 200.0))
def test_flow_meets_filter_and_injection_at_once(
    p: Parameters, difference_pa: float, open_frac: float, thickened: float
) -> None:
    resistance_pa_s_kg = p.derived.filter_pa_s_kg * thickened
    flow = oil_flow_kg_s(p, difference_pa, open_frac, resistance_pa_s_kg)
    filter_pa = resistance_pa_s_kg * flow
    injection_pa = p.derived.injection_pa_s2_kg2 * (flow / open_frac) ** 2
    assert filter_pa + injection_pa == pytest.approx(difference_pa, rel=1.0e-9)


def test_no_flow_against_pressure_or_at_rest_without_pump(p: Parameters) -> None:
    assert oil_flow_kg_s(p, -1.0, 1.0, 1.0e4) == 0.0
    assert oil_flow_kg_s(p, 1.0e6, 0.0, 1.0e4) == 0.0
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    assert s.oil.flow_kg_s == 0.0
    s.oil.pump_frac = 1.0
    assert close(p, s) == 0
    assert 0.05 < s.oil.flow_kg_s < 0.3  # bearings and slides only


def test_without_a_pump_oil_is_driven_by_the_pressure_difference() -> None:
    plant = PlantParameters()
    p = derive(replace(plant, oil=replace(plant.oil, pump_rise_pa=0.0)), "R717", 100)
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    assert s.oil.before_filter_pa == s.discharge.volume.pressure_pa
    assert s.oil.flow_kg_s > 0.5
    assert s.oil.supply_pa < s.discharge.volume.pressure_pa


def test_lost_oil_flow_shows_in_oil_pressure_at_once_and_in_temperature_late(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    warm_k = s.oil.mixture_k
    differential_pa = s.oil.supply_pa - s.discharge.volume.pressure_pa
    for _ in range(20):
        assert step(p, s, Disturbances(), Actuators(motor_run=True), 100) == 0
    assert s.oil.supply_pa - s.discharge.volume.pressure_pa < 0.1 * differential_pa
    assert s.oil.mixture_k - warm_k < 5.0


def test_cooler_asks_for_the_set_point_and_gives_what_its_surface_can(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    w = p.plant.oil
    wanted_w = s.oil.flow_kg_s * w.heat_capacity_j_kg_k * (s.oil.sump_k - w.set_point_k)
    assert oil_cooler_w(p, s, Disturbances()) == pytest.approx(wanted_w)
    fouled = derive(replace(p.plant, oil=replace(w, cooler_conductance_w_k=500.0)), "R717", 100)
    assert oil_cooler_w(fouled, s, Disturbances()) == pytest.approx(500.0 * (s.oil.sump_k - w.coolant_k))
    s.oil.sump_k = w.set_point_k - 5.0
    assert oil_cooler_w(p, s, Disturbances()) == 0.0


def test_injection_cooling_lowers_the_discharge_temperature(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    start_k = s.oil.mixture_k
    for _ in range(600):
        assert step(p, s, Disturbances(), Actuators(motor_run=True, oil_pump=True, injection_cooling=True), 100) == 0
    assert start_k - 12.0 < s.oil.mixture_k < start_k - 2.0


def test_heater_warms_the_sump_at_rest_to_its_balance(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(load_heat_w=0.0), 330.0e3, 1.0e6, oil_k=293.15)
    f = Rates()
    oil_fluxes(p, s, Disturbances(), Actuators(oil_heater=True), f)
    assert f.sump_k_s == pytest.approx(1500.0 / (150.0 * 2000.0))  # heater over the charge's heat capacity
    s.oil.sump_k = s.oil.supply_k = 293.15 + 1500.0 / 40.0
    oil_fluxes(p, s, Disturbances(), Actuators(oil_heater=True), f)
    assert f.sump_k_s == pytest.approx(0.0, abs=1.0e-9)
