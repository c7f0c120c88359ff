"""A slide that does not move, one whose position is lost, and halves that disagree."""

from __future__ import annotations

from controller.process_image import Health
from controller.setting_fields import Switch
from controller.slide_watch import SlideWatch, SlideWatchSettings, watch_slide

C = SlideWatchSettings()
GOOD = Health.GOOD


def drive(
    state: SlideWatch,
    seconds: float,
    direction: int,
    position_pct: float = 50.0,
    speed_pct_s: float = 0.0,
    opposite_pct: float | None = None,
    good: bool = True,
    watched: bool = True,
    settings: SlideWatchSettings = C,
    opposite_health: Health = GOOD,
) -> float:
    """Seconds until lost or disagreeing, or the whole time."""
    for k in range(round(10 * seconds)):
        other = position_pct if opposite_pct is None else opposite_pct
        watch_slide(settings, state, position_pct, good, other, opposite_health, direction, 5.0, watched, 100)
        if state.lost or state.halves_disagree:
            return k / 10
        position_pct += 0.1 * speed_pct_s * direction
    return seconds


def test_driven_without_moving_is_lost_after_its_time_either_way() -> None:
    assert drive(SlideWatch(), 60.0, 1) == 15.0
    assert drive(SlideWatch(), 60.0, -1) == 15.0


def test_a_slide_that_moves_slowly_is_not_lost() -> None:
    assert drive(SlideWatch(), 60.0, 1, 10.0, 0.1) == 60.0


def test_standing_above_what_a_start_accepts_is_lost() -> None:
    """A position that reads 5.5 % at its stop kept the unload drive on for a quarter of an hour."""
    assert drive(SlideWatch(), 60.0, -1, 5.5) == 15.0


def test_standing_at_a_stop_is_right_and_so_is_rest() -> None:
    assert drive(SlideWatch(), 60.0, -1, 5.0) == 60.0
    assert drive(SlideWatch(), 60.0, 1, 95.0) == 60.0
    assert drive(SlideWatch(), 60.0, 0) == 60.0


def test_pulses_one_way_add_up_and_the_other_way_starts_afresh() -> None:
    state = SlideWatch()
    for _ in range(20):
        drive(state, 0.5, 1)
        drive(state, 1.0, 0)
    assert state.driven_ms > 9_000
    drive(state, 0.2, -1)
    assert state.driven_ms <= 100


def test_a_lost_position_takes_its_own_time_and_comes_back() -> None:
    state = SlideWatch()
    assert drive(state, 60.0, 1, good=False) == 30.0
    drive(state, 0.2, 0)
    assert not state.lost


def test_halves_that_disagree_for_long_enough() -> None:
    assert drive(SlideWatch(), 60.0, 0, opposite_pct=43.9) == 10.0
    assert drive(SlideWatch(), 60.0, 0, opposite_pct=44.1) == 60.0
    state = SlideWatch()
    drive(state, 9.0, 0, opposite_pct=40.0)
    drive(state, 0.1, 0)
    assert drive(state, 60.0, 0, opposite_pct=40.0) == 10.0


def test_halves_apart_are_seen_at_rest_too() -> None:
    state = SlideWatch()
    assert drive(state, 20.0, 0, opposite_pct=40.0, watched=False) == 20.0
    assert state.apart
    drive(state, 0.1, 0, watched=False)
    assert not state.apart


def test_no_comparison_without_a_second_signal() -> None:
    assert drive(SlideWatch(), 60.0, 0, opposite_pct=0.0, opposite_health=Health.UNDER) == 60.0
    alone = SlideWatchSettings(opposite_fitted=Switch.OFF)
    assert drive(SlideWatch(), 60.0, 0, opposite_pct=0.0, settings=alone) == 60.0


def test_unwatched_everything_is_forgotten() -> None:
    state = SlideWatch()
    drive(state, 60.0, 1)
    assert state.lost
    drive(state, 0.1, 0, watched=False)
    assert state == SlideWatch(reference_pct=50.0)
