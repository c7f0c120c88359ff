"""The fault half of the library: each story happens as its file tells it, under each shipped controller.

Every assertion holds for the file's seed and for ten times it.  Times, orders and limits come from the scenario and from
the settings that the run had; the machine is invented, so absolute temperatures and pressures are only bounded.
"""

from __future__ import annotations

import numpy as np
import pytest

from controller.process_image import Inhibit, Mode, StartRefused, StopReason, Trip
from scenarios.steps import Steps
from tests.scenarios.library_runs import MINUTE_MS, SCENARIOS, each_controller, each_seed
from tests.scenarios.library_stories import (
    FAULTS,
    MAY_TRIP,
    SCAN_MS,
    SECOND_MS,
    assert_latched_until,
    assert_restart,
    assert_takes_the_load_again,
    assert_unloaded,
    story,
)


def test_every_story_about_a_trip_has_its_file() -> None:
    assert set(SCENARIOS) >= set(FAULTS)


@each_seed
@each_controller
@pytest.mark.parametrize("name", FAULTS)
def test_the_events_tell_the_cause_of_each_trip(name: str, controller: str, factor: int) -> None:
    s = story(name, controller, factor)
    tripped = [e for e in s.trace.events if e.source == "trip_first_out" and not e.text.endswith("NONE")]
    assert bool(tripped) == (name in MAY_TRIP)
    told = [e for e in s.trace.events if e.kind in ("disturbance", "operator", "instrument")]
    for event in tripped:
        assert event.text.rsplit(" → ", 1)[1] in Trip.__members__
        assert any(e.time_ms <= event.time_ms and e.text for e in told), "nothing in the events says what happened"


@each_seed
@each_controller
def test_emergency_stop(controller: str, factor: int) -> None:
    s = story("emergency_stop", controller, factor)
    pressed_ms, (reset_ms,) = 15 * MINUTE_MS, s.resets_ms()
    assert s.first_outs() == [Trip.STOP_BUTTON]
    (stop_ms,) = s.stops_ms()
    assert pressed_ms <= stop_ms <= pressed_ms + SCAN_MS
    assert s.trips_ms() == [stop_ms]
    assert_latched_until(s, stop_ms, reset_ms)
    # the slides stay where they were, and the pump feeds the bearings while the rotors coast
    assert min(s.slides(stop_ms)) > 0.3
    assert s.slides(reset_ms) == pytest.approx(s.slides(stop_ms), abs=0.01)
    pump = s.steps("oil_pump")
    oil_ms = s.common.sequence.oil_after_stop_ms
    assert pump.on_ms(stop_ms, reset_ms) == oil_ms
    assert s.at("motor_speed_1_s", stop_ms + oil_ms) == 0.0
    start_ms = assert_restart(s, stop_ms, reset_ms)
    # it had to wait for the last start, and said so
    waits = s.steps("start_refused").where(np.array([int(StartRefused.RESTART_WAIT)]))
    due_ms = s.starts_ms()[0] + s.common.sequence.start_to_start_ms
    assert waits.on_ms(reset_ms, start_ms) == pytest.approx(due_ms - reset_ms, abs=SECOND_MS)
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_safety_chain_opens(controller: str, factor: int) -> None:
    s = story("safety_chain_opens", controller, factor)
    opened_ms, closed_ms, (early_ms, reset_ms) = 30 * MINUTE_MS, 36 * MINUTE_MS, s.resets_ms()
    assert opened_ms < early_ms < closed_ms < reset_ms
    assert s.first_outs() == [Trip.SAFETY_CHAIN]
    (stop_ms,) = s.stops_ms()
    assert opened_ms <= stop_ms <= opened_ms + SCAN_MS
    assert_latched_until(s, stop_ms, reset_ms)
    alarm = s.steps("alarm_word").where(np.array([1 << Trip.SAFETY_CHAIN]))
    assert alarm.on_ms(0, reset_ms) == pytest.approx(closed_ms - opened_ms, abs=2 * SCAN_MS)
    assert_restart(s, stop_ms, reset_ms)
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_power_dip_and_restart(controller: str, factor: int) -> None:
    s = story("power_dip_and_restart", controller, factor)
    dip_ms, back_ms = 10 * MINUTE_MS, 10 * MINUTE_MS + 3 * SECOND_MS
    (stop_ms,) = s.stops_ms()
    assert dip_ms <= stop_ms <= dip_ms + SCAN_MS
    assert s.steps("oil_pump").on_ms(dip_ms + SCAN_MS, back_ms - SCAN_MS) == 0  # the cabinet is dark
    assert s.first("stop_reason", StopReason.SUPPLY_LOST) >= back_ms
    start_ms = assert_restart(s, stop_ms, back_ms)
    assert min(s.slides(s.first("mode", Mode.PRE_LUBRICATION, back_ms))) > 0.3  # the dip left them loaded
    # one start, when the wait is over: the clock of the waits has survived the dip
    due_ms = s.starts_ms()[0] + s.common.sequence.start_to_start_ms
    assert due_ms <= s.first("mode", Mode.PRE_LUBRICATION, back_ms) <= due_ms + SECOND_MS
    waits = s.steps("start_refused").where(np.array([int(StartRefused.RESTART_WAIT)]))
    assert waits.on_ms(back_ms, start_ms) > 9 * MINUTE_MS
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_condenser_fans_hold_unload_warn_and_trip_in_this_order(controller: str, factor: int) -> None:
    s = story("condenser_fans_fail", controller, factor)
    failed_ms = 35 * MINUTE_MS
    hold_ms = s.first("inhibit", Inhibit.DISCHARGE_PRESSURE_HOLD, failed_ms)
    unload_ms = s.first("inhibit", Inhibit.DISCHARGE_PRESSURE_UNLOAD, failed_ms)
    (trip_ms,) = s.trips_ms()
    assert failed_ms < hold_ms < unload_ms < s.alarm_ms(Trip.HIGH_DISCHARGE_PRESSURE) < trip_ms
    assert s.first_outs() == [Trip.HIGH_DISCHARGE_PRESSURE]
    assert s.at("capacity_travel_frac", trip_ms) < 0.1
    assert len(s.starts_ms()) == 1


@each_seed
@each_controller
def test_oil_cooler_fouls(controller: str, factor: int) -> None:
    s = story("oil_cooler_fouls", controller, factor)
    fouling_ms = 30 * MINUTE_MS
    assert s.first_outs() == [Trip.HIGH_OIL_TEMPERATURE]
    (stop_ms,) = s.stops_ms()
    unloading_ms = s.first("mode", Mode.UNLOADING)
    # the thermostatic valve hides it for long; then there are minutes of warning, and the stop is a controlled one
    hidden_k = s.between("oil_temperature_k", fouling_ms, fouling_ms + 30 * MINUTE_MS)
    assert np.abs(hidden_k - s.prepared.plant.parameters.oil.set_point_k).max() < 2.0
    assert unloading_ms - s.alarm_ms(Trip.HIGH_OIL_TEMPERATURE) >= 2 * MINUTE_MS
    assert SECOND_MS < stop_ms - unloading_ms < s.common.sequence.unload_timeout_ms
    assert_unloaded(s, stop_ms)
    assert s.at("oil_temperature_k", unloading_ms) - 273.15 == pytest.approx(
        s.common.protection.high_oil_temperature_trip_c, abs=3.0
    )
    hottest_c = float(s.trace["discharge_temperature_measured_k"].max()) - 273.15
    assert hottest_c < s.common.inhibit.discharge_temperature_hold_c
    assert len(s.starts_ms()) == 1


@each_seed
@each_controller
def test_oil_cooler_fouls_to_discharge_trip(controller: str, factor: int) -> None:
    s = story("oil_cooler_fouls_to_discharge_trip", controller, factor)
    assert s.first_outs() == [Trip.HIGH_DISCHARGE_TEMPERATURE]
    hold_ms = s.first("inhibit", Inhibit.DISCHARGE_TEMPERATURE_HOLD)
    unload_ms = s.first("inhibit", Inhibit.DISCHARGE_TEMPERATURE_UNLOAD)
    (stop_ms,) = s.stops_ms()
    assert hold_ms < unload_ms < s.alarm_ms(Trip.HIGH_DISCHARGE_TEMPERATURE) < stop_ms
    assert s.trips_ms() == [stop_ms]
    load = s.steps("capacity_load")
    assert load.on_ms(hold_ms, stop_ms) == 0
    # at minimum load long before the trip, and yet it got hotter: the oil is not cooled
    assert s.at("capacity_travel_frac", unload_ms + MINUTE_MS) < 0.1
    assert unload_ms + MINUTE_MS < stop_ms
    assert s.at("discharge_temperature_k", stop_ms) > s.at("discharge_temperature_k", unload_ms) + 3.0
    assert s.at("discharge_temperature_measured_k", stop_ms) - 273.15 >= (
        s.common.protection.high_discharge_temperature_trip_c - 1.0
    )
    # the oil was over its own limit, and its thermometer hung
    assert s.at("oil_temperature_k", stop_ms) - 273.15 > s.common.protection.high_oil_temperature_trip_c
    assert not (s.steps("alarm_word").values & (1 << Trip.HIGH_OIL_TEMPERATURE)).any()
    assert len(s.starts_ms()) == 1


@each_seed
@each_controller
def test_capacity_slide_stuck(controller: str, factor: int) -> None:
    s = story("capacity_slide_stuck", controller, factor)
    stuck_ms, load_falls_ms, free_ms = 30 * MINUTE_MS, 33 * MINUTE_MS, 43 * MINUTE_MS
    early_ms, reset_ms = s.resets_ms()
    assert s.first_outs() == [Trip.SLIDE_LOST, Trip.SLIDE_LOST]
    stop_ms = s.stops_ms()[0]
    unloading_ms = s.first("mode", Mode.UNLOADING)
    # found by its drive time, however many pulses that takes, and begun again at most once: what it moved before it stuck
    # may lie so near to `stuck_travel` that noise completes it; then it tries to unload until the timeout, and says so
    driven_ms = s.steps("capacity_unload").on_ms(load_falls_ms, unloading_ms)
    longest_ms = s.common.slide_watch.stuck_ms
    assert longest_ms - SECOND_MS <= driven_ms <= 2 * longest_ms + SECOND_MS
    assert unloading_ms < load_falls_ms + 5 * MINUTE_MS
    assert s.alarm_ms(Trip.SLIDE_LOST, load_falls_ms) == unloading_ms
    assert stop_ms - unloading_ms == pytest.approx(s.common.sequence.unload_timeout_ms, abs=SCAN_MS)
    assert s.alarm_ms(Trip.UNLOAD_TIMEOUT) == pytest.approx(stop_ms, abs=2 * SCAN_MS)
    assert s.first("stop_reason", StopReason.TRIP) == stop_ms
    assert np.ptp(s.between("capacity_travel_frac", stuck_ms + SECOND_MS, free_ms)) == 0.0
    assert s.at("capacity_travel_frac", stop_ms) > 0.3
    # the early reset leads to pre-lubrication and back, not to a start
    second_ms = s.trips_ms()[1]
    assert s.steps("mode").at(np.array([second_ms - SCAN_MS]))[0] == Mode.PRE_LUBRICATION
    begun_ms = max(early_ms, stop_ms + s.common.sequence.stop_to_start_ms)
    assert early_ms < second_ms < begun_ms + s.common.sequence.pre_lubrication_ms
    assert_latched_until(s, second_ms, reset_ms)
    assert_restart(s, stop_ms, reset_ms)
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_linkage_slips(controller: str, factor: int) -> None:
    s = story("linkage_slips", controller, factor)
    load_rises_ms, (reset_ms,) = 30 * MINUTE_MS, s.resets_ms()
    assert s.first_outs() == [Trip.HALVES_DISAGREE]
    unloading_ms = s.first("mode", Mode.UNLOADING)
    (stop_ms,) = s.stops_ms()
    assert load_rises_ms < unloading_ms < load_rises_ms + 2 * MINUTE_MS
    assert s.alarm_ms(Trip.HALVES_DISAGREE) == unloading_ms
    allowed_frac = s.common.slide_watch.disagree_pct / 100.0
    seen_ms = unloading_ms - s.common.slide_watch.disagree_delay_ms
    assert abs(s.at("capacity_halves_gap_frac", seen_ms)) == pytest.approx(allowed_frac, abs=0.02)
    # the half that the cabinet steers by is down in time, the other is left behind: the pair is not unloaded
    assert stop_ms - unloading_ms < s.common.sequence.unload_timeout_ms
    assert s.at("capacity_travel_measured_frac", stop_ms) < 0.06
    assert s.at("capacity_halves_gap_frac", stop_ms) > 2.0 * allowed_frac
    # a reset is not taken while the halves stand apart
    assert reset_ms > stop_ms
    assert s.steps("mode").at(np.array([reset_ms + MINUTE_MS]))[0] == Mode.TRIPPED
    assert len(s.starts_ms()) == 1


@each_seed
@each_controller
def test_suction_transmitter_fails(controller: str, factor: int) -> None:
    s = story("suction_transmitter_fails", controller, factor)
    lost_ms, back_ms, (early_ms, reset_ms) = 30 * MINUTE_MS, 40 * MINUTE_MS, s.resets_ms()
    assert lost_ms < early_ms < back_ms < reset_ms
    assert s.first_outs() == [Trip.SIGNAL_LOST]
    hold_ms, unload_ms = s.first("inhibit", Inhibit.SIGNAL_HOLD), s.first("inhibit", Inhibit.SIGNAL_UNLOAD)
    (stop_ms,) = s.stops_ms()
    assert lost_ms <= hold_ms <= lost_ms + 2 * SCAN_MS
    assert unload_ms - hold_ms == pytest.approx(s.common.inhibit.signal_unload_delay_ms, abs=SCAN_MS)
    assert stop_ms - hold_ms == pytest.approx(s.common.protection.signal_lost_delay_ms, abs=SCAN_MS)
    # not a moment of loading, though a hall has come on and the true pressure rises
    assert s.steps("capacity_load").on_ms(hold_ms, reset_ms) == 0
    travel = s.between("capacity_travel_frac", hold_ms, stop_ms)
    assert np.diff(travel).max() <= 1e-9
    assert travel[-1] < travel[0] - 0.1
    assert s.at("suction_pressure_pa", stop_ms) > s.at("suction_pressure_pa", lost_ms)
    assert_latched_until(s, stop_ms, reset_ms)
    assert_restart(s, stop_ms, reset_ms)
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_suction_transmitter_freezes(controller: str, factor: int) -> None:
    s = story("suction_transmitter_freezes", controller, factor)
    frozen_ms = 31 * MINUTE_MS
    assert s.first_outs() == [Trip.SIGNAL_LOST]
    hold_ms = s.first("inhibit", Inhibit.SIGNAL_HOLD)
    unload_ms = s.first("inhibit", Inhibit.SIGNAL_UNLOAD)
    (stop_ms,) = s.stops_ms()
    assert frozen_ms + s.common.signals.frozen_after_ms <= hold_ms < unload_ms < stop_ms < frozen_ms + 5 * MINUTE_MS
    assert np.ptp(s.between("suction_pressure_measured_pa", frozen_ms + SECOND_MS, stop_ms)) == 0.0
    assert s.steps("capacity_load").on_ms(frozen_ms, stop_ms) == 0  # it follows the load down, never up
    low = s.prepared.limits.trip(Trip.LOW_SUCTION_PRESSURE)
    assert low is not None
    assert s.between("suction_pressure_pa", frozen_ms, stop_ms).min() > low.limit + 50e3
    assert len(s.starts_ms()) == 1


@each_seed
@each_controller
def test_restart_after_trip_loaded(controller: str, factor: int) -> None:
    s = story("restart_after_trip_loaded", controller, factor)
    weak_ms, (reset_ms,) = 25 * MINUTE_MS, s.resets_ms()
    assert s.first_outs() == [Trip.LOW_OIL_DIFFERENTIAL]
    (stop_ms,) = s.stops_ms()
    delay_ms = s.common.protection.low_oil_differential_delay_ms
    assert weak_ms < s.alarm_ms(Trip.LOW_OIL_DIFFERENTIAL, weak_ms) < stop_ms
    assert weak_ms + delay_ms < stop_ms < weak_ms + delay_ms + 3 * SECOND_MS
    assert_latched_until(s, stop_ms, reset_ms)
    assert min(s.slides(reset_ms)) > 0.3
    start_ms = assert_restart(s, stop_ms, reset_ms)
    # it waited for the slides, not for the clock
    q = s.common.sequence
    assert start_ms - s.first("mode", Mode.PRE_LUBRICATION, reset_ms) > q.pre_lubrication_ms + 10 * SECOND_MS
    assert max(s.slides(start_ms - 10 * SECOND_MS)) > q.start_limit_pct / 100.0
    alarm_pa = 1e3 * s.common.protection.low_oil_differential_alarm_kpa
    assert s.between("oil_differential_pa", start_ms, start_ms + MINUTE_MS).min() > alarm_pa
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_liquid_surge_to_high_high_level(controller: str, factor: int) -> None:
    s = story("liquid_surge_to_high_high_level", controller, factor)
    surge_ms, (early_ms, reset_ms) = 30 * MINUTE_MS, s.resets_ms()
    assert s.first_outs() == [Trip.VESSEL_HIGH_LEVEL]
    (stop_ms,) = s.stops_ms()
    contact_ms = s.alarm_ms(Trip.VESSEL_HIGH_LEVEL)
    assert surge_ms < contact_ms < surge_ms + 3 * MINUTE_MS
    assert stop_ms - contact_ms == pytest.approx(s.common.protection.vessel_high_level_delay_ms, abs=SCAN_MS)
    level = s.prepared.plant.parameters.suction_vessel.high_high_level_frac
    assert s.at("vessel_swollen_level_frac", contact_ms) == pytest.approx(level, abs=0.01)
    assert s.at("vessel_swollen_level_frac", early_ms) > level > s.at("vessel_swollen_level_frac", reset_ms)
    assert_latched_until(s, stop_ms, reset_ms)
    assert_restart(s, stop_ms, reset_ms)
    assert_takes_the_load_again(s)


@each_seed
@each_controller
def test_contactor_does_not_open(controller: str, factor: int) -> None:
    s = story("contactor_does_not_open", controller, factor)
    pressed_ms, dark_ms, back_ms = 25 * MINUTE_MS, 35 * MINUTE_MS, 40 * MINUTE_MS
    early_ms, reset_ms = s.resets_ms()
    assert pressed_ms < early_ms < dark_ms < back_ms < reset_ms
    assert s.first_outs() == [Trip.STOP_BUTTON]
    (stop_ms,) = s.stops_ms()
    assert pressed_ms <= stop_ms <= pressed_ms + SCAN_MS
    words = s.steps("trip_word")
    failed = Steps(words.times_ms, words.values & (1 << Trip.FAILED_STOP), words.end_ms)
    (failed_ms,) = failed.rises_ms().tolist()
    assert failed_ms - stop_ms == pytest.approx(s.common.protection.failed_stop_ms, abs=2 * SCAN_MS)
    assert_latched_until(s, stop_ms, reset_ms)
    assert failed.on_ms(failed_ms, reset_ms) == reset_ms - failed_ms
    # it turns on without a command: oil for as long as it does, and down to minimum load
    assert s.steps("motor_running").on_ms(stop_ms, dark_ms) == dark_ms - stop_ms
    assert s.steps("oil_pump").on_ms(stop_ms, dark_ms) == dark_ms - stop_ms
    assert s.at("capacity_travel_frac", stop_ms) > 0.3
    assert s.steps("capacity_unload").on_ms(failed_ms, failed_ms + 5 * SECOND_MS) > 4 * SECOND_MS
    assert max(s.slides(pressed_ms + 90 * SECOND_MS)) < 0.02
    assert s.at("motor_current_a", dark_ms - SECOND_MS) < 0.75 * s.at("motor_current_a", pressed_ms - SECOND_MS)
    # dark, mended, and not started by the returning supply
    assert s.steps("motor_running").on_ms(dark_ms + SECOND_MS, reset_ms) == 0
    assert_restart(s, dark_ms, reset_ms)
    assert_takes_the_load_again(s)
