"""Condenser and receiver."""

from __future__ import annotations

import copy
from dataclasses import replace
from itertools import pairwise

import pytest

from plant_model.derived import Parameters, derive
from plant_model.discharge_side import condenser_w, fan_share_frac, minimum_head_frac, wet_bulb_k
from plant_model.initial import running_state, stopped_state
from plant_model.ledger import stored_mass_kg
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
    assert fan_share_frac(p, s, Disturbances(condenser_fans_frac=0.5)) == pytest.approx(0.55)
    fouled_w = condenser_w(p, s, Disturbances(condenser_fouling_frac=0.4))
    assert fouled_w == pytest.approx(0.6 * 55.0e3 * (condensing_k - 295.15))


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
    total_kg = sum(stored_mass_kg(s))
    level_frac = s.discharge.level_frac
    a = Actuators(motor_run=True, oil_pump=True, capacity_load=True)
    for _ in range(600):
        assert step(p, s, d, a, 100) == 0
    assert sum(stored_mass_kg(s)) == pytest.approx(total_kg, rel=1.0e-12)
    assert s.discharge.level_frac != level_frac


def condensing_after(p: Parameters, d: Disturbances, minutes: float) -> tuple[float, float]:
    """(condensing temperature, shaft power) after so long from the sound plant's balance at 380 kW."""
    s = running_state(p, Disturbances(), 290.64e3)
    for _ in range(round(600 * minutes)):
        assert step(p, s, d, RUNNING, 100) == 0
    return s.discharge.volume.saturation.t_k, s.compression.shaft_power_w


def test_a_fouled_condenser_raises_head_and_power_slowly(p: Parameters) -> None:
    fouled = Disturbances(condenser_fouling_frac=0.4)
    at_once = condensing_after(p, fouled, 0.05)
    later = condensing_after(p, fouled, 12.0)
    sound = condensing_after(p, Disturbances(), 12.0)
    # the difference to the wet bulb grows with the inverse of the conductance: 1/0.6
    wet_k = Disturbances().wet_bulb_k
    assert later[0] - wet_k == pytest.approx((sound[0] - wet_k) / 0.6, rel=0.07)
    assert later[1] > 1.1 * sound[1]
    assert abs(at_once[0] - sound[0]) < 0.3


def with_discharge_side(p: Parameters, **change: float) -> Parameters:
    side = replace(p.plant.discharge_side, **change)  # type: ignore[arg-type]
    return derive(replace(p.plant, discharge_side=side), "R717", 100)


def test_minimum_head_holds_a_cold_night(p: Parameters) -> None:
    d = Disturbances(load_heat_w=250.0e3, wet_bulb_k=263.15)
    free, held = copy.deepcopy(running_state(p, d, 290.64e3, 1.0e6)), running_state(p, d, 290.64e3, 1.0e6)
    valve = with_discharge_side(p, minimum_head_pa=0.9e6)
    lowest = {"free": 1.0e7, "held": 1.0e7}
    for _ in range(6000):
        assert step(p, free, d, RUNNING, 100) == 0
        assert step(valve, held, d, RUNNING, 100) == 0
        lowest["free"] = min(lowest["free"], free.discharge.volume.pressure_pa)
        lowest["held"] = min(lowest["held"], held.discharge.volume.pressure_pa)
    assert lowest["free"] < 0.7e6
    assert lowest["held"] > 0.9e6
    assert 0.0 < minimum_head_frac(valve, held) < 1.0
    assert minimum_head_frac(p, held) == 1.0


def test_fan_stages_hold_the_head_in_their_band(p: Parameters) -> None:
    staged = with_discharge_side(p, fan_stages=4)
    d = Disturbances(load_heat_w=350.0e3, wet_bulb_k=285.15)
    s = running_state(staged, d, 290.64e3)
    changes, lowest_pa, highest_pa, last = 0, 1.0e7, 0.0, s.discharge.fan_stages_on
    waited_ms: list[int] = []
    for i in range(18000):
        assert step(staged, s, d, RUNNING, 100) == 0
        if s.discharge.fan_stages_on != last:
            assert abs(s.discharge.fan_stages_on - last) == 1
            changes, last = changes + 1, s.discharge.fan_stages_on
            waited_ms.append(i * 100)
        lowest_pa = min(lowest_pa, s.discharge.volume.pressure_pa)
        highest_pa = max(highest_pa, s.discharge.volume.pressure_pa)
        if i == 6000:
            d.wet_bulb_k, d.wet_bulb_since_ms = 291.15, s.time_ms
    w = staged.plant.discharge_side
    assert changes >= 1
    assert all(b - a >= w.fan_stage_ms for a, b in pairwise(waited_ms))
    assert lowest_pa > w.fan_off_pa - 60.0e3
    assert highest_pa < w.fan_on_pa + 60.0e3
    assert s.rates.condenser_fans_w == pytest.approx(w.fans_power_w * s.discharge.fan_stages_on / 4)
