"""Frozen and contradicting signals: found while the motor runs, and never on a quiet but healthy plant."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.process_image import Inhibit, Mode, Trip
from controller.registry import SHIPPED
from controller.setting_fields import Switch
from controller.signal_watch import Movement, SignalSettings, Stillness, count_travel, frozen

ALARM = 1 << Trip.SIGNAL_LOST


def loaded(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(40.0)


def swing(bench: Any, seconds: float) -> None:
    """Move the capacity slide to and fro by hand, so that a live signal has to move."""
    for k in range(round(seconds / 20.0)):
        bench.overrides |= {"capacity_manual": True, "capacity_manual_demand_pct": 30.0 if k % 2 else 55.0}
        bench.run(20.0)


@pytest.mark.parametrize(
    ("signal", "value", "inhibit"),
    [
        ("suction_pressure_kpa_abs", 295.0, Inhibit.SIGNAL_UNLOAD),
        ("discharge_pressure_kpa_abs", 1340.0, Inhibit.SIGNAL_HOLD),
        ("motor_current_a", 250.0, Inhibit.SIGNAL_HOLD),
    ],
)
def test_a_stuck_signal_is_found_when_the_slide_has_moved_enough(
    bench: Any, signal: str, value: float, inhibit: Inhibit
) -> None:
    loaded(bench)
    bench.overrides = {signal: value}
    start = len(bench.log)
    swing(bench, 200.0)
    found = next(k for k, (_, y, _) in enumerate(bench.log[start:]) if y.alarm_word & ALARM) / 10.0
    assert 60.0 <= found <= 82.0  # frozen_after 60 s, one look a second, one swing
    assert inhibit in {y.inhibit for _, y, _ in bench.log[start:]}
    if signal == "suction_pressure_kpa_abs":
        assert bench.outputs.trip_first_out == Trip.SIGNAL_LOST
    else:
        bench.overrides.pop(signal)
        bench.run(2.1)
        assert bench.outputs.alarm_word & ALARM == 0 or bench.outputs.trip_word & ALARM


def test_a_quiet_plant_freezes_nobody(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"capacity_manual": True, "capacity_manual_demand_pct": 40.0}
    bench.run(40.0)
    bench.overrides |= {"motor_current_a": 250.0, "discharge_pressure_kpa_abs": 1340.0}
    bench.run(400.0)
    assert bench.outputs.alarm_word & ALARM == 0


@pytest.mark.parametrize(
    ("signal", "value", "switch"),
    [
        ("discharge_temperature_c", 75.0, "discharge_temperature_watched"),
        ("oil_pressure_kpa_abs", 1545.0, "oil_pressure_watched"),
    ],
)
def test_signals_that_may_be_quiet_are_watched_only_when_asked(
    toys: Any, signal: str, value: float, switch: str
) -> None:
    for wanted in (Switch.OFF, Switch.ON):
        controller = SHIPPED["three_position"]
        settings = toys.quick(controller.settings_type())
        signals = replace(settings.common.signals, **{switch: wanted, "discharge_temperature_watched": Switch.OFF})
        signals = replace(signals, **{switch: wanted})
        bench = toys.Bench(controller, replace(settings, common=replace(settings.common, signals=signals)))
        loaded(bench)
        bench.overrides = {signal: value}
        swing(bench, 160.0)
        found = (bench.outputs.alarm_word | bench.outputs.trip_word) & ALARM != 0
        assert found == (wanted == Switch.ON)


def test_discharge_below_suction_cannot_be_and_neither_is_believed(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"suction_pressure_kpa_abs": 500.0, "discharge_pressure_kpa_abs": 400.0}
    bench.run(9.0)
    assert bench.outputs.alarm_word & ALARM == 0
    bench.run(3.0)
    assert bench.outputs.alarm_word & ALARM
    assert bench.outputs.inhibit == Inhibit.SIGNAL_HOLD
    bench.run(12.0)
    assert bench.outputs.trip_first_out == Trip.SIGNAL_LOST


def test_a_turning_motor_draws_current(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"motor_current_a": 12.0}
    bench.run(12.0)
    assert bench.outputs.inhibit == Inhibit.SIGNAL_HOLD
    assert bench.outputs.alarm_word & ALARM
    bench.overrides = {}
    bench.run(2.0)
    assert bench.outputs.inhibit == Inhibit.NONE


def test_oil_after_the_filter_is_not_above_oil_before_it(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"oil_pressure_before_filter_kpa_abs": 1_300.0}
    bench.run(12.0)
    assert bench.outputs.alarm_word & ALARM
    assert bench.outputs.inhibit == Inhibit.NONE
    assert bench.outputs.trip_word == 0


def test_what_lay_is_forgotten_when_the_motor_stops(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"motor_current_a": 12.0}
    bench.run(12.0)
    bench.scan(stop_button_pressed=True)
    bench.run(1.0)
    assert bench.outputs.alarm_word & ALARM == 0
    watch = bench.state.common.signals.watch
    assert not watch.lies
    assert watch.current.elapsed_ms == 0


def test_travel_is_counted_in_steps_that_noise_does_not_make() -> None:
    w = Movement()
    for k in range(1_000):
        count_travel(w, 0.4 * (k % 2))
    assert w.travelled_pct == 0.0
    for position_pct in (10.0, 5.0, 5.5, 20.0):
        count_travel(w, position_pct)
    assert w.travelled_pct == 10.0 + 5.0 + 15.0


def test_still_long_enough_and_travelled_far_enough_both_count() -> None:
    c = SignalSettings()
    w = Stillness(value=1.0)
    assert not frozen(c, w, Switch.ON, 1.0, 100.0, 59_999)
    assert frozen(c, w, Switch.ON, 1.0, 100.0, 1)
    assert not frozen(c, w, Switch.ON, 1.1, 100.0, 1)
    assert not frozen(c, w, Switch.ON, 1.1, 109.9, 200_000)
    assert frozen(c, w, Switch.ON, 1.1, 110.0, 1)
    assert not frozen(c, w, Switch.OFF, 1.1, 500.0, 1)


def test_suction_that_stands_in_the_rest_zone_is_found_by_current_and_discharge(bench: Any) -> None:
    """A loop that sees its set point for ever does not move its slide; the rest of the plant still tells."""
    loaded(bench)
    bench.run(60.0)
    set_point_kpa_abs = bench.outputs.suction_set_point_kpa_abs
    bench.overrides = {"suction_pressure_kpa_abs": set_point_kpa_abs}
    bench.run(70.0)
    before_pct = bench.machine.capacity_pct
    full_a = bench.settings.common.motor.full_load_current_a
    for k in range(20):  # 15 % of full-load current and no travel to speak of
        bench.overrides |= {"motor_current_a": (0.60 - 0.0075 * k) * full_a}
        bench.run(6.0)
    assert abs(bench.machine.capacity_pct - before_pct) < 5.0 or bench.outputs.mode == Mode.TRIPPED
    assert Inhibit.SIGNAL_UNLOAD in {y.inhibit for _, y, _ in bench.log}
    assert bench.outputs.alarm_word & ALARM or bench.outputs.trip_word & ALARM


def test_what_was_found_frozen_stays_so_at_standstill_until_it_moves(bench: Any) -> None:
    loaded(bench)
    bench.overrides = {"suction_pressure_kpa_abs": 295.0}
    swing(bench, 200.0)
    assert bench.outputs.trip_first_out == Trip.SIGNAL_LOST
    bench.run(10.0)
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word & ALARM, "the transmitter is still dead"
    bench.overrides = {}
    bench.run(2.1)
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0
