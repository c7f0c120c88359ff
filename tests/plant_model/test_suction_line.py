"""The line between vessel and flange."""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.plant import step
from plant_model.rotor_geometry import trapped_fraction_frac
from plant_model.state import Actuators, Disturbances
from plant_model.suction_line import carry_over_frac, close_suction


@given(travel=st.floats(0.0, 1.0), speed=st.floats(0.0, 320.0))
def test_drop_is_k_rho_v_squared_at_the_flange_density(p: Parameters, travel: float, speed: float) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    s.capacity.travel_frac, s.motor.speed_rad_s = travel, speed
    close_suction(p, s)
    vessel_pa, flange_pa = s.vessel.zone.pressure_pa, s.suction.pressure_pa
    flow_m3_s = speed * p.derived.swept_m3_rad * trapped_fraction_frac(p.curves, travel)
    density = flange_pa / vessel_pa / s.vessel.zone.saturation.v_v_m3_kg
    assert vessel_pa - flange_pa == pytest.approx(p.derived.suction_drop_factor * density * flow_m3_s**2, abs=1.0e-6)
    assert flange_pa <= vessel_pa


def test_full_load_drop_is_near_the_rated_one(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    drop_pa = s.vessel.zone.pressure_pa - s.suction.pressure_pa
    assert drop_pa == pytest.approx(p.plant.suction_line.rated_drop_pa, rel=0.1)
    assert s.rates.line_w > 0.0


def test_gas_temperature_is_saturation_at_the_flange_and_superheat(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    # −10 °C at 290.640 kPa: published_checks.md section 1
    assert s.suction.temperature_k == pytest.approx(263.15 + p.plant.suction_line.superheat_k, abs=0.01)


def drop_frac(p: Parameters, fouling_frac: float) -> float:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    s.capacity.travel_frac, s.motor.speed_rad_s = 1.0, 310.0
    s.suction.strainer_fouling_frac = fouling_frac
    close_suction(p, s)
    return s.vessel.zone.pressure_pa / s.suction.pressure_pa - 1.0


def test_a_strainers_drop_goes_with_the_inverse_square_of_its_free_area(p: Parameters) -> None:
    clean = drop_frac(p, 0.0)
    share = p.plant.suction_line.strainer_share_frac
    assert drop_frac(p, 0.5) == pytest.approx(clean * (1.0 - share + share * 4.0))
    assert drop_frac(p, 0.9) == pytest.approx(clean * (1.0 - share + share * 100.0))


def test_a_fouled_strainer_takes_capacity_before_it_pulls_suction_to_a_trip(p: Parameters) -> None:
    d = Disturbances(load_heat_w=500.0e3)
    s = running_state(p, d, 290.64e3)
    sound_kg_s, sound_level = s.compression.mass_flow_kg_s, s.vessel.level_frac
    d.strainer_fouling_frac = 0.8
    for _ in range(30):
        assert step(p, s, d, Actuators(motor_run=True, oil_pump=True), 100) == 0
    # the machine takes in less, though the flange is still far from a low-suction trip, say −20 °C, 190 kPa
    assert s.compression.mass_flow_kg_s < 0.95 * sound_kg_s
    assert 230.0e3 < s.suction.pressure_pa < 285.0e3
    assert s.vessel.zone.pressure_pa > 290.0e3  # it is not the vessel that has fallen
    assert s.vessel.level_frac == pytest.approx(sound_level, abs=0.002)


def vapour_at_allowed_velocity(p: Parameters, level_frac: float) -> float:
    """Vapour flow, m³/s, at v = K √((ρ_l − ρ_v)/ρ_v): published section 1, −10 °C, 652.01 and 2.3907 kg/m³."""
    free = min(1.0, (1.0 - level_frac) / p.plant.suction_vessel.separation_height_frac)
    return 2.2 * 0.045 * free * math.sqrt((652.01 - 2.3907) / 2.3907)


@pytest.mark.parametrize("level_frac", [0.4, 0.9, 0.95])
def test_droplets_are_entrained_above_the_allowed_velocity(p: Parameters, level_frac: float) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    s.vessel.swollen_frac = level_frac
    allowed_m3_s = vapour_at_allowed_velocity(p, level_frac)
    assert carry_over_frac(p, s, 0.999 * allowed_m3_s) == 0.0
    assert carry_over_frac(p, s, 1.001 * allowed_m3_s) > 0.0
    assert carry_over_frac(p, s, 2.0 * allowed_m3_s) == pytest.approx(0.03, rel=1.0e-3)
    assert carry_over_frac(p, s, 1000.0 * allowed_m3_s) == p.plant.suction_vessel.carry_over_most_frac


def test_carry_over_takes_superheat_and_discharge_temperature(p: Parameters) -> None:
    """A vessel too small for its vapour: liquid comes over, superheat goes to nothing, the discharge cools."""
    wet_plant = replace(p.plant, suction_vessel=replace(p.plant.suction_vessel, surface_m2=0.15))
    wet = derive(wet_plant, "R717", 100)
    d, a = Disturbances(load_heat_w=500.0e3), Actuators(motor_run=True, oil_pump=True)
    dry_s, wet_s = running_state(p, d, 290.64e3), running_state(p, d, 290.64e3)
    start = copy.deepcopy(wet_s)
    for _ in range(1200):
        assert step(p, dry_s, d, a, 100) == 0
        assert step(wet, wet_s, d, a, 100) == 0
    assert dry_s.ledger.carry_over_kg == 0.0
    assert wet_s.ledger.carry_over_kg > 0.5
    assert wet_s.suction.superheat_k < 0.5 < dry_s.suction.superheat_k
    assert wet_s.oil.mixture_k < dry_s.oil.mixture_k - 2.0
    assert wet_s.suction.temperature_k < dry_s.suction.temperature_k - 2.0
    assert mass_residual_frac(wet, start, wet_s) < 1.0e-10
    assert energy_residual_frac(wet, start, wet_s) < 1.0e-10
