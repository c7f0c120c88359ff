"""Positioner and end-stop guard."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.positioner import (
    DriveSettings,
    EndStopState,
    PositionerState,
    cross_check,
    guard_end_stop,
    position_slide,
    pulse_ms,
)

DRIVE = DriveSettings()


def travel(demand_pct: float, position_pct: float, seconds: float) -> tuple[float, list[int]]:
    """A slide with exactly the set stroke times and overrun, under the positioner."""
    state = PositionerState()
    directions = []
    overrun_ms = 0
    last = 0
    for _ in range(round(seconds * 10)):
        d = position_slide(DRIVE, state, position_pct, demand_pct, True, True, 100)
        directions.append(d)
        if d == 0 and directions[-2:-1] not in ([], [0]):
            last, overrun_ms = directions[-2], DRIVE.overrun_ms
        moving = d if d != 0 else (last if overrun_ms > 0 else 0)
        if d == 0:
            overrun_ms -= 100
        if moving > 0:
            position_pct += 100.0 * 100 / DRIVE.stroke_up_ms
        elif moving < 0:
            position_pct -= 100.0 * 100 / DRIVE.stroke_down_ms
    return position_pct, directions


@given(st.floats(2.0, 98.0), st.floats(2.0, 98.0))
def test_it_reaches_the_neutral_zone_and_then_keeps_still(demand_pct: float, start_pct: float) -> None:
    position_pct, directions = travel(demand_pct, start_pct, 70.0)
    assert abs(position_pct - demand_pct) <= DRIVE.neutral_zone_pct + 1e-9
    assert directions[-50:] == [0] * 50
    assert not {-1, 1} <= set(directions), "it went over the mark and came back"


def test_a_small_error_is_left_alone_and_a_larger_one_earns_one_pulse() -> None:
    state = PositionerState()
    assert position_slide(DRIVE, state, 50.0, 50.9, True, True, 100) == 0
    assert position_slide(DRIVE, state, 50.0, 51.5, True, True, 100) == 1
    # 1.5 % of 50 s less 100 ms overrun is 650 ms: on for 6 or 7 scans, then at rest for the pause
    on = 1
    while position_slide(DRIVE, state, 50.0, 51.5, True, True, 100) == 1:
        on += 1
    assert on in (6, 7)
    rest = 1
    while position_slide(DRIVE, state, 50.0, 51.5, True, True, 100) == 0:
        rest += 1
    assert rest * 100 == pytest.approx(DRIVE.pause_ms, abs=100)


@pytest.mark.parametrize(("error_pct", "expected_ms"), [(10.0, 4_900), (-10.0, 2_400), (0.1, 300), (-0.1, 300)])
def test_pulse_length_from_stroke_overrun_and_minimum(error_pct: float, expected_ms: int) -> None:
    assert pulse_ms(DRIVE, error_pct, False) == expected_ms


def test_a_forbidden_direction_is_never_driven() -> None:
    assert position_slide(DRIVE, PositionerState(), 10.0, 90.0, False, True, 100) == 0
    assert position_slide(DRIVE, PositionerState(), 90.0, 10.0, True, False, 100) == 0


def push(state: EndStopState, direction: int, position_pct: float, scans: int) -> int:
    """Scans for which the drive is on."""
    return sum(guard_end_stop(DRIVE, state, direction, position_pct, 100) != 0 for _ in range(scans))


@pytest.mark.parametrize(("direction", "stop_pct", "free_pct"), [(-1, 0.2, 5.0), (1, 99.8, 95.0)])
def test_a_push_against_a_stop_ends_with_its_guard_time(direction: int, stop_pct: float, free_pct: float) -> None:
    state = EndStopState()
    assert push(state, direction, stop_pct, 200) * 100 == DRIVE.end_stop_guard_ms
    assert push(state, direction, stop_pct, 50) == 0
    # off until the other direction has been used …
    assert push(state, -direction, stop_pct, 1) == 1
    assert push(state, direction, stop_pct, 200) * 100 == DRIVE.end_stop_guard_ms
    # … or the position has clearly left the stop
    assert push(state, direction, free_pct, 10) == 10
    assert push(state, direction, stop_pct, 5) == 5


def test_noise_about_the_stop_does_not_start_the_guard_again() -> None:
    state = EndStopState()
    on_at_stop = 0
    for i in range(400):
        position_pct = 0.5 if i % 2 else 1.4
        given_direction = guard_end_stop(DRIVE, state, -1, position_pct, 100)
        on_at_stop += int(given_direction != 0 and position_pct <= DRIVE.low_end_pct)
    assert on_at_stop * 100 <= DRIVE.end_stop_guard_ms


@pytest.mark.parametrize(("direction", "inside_pct", "edge_pct"), [(-1, 0.9, 2.0), (1, 99.1, 98.0)])
def test_a_reading_that_wavers_over_the_edge_of_the_stop_neither_restarts_the_guard_nor_frees_the_drive(
    direction: int, inside_pct: float, edge_pct: float
) -> None:
    state = EndStopState()
    on_scans = sum(guard_end_stop(DRIVE, state, direction, (inside_pct, edge_pct)[i % 2], 100) != 0 for i in range(400))
    assert on_scans * 100 == DRIVE.end_stop_guard_ms


def test_after_a_late_scan_the_edge_of_the_stop_is_still_the_stop() -> None:
    """Found by the hunt: a scan 4 s late spends the guard, and the next reading stands 1 % off the stop."""
    state = EndStopState()
    assert guard_end_stop(DRIVE, state, -1, 0.0, 100) == -1
    assert guard_end_stop(DRIVE, state, -1, 0.0, 4_000) == 0
    assert guard_end_stop(DRIVE, state, -1, DRIVE.low_end_pct + 1.0, 100) == 0


def test_cross_check_names_a_zone_that_the_shortest_pulse_jumps_over() -> None:
    assert cross_check(DRIVE, "drive") == []
    assert "hunt" in cross_check(replace(DRIVE, neutral_zone_pct=0.3), "drive")[0]
    assert "continuous_above" in cross_check(replace(DRIVE, continuous_above_pct=0.8), "drive")[0]


def test_backlash_is_taken_up_by_the_first_pulse_after_a_turn() -> None:
    drive = replace(DRIVE, backlash_pct=2.0)
    state = PositionerState()

    def first_pulse_ms(demand_pct: float) -> int:
        rest_ms, on_ms = 100_000, 0
        while rest_ms > 0:
            direction = position_slide(drive, state, 50.0, demand_pct, True, True, 100)
            if direction == 0 and on_ms > 0:
                break
            on_ms += 100 * abs(direction)
            rest_ms -= 100
        return on_ms

    same = first_pulse_ms(53.0)  # 3 % of 50 s, less 100 ms overrun
    assert same == pytest.approx(1_400, abs=100)
    turned = first_pulse_ms(47.0)  # 3 % and 2 % backlash of 25 s, less the overrun
    assert turned == pytest.approx(1_150, abs=100)


def test_a_slide_that_drifts_is_brought_back_by_a_pulse() -> None:
    state, position_pct, pulses, was = PositionerState(), 50.0, 0, 0
    for _ in range(6_000):
        direction = position_slide(DRIVE, state, position_pct, 50.0, True, True, 100)
        pulses += direction > 0 and was <= 0
        was = direction
        position_pct += 0.2 * (direction > 0) - 0.4 * (direction < 0) - 0.005  # sinks by 3 % a minute
        assert abs(position_pct - 50.0) < DRIVE.reversal_zone_pct + 1.0
    assert 5 < pulses < 60
