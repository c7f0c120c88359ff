"""The line between vessel and flange."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.derived import Parameters
from plant_model.initial import running_state, stopped_state
from plant_model.rotor_geometry import trapped_fraction_frac
from plant_model.state import Disturbances
from plant_model.suction_line import close_suction


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
