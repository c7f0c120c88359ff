"""Believed values: what is kept, and how a lost position is reckoned on."""

from __future__ import annotations

import math

import pytest

from controller.positioner import DriveSettings
from controller.process_image import Health, Inputs, Outputs
from controller.scaling import believable
from controller.signal_watch import SignalSettings
from controller.signals import SignalState, judge_signals, read_signals

DRIVE = DriveSettings()


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_only_good_and_finite_is_believable(value: float) -> None:
    assert believable(1.0, Health.GOOD)
    assert not believable(value, Health.GOOD)
    for health in (Health.UNDER, Health.OVER, Health.FROZEN):
        assert not believable(1.0, health)


def test_a_bad_signal_keeps_its_last_good_value() -> None:
    state = SignalState()
    read_signals(DRIVE, DRIVE, state, Inputs(suction_pressure_kpa_abs=280.0), Outputs(), 100)
    bad = Inputs(suction_pressure_kpa_abs=0.0, suction_pressure_health=Health.UNDER)
    read_signals(DRIVE, DRIVE, state, bad, Outputs(), 100)
    assert state.suction_pressure_kpa_abs == 280.0
    assert not state.suction_pressure_good
    judge_signals(SignalSettings(), state, Inputs(), False, False, 372.0, 100)
    assert not state.all_good
    read_signals(DRIVE, DRIVE, state, Inputs(suction_pressure_kpa_abs=285.0), Outputs(), 100)
    judge_signals(SignalSettings(), state, Inputs(), False, False, 372.0, 100)
    assert state.suction_pressure_kpa_abs == 285.0
    assert state.all_good


def test_a_lost_position_goes_on_with_the_drives() -> None:
    state = SignalState()
    read_signals(DRIVE, DRIVE, state, Inputs(capacity_position_pct=50.0), Outputs(), 100)
    lost = Inputs(capacity_position_pct=0.0, capacity_position_health=Health.OVER)
    for _ in range(50):
        read_signals(DRIVE, DRIVE, state, lost, Outputs(capacity_unload=True), 100)
    assert state.capacity_position_pct == pytest.approx(50.0 - 100.0 * 5.0 / 25.0)  # 5 s of a 25 s stroke
    for _ in range(500):
        read_signals(DRIVE, DRIVE, state, lost, Outputs(capacity_unload=True), 100)
    assert state.capacity_position_pct == 0.0


def test_a_position_never_seen_is_not_taken_for_unloaded() -> None:
    state = SignalState()
    read_signals(DRIVE, DRIVE, state, Inputs(capacity_position_health=Health.UNDER), Outputs(), 0)
    assert state.capacity_position_pct == 100.0
