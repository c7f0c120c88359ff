"""End-stop calibration: readings, their age, what is refused, and what the rest of the logic then sees."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.calibration import DONE, CalibrationSettings, StopReadings, calibrate, cross_check
from controller.positioner import DriveSettings
from controller.process_image import Mode, Trip
from controller.registry import SHIPPED
from controller.setting_fields import Switch

DRIVE = DriveSettings()


class Slide:
    """A slide of 50 s up and 25 s down, whose signal has a zero and a span of its own."""

    def __init__(self, low_pct: float, high_pct: float, travel: float = 0.2) -> None:
        self.low_pct, self.high_pct, self.travel = low_pct, high_pct, travel
        self.stuck = False

    @property
    def signal_pct(self) -> float:
        return self.low_pct + (self.high_pct - self.low_pct) * self.travel

    def drive(self, direction: int) -> None:
        if not self.stuck:
            self.travel = min(max(self.travel + direction * (0.002 if direction > 0 else 0.004), 0.0), 1.0)


def search(settings: CalibrationSettings, slide: Slide, state: StopReadings, seconds: float = 200.0) -> list[int]:
    directions = []
    direction = 0
    for k in range(round(10 * seconds)):
        slide.drive(direction)
        up = calibrate(settings, DRIVE, state, slide.signal_pct, True, True, direction, 1_000_000 + 100 * k, 100)
        direction = 1 if up else (-1 if state.phase != DONE else 0)
        directions.append(direction)
        if state.phase == DONE:
            break
    return directions


def test_the_low_stop_is_read_where_the_slide_stops_moving() -> None:
    state = StopReadings()
    search(CalibrationSettings(), Slide(1.7, 100.0), state)
    assert state.low_known
    assert not state.high_known
    assert not state.refused
    assert state.low_pct == pytest.approx(1.7, abs=0.3)
    assert state.low_at_ms > 1_000_000
    assert (50.85 - state.low_pct) * state.scale == pytest.approx(50.0, abs=0.3)


def test_both_stops_are_found_and_the_high_one_not_again_before_its_interval() -> None:
    c = CalibrationSettings(high_stop=Switch.ON)
    state = StopReadings()
    slide = Slide(2.0, 96.0)
    directions = search(c, slide, state)
    assert 1 in directions
    assert state.high_known
    assert state.low_known
    assert (state.low_pct, state.high_pct) == (pytest.approx(2.0, abs=0.3), pytest.approx(96.0, abs=0.3))
    assert state.scale == pytest.approx(100.0 / 94.0, rel=0.01)
    calibrate(c, DRIVE, state, slide.signal_pct, True, False, 0, 1_200_000, 100)
    assert 1 not in search(c, slide, state)
    state.high_at_ms -= 2 * c.interval_ms
    calibrate(c, DRIVE, state, slide.signal_pct, True, False, 0, 1_200_000, 100)
    assert 1 in search(c, slide, state)


def test_a_span_under_80_percent_is_refused_and_changes_nothing() -> None:
    state = StopReadings()
    search(CalibrationSettings(high_stop=Switch.ON), Slide(0.0, 70.0), state)
    assert not state.high_known
    assert (state.low_pct, state.high_pct, state.scale) == (0.0, 100.0, 1.0)
    state = StopReadings()
    search(CalibrationSettings(high_stop=Switch.ON), Slide(0.0, 70.0), state, 60.0)
    assert state.refused


def test_a_slide_stuck_far_from_zero_is_no_stop() -> None:
    state = StopReadings()
    slide = Slide(0.0, 100.0)
    slide.stuck = True
    search(CalibrationSettings(), slide, state)
    assert state.refused
    assert not state.low_known
    assert state.low_pct == 0.0


def test_a_slide_that_never_stops_moving_upwards_ends_the_search_in_time() -> None:
    c = CalibrationSettings(high_stop=Switch.ON)
    state = StopReadings()
    for k in range(1_100):
        up = calibrate(c, DRIVE, state, 50.0 + k % 2, True, True, 1, 100 * k, 100)
        if not up:
            break
    assert k == pytest.approx(2 * DRIVE.stroke_up_ms / 100, abs=3)
    assert state.refused


def test_the_drive_the_other_way_is_no_push_against_this_stop() -> None:
    for wanted, given in ((Switch.ON, -1), (Switch.OFF, 1)):
        state = StopReadings()
        for k in range(50):
            calibrate(CalibrationSettings(high_stop=wanted), DRIVE, state, 1.0, True, True, given, 100 * k, 100)
        assert not state.low_known
        assert not state.high_known


def test_nothing_is_looked_for_when_switched_off_or_blind_or_not_permitted() -> None:
    for c, believed, permitted in (
        (CalibrationSettings(low_stop=Switch.OFF), True, True),
        (CalibrationSettings(), False, True),
        (CalibrationSettings(), True, False),
    ):
        state = StopReadings()
        for k in range(100):
            assert not calibrate(c, DRIVE, state, 0.0, believed, permitted, -1, 100 * k, 100)
        assert not state.low_known


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_a_start_reads_the_low_stop_and_the_logic_goes_by_it(name: str, toys: Any) -> None:
    controller = SHIPPED[name]
    settings = toys.quick(controller.settings_type())
    common = settings.common
    sequence = replace(common.sequence, pre_lubrication_ms=15_000)
    bench = toys.Bench(controller, replace(settings, common=replace(common, sequence=sequence)))
    bench.machine.capacity_pct = 20.0
    shift_pct = 2.0
    stops = bench.state.common.signals.capacity_stops
    while bench.outputs.mode != Mode.STARTING:
        signal_pct = bench.machine.capacity_pct + shift_pct
        bench.scan(capacity_position_pct=signal_pct, capacity_position_opposite_pct=signal_pct)
        assert len(bench.log) < 400
    assert stops.low_known
    assert stops.low_pct == shift_pct
    assert not stops.refused
    assert bench.state.common.signals.capacity_position_pct == 0.0


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_the_high_stop_is_looked_for_with_the_motor_off_and_then_it_starts_unloaded(name: str, toys: Any) -> None:
    controller = SHIPPED[name]
    settings = toys.quick(controller.settings_type())
    common = settings.common
    common = replace(
        common,
        calibration=CalibrationSettings(high_stop=Switch.ON),
        sequence=replace(common.sequence, pre_lubrication_ms=10_000),
    )
    bench = toys.Bench(controller, replace(settings, common=common))
    bench.until(Mode.PRE_LUBRICATION)
    highest = 0.0
    while bench.scan().mode == Mode.PRE_LUBRICATION:
        highest = max(highest, min(bench.machine.capacity_pct, bench.machine.volume_ratio_pct))
        assert not bench.outputs.motor_run
        assert len(bench.log) < 2_000
    assert bench.outputs.mode == Mode.STARTING
    assert highest == 100.0
    for stops in (bench.state.common.signals.capacity_stops, bench.state.common.signals.volume_ratio_stops):
        assert stops.high_known
        assert stops.low_known
        assert stops.high_pct == pytest.approx(100.0, abs=0.3)
    assert not bench.outputs.alarm_word & 1 << Trip.SLIDE_LOST
    # a lost signal on the way up: no drive up
    bench = toys.Bench(controller, replace(settings, common=common))
    bench.until(Mode.PRE_LUBRICATION)
    bench.run(5.0)
    assert bench.outputs.capacity_load
    assert bench.outputs.volume_ratio_increase
    # the watcher would complain as well: a failed instrument never raises capacity
    bench.scan(discharge_temperature_health=1)
    assert not bench.outputs.capacity_load
    assert not bench.outputs.volume_ratio_increase


def test_a_refused_stop_alarms_as_slide_lost(bench: Any) -> None:
    bench.until(Mode.PRE_LUBRICATION)
    bench.overrides = {"capacity_position_pct": 30.0, "capacity_position_opposite_pct": 30.0}
    bench.run(4.0)
    assert bench.outputs.alarm_word & 1 << Trip.SLIDE_LOST
    assert bench.outputs.mode == Mode.PRE_LUBRICATION


def test_times_that_do_not_fit_the_drive_are_found() -> None:
    assert cross_check(CalibrationSettings(), DRIVE, "slide") == []
    assert any("end_stop_guard" in t for t in cross_check(CalibrationSettings(settle_ms=5_000), DRIVE, "slide"))
    slow = DriveSettings(stroke_up_ms=300_000)
    assert any("still_pct" in t for t in cross_check(CalibrationSettings(still_pct=1.0), slow, "slide"))


def test_a_low_stop_that_leaves_too_small_a_span_is_refused() -> None:
    state = StopReadings(high_pct=81.0, scale=100.0 / 81.0, high_known=True)
    search(CalibrationSettings(), Slide(1.5, 81.0), state)
    assert state.refused
    assert not state.low_known
    assert state.low_pct == 0.0
