"""Condenser and receiver."""

from __future__ import annotations

import pytest

from plant_model.derived import Parameters
from plant_model.discharge_side import condenser_w, fan_share_frac, wet_bulb_k
from plant_model.initial import running_state, stopped_state
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances

RUNNING = Actuators(motor_run=True, oil_pump=True)


def test_rejected_heat(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.35e6)
    condensing_k = s.discharge.volume.saturation.t_k
    assert condensing_k - 273.15 == pytest.approx(35.0, abs=0.01)  # published_checks.md section 1: 1349.992 kPa
    assert condenser_w(p, s, Disturbances()) == pytest.approx(55.0e3 * (condensing_k - 295.15))
    assert condenser_w(p, s, Disturbances(condenser_fans_frac=0.0)) == pytest.approx(5.5e3 * (condensing_k - 295.15))
    assert condenser_w(p, s, Disturbances(wet_bulb_k=condensing_k + 1.0)) == 0.0
    assert fan_share_frac(p, Disturbances(condenser_fans_frac=0.5)) == pytest.approx(0.55)


def test_full_load_condenses_near_35_c_at_22_c_wet_bulb(p: Parameters) -> None:
    s = running_state(p, Disturbances(load_heat_w=590.0e3), 290.64e3)
    assert 33.0 < s.discharge.volume.saturation.t_k - 273.15 < 37.0
    assert 550.0e3 < s.rates.condenser_w < 720.0e3


def test_wet_bulb_is_a_line_from_its_start(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.35e6)
    s.time_ms = 10_000
    assert wet_bulb_k(s, Disturbances(wet_bulb_k=290.0, wet_bulb_rate_k_s=0.1, wet_bulb_since_ms=4000)) == 290.6


def test_a_weather_step_is_followed_within_minutes(p: Parameters) -> None:
    d = Disturbances()
    s = running_state(p, d, 290.64e3)
    start_k = s.discharge.volume.saturation.t_k
    d.wet_bulb_k, d.wet_bulb_since_ms = d.wet_bulb_k + 4.0, 0
    rise_k = []
    for _ in range(6000):
        assert step(p, s, d, RUNNING, 100) == 0
        rise_k.append(s.discharge.volume.saturation.t_k - start_k)
    assert rise_k == sorted(rise_k)
    minutes = next(i for i, rise in enumerate(rise_k) if rise > 0.63 * 4.0) / 600.0
    assert 1.0 < minutes < 5.0  # common practice, no source: some minutes
    assert rise_k[-1] == pytest.approx(4.0, abs=0.3)


def test_refrigerant_only_moves_between_the_two_sides(p: Parameters) -> None:
    d = Disturbances()
    s = running_state(p, d, 290.64e3)
    total_kg = s.vessel.zone_kg + s.vessel.bulk_kg + s.discharge.mass_kg
    level_frac = s.discharge.level_frac
    a = Actuators(motor_run=True, oil_pump=True, capacity_load=True)
    for _ in range(600):
        assert step(p, s, d, a, 100) == 0
    assert s.vessel.zone_kg + s.vessel.bulk_kg + s.discharge.mass_kg == pytest.approx(total_kg, rel=1.0e-12)
    assert s.discharge.level_frac != level_frac
