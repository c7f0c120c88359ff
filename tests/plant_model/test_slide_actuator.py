"""The hydraulic slide drive: strokes, stall, milliseconds, and that nothing moves unpowered."""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive, slide_drive_constants
from plant_model.initial import running_state
from plant_model.parameters import PlantParameters, SlideDriveParameters
from plant_model.plant import step
from plant_model.slide_actuator import moving_ms, show_position, slide_speed_frac_s, step_slides
from plant_model.slide_drive_parameters import DriveKind
from plant_model.state import Actuators, Disturbances, DriveFaults, PlantState, SlideState

DRIVE = SlideDriveParameters()
CONSTANTS = slide_drive_constants(DRIVE)


def test_rated_strokes() -> None:
    for direction, stroke_s in ((1, 50.0), (-1, 25.0)):
        speed = slide_speed_frac_s(DRIVE, CONSTANTS, DRIVE.rated_hydraulic_pa, DRIVE.rated_gas_difference_pa, direction)
        assert 1.0 / speed == pytest.approx(stroke_s, rel=1.0e-12)


@given(hydraulic_pa=st.floats(-1.0e6, 3.0e6), gas_pa=st.floats(0.0, 2.0e6))
def test_gas_force_unloads_and_speed_grows_with_oil(hydraulic_pa: float, gas_pa: float) -> None:
    load = slide_speed_frac_s(DRIVE, CONSTANTS, hydraulic_pa, gas_pa, 1)
    unload = slide_speed_frac_s(DRIVE, CONSTANTS, hydraulic_pa, gas_pa, -1)
    assert load >= 0.0
    assert unload >= 0.0
    assert slide_speed_frac_s(DRIVE, CONSTANTS, hydraulic_pa, gas_pa + 1.0e5, 1) <= load
    assert slide_speed_frac_s(DRIVE, CONSTANTS, hydraulic_pa, gas_pa + 1.0e5, -1) >= unload
    assert slide_speed_frac_s(DRIVE, CONSTANTS, hydraulic_pa + 1.0e5, gas_pa, 1) >= load


def test_stalls_below_friction_and_gas_force() -> None:
    stall_pa = DRIVE.friction_pa + DRIVE.gas_force_frac * 1.0e6
    assert slide_speed_frac_s(DRIVE, CONSTANTS, stall_pa, 1.0e6, 1) == 0.0
    assert slide_speed_frac_s(DRIVE, CONSTANTS, stall_pa + 1.0e4, 1.0e6, 1) > 0.0
    # with the oil lost, a high pressure difference still unloads
    assert slide_speed_frac_s(DRIVE, CONSTANTS, 0.0, 1.0e6, -1) > 0.0


@settings(max_examples=80, deadline=None)
@given(
    pulses=st.lists(st.tuples(st.integers(1, 3000), st.integers(1, 3000)), min_size=1, max_size=6),
    parts=st.lists(st.integers(1, 250), min_size=1, max_size=5),
    load=st.booleans(),
)
def test_motion_is_the_pulse_less_dead_time_plus_overrun_to_the_millisecond(
    pulses: list[tuple[int, int]], parts: list[int], load: bool
) -> None:
    """Whatever the steps that a pulse is cut into."""
    for on_ms, off_ms in pulses:
        slide = SlideState()
        moved = 0
        for energised, total_ms in ((True, on_ms), (False, off_ms)):
            left, i = total_ms, 0
            while left > 0:
                h_ms = min(left, parts[i % len(parts)])
                moved += moving_ms(DRIVE, slide, load and energised, energised and not load, h_ms)
                left, i = left - h_ms, i + 1
        expected = max(0, on_ms - DRIVE.dead_time_ms)
        if on_ms > DRIVE.dead_time_ms:
            expected += min(off_ms, DRIVE.overrun_ms)
        assert moved == expected


def test_a_long_drive_moves_all_the_time() -> None:
    slide = SlideState()
    moved = sum(moving_ms(DRIVE, slide, True, False, 1000) for _ in range(4000))
    assert moved == 4_000_000 - DRIVE.dead_time_ms


def test_both_solenoids_hold_the_slide() -> None:
    slide = SlideState()
    assert sum(moving_ms(DRIVE, slide, True, True, 100) for _ in range(50)) == 0


def test_reversal_starts_with_its_own_dead_time_and_no_overrun() -> None:
    slide = SlideState()
    assert moving_ms(DRIVE, slide, True, False, 1000) == 1000 - DRIVE.dead_time_ms
    assert moving_ms(DRIVE, slide, False, True, DRIVE.dead_time_ms) == 0
    assert moving_ms(DRIVE, slide, False, True, 10) == 10
    assert slide.direction == -1


def at_rating(p: Parameters) -> PlantState:
    return running_state(p, Disturbances(), 290.64e3, 1.35e6, 0.0, 0.0)


def test_full_stroke_near_the_rating_takes_its_time_and_stops_at_the_ends(p: Parameters) -> None:
    s = at_rating(p)
    for load, stroke_s in ((True, 50.0), (False, 25.0)):
        a = Actuators(capacity_load=load, capacity_unload=not load)
        end, steps = (1.0, 0) if load else (0.0, 0)
        while s.capacity.travel_frac != end:
            step_slides(p, s, a, 100)
            steps += 1
            assert steps < 2000
        assert steps * 0.1 == pytest.approx(stroke_s, rel=0.05)
        step_slides(p, s, a, 100)
        assert s.capacity.travel_frac == end
        assert s.capacity.velocity_frac_s == 0.0


def test_two_pairs_share_the_oil(p: Parameters) -> None:
    alone, together = at_rating(p), at_rating(p)
    for _ in range(50):
        step_slides(p, alone, Actuators(capacity_load=True), 100)
        step_slides(p, together, Actuators(capacity_load=True, volume_ratio_increase=True), 100)
    share = p.plant.capacity_drive.shared_flow_frac
    assert together.capacity.travel_frac == pytest.approx(share * alone.capacity.travel_frac, rel=1.0e-9)
    assert together.volume_ratio.travel_frac > 0.0


def test_both_pairs_and_all_directions_go_the_right_way(p: Parameters) -> None:
    for name, pair, sign in (
        ("capacity_load", "capacity", 1),
        ("capacity_unload", "capacity", -1),
        ("volume_ratio_increase", "volume_ratio", 1),
        ("volume_ratio_decrease", "volume_ratio", -1),
    ):
        s = at_rating(p)
        s.capacity.travel_frac = s.volume_ratio.travel_frac = 0.5
        a = Actuators(motor_run=True, oil_pump=True)
        setattr(a, name, True)
        for _ in range(20):
            step_slides(p, s, a, 100)
        other = "volume_ratio" if pair == "capacity" else "capacity"
        assert math.copysign(1.0, getattr(s, pair).travel_frac - 0.5) == sign
        assert getattr(s, pair).velocity_frac_s * sign > 0.0
        assert getattr(s, other).travel_frac == 0.5


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(*[st.booleans()] * 6, st.integers(1, 40)), min_size=1, max_size=8))
def test_travel_stays_in_range_and_never_moves_unpowered(p: Parameters, program: list[tuple[int, ...]]) -> None:
    s = copy.deepcopy(at_rating(p))
    s.capacity.travel_frac = 0.3
    d = Disturbances()
    for load, unload, increase, decrease, pump, run, steps in program:
        a = Actuators(
            motor_run=bool(run),
            oil_pump=bool(pump),
            capacity_load=bool(load),
            capacity_unload=bool(unload),
            volume_ratio_increase=bool(increase),
            volume_ratio_decrease=bool(decrease),
        )
        for i in range(steps):
            before = (s.capacity.travel_frac, s.volume_ratio.travel_frac)
            assert step(p, s, d, a, 100) == 0
            assert 0.0 <= s.capacity.travel_frac <= 1.0
            assert 0.0 <= s.volume_ratio.travel_frac <= 1.0
            coasting = i * 100 < DRIVE.overrun_ms
            if load == unload and (load or not coasting):
                assert s.capacity.travel_frac == before[0]
            if increase == decrease and (increase or not coasting):
                assert s.volume_ratio.travel_frac == before[1]


def test_slides_move_the_same_at_any_step(p: Parameters) -> None:
    """Exact motion: with pressures held, pulses end at the same travel at 100 and at 25 ms."""
    ends = []
    for h_ms in (100, 25):
        q = derive(replace(PlantParameters()), "R717", h_ms)
        s = at_rating(q)
        for on, total_ms in ((True, 2700), (False, 900), (True, 400), (False, 900)):
            for _ in range(total_ms // h_ms):
                step_slides(q, s, Actuators(capacity_load=on), h_ms)
        ends.append(s.capacity.travel_frac)
    assert ends[0] == pytest.approx(ends[1], abs=1.0e-15)


def faulty(
    p: Parameters, faults: DriveFaults, drive: SlideDriveParameters | None = None
) -> tuple[Parameters, PlantState]:
    """The rating point with a drive and faults on the capacity pair."""
    if drive is not None:
        p = derive(replace(p.plant, capacity_drive=drive), "R717", 100)
    s = at_rating(p)
    s.capacity.faults = faults
    return p, s


def pulse(p: Parameters, s: PlantState, direction: int, steps: int) -> None:
    for _ in range(steps):
        step_slides(p, s, Actuators(capacity_load=direction > 0, capacity_unload=direction < 0), 100)


def test_a_motorised_drive_is_symmetric_and_needs_no_pressure(p: Parameters) -> None:
    q, s = faulty(p, DriveFaults(drift_frac_s=-0.01), replace(DRIVE, kind=DriveKind.MOTORISED))
    s.oil.supply_pa = s.suction.pressure_pa
    for direction in (1, -1):
        before = s.capacity.travel_frac = 0.5
        pulse(q, s, direction, 102)
        pulse(q, s, 0, 2)
        # 25–60 s (practitioner's memory), 40 s here: 10.2 s less dead time plus overrun
        assert abs(s.capacity.travel_frac - before) == pytest.approx((10.2 - 0.15 + 0.1) / 40.0, rel=1.0e-9)
    before = s.capacity.travel_frac
    pulse(q, s, 0, 100)
    assert s.capacity.travel_frac == before  # self-locking: no drift


def test_two_drives_share_the_oil_only_if_both_are_hydraulic(p: Parameters) -> None:
    q, s = faulty(p, DriveFaults(), replace(DRIVE, kind=DriveKind.MOTORISED))
    both, one = copy.deepcopy(s), copy.deepcopy(s)
    for _ in range(20):
        step_slides(q, both, Actuators(capacity_load=True, volume_ratio_increase=True), 100)
        step_slides(q, one, Actuators(volume_ratio_increase=True), 100)
    assert both.volume_ratio.travel_frac == one.volume_ratio.travel_frac


def test_slow_stuck_and_without_supply(p: Parameters) -> None:
    _, sound = faulty(p, DriveFaults())
    _, slow = faulty(p, DriveFaults(speed_frac=0.3))
    _, stuck = faulty(p, DriveFaults(stuck=True, drift_frac_s=0.01))
    _, dark = faulty(p, DriveFaults())
    dark.motor.supply_on = False
    for s in (sound, slow, stuck, dark):
        pulse(p, s, 1, 50)
    assert slow.capacity.travel_frac == pytest.approx(0.3 * sound.capacity.travel_frac, rel=1.0e-9)
    assert stuck.capacity.travel_frac == dark.capacity.travel_frac == 0.0
    pulse(p, stuck, 0, 50)
    assert stuck.capacity.travel_frac == 0.0


@pytest.mark.parametrize("rate", [-0.002, 0.002])
def test_leaking_hydraulics_drift_with_the_gas_force_while_the_drive_is_off(p: Parameters, rate: float) -> None:
    _, s = faulty(p, DriveFaults(drift_frac_s=rate))
    s.capacity.travel_frac = 0.5
    pulse(p, s, 0, 100)
    gas_pa = s.separator.pressure_pa - s.suction.pressure_pa
    expected = rate * 10.0 * gas_pa / DRIVE.rated_gas_difference_pa
    assert s.capacity.travel_frac - 0.5 == pytest.approx(expected, rel=1.0e-9)
    s.separator.pressure_pa = s.suction.pressure_pa
    before = s.capacity.travel_frac
    pulse(p, s, 0, 100)
    assert s.capacity.travel_frac == before  # equalised: nothing pushes


def test_stiction_asks_for_more_to_break_away_than_to_keep_going(p: Parameters) -> None:
    q, s = faulty(p, DriveFaults(), replace(DRIVE, stiction_pa=50.0e3))
    gas_pa = s.separator.pressure_pa - s.suction.pressure_pa
    between_pa = s.suction.pressure_pa + DRIVE.friction_pa + DRIVE.gas_force_frac * gas_pa + 30.0e3
    rated_pa = s.oil.supply_pa
    s.oil.supply_pa = between_pa
    pulse(q, s, 1, 30)
    assert s.capacity.travel_frac == 0.0
    s.oil.supply_pa = rated_pa
    pulse(q, s, 1, 10)
    moving_frac = s.capacity.travel_frac
    s.oil.supply_pa = between_pa
    pulse(q, s, 1, 10)
    assert s.capacity.travel_frac > moving_frac > 0.0


@pytest.mark.parametrize("on_slide", [True, False])
def test_backlash_is_crossed_at_every_reversal(p: Parameters, on_slide: bool) -> None:
    """Half-gap h as in the published checks section 5: the slide lags the drive by h, a reversal costs 2 h."""
    h = 0.02
    q, s = faulty(
        p, DriveFaults(), replace(DRIVE, kind=DriveKind.MOTORISED, backlash_frac=h, feedback_on_slide=on_slide)
    )
    s.capacity.travel_frac = 0.5
    drive_frac = 0.5
    for direction, steps in ((1, 60), (-1, 30), (-1, 60), (1, 20), (1, 100)):
        pulse(q, s, direction, steps)
        drive_frac = s.capacity.travel_frac + s.capacity.drive_gap_frac
        assert abs(s.capacity.drive_gap_frac) <= h + 1.0e-15
    assert s.capacity.drive_gap_frac == h
    travel = s.capacity.travel_frac
    # back by less than the gap: the drive moves, the slide does not
    speed_frac_s = q.derived.capacity_drive.motor_frac_s
    steps = int(1.5 * h / speed_frac_s / 0.1)
    pulse(q, s, -1, steps)
    moved = (steps * 0.1 - 0.15) * speed_frac_s
    assert s.capacity.travel_frac == travel
    assert s.capacity.drive_gap_frac == pytest.approx(h - moved, abs=1.0e-12)
    show_position(q.plant.capacity_drive, s.capacity)
    expected = travel if on_slide else drive_frac - moved
    assert s.capacity.feedback_frac == pytest.approx(expected, abs=1.0e-12)
    assert s.capacity.opposite_frac == travel


def test_backlash_is_the_textbook_play_operator(p: Parameters) -> None:
    """Against the play operator written down apart: y = min(u + h, max(u − h, y)) for the drive's path u."""
    h = 0.013
    drive = replace(DRIVE, kind=DriveKind.MOTORISED, backlash_frac=h, dead_time_ms=0, overrun_ms=0)
    q, s = faulty(p, DriveFaults(), drive)
    s.capacity.travel_frac = u = y = 0.5
    speed_frac_s = q.derived.capacity_drive.motor_frac_s
    for i in range(400):
        direction = 1 if math.sin(0.05 * i + 0.4) > 0.0 else -1
        pulse(q, s, direction, 1)
        u += direction * 0.1 * speed_frac_s
        y = min(u + h, max(u - h, y))
        assert s.capacity.travel_frac == pytest.approx(y, abs=1.0e-12)


def test_a_stuck_slide_lets_the_drive_cross_the_gap_only(p: Parameters) -> None:
    q, s = faulty(p, DriveFaults(stuck=True), replace(DRIVE, backlash_frac=0.01, feedback_on_slide=False))
    s.capacity.travel_frac = 0.4
    pulse(q, s, 1, 100)
    show_position(q.plant.capacity_drive, s.capacity)
    assert s.capacity.travel_frac == 0.4
    assert s.capacity.feedback_frac == pytest.approx(0.41)


def test_a_slipping_linkage_leaves_the_second_half_behind(p: Parameters) -> None:
    _, s = faulty(p, DriveFaults(linkage_slip_frac=0.25))
    s.capacity.travel_frac = 0.2
    pulse(p, s, 1, 100)
    show_position(p.plant.capacity_drive, s.capacity)
    first, second = s.capacity.feedback_frac - 0.2, s.capacity.opposite_frac - 0.2
    assert first > 0.1
    assert second == pytest.approx(0.75 * first, rel=1.0e-9)
    assert s.capacity.travel_frac - 0.2 == pytest.approx(0.5 * (first + second), rel=1.0e-9)  # what the gas sees
    pulse(p, s, 1, 700)  # to the end stop: the first half stands there, the second does not
    show_position(p.plant.capacity_drive, s.capacity)
    assert s.capacity.feedback_frac == pytest.approx(1.0)
    assert s.capacity.opposite_frac < 0.95


def test_a_sensor_out_of_calibration_shows_in_its_reading_only(p: Parameters) -> None:
    _, s = faulty(p, DriveFaults(feedback_zero_frac=-0.03, feedback_span_frac=0.1))
    s.capacity.travel_frac = 0.6
    show_position(p.plant.capacity_drive, s.capacity)
    assert s.capacity.feedback_frac == pytest.approx(0.6 * 1.1 - 0.03)
    assert s.capacity.opposite_frac == s.capacity.travel_frac == 0.6


@settings(max_examples=30, deadline=None)
@given(
    program=st.lists(st.tuples(st.sampled_from([-1, 0, 1]), st.integers(1, 60)), min_size=1, max_size=8),
    backlash=st.floats(0.0, 0.1),
    slip=st.floats(0.0, 1.0),
    motorised=st.booleans(),
    start=st.floats(0.0, 1.0),
)
def test_halves_stay_in_range_and_still_when_off(
    program: list[tuple[int, int]], backlash: float, slip: float, motorised: bool, start: float
) -> None:
    kind = DriveKind.MOTORISED if motorised else DriveKind.HYDRAULIC
    drive = replace(DRIVE, backlash_frac=backlash, kind=kind)
    p = derive(replace(PlantParameters(), capacity_drive=drive), "R717", 100)
    s = PlantState()
    s.suction.pressure_pa, s.separator.pressure_pa, s.oil.supply_pa = 290.0e3, 1.35e6, 1.54e6
    s.capacity.faults.linkage_slip_frac = slip
    s.capacity.travel_frac = start
    for direction, steps in program:
        for i in range(steps):
            before = (s.capacity.travel_frac, s.capacity.halves_gap_frac, s.capacity.drive_gap_frac)
            pulse(p, s, direction, 1)
            half = 0.5 * s.capacity.halves_gap_frac
            for place in (s.capacity.travel_frac - half, s.capacity.travel_frac + half):
                assert -1.0e-12 <= place <= 1.0 + 1.0e-12
            assert abs(s.capacity.drive_gap_frac) <= backlash
            if direction == 0 and i * 100 >= DRIVE.overrun_ms:
                assert before == (s.capacity.travel_frac, s.capacity.halves_gap_frac, s.capacity.drive_gap_frac)
