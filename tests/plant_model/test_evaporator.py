"""The evaporators and their room."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from plant_model.derived import Parameters, derive
from plant_model.evaporator import load_w, refrigeration_w
from plant_model.initial import running_state, stopped_state
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances


def test_heat_follows_difference_and_open_groups(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    boiling_k = s.vessel.zone.saturation.t_k
    s.room_k = boiling_k + 8.0
    assert refrigeration_w(p, s, Disturbances()) == pytest.approx(480.0e3)
    assert refrigeration_w(p, s, Disturbances(evaporator_open_frac=0.25)) == pytest.approx(120.0e3)
    assert refrigeration_w(p, s, Disturbances(evaporator_open_frac=0.0)) == 0.0
    s.room_k = boiling_k - 8.0
    assert refrigeration_w(p, s, Disturbances()) == 0.0


def test_load_is_a_line_from_its_start(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    s.time_ms = 5000
    assert load_w(p, s, Disturbances(load_heat_w=1.0e5, load_heat_rate_w_s=-200.0, load_since_ms=3000)) == 99.6e3
    assert load_w(p, s, Disturbances(load_heat_w=1.0e5, load_heat_rate_w_s=-1.0e5, load_since_ms=0)) == 0.0


def test_the_load_fades_as_the_room_reaches_its_goods(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    d = Disturbances(load_heat_w=1.0e5)
    source_k, fade_k = p.plant.evaporator.load_source_k, p.plant.evaporator.load_fade_k
    for room_k, share in (
        (source_k - fade_k, 1.0),
        (source_k - 0.25 * fade_k, 0.25),
        (source_k, 0.0),
        (source_k + 5.0, 0.0),
    ):
        s.room_k = room_k
        assert load_w(p, s, d) == pytest.approx(share * 1.0e5)


def test_closed_groups_let_the_room_warm_at_load_over_capacity(p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3, evaporator_open_frac=0.0)
    s = stopped_state(p, d, 290.64e3, 1.2e6)
    start_k = s.room_k
    for _ in range(100):
        assert step(p, s, d, Actuators(), 100) == 0
    assert s.room_k - start_k == pytest.approx(300.0e3 * 10.0 / p.plant.evaporator.room_capacity_j_k, rel=1.0e-9)


def test_room_approaches_with_its_own_time_constant(p: Parameters) -> None:
    """Against the exact solution of C dT/dt = −UA (T − T_sat), with suction held by a huge vessel of its own."""
    slow = replace(p.plant, evaporator=replace(p.plant.evaporator, room_capacity_j_k=3.0e6))
    p = derive(slow, "R717")
    d = Disturbances(load_heat_w=0.0)
    s = running_state(p, Disturbances(), 290.64e3)
    tau_s = p.plant.evaporator.room_capacity_j_k / p.plant.evaporator.conductance_w_k
    assert tau_s == pytest.approx(50.0)
    steps = 20
    start_k = s.room_k - s.vessel.zone.saturation.t_k
    for _ in range(steps):
        assert step(p, s, d, Actuators(motor_run=True, oil_pump=True), 100) == 0
    # over 2 s suction itself moves by less than a tenth of the difference
    expected_k = start_k * math.exp(-0.1 * steps / tau_s)
    assert s.room_k - 263.45 == pytest.approx(expected_k, rel=0.03)
