"""Start states: consistent, quiet, refused when they cannot be."""

from __future__ import annotations

import copy
from dataclasses import replace

import pytest

from plant_model.derived import Parameters, derive
from plant_model.initial import StartError, best_volume_ratio_travel_frac, running_state, stopped_state
from plant_model.parameters import PlantParameters
from plant_model.plant import close, step
from plant_model.properties import EnvelopeError, saturation_temperature_k
from plant_model.state import Actuators, Disturbances, PlantState

RUNNING = Actuators(motor_run=True, oil_pump=True)


def after(p: Parameters, s: PlantState, d: Disturbances, a: Actuators, seconds: int) -> PlantState:
    s = copy.deepcopy(s)
    for _ in range(10 * seconds):
        assert step(p, s, d, a, 100) == 0
    return s


@pytest.mark.parametrize(("load_w", "wet_bulb_c"), [(380.0e3, 22.0), (120.0e3, 24.0), (560.0e3, 18.0)])
def test_a_running_start_does_not_drift(p: Parameters, load_w: float, wet_bulb_c: float) -> None:
    d = Disturbances(load_heat_w=load_w, wet_bulb_k=wet_bulb_c + 273.15)
    s = running_state(p, d, 290.64e3)
    assert s.suction.pressure_pa == pytest.approx(290.64e3, rel=1.0e-6)
    t = after(p, s, d, RUNNING, 120)
    assert t.suction.pressure_pa == pytest.approx(s.suction.pressure_pa, abs=5.0)
    assert t.discharge.volume.pressure_pa == pytest.approx(s.discharge.volume.pressure_pa, abs=20.0)
    assert t.oil.mixture_k == pytest.approx(s.oil.mixture_k, abs=0.002)
    assert t.oil.supply_k == pytest.approx(s.oil.supply_k, abs=0.002)
    assert t.room_k == pytest.approx(s.room_k, abs=0.002)
    assert t.vessel.level_frac == pytest.approx(s.vessel.level_frac, abs=1.0e-5)
    assert t.motor.speed_rad_s == pytest.approx(s.motor.speed_rad_s, rel=1.0e-6)
    assert t.lagged == pytest.approx(s.lagged, abs=1.0e-4)


def test_given_values_are_kept(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 300.0e3, 1.25e6, 0.7, 0.4)
    assert s.suction.pressure_pa == pytest.approx(300.0e3, rel=1.0e-6)
    assert s.discharge.volume.pressure_pa == pytest.approx(1.25e6, rel=1.0e-9)
    assert (s.capacity.travel_frac, s.volume_ratio.travel_frac) == (0.7, 0.4)


def test_the_volume_ratio_starts_at_its_best(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 0.8)
    assert s.compression.volume_ratio == pytest.approx(s.compression.volume_ratio_ideal, rel=1.0e-3)
    assert s.compression.mismatch_power_w < 5.0
    at_limit = running_state(p, Disturbances(), 290.64e3, 1.35e6, 0.1)
    assert best_volume_ratio_travel_frac(p, at_limit) == 1.0


def test_a_stopped_start_is_at_rest(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6, 0.3, 0.2)
    assert (
        s.motor.speed_rad_s == s.motor.current_a == s.compression.shaft_power_w == s.compression.mass_flow_kg_s == 0.0
    )
    assert s.suction.pressure_pa == s.vessel.zone.pressure_pa == pytest.approx(330.0e3, rel=1.0e-9)
    assert s.room_k == pytest.approx(saturation_temperature_k(p.refrigerant, 330.0e3))
    assert s.separator.pressure_pa == pytest.approx(330.0e3)  # long at rest: equalised
    assert s.rates.feed_kg_s == pytest.approx(0.0, abs=1.0e-9)
    t = after(p, s, Disturbances(load_heat_w=0.0), Actuators(), 60)
    assert t.suction.pressure_pa == pytest.approx(330.0e3, abs=10.0)
    assert (t.capacity.travel_frac, t.volume_ratio.travel_frac) == (0.3, 0.2)


def test_just_stopped_the_separator_still_holds_discharge_pressure(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6, separator_pa=1.0e6)
    assert s.separator.pressure_pa == pytest.approx(1.0e6)
    assert s.separator.gas_kg == pytest.approx(s.separator.open_kg)


def test_rooms_start_where_their_coils_take_their_load(p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3, group_open_frac=[1.0, 0.5, 1.0, 1.0], group_load_w=[0.0, 0.0, 15.0e3, 0.0])
    s = running_state(p, d, 290.64e3)
    boiling_k = s.vessel.zone.saturation.t_k
    differences_k = [room_k - boiling_k for room_k in s.evaporator.room_k]
    assert differences_k == pytest.approx([150.0 / 30.0, 75.0 / 7.5, 90.0 / 15.0, 0.0])
    t = after(p, s, d, RUNNING, 120)
    assert t.suction.pressure_pa == pytest.approx(s.suction.pressure_pa, abs=5.0)


def test_a_start_beside_another_compressor_is_quiet(p: Parameters) -> None:
    d = Disturbances(load_heat_w=480.0e3, other_compressor_m3_s=0.08)
    s = running_state(p, d, 290.64e3)
    alone = running_state(p, Disturbances(load_heat_w=480.0e3), 290.64e3)
    assert s.capacity.travel_frac < alone.capacity.travel_frac - 0.1
    t = after(p, s, d, RUNNING, 120)
    assert t.suction.pressure_pa == pytest.approx(s.suction.pressure_pa, abs=5.0)
    assert t.discharge.volume.pressure_pa == pytest.approx(s.discharge.volume.pressure_pa, abs=20.0)


def test_a_winter_start_on_the_minimum_head_valve_is_quiet(p: Parameters) -> None:
    winter = replace(p.plant, discharge_side=replace(p.plant.discharge_side, minimum_head_pa=0.9e6))
    p = derive(winter, "R717", 100)
    d = Disturbances(load_heat_w=300.0e3, wet_bulb_k=268.15)
    s = running_state(p, d, 290.64e3)
    assert 0.9e6 < s.discharge.volume.pressure_pa < 0.95e6
    t = after(p, s, d, RUNNING, 120)
    assert t.discharge.volume.pressure_pa == pytest.approx(s.discharge.volume.pressure_pa, abs=50.0)


def test_a_start_with_fan_stages_has_as_many_on_as_it_needs(p: Parameters) -> None:
    staged = replace(p.plant, discharge_side=replace(p.plant.discharge_side, fan_stages=4))
    p = derive(staged, "R717", 100)
    hot = running_state(p, Disturbances(load_heat_w=560.0e3, wet_bulb_k=295.15), 290.64e3)
    cool = running_state(p, Disturbances(load_heat_w=300.0e3, wet_bulb_k=283.15), 290.64e3)
    assert hot.discharge.fan_stages_on == 4
    assert 0 < cool.discharge.fan_stages_on < 4
    assert cool.discharge.volume.pressure_pa < staged.discharge_side.fan_on_pa


def test_a_start_is_closed(p: Parameters) -> None:
    """Closing it again changes no more than the last digits of the iteration."""
    s = running_state(p, Disturbances(), 290.64e3)
    before = s.suction.pressure_pa
    assert close(p, s) == 0
    assert s.suction.pressure_pa == pytest.approx(before, rel=1.0e-11)


def test_starts_that_cannot_be_are_refused_in_words(p: Parameters) -> None:
    with pytest.raises(StartError, match="the load is 900 kW"):
        running_state(p, Disturbances(load_heat_w=900.0e3), 290.64e3)
    with pytest.raises(StartError, match="below suction"):
        running_state(p, Disturbances(), 290.64e3, 200.0e3)
    with pytest.raises(StartError, match="below suction"):
        stopped_state(p, Disturbances(), 500.0e3, 400.0e3)
    with pytest.raises(StartError, match="moves no gas at 0 % capacity"):
        running_state(p, Disturbances(), 200.0e3, 2.4e6, 0.0)
    assert running_state(p, Disturbances(), 200.0e3, 1.6e6, 0.0, 0.0).compression.mass_flow_kg_s == 0.0, (
        "by hand it may"
    )
    with pytest.raises(EnvelopeError, match="suction pressure at the start"):
        running_state(p, Disturbances(), 1.0e3)
    with pytest.raises(EnvelopeError):
        running_state(p, Disturbances(condenser_fans_frac=0.0, wet_bulb_k=325.0), 290.64e3)


def test_a_cold_day_starts_at_the_least_pressure_ratio(p: Parameters) -> None:
    s = running_state(p, Disturbances(wet_bulb_k=263.15), 290.64e3)
    assert s.discharge.volume.pressure_pa == pytest.approx(2.0 * 290.64e3, rel=1.0e-6)


def test_another_refrigerant_runs_on_the_same_text() -> None:
    p = derive(PlantParameters(), "R134a", 100)
    d = Disturbances(load_heat_w=200.0e3)
    s = running_state(p, d, 200.6e3, 890.0e3)
    t = after(p, s, d, RUNNING, 30)
    assert t.suction.pressure_pa == pytest.approx(200.6e3, rel=0.02)
