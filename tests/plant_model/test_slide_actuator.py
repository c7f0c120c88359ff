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
from plant_model.slide_actuator import moving_ms, slide_speed_frac_s, step_slides
from plant_model.state import Actuators, Disturbances, PlantState, SlideState

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
