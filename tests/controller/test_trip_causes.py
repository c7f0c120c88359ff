"""The causes beyond the first ones: limits, bypasses, delays, and which class does what; on the closed loop."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.process_image import Health, Inhibit, Mode, StopReason, Trip
from controller.protection_settings import OilDifference, TripClass
from controller.registry import SHIPPED
from controller.saturation import RefrigerantSettings, saturation_temperature_c
from controller.signals import SignalState
from controller.trip_causes import ALARM, CauseTimers, class_of, lowest_cause

NAMES = {
    Trip.HIGH_DISCHARGE_PRESSURE: ("high_discharge_pressure", {"discharge_pressure_kpa_abs": 1750.0}),
    Trip.LOW_SUCTION_PRESSURE: ("low_suction_pressure", {"suction_pressure_kpa_abs": 150.0}),
    Trip.HIGH_DISCHARGE_TEMPERATURE: ("high_discharge_temperature", {"discharge_temperature_c": 110.0}),
    Trip.LOW_DISCHARGE_SUPERHEAT: ("low_discharge_superheat", {"discharge_temperature_c": 38.0}),
    Trip.LOW_OIL_DIFFERENTIAL: ("low_oil_differential", {"oil_pressure_kpa_abs": 1400.0}),
    Trip.HIGH_FILTER_DIFFERENTIAL: ("high_filter_differential", {"oil_pressure_before_filter_kpa_abs": 1730.0}),
    Trip.HIGH_OIL_TEMPERATURE: ("high_oil_temperature", {"oil_temperature_c": 75.0}),
    Trip.VESSEL_HIGH_LEVEL: ("vessel_high_level", {"vessel_high_high_level": True}),
    Trip.MOTOR_OVERLOAD: ("motor_overload", {"motor_current_a": 450.0}),
    Trip.HALVES_DISAGREE: ("halves_disagree", {"volume_ratio_position_opposite_pct": 5.0}),
    Trip.SLIDE_LOST: ("slide_lost", {"volume_ratio_position_health": Health.UNDER}),
    Trip.SIGNAL_LOST: ("signal_lost", {"discharge_pressure_health": Health.UNDER}),
}

WAITS_S = {  # a little more than each delay, where that is longer than 2 s
    Trip.HIGH_DISCHARGE_TEMPERATURE: 6.0,
    Trip.LOW_DISCHARGE_SUPERHEAT: 61.0,
    Trip.LOW_OIL_DIFFERENTIAL: 6.0,
    Trip.HIGH_FILTER_DIFFERENTIAL: 31.0,
    Trip.HIGH_OIL_TEMPERATURE: 31.0,
    Trip.HALVES_DISAGREE: 11.0,
    Trip.SLIDE_LOST: 31.0,
    Trip.SIGNAL_LOST: 11.0,
}


def bench_with(
    toys: Any, protection: dict[str, Any] | None = None, name: str = "scheduled_pi", **classes: TripClass
) -> Any:
    controller = SHIPPED[name]
    settings = toys.quick(controller.settings_type())
    p = replace(settings.common.protection, low_superheat_bypass_ms=2_000, **(protection or {}))
    p = replace(p, classes=replace(p.classes, **classes))
    bench = toys.Bench(controller, replace(settings, common=replace(settings.common, protection=p)))
    bench.until(Mode.AUTOMATIC)
    bench.run(40.0)
    bench.machine.load_kw = 420.0
    return bench


DELAYS = [
    (Trip.LOW_DISCHARGE_SUPERHEAT, 60_000),
    (Trip.LOW_OIL_DIFFERENTIAL, 5_000),
    (Trip.VESSEL_HIGH_LEVEL, 2_000),
]


@pytest.mark.parametrize(("trip", "delay_ms"), DELAYS)
def test_an_immediate_cause_trips_at_its_delay_and_not_a_scan_before(toys: Any, trip: Trip, delay_ms: int) -> None:
    bench = bench_with(toys)
    bench.overrides = dict(NAMES[trip][1])
    for _ in range(delay_ms // 100):
        assert bench.scan().trip_word == 0
    bench.scan()
    assert not bench.outputs.motor_run
    assert bench.outputs.trip_first_out == trip
    assert bench.outputs.stop_reason == StopReason.TRIP


@pytest.mark.parametrize(
    ("trip", "delay_ms"),
    [(Trip.HIGH_FILTER_DIFFERENTIAL, 30_000), (Trip.HIGH_OIL_TEMPERATURE, 30_000), (Trip.HALVES_DISAGREE, 10_000),
     (Trip.SLIDE_LOST, 30_000)],
)  # fmt: skip
def test_a_controlled_cause_unloads_first_and_latches_with_the_motor_off(toys: Any, trip: Trip, delay_ms: int) -> None:
    bench = bench_with(toys)
    bench.overrides = dict(NAMES[trip][1])
    for _ in range(delay_ms // 100):
        assert bench.scan().mode == Mode.AUTOMATIC
    bench.scan()
    assert bench.outputs.mode == Mode.UNLOADING
    assert bench.outputs.motor_run
    assert bench.outputs.trip_word == 0
    assert bench.outputs.trip_first_out == Trip.NONE, "a latched cause shows only with the motor off"
    assert bench.outputs.alarm_word & 1 << trip
    bench.until(Mode.TRIPPED)
    limit = bench.settings.common.sequence.start_limit_pct
    assert bench.machine.capacity_pct <= limit + 0.5
    assert bench.outputs.trip_word == 1 << trip
    assert bench.outputs.trip_first_out == trip
    assert bench.outputs.stop_reason == StopReason.TRIP
    bench.overrides = {}
    bench.run(1.0)
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0
    bench.until(Mode.AUTOMATIC)


@pytest.mark.parametrize("trip", sorted(NAMES))
@pytest.mark.parametrize("kind", list(TripClass))
def test_every_class_does_what_it_says(toys: Any, trip: Trip, kind: TripClass) -> None:
    field, cause = NAMES[trip]
    bench = bench_with(toys, **{field: kind})
    bench.machine.load_kw = 700.0
    bench.run(5.0)
    bench.overrides = dict(cause)
    bench.run(WAITS_S.get(trip, 3.0))
    p = bench.state.common.protection
    y = bench.scan()
    assert y.alarm_word & 1 << trip or y.trip_word & 1 << trip
    if kind == TripClass.IMMEDIATE_STOP:
        assert y.mode == Mode.TRIPPED
        assert y.trip_first_out == trip
    elif kind == TripClass.CONTROLLED_STOP:
        assert y.mode == Mode.UNLOADING
        assert p.stopping_word == 1 << trip
    else:
        assert y.motor_run
        assert y.mode == Mode.AUTOMATIC
        assert y.trip_word == 0
        assert (p.unload_word & 1 << trip != 0) == (kind == TripClass.FORCED_UNLOAD)
        assert (p.hold_word & 1 << trip != 0) == (kind == TripClass.LOAD_INHIBIT)
        if kind != TripClass.ALARM:
            assert y.inhibit != Inhibit.NONE
            assert not y.capacity_load
        if kind == TripClass.FORCED_UNLOAD:
            assert y.capacity_unload or bench.machine.capacity_pct <= 3.5
        bench.overrides = {}
        bench.run(2.0)
        assert bench.outputs.inhibit == Inhibit.NONE, "a class below a stop does not latch"


def test_an_immediate_cause_during_a_controlled_stop_stops_now_and_the_first_cause_stays_first(toys: Any) -> None:
    bench = bench_with(toys)
    bench.overrides = {"oil_temperature_c": 75.0}
    bench.until(Mode.UNLOADING)
    bench.scan(stop_button_pressed=True)
    assert not bench.outputs.motor_run
    assert bench.outputs.trip_first_out == Trip.HIGH_OIL_TEMPERATURE
    bench.scan()
    assert bench.outputs.trip_word == 1 << Trip.HIGH_OIL_TEMPERATURE | 1 << Trip.STOP_BUTTON


def test_a_controlled_cause_while_already_unloading_names_the_trip(toys: Any) -> None:
    bench = bench_with(toys, {"high_oil_temperature_delay_ms": 1_000})
    bench.overrides = {"selection": 0}
    bench.run(1.0)
    assert bench.outputs.mode == Mode.UNLOADING
    bench.overrides = {"oil_temperature_c": 75.0, "selection": 0}
    bench.until(Mode.TRIPPED)
    assert bench.outputs.stop_reason == StopReason.TRIP


def test_a_controlled_cause_at_rest_latches_at_once(bench: Any) -> None:
    bench.overrides = {"oil_temperature_c": 75.0, "selection": 0}
    bench.run(30.2)
    assert bench.outputs.trip_first_out == Trip.HIGH_OIL_TEMPERATURE


def test_lost_oil_flow_trips_first_on_oil_differential(toys: Any) -> None:
    """What a failed pump does to the instruments: oil pressure falls at once, discharge temperature creeps (plant.md)."""
    bench = bench_with(toys)
    temperature_c, seconds = 75.0, 0.0
    while not bench.outputs.trip_word:
        seconds += 0.1
        temperature_c += 0.1 * 30.0 / 60.0  # 30 K a minute through a thermowell: common practice, no source
        supply_kpa_abs = bench.machine.measure().discharge_pressure_kpa_abs - 20.0
        oil = {"oil_pressure_before_filter_kpa_abs": supply_kpa_abs, "oil_pressure_kpa_abs": supply_kpa_abs}
        bench.scan(discharge_temperature_c=temperature_c, **oil)
    assert bench.outputs.trip_first_out == Trip.LOW_OIL_DIFFERENTIAL
    assert seconds < 6.0


def test_without_a_pump_the_difference_to_suction_counts(toys: Any) -> None:
    without = {"oil_difference": OilDifference.SUPPLY_LESS_SUCTION, "low_oil_differential_trip_kpa": 250.0}
    bench = bench_with(toys, {**without, "low_oil_differential_alarm_kpa": 300.0})
    bench.overrides = {"oil_pressure_kpa_abs": 1300.0}  # below discharge, far above suction
    bench.run(20.0)
    assert bench.outputs.trip_word == 0
    bench.overrides = {"oil_pressure_kpa_abs": 500.0, "oil_pressure_before_filter_kpa_abs": 520.0}
    bench.run(6.0)
    assert bench.outputs.trip_first_out == Trip.LOW_OIL_DIFFERENTIAL


def test_oil_differential_and_superheat_wait_for_their_bypass_after_a_start(bench: Any) -> None:
    bench.until(Mode.STARTING)
    bench.overrides = {"oil_pressure_kpa_abs": 1300.0, "oil_pressure_before_filter_kpa_abs": 1300.0}
    started = len(bench.log)
    while not bench.outputs.trip_word:
        bench.scan()
    assert (len(bench.log) - started) * 100 == 15_000 + 5_000  # bypass, then delay
    bench.overrides = {}
    bench.scan(reset_pressed=True)
    bench.until(Mode.STARTING)
    bench.overrides = {"discharge_temperature_c": 36.0}
    bench.run(200.0)
    assert bench.outputs.trip_word == 0


def test_superheat_is_discharge_temperature_less_saturation(toys: Any) -> None:
    bench = bench_with(toys)
    for pressure_kpa_abs, temperature_c in ((1350.0, 60.0), (1351.0, 61.0), (1500.0, 62.0)):
        bench.scan(discharge_pressure_kpa_abs=pressure_kpa_abs, discharge_temperature_c=temperature_c)
        expected_k = temperature_c - saturation_temperature_c(RefrigerantSettings(), pressure_kpa_abs)
        # the saturation temperature is kept while pressure moves less than 2 kPa
        assert bench.state.common.protection.quantities.superheat_k == pytest.approx(expected_k, abs=0.06)


def test_failed_stop_latches_keeps_the_oil_on_and_unloads(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"motor_running": True}
    bench.scan(stop_button_pressed=True)
    loaded_pct = bench.machine.capacity_pct
    bench.run(2.9)
    assert bench.outputs.trip_word == 1 << Trip.STOP_BUTTON
    bench.run(0.3)
    assert bench.outputs.trip_word == 1 << Trip.STOP_BUTTON | 1 << Trip.FAILED_STOP
    bench.run(100.0)  # longer than the oil after a stop
    assert bench.outputs.oil_pump
    assert bench.machine.capacity_pct < min(5.0, loaded_pct)
    assert not bench.outputs.motor_run
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word, "not while it turns"
    bench.overrides = {}
    bench.scan()
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0


def test_a_motor_that_runs_unasked_at_rest_is_a_failed_stop(bench: Any) -> None:
    bench.overrides = {"motor_running": True, "selection": 0}
    bench.run(3.0)
    assert bench.outputs.oil_pump
    bench.run(0.2)
    assert bench.outputs.trip_first_out == Trip.FAILED_STOP


def test_an_unloading_that_times_out_can_be_made_to_latch(toys: Any) -> None:
    bench = bench_with(toys, unload_timeout=TripClass.CONTROLLED_STOP)
    bench.overrides = {"selection": 0}
    position_pct = 60.0
    for _ in range(760):
        position_pct -= 0.02
        bench.scan(capacity_position_pct=position_pct, capacity_position_opposite_pct=position_pct)
    assert bench.outputs.trip_first_out == Trip.UNLOAD_TIMEOUT
    assert not bench.outputs.motor_run
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0


LOST = [
    ("discharge_temperature_health", "discharge_temperature_lost"),
    ("motor_current_health", "motor_current_lost"),
    ("oil_pressure_health", "oil_pressure_lost"),
    ("oil_temperature_health", "oil_temperature_lost"),
]


@pytest.mark.parametrize(("signal", "field"), LOST)
@pytest.mark.parametrize("kind", list(TripClass))
def test_a_lost_signal_forces_what_its_class_says(toys: Any, signal: str, field: str, kind: TripClass) -> None:
    bench = bench_with(toys, **{field: kind})
    bench.overrides = {signal: Health.UNDER}
    bench.scan()
    assert bench.outputs.alarm_word & 1 << Trip.SIGNAL_LOST
    bench.run(10.0)
    y = bench.outputs
    if kind == TripClass.IMMEDIATE_STOP:
        assert y.trip_first_out == Trip.SIGNAL_LOST
    elif kind == TripClass.CONTROLLED_STOP:
        assert y.mode == Mode.UNLOADING
    elif kind == TripClass.FORCED_UNLOAD:
        assert y.inhibit == Inhibit.SIGNAL_UNLOAD
    elif kind == TripClass.LOAD_INHIBIT:
        assert y.inhibit == Inhibit.SIGNAL_HOLD
    else:
        assert y.mode == Mode.AUTOMATIC
        assert y.trip_word == 0


def test_the_oil_signal_before_the_filter_only_alarms(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.overrides = {"oil_pressure_before_filter_health": Health.OVER}
    bench.run(30.0)
    assert bench.outputs.alarm_word & 1 << Trip.SIGNAL_LOST
    assert bench.outputs.trip_word == 0
    assert bench.outputs.inhibit == Inhibit.NONE


def test_first_out_follows_the_scan_order_whatever_comes_together() -> None:
    assert lowest_cause(0) == Trip.NONE
    for trip in list(Trip)[1:]:
        assert lowest_cause(1 << trip) == trip
        assert lowest_cause(1 << trip | 1 << 17) == trip


def test_a_signal_that_has_not_been_lost_long_is_an_alarm() -> None:
    settings = SHIPPED["scheduled_pi"].settings_type().common.protection
    assert class_of(settings, CauseTimers(), SignalState(), 1 << Trip.SIGNAL_LOST) == ALARM
    assert class_of(settings, CauseTimers(), SignalState(), 1 << Trip.STOP_BUTTON) == TripClass.IMMEDIATE_STOP
