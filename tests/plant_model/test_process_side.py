"""The process side as one: everything on at once closes, keeps its step, compiles, and runs on four refrigerants."""

from __future__ import annotations

import copy
import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.instruments import measure
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.parameters import PlantParameters, cross_check
from plant_model.plant import step
from plant_model.properties import load_refrigerant, saturation_pressure_pa
from plant_model.state import Actuators, Disturbances, PlantState, Readings
from scenarios.records import from_record, to_array


def busy_plant(h_ms: int) -> Parameters:
    """The demo plant with fan stages and a minimum-head valve, its vessel small enough to carry liquid over."""
    plant = PlantParameters()
    plant = replace(
        plant,
        discharge_side=replace(plant.discharge_side, fan_stages=4, minimum_head_pa=0.8e6),
        suction_vessel=replace(plant.suction_vessel, surface_m2=0.2),
    )
    return derive(plant, "R717", h_ms)


def act(d: Disturbances, a: Actuators, second: int) -> None:
    """A programme with every feature of the process side in it, over 15 minutes."""
    d.defrost[0] = 1 if 30 <= second < 200 else 2 if 200 <= second < 260 else 0
    d.defrost[2] = 1 if 100 <= second < 160 else 0  # not bled
    d.surge_kg_s = 3.0 if 120 <= second < 140 else 0.0
    d.strainer_fouling_frac = 0.6 if second >= 280 else 0.0
    d.other_compressor_m3_s = 0.04 if 60 <= second < 420 else 0.0
    d.condenser_fouling_frac = 0.3 if second >= 320 else 0.0
    d.group_open_frac[1] = 0.3 if 240 <= second < 400 else 1.0
    d.group_load_w[2] = 30.0e3 if second >= 180 else 0.0
    d.stop_check_stuck_open_frac = 0.4 if second >= 450 else 0.0
    d.discharge_check_stuck_open_frac = 0.05 if second >= 450 else 0.0
    a.motor_run = not 480 <= second < 600
    a.oil_pump = True
    a.capacity_load = 20 <= second < 35 or 700 <= second < 720
    a.capacity_unload = 300 <= second < 310 or 470 <= second < 495


def replay(h_ms: int, seconds: int) -> tuple[Parameters, PlantState, PlantState, list[float]]:
    p = busy_plant(h_ms)
    d, a = Disturbances(), Actuators(motor_run=True, oil_pump=True)
    s = running_state(p, d, 290.64e3)
    start, rows = copy.deepcopy(s), []
    for i in range(10 * seconds):
        act(d, a, i // 10)
        for _ in range(100 // h_ms):
            assert step(p, s, d, a, h_ms) == 0
        rows.append(s.suction.pressure_pa)
    return p, start, s, rows


def test_everything_on_closes() -> None:
    p, start, end, _ = replay(100, 900)
    n = end.ledger
    for name in ("hot_gas_kg", "melt_j", "backflow_kg", "other_kg", "other_j", "carry_over_kg"):
        assert getattr(n, name) > 0.0, name
    assert mass_residual_frac(p, start, end) < 1.0e-10
    assert energy_residual_frac(p, start, end) < 1.0e-10


def test_halving_the_step_moves_suction_little_with_everything_on() -> None:
    """Promise of plant.md: less than 0.1 % of the swing."""
    coarse, fine = replay(100, 900)[3], replay(50, 900)[3]
    swing_pa = max(fine) - min(fine)
    assert max(abs(a - b) for a, b in zip(coarse, fine, strict=True)) < 1.0e-3 * swing_pa


@njit  # type: ignore[untyped-decorator]
def compiled_second(p: Any, s: Any, d: Any, a: Any, reading: Any) -> int:
    for _ in range(10):
        status = step(p[0], s[0], d[0], a[0], 100)
        measure(p[0], s[0], d[0], reading[0])
        if status != 0:
            return int(status)
    return 0


def test_compiled_is_interpreted_to_the_last_bit_with_everything_on() -> None:
    p = busy_plant(100)
    d, a, reading = Disturbances(), Actuators(motor_run=True, oil_pump=True), Readings()
    s = running_state(p, d, 290.64e3)
    plant, state, readings = to_array(p), to_array(s), to_array(reading)
    for second in range(0, 720, 2):  # every other second of the programme
        act(d, a, second)
        for _ in range(10):
            assert step(p, s, d, a, 100) == 0
            measure(p, s, d, reading)
        assert compiled_second(plant, state, to_array(d), to_array(a), readings) == 0
    assert from_record(PlantState, state[0]) == s
    assert from_record(Readings, readings[0]) == reading


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    load_kw=st.floats(100.0, 500.0),
    stop_check=st.floats(0.0, 1.0),
    discharge_check=st.floats(0.0, 1.0),
    strainer=st.floats(0.0, 0.8),
    surge_kg_s=st.floats(0.0, 10.0),
    other_m3_s=st.floats(0.0, 0.05),
)
def test_any_mixture_of_events_closes(
    seed: int,
    load_kw: float,
    stop_check: float,
    discharge_check: float,
    strainer: float,
    surge_kg_s: float,
    other_m3_s: float,
) -> None:
    p, chance = busy_plant(100), random.Random(seed)
    d, a = Disturbances(load_heat_w=1000.0 * load_kw), Actuators(oil_pump=True)
    s = stopped_state(p, d, 300.0e3, 1.1e6, separator_pa=chance.choice([None, 1.1e6, 0.6e6]))
    start = copy.deepcopy(s)
    d.stop_check_stuck_open_frac, d.discharge_check_stuck_open_frac = stop_check, discharge_check
    for _ in range(12):
        d.defrost[chance.randrange(4)] = chance.randrange(3)
        d.group_open_frac[chance.randrange(4)] = chance.choice([0.0, 0.5, 1.0])
        d.strainer_fouling_frac = chance.choice([0.0, strainer])
        d.surge_kg_s = chance.choice([0.0, surge_kg_s])
        d.other_compressor_m3_s = chance.choice([0.0, other_m3_s])
        a.motor_run = chance.random() < 0.7
        a.capacity_load, a.capacity_unload = chance.choice([(False, False), (True, False), (False, True)])
        for _ in range(chance.randint(1, 60)):
            status = step(p, s, d, a, 100)
            if status != 0:  # suction or head ran out of the tables, and the plant said so
                return
            assert min(s.evaporator.coil_kg) >= 0.0
            assert s.evaporator.held_kg >= 0.0
            assert s.separator.gas_kg > 0.0
            assert s.suction.pressure_pa <= s.vessel.zone.pressure_pa
            assert s.vessel.swollen_frac >= s.vessel.level_frac - 1.0e-12
    assert mass_residual_frac(p, start, s) < 1.0e-6
    assert energy_residual_frac(p, start, s) < 1.0e-6


FLUIDS = {
    # name: (evaporating °C, condensing °C of the rating, wet bulb °C, coil pressure in a defrost Pa)
    "R717": (-10.0, 35.0, 22.0, 700.0e3),
    "R134a": (-10.0, 35.0, 22.0, 450.0e3),
    "R744": (-35.0, -5.0, -18.0, 3600.0e3),
    "R290": (-10.0, 35.0, 22.0, 680.0e3),
}


def plant_on(name: str) -> tuple[Parameters, float]:
    """A closed plant of the demo machine on a refrigerant: (parameters, suction Pa).

    Feed valve, line drop, oil and drives are scaled with the refrigerant's own pressures and flow; the condenser of the
    CO2 plant gives its heat to a cascade's evaporator, which stands here as a cold wet bulb.
    """
    evaporating_c, condensing_c, wet_bulb_c, defrost_pa = FLUIDS[name]
    plant = PlantParameters()
    r = load_refrigerant(name)
    suction_pa = saturation_pressure_pa(r, evaporating_c + 273.15)
    discharge_pa = saturation_pressure_pa(r, condensing_c + 273.15)
    difference_pa = discharge_pa - suction_pa
    drive = replace(plant.capacity_drive, rated_hydraulic_pa=1.2 * difference_pa, rated_gas_difference_pa=difference_pa)
    plant = replace(
        plant,
        machine=replace(
            plant.machine, rating_evaporating_k=evaporating_c + 273.15, rating_condensing_k=condensing_c + 273.15
        ),
        suction_vessel=replace(plant.suction_vessel, feed_rated_kg_s=12.0, feed_rated_difference_pa=difference_pa),
        evaporator=replace(plant.evaporator, defrost_pressure_pa=defrost_pa, conductance_w_k=120.0e3),
        discharge_side=replace(
            plant.discharge_side, wet_bulb_k=wet_bulb_c + 273.15, conductance_w_k=120.0e3, fan_on_pa=1.2e7
        ),
        oil=replace(plant.oil, coolant_k=275.15, cooler_conductance_w_k=2.0e4),
        motor=replace(plant.motor, rated_shaft_power_w=800.0e3, inertia_kg_m2=8.0),
        capacity_drive=drive,
        volume_ratio_drive=drive,
    )
    assert cross_check(plant) == []
    return derive(plant, name, 100), suction_pa


@pytest.mark.parametrize("name", FLUIDS)
def test_a_closed_plant_runs_twenty_minutes_on_each_refrigerant(name: str) -> None:
    p, suction_pa = plant_on(name)
    d = Disturbances(wet_bulb_k=p.plant.discharge_side.wet_bulb_k)
    a = Actuators(motor_run=True, oil_pump=True)
    # the load that the machine carries at 80 % of its travel
    probe = running_state(p, d, suction_pa, _condensing_pa(p, name), 0.8)
    latent_j_kg = probe.vessel.zone.saturation.h_v_j_kg - probe.discharge.volume.saturation.h_l_j_kg
    d.load_heat_w = probe.compression.mass_flow_kg_s * latent_j_kg
    s = running_state(p, d, suction_pa)
    start = copy.deepcopy(s)
    for i in range(12000):
        d.defrost[0] = 1 if 3000 <= i < 6000 else 2 if 6000 <= i < 7000 else 0
        a.capacity_unload, a.capacity_load = 3200 <= i < 3260, 7300 <= i < 7400
        assert step(p, s, d, a, 100) == 0, i
    assert s.ledger.compressor_kg > 100.0
    assert 0.6 * suction_pa < s.suction.pressure_pa < 1.6 * suction_pa
    assert s.rates.refrigeration_w == pytest.approx(s.rates.load_w, rel=0.1)
    assert mass_residual_frac(p, start, s) < 1.0e-9
    assert energy_residual_frac(p, start, s) < 1.0e-9
    assert np.isfinite([s.oil.mixture_k, s.motor.current_a, s.vessel.level_frac]).all()


def _condensing_pa(p: Parameters, name: str) -> float:
    return saturation_pressure_pa(p.refrigerant, FLUIDS[name][1] + 273.15)
