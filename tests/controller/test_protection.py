"""Trips: delay, latch, first-out, pre-alarm, reset; each on the closed loop, for each shipped controller."""

from __future__ import annotations

from typing import Any

import pytest

from controller.load_inhibit import InhibitSettings, InhibitState, inhibit_load
from controller.process_image import Health, Mode, StartRefused, StopReason, Trip
from controller.protection_settings import ProtectionSettings
from controller.saturation import RefrigerantSettings
from controller.signals import SignalState
from controller.trip_causes import Quantities, work_out

CASES = [
    (Trip.STOP_BUTTON, {"stop_button_pressed": True}, 0),
    (Trip.SAFETY_CHAIN, {"safety_chain_closed": False}, 0),
    (Trip.HIGH_DISCHARGE_PRESSURE, {"discharge_pressure_kpa_abs": 1700.0}, 1_000),
    (Trip.LOW_SUCTION_PRESSURE, {"suction_pressure_kpa_abs": 190.0}, 1_000),
    (Trip.HIGH_DISCHARGE_TEMPERATURE, {"discharge_temperature_c": 105.0}, 5_000),
    (Trip.MOTOR_OVERLOAD, {"motor_current_a": 437.0}, 2_000),
    (Trip.FAILED_START, {"motor_running": False}, 2_000),
    (Trip.SIGNAL_LOST, {"suction_pressure_health": Health.UNDER}, 10_000),
    (Trip.SIGNAL_LOST, {"discharge_pressure_health": Health.OVER}, 10_000),
]


@pytest.mark.parametrize(("trip", "cause", "delay_ms"), CASES)
def test_a_cause_trips_at_its_delay_and_not_a_scan_before(
    bench: Any, trip: Trip, cause: dict[str, Any], delay_ms: int
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    bench.overrides = dict(cause)
    for _ in range(delay_ms // 100):
        bench.scan()
        assert bench.outputs.motor_run
        assert bench.outputs.trip_word == 0
    bench.scan()
    assert not bench.outputs.motor_run
    assert bench.outputs.trip_first_out == trip
    assert bench.outputs.trip_word == 1 << trip
    assert bench.outputs.stop_reason == StopReason.TRIP
    assert bench.outputs.mode == Mode.TRIPPED
    assert bench.outputs.start_refused == StartRefused.TRIP_LATCHED


@pytest.mark.parametrize(("trip", "cause", "delay_ms"), [c for c in CASES if c[2] > 0])
def test_a_cause_that_goes_before_its_delay_does_not_trip(
    bench: Any, trip: Trip, cause: dict[str, Any], delay_ms: int
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    for _ in range(3):
        bench.overrides = dict(cause)
        bench.run(delay_ms / 1000.0)
        bench.overrides = {}
        bench.scan()
    assert bench.outputs.trip_word == 0
    assert bench.outputs.motor_run


@pytest.mark.parametrize(("trip", "cause", "delay_ms"), CASES)
def test_reset_needs_a_fresh_press_and_the_cause_gone(
    bench: Any, trip: Trip, cause: dict[str, Any], delay_ms: int
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    bench.overrides = dict(cause)
    bench.run(delay_ms / 1000.0 + 0.2)
    if trip != Trip.FAILED_START:  # its cause is gone with the command
        bench.scan(reset_pressed=True)
        assert bench.outputs.trip_word == 1 << trip
        bench.overrides = {"reset_pressed": True}  # held while the cause goes: not a fresh press
        bench.run(1.0)
        assert bench.outputs.trip_word == 1 << trip
    bench.overrides = {}
    bench.run(1.0)
    assert bench.outputs.trip_word == 1 << trip, "it must not clear by itself"
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0
    assert bench.outputs.trip_first_out == Trip.NONE


def test_first_out_stays_and_later_causes_are_added(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.scan(discharge_temperature_c=120.0, stop_button_pressed=True, safety_chain_closed=False)
    assert bench.outputs.trip_first_out == Trip.STOP_BUTTON  # IEC 61511 practice, published_checks.md §7: scan order
    assert bench.outputs.trip_word == 1 << Trip.STOP_BUTTON | 1 << Trip.SAFETY_CHAIN
    bench.overrides = {"discharge_pressure_kpa_abs": 1800.0}
    bench.run(2.0)
    assert bench.outputs.trip_first_out == Trip.STOP_BUTTON
    assert bench.outputs.trip_word & 1 << Trip.HIGH_DISCHARGE_PRESSURE


def test_pre_alarm_comes_before_the_trip_and_leaves_by_its_dead_band(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bit = 1 << Trip.HIGH_DISCHARGE_PRESSURE
    words = [bench.scan(discharge_pressure_kpa_abs=p).alarm_word & bit for p in (1640, 1650, 1610, 1601, 1600, 1640)]
    assert words == [0, bit, bit, bit, 0, 0]
    assert bench.outputs.trip_word == 0


def test_low_suction_waits_for_its_bypass_after_a_start(bench: Any) -> None:
    bench.until(Mode.STARTING)
    bench.overrides = {"suction_pressure_kpa_abs": 150.0}
    started = len(bench.log)
    while bench.outputs.trip_word == 0:
        bench.scan()
    # bypass 2 s, then delay 1 s, in the quick settings of conftest.py
    assert (len(bench.log) - started) * 100 == 3_000


def test_starting_current_is_no_overload_however_long_the_start_takes(bench: Any) -> None:
    bench.until(Mode.STARTING)
    bench.overrides = {"motor_current_a": 2_000.0, "motor_running": False}
    bench.run(9.0)  # the overload delay is 2 s in the quick settings
    assert bench.outputs.mode == Mode.STARTING
    bench.overrides = {}
    bench.until(Mode.AUTOMATIC)
    assert bench.outputs.trip_word == 0


def test_no_running_feedback_is_a_failed_start(bench: Any) -> None:
    bench.overrides = {"motor_running": False}
    bench.until(Mode.STARTING)
    bench.run(9.9)
    assert bench.outputs.motor_run
    bench.scan()
    assert bench.outputs.trip_first_out == Trip.FAILED_START
    assert not bench.outputs.motor_run


def test_a_flickering_feedback_is_a_failed_start_too(bench: Any) -> None:
    bench.until(Mode.STARTING)
    for i in range(200):
        bench.scan(motor_running=i % 2 == 0)
        if bench.outputs.trip_word:
            break
    assert bench.outputs.trip_first_out == Trip.FAILED_START
    assert i * 100 <= 10_000 + 300


def test_an_open_chain_at_rest_refuses_the_start_and_does_not_trip(bench: Any) -> None:
    bench.overrides = {"safety_chain_closed": False}
    bench.run(5.0)
    assert bench.outputs.trip_word == 0
    assert bench.outputs.start_refused == StartRefused.SAFETY_CHAIN_OPEN
    assert bench.outputs.mode == Mode.WAITING


def test_oil_runs_on_after_a_trip_for_its_time(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.scan(stop_button_pressed=True)
    on = 0
    while bench.scan().oil_pump:
        on += 1
    assert on == 599  # 60 s from the scan that stopped the motor


@pytest.mark.parametrize(
    ("cause", "milder"),
    [
        ({"discharge_temperature_c": 110.0}, {"discharge_temperature_c": 106.0}),
        ({"motor_current_a": 450.0}, {"motor_current_a": 440.0}),
    ],
)
def test_a_cause_that_has_only_just_come_back_forbids_the_reset(
    bench: Any, cause: dict[str, Any], milder: dict[str, Any]
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.overrides = dict(cause)
    bench.run(7.0)
    assert bench.outputs.trip_word
    bench.overrides = {}
    bench.run(1.0)
    bench.scan(reset_pressed=True, **milder)
    assert bench.outputs.trip_word
    bench.scan()
    assert bench.scan(reset_pressed=True).trip_word == 0


def test_without_a_name_plate_there_is_no_current_in_percent() -> None:
    settings = ProtectionSettings()
    quantities = Quantities(current_pct=50.0)
    work_out(settings, RefrigerantSettings(), quantities, SignalState(motor_current_a=100.0), 0.0)
    assert quantities.current_pct == 0.0
    state = InhibitState()
    inhibit_load(InhibitSettings(), state, SignalState(motor_current_a=900.0), Mode.AUTOMATIC, 0.0, 0, 0, 100)
    assert state.current == 0
