"""The scheduled PI law: its increment, its schedule, and feed-forward."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.process_image import Inputs, Mode
from controller.scheduled_pi import ScheduledPiSettings, ScheduledPiState, pi_law

SETTINGS = ScheduledPiSettings()


def in_automatic(position_pct: float) -> ScheduledPiState:
    state = ScheduledPiState()
    state.common.sequence.mode = Mode.AUTOMATIC
    state.common.signals.capacity_position_pct = position_pct
    state.common.capacity.free_pct = position_pct
    pi_law(SETTINGS, state, Inputs(), 0)
    return state


@pytest.mark.parametrize(("position_pct", "multiplier"), [(0.0, 1.23), (40.0, 0.82), (45.0, 0.82), (95.0, 1.64)])
def test_a_step_of_suction_moves_the_wish_by_the_scheduled_gain(position_pct: float, multiplier: float) -> None:
    state = in_automatic(position_pct)
    state.common.capacity.error_kpa += 4.0 + SETTINGS.pi.rest_zone_kpa
    pi_law(SETTINGS, state, Inputs(), 0)
    # 100 % per proportional band of what lies beyond the rest zone, times the schedule
    gain = 100.0 / SETTINGS.pi.proportional_band_kpa
    assert state.common.capacity.free_pct - position_pct == pytest.approx(4.0 * gain * multiplier)


def test_higher_suction_loads_and_lower_unloads() -> None:
    for error_kpa in (10.0, -10.0):
        state = in_automatic(50.0)
        state.common.capacity.error_kpa += error_kpa
        for _ in range(100):
            pi_law(SETTINGS, state, Inputs(), 100)
        assert (state.common.capacity.free_pct - 50.0) * error_kpa > 0.0


def test_by_hand_the_wish_is_left_alone_and_the_memory_kept_fresh() -> None:
    state = in_automatic(50.0)
    state.common.capacity.error_kpa += 30.0
    pi_law(SETTINGS, state, Inputs(capacity_manual=True), 100)
    assert state.common.capacity.free_pct == 50.0
    pi_law(SETTINGS, state, Inputs(), 0)
    assert state.common.capacity.free_pct == 50.0, "no kick on the way back"


def test_feed_forward_answers_the_change_of_the_announcement_once() -> None:
    settings = replace(SETTINGS, pi=replace(SETTINGS.pi, feed_forward_gain=0.5))
    state = in_automatic(50.0)
    for _ in range(5):
        pi_law(settings, state, Inputs(announced_load_pct=20.0), 100)
    assert state.common.capacity.free_pct == pytest.approx(60.0)
    pi_law(settings, state, Inputs(announced_load_pct=0.0), 100)
    assert state.common.capacity.free_pct == pytest.approx(50.0)
