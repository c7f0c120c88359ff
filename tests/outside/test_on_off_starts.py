"""How often on-off control starts a machine: the textbook's starts an hour, by this project's switch on its own vessel.

Published checks, section 4: on an integrating vessel one cycle takes dp/K·(1/m_load + 1/(m_cap − m_load)), worst at half
load, 3600·K·m_cap/(4·dp) starts an hour; K is dp/dt over net vapour flow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.alarms import exceeds
from plant_model.derived import Parameters, derive
from plant_model.motor_starts import W_PER_HP, starts_per_hour_limit
from plant_model.parameters import PlantParameters
from plant_model.properties import Saturation, saturated, saturation_pressure_pa
from plant_model.state import VesselState
from plant_model.suction_vessel import close_vessel

K_PA_S_PER_KG_S = 2459.3  # ammonia, 5 m³, 40 % liquid, −10 °C
CAPACITY_KG_S = 0.10
SOURCE = "closed form of an integrating vessel (published checks §4)"
ROWS = [(10.0, 0.5, 22.13), (20.0, 0.5, 11.07), (30.0, 0.5, 7.378), (50.0, 0.5, 4.427), (30.0, 0.25, 5.533)]


def formula_1_h(band_kpa: float, load: float) -> float:
    load_kg_s = load * CAPACITY_KG_S
    cycle_s = 1000.0 * band_kpa / K_PA_S_PER_KG_S * (1.0 / load_kg_s + 1.0 / (CAPACITY_KG_S - load_kg_s))
    return 3600.0 / cycle_s


def starts_1_h(advance: Callable[[float], float], middle_kpa: float, band_kpa: float, load: float, h_s: float) -> float:
    """Starts an hour over whole cycles; `advance` takes a net vapour flow in kg/s and gives the pressure in kPa."""
    pressure_kpa, on, time_s = middle_kpa, False, 0.0
    starts: list[float] = []
    while len(starts) < 4:
        was, on = on, exceeds(pressure_kpa, middle_kpa + 0.5 * band_kpa, band_kpa, on)
        if on and not was:
            starts.append(time_s)
        pressure_kpa = advance((load - on) * CAPACITY_KG_S)
        time_s += h_s
        assert time_s < 20_000.0
    return 3600.0 * (len(starts) - 1) / (starts[-1] - starts[0])


@pytest.mark.parametrize(("band_kpa", "load", "published_1_h"), ROWS)
def test_on_an_integrator(band_kpa: float, load: float, published_1_h: float, outside: Callable[..., Any]) -> None:
    digit = 0.01 if published_1_h > 10.0 else 0.001
    printed = outside("starts an hour: formula", SOURCE, "b", 0.5, "of the last printed digit")
    printed.absolute(formula_1_h(band_kpa, load) / digit, published_1_h / digit)
    pressure, h_s = [290.64], 0.05

    def advance(net_kg_s: float) -> float:
        pressure[0] += 0.001 * h_s * K_PA_S_PER_KG_S * net_kg_s
        return pressure[0]

    found = starts_1_h(advance, 290.64, band_kpa, load, h_s)
    scan = outside("starts an hour: switch on an integrator, a scan late twice a cycle", SOURCE, "b", 1e-3)
    scan.relative(found, published_1_h, f"{band_kpa:g} kPa, load {load:g}")


@pytest.fixture(scope="module")
def equilibrium() -> Parameters:
    """The published vessel: all its liquid in equilibrium with its vapour."""
    plant = PlantParameters()
    return derive(replace(plant, suction_vessel=replace(plant.suction_vessel, skin_frac=1.0)), "R717", 100)


def filled(p: Parameters) -> VesselState:
    pressure_pa = saturation_pressure_pa(p.refrigerant, 263.15)
    sat, v = Saturation(), VesselState()
    saturated(p.refrigerant, pressure_pa, sat)
    liquid_kg, vapour_kg = 0.4 * 5.0 / sat.v_l_m3_kg, 0.6 * 5.0 / sat.v_v_m3_kg
    v.zone_kg = liquid_kg + vapour_kg
    v.zone_energy_j = liquid_kg * sat.u_l_j_kg + vapour_kg * sat.u_v_j_kg
    v.zone.pressure_pa = pressure_pa
    assert close_vessel(p, v)
    return v


@pytest.mark.parametrize(("band_kpa", "load", "published_1_h"), ROWS)
def test_on_this_projects_vessel(
    band_kpa: float, load: float, published_1_h: float, equilibrium: Parameters, outside: Callable[..., Any]
) -> None:
    """K itself changes along the band, so the tolerance is that of the published slope and a scan, not of the formula."""
    p, v, h_s = equilibrium, filled(equilibrium), 0.1

    def advance(net_kg_s: float) -> float:
        v.zone_kg += h_s * net_kg_s
        v.zone_energy_j += h_s * net_kg_s * v.zone.saturation.h_v_j_kg
        assert close_vessel(p, v)
        return 0.001 * v.zone.pressure_pa

    found = starts_1_h(advance, 290.64, band_kpa, load, h_s)
    name = "starts an hour: switch on the suction vessel"
    outside(name, SOURCE, "b", 5e-3).relative(found, published_1_h, f"{band_kpa:g} kPa, load {load:g}")


def test_the_band_that_the_motor_table_asks_for(outside: Callable[..., Any]) -> None:
    """5.2 starts an hour of a 100 hp four-pole motor need dp ≥ 42.56 kPa."""
    limit_1_h = starts_per_hour_limit(100.0 * W_PER_HP, 4, 0.0).starts_1_h
    band_kpa = 0.001 * 3600.0 * K_PA_S_PER_KG_S * CAPACITY_KG_S / (4.0 * limit_1_h)
    outside("band for the motor table's starts: 42.56 kPa", SOURCE + ", NEMA MG 10", "a, derived b", 2e-4).relative(
        band_kpa, 42.56
    )
