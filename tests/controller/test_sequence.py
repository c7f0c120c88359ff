"""The sequence on the closed loop: start, stop, idle, waits, refusals and a supply interruption."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.frame import attach_running
from controller.process_image import Health, Mode, Outputs, Selection, StartRefused, StopReason, Trip
from controller.registry import SHIPPED


def order(bench: Any) -> list[str]:
    names: list[str] = []
    for _, y, _ in bench.log:
        if not names or names[-1] != Mode(y.mode).name:
            names.append(Mode(y.mode).name)
    return names


def test_a_start_and_a_stop_go_through_every_mode(bench: Any) -> None:
    bench.scan(selection=Selection.OFF)
    bench.until(Mode.AUTOMATIC)
    bench.run(30.0)
    bench.overrides["selection"] = Selection.OFF
    bench.until(Mode.OFF)
    assert order(bench) == [
        "OFF",
        "WAITING",
        "PRE_LUBRICATION",
        "STARTING",
        "RUN_UP",
        "AUTOMATIC",
        "UNLOADING",
        "SPIN_DOWN",
        "OFF",
    ]
    assert bench.outputs.stop_reason == StopReason.SELECTED_OFF
    limit = bench.settings.common.sequence.start_limit_pct
    assert bench.machine.capacity_pct <= limit
    assert bench.machine.volume_ratio_pct <= limit


def test_it_unloads_first_when_a_trip_left_the_slides_loaded(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.scan(stop_button_pressed=True)
    loaded_pct = bench.machine.capacity_pct
    assert loaded_pct > 20.0
    bench.scan(reset_pressed=True)
    bench.until(Mode.PRE_LUBRICATION)
    assert bench.machine.capacity_pct == pytest.approx(loaded_pct, abs=0.5)
    bench.until(Mode.STARTING)
    assert bench.machine.capacity_pct <= 5.0  # the watcher checks it as well


def test_a_stuck_slide_never_gets_the_motor_and_says_why(bench: Any) -> None:
    bench.overrides = {"capacity_position_pct": 40.0, "capacity_position_opposite_pct": 40.0}
    bench.run(120.0)
    assert bench.outputs.mode == Mode.TRIPPED
    assert bench.outputs.trip_first_out == Trip.SLIDE_LOST
    assert bench.watcher.starts == 0


def test_a_slide_too_slow_to_unload_never_gets_the_motor_and_says_why(bench: Any) -> None:
    position_pct = 40.0
    for _ in range(1_200):
        position_pct -= 0.02  # 0.2 %/s
        bench.scan(capacity_position_pct=position_pct, capacity_position_opposite_pct=position_pct)
    assert bench.outputs.mode == Mode.PRE_LUBRICATION
    assert bench.outputs.alarm_word & 1 << Trip.UNLOAD_TIMEOUT
    assert bench.watcher.starts == 0


def test_unloading_that_times_out_stops_the_motor_with_an_alarm(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(30.0)
    bench.overrides = {"selection": Selection.OFF}
    position_pct = 60.0
    for i in range(752):
        position_pct -= 0.02  # far too slow
        bench.scan(capacity_position_pct=position_pct, capacity_position_opposite_pct=position_pct)
        if i == 748:
            assert bench.outputs.motor_run
    assert not bench.outputs.motor_run
    assert bench.outputs.alarm_word & 1 << Trip.UNLOAD_TIMEOUT
    assert bench.outputs.trip_word == 0


def test_a_controlled_unload_takes_capacity_first_and_then_the_volume_ratio(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.overrides = {"capacity_manual": True, "capacity_manual_demand_pct": 60.0}
    bench.run(60.0)
    assert bench.machine.volume_ratio_pct > 10.0
    assert bench.machine.capacity_pct > 35.0
    bench.overrides = {"selection": Selection.OFF}
    start = len(bench.log)
    bench.until(Mode.SPIN_DOWN)
    for x, y, _ in bench.log[start:]:
        if y.mode == Mode.UNLOADING and x.capacity_position_pct > 30.0:
            assert not y.volume_ratio_decrease
    assert max(bench.machine.capacity_pct, bench.machine.volume_ratio_pct) <= 5.0


def test_a_capacity_slide_that_sticks_keeps_its_volume_ratio(bench: Any) -> None:
    """Down alone it cost a machine at 88 % capacity half as much current again."""
    bench.until(Mode.AUTOMATIC)
    bench.run(40.0)
    before_pct = bench.machine.volume_ratio_pct
    stuck = {"capacity_position_pct": 88.0, "capacity_position_opposite_pct": 88.0}
    bench.overrides = stuck | {"selection": Selection.OFF}
    while bench.scan().mode in (Mode.AUTOMATIC, Mode.UNLOADING):
        assert bench.machine.volume_ratio_pct >= before_pct - 1.0
    assert not bench.outputs.motor_run


def test_a_power_dip_is_no_alarm_of_the_running_machine(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(70.0)
    assert bench.outputs.alarm_word == 0
    at_rest = {"oil_pressure_kpa_abs": 1200.0, "discharge_pressure_kpa_abs": 1200.0, "motor_running": False}
    y = bench.scan(supply_interrupted_ms=3_000, **at_rest)
    assert y.alarm_word == y.trip_word == 0
    assert not y.motor_run


def test_idle_stop_and_restart_by_pressure_after_the_wait(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    bench.machine.load_kw = -250.0
    bench.until(Mode.UNLOADING)
    bench.until(Mode.SPIN_DOWN)
    assert bench.outputs.stop_reason == StopReason.IDLE
    bench.until(Mode.WAITING)
    bench.machine.load_kw = 0.0
    bench.machine.suction_kpa_abs = 270.0
    bench.overrides = {"suction_pressure_kpa_abs": 270.0}
    bench.run(60.0)
    assert bench.outputs.start_refused == StartRefused.SUCTION_BELOW_RESTART
    bench.overrides = {}
    bench.machine.suction_kpa_abs = 320.0
    bench.machine.load_kw = 300.0
    bench.until(Mode.AUTOMATIC)
    assert bench.watcher.starts == 2


def test_start_to_start_wait_is_twenty_minutes_by_default(toys: Any) -> None:
    controller = SHIPPED["three_position"]
    bench = toys.Bench(controller, controller.settings_type())
    bench.until(Mode.STARTING)
    first_ms = bench.watcher.last_start_ms
    bench.scan(stop_button_pressed=True)
    bench.scan(reset_pressed=True)
    while bench.watcher.starts < 2:
        bench.scan(400)
        assert bench.watcher.time_ms < 2_000_000
    # 20 min to be let out of the wait, then 30 s of pre-lubrication
    assert bench.watcher.last_start_ms - first_ms == pytest.approx(1_230_000, abs=1_200)


REFUSALS = [
    (StartRefused.SAFETY_CHAIN_OPEN, {"safety_chain_closed": False}),
    (StartRefused.VALVES_CLOSED, {"valves_open": False}),
    (StartRefused.OIL_COLD, {"oil_temperature_c": 10.0}),
    (StartRefused.OIL_LEVEL_LOW, {"oil_level_pct": 10.0}),
    (StartRefused.VESSEL_LEVEL_HIGH, {"vessel_high_high_level": True}),
    (StartRefused.SUCTION_BELOW_RESTART, {"suction_pressure_kpa_abs": 280.0}),
    (StartRefused.SIGNAL_LOST, {"volume_ratio_position_health": Health.FROZEN}),
    (StartRefused.SIGNAL_LOST, {"oil_temperature_health": Health.UNDER}),
    (StartRefused.STILL_TURNING, {"motor_running": True}),
]


@pytest.mark.parametrize(("reason", "cause"), REFUSALS)
def test_a_refused_start_says_why_and_starts_when_it_may(
    bench: Any, reason: StartRefused, cause: dict[str, Any]
) -> None:
    bench.overrides = dict(cause)
    bench.run(2.0)
    assert bench.outputs.mode == Mode.WAITING
    assert bench.outputs.start_refused == reason
    bench.overrides = {}
    bench.until(Mode.AUTOMATIC)
    assert bench.outputs.start_refused == StartRefused.NONE


def test_starts_per_hour_are_counted(toys: Any) -> None:
    controller = SHIPPED["three_position"]
    settings = toys.quick(controller.settings_type())
    sequence = replace(settings.common.sequence, starts_per_hour=2, start_to_start_ms=1_000)
    settings = replace(settings, common=replace(settings.common, sequence=sequence))
    bench = toys.Bench(controller, settings)
    for _ in range(2):
        bench.until(Mode.STARTING)
        bench.scan(stop_button_pressed=True)
        bench.scan(reset_pressed=True)
    bench.run(60.0)
    assert bench.outputs.start_refused == StartRefused.STARTS_PER_HOUR
    assert bench.watcher.starts == 2
    bench.run(3_700.0, 1_000)
    assert bench.watcher.starts == 3


def test_a_supply_interruption_stops_counts_and_moves_the_waits_on(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    start_ms = bench.watcher.last_start_ms
    bench.run(10.0)
    bench.scan(supply_interrupted_ms=3_000)
    assert bench.outputs.mode == Mode.SPIN_DOWN
    assert not bench.outputs.motor_run
    assert bench.outputs.stop_reason == StopReason.SUPPLY_LOST
    assert bench.state.common.sequence.start_count == 1
    bench.until(Mode.PRE_LUBRICATION)  # the 3 s without supply count as waited
    waited_ms = bench.watcher.time_ms - start_ms
    assert waited_ms == pytest.approx(bench.settings.common.sequence.start_to_start_ms, abs=100)
    bench.until(Mode.STARTING)
    assert bench.watcher.starts == 2


def test_remote_run_starts_and_stops(bench: Any) -> None:
    bench.overrides = {"selection": Selection.REMOTE}
    bench.run(5.0)
    assert bench.outputs.mode == Mode.OFF
    bench.overrides["remote_run"] = True
    bench.until(Mode.AUTOMATIC)
    bench.overrides["remote_run"] = False
    bench.until(Mode.OFF)
    assert bench.outputs.stop_reason == StopReason.REMOTE_STOP


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_attach_running_takes_over_a_machine_in_service_without_a_bump(name: str, toys: Any) -> None:
    bench = toys.Bench(SHIPPED[name])
    machine = bench.machine
    machine.capacity_pct, machine.volume_ratio_pct, machine.suction_kpa_abs = 57.0, 88.0, 290.6
    machine.running, machine.since_command_ms = True, 10**7
    bench.outputs = Outputs()
    attach_running(bench.state.common, machine.measure(), bench.outputs)
    bench.watcher.last = replace(bench.outputs)
    for _ in range(300):
        y = bench.scan()
        assert y.mode == Mode.AUTOMATIC
        assert abs(y.capacity_demand_pct - 57.0) < 6.0
    assert bench.outputs.trip_word == 0


def test_stop_to_start_wait_holds_where_the_start_to_start_wait_is_over(toys: Any) -> None:
    controller = SHIPPED["three_position"]
    settings = toys.quick(controller.settings_type())
    sequence = replace(settings.common.sequence, start_to_start_ms=1_000, stop_to_start_ms=45_000)
    settings = replace(settings, common=replace(settings.common, sequence=sequence))
    bench = toys.Bench(controller, settings)
    bench.until(Mode.AUTOMATIC)
    bench.scan(stop_button_pressed=True)
    stop_ms = bench.watcher.time_ms
    bench.scan(reset_pressed=True)
    bench.run(10.0)
    assert bench.outputs.start_refused == StartRefused.RESTART_WAIT
    bench.until(Mode.PRE_LUBRICATION)
    assert bench.watcher.time_ms - stop_ms == pytest.approx(45_000, abs=100)


@pytest.mark.parametrize("mode", [Mode.STARTING, Mode.RUN_UP, Mode.AUTOMATIC])
def test_a_valve_that_closes_in_service_is_a_controlled_stop(bench: Any, mode: Mode) -> None:
    bench.until(mode)
    bench.overrides = {"valves_open": False}
    bench.run(1.9)
    bench.until(Mode.UNLOADING, 1.0)
    assert bench.outputs.motor_run
    bench.scan()
    assert bench.outputs.start_refused == StartRefused.VALVES_CLOSED
    bench.until(Mode.SPIN_DOWN)
    assert bench.outputs.stop_reason == StopReason.REMOTE_STOP
    bench.until(Mode.WAITING)
    bench.run(1.0)
    assert bench.outputs.start_refused == StartRefused.VALVES_CLOSED
    bench.overrides = {}
    bench.until(Mode.AUTOMATIC)


def test_a_valve_switch_that_bounces_stops_nothing(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    for k in range(200):
        bench.scan(valves_open=k % 10 > 5)
    assert bench.outputs.mode == Mode.AUTOMATIC


def test_off_local_and_remote_change_hands_without_a_bump(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    for selection in (Selection.REMOTE, Selection.LOCAL, Selection.REMOTE):
        before_pct = bench.outputs.capacity_demand_pct
        bench.overrides = {"selection": selection, "remote_run": True}
        bench.scan()
        assert bench.outputs.mode == Mode.AUTOMATIC
        assert bench.outputs.capacity_demand_pct == pytest.approx(before_pct, abs=1.0)
        bench.run(5.0)


def test_pull_down_from_equalised_pressure_goes_under_the_current_limit(toys: Any) -> None:
    """A warm plant: 560 kPa at the start.  The hold keeps the motor near its plate; no overload trip (control.md)."""
    for name in sorted(SHIPPED):
        bench = toys.Bench(SHIPPED[name])
        bench.machine.current_follows_suction = True
        bench.machine.suction_kpa_abs = 560.0
        bench.machine.conductance_kw_kpa = 0.5  # a warm room gives its heat whatever the suction
        bench.machine.load_kw = 500.0
        bench.until(Mode.AUTOMATIC)
        full_load_a = bench.settings.common.motor.full_load_current_a
        inhibited = highest_a = 0.0
        while bench.machine.suction_kpa_abs > 310.0:
            bench.scan()
            inhibited += 0.1 * (bench.outputs.inhibit != 0)
            highest_a = max(highest_a, bench.log[-1][0].motor_current_a)
            assert len(bench.log) < 12_000
        assert bench.outputs.trip_word == 0
        assert inhibited > 5.0, "the limit must have worked"
        assert highest_a < 1.07 * full_load_a


def test_both_slides_at_minimum_while_running_is_avoided(bench: Any) -> None:
    """The through-path is open there: starting and stopping only (control.md, plant.md)."""
    bench.until(Mode.AUTOMATIC)
    bench.machine.load_kw = 60.0
    bench.run(120.0)
    assert bench.outputs.mode == Mode.AUTOMATIC
    assert bench.machine.capacity_pct < 25.0
    assert bench.machine.volume_ratio_pct > 60.0


@pytest.mark.parametrize("mode", [Mode.WAITING, Mode.PRE_LUBRICATION])
def test_switched_off_before_the_start_it_goes_back_to_rest(bench: Any, mode: Mode) -> None:
    bench.overrides = {"oil_temperature_c": 10.0} if mode == Mode.WAITING else {}
    bench.until(mode)
    bench.overrides["selection"] = Selection.OFF
    bench.scan()
    assert bench.outputs.mode == Mode.OFF
    assert bench.outputs.start_refused == StartRefused.NONE
    assert bench.watcher.starts == 0


def test_a_supply_interruption_before_the_start_is_no_stop_of_the_motor(bench: Any) -> None:
    bench.until(Mode.PRE_LUBRICATION)
    bench.scan(supply_interrupted_ms=2_000)
    assert bench.outputs.mode == Mode.SPIN_DOWN
    assert bench.outputs.stop_reason == StopReason.NONE
    bench.until(Mode.AUTOMATIC)


def test_feedback_that_comes_too_late_to_be_confirmed_is_a_failed_start(bench: Any) -> None:
    bench.until(Mode.STARTING)
    bench.overrides = {"motor_running": False}
    bench.run(9.9)
    bench.overrides = {"motor_running": True}
    bench.run(0.4)
    assert bench.outputs.trip_first_out == Trip.FAILED_START
