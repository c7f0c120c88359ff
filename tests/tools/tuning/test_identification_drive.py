"""Speeds, dead time and lost travel of a drive, from logs of a slide with a known play, simulated here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tools.tuning.identification_drive import calm, drive_of, moves_of, position_noise_pct
from tools.tuning.identification_log import LoggedTest

UP_PCT_S, DOWN_PCT_S, DEAD_S = 2.0, 4.0, 0.2


def _log(
    runs: list[tuple[float, float, int]], lost_pct: float = 0.0, step_s: float = 0.1, noise_pct: float = 0.05,
    length_s: float = 120.0, drives: bool = True, demand: np.ndarray | None = None, start: float = 50.0,
) -> LoggedTest:  # fmt: skip
    """runs: (on at s, for s, way).  The slide follows a drive with a gap of lost_pct, on a 5 ms grid."""
    fine = 0.005
    t = np.arange(0.0, length_s, fine)
    speed = np.zeros(len(t))
    for at, duration, way in runs:
        moving = (t >= at + DEAD_S) & (t < at + DEAD_S + duration)
        speed[moving] = UP_PCT_S if way > 0 else -DOWN_PCT_S
    slide, gap, here = np.empty(len(t)), 0.0, start
    for k, v in enumerate(speed):
        gap += v * fine
        if gap > lost_pct:
            here, gap = here + gap - lost_pct, lost_pct
        elif gap < 0.0:
            here, gap = here + gap, 0.0
        here = min(100.0, max(0.0, here))
        slide[k] = here
    every = round(step_s / fine)
    t, slide = t[::every], slide[::every]
    on = [np.zeros(len(t), dtype=np.bool_), np.zeros(len(t), dtype=np.bool_)]
    for at, duration, way in runs:
        on[0 if way > 0 else 1] |= (t >= at) & (t < at + duration)
    read = slide + noise_pct * np.random.default_rng(3).standard_normal(len(t))
    pair = on if drives else [None, None]
    return LoggedTest(
        t, read, np.full(len(t), 290.0), pair[0], pair[1], demand, step_s, np.arange(len(t)) + 2, (), Path("x.csv")
    )


RUNS = [
    (10.0, 3.0, 1),
    (25.0, 3.0, 1),
    (40.0, 1.5, -1),
    (55.0, 1.5, -1),
    (70.0, 3.0, 1),
    (85.0, 3.0, 1),
    (100.0, 1.5, -1),
]


@pytest.mark.parametrize("lost_pct", [0.0, 1.0])
def test_speeds_dead_time_and_lost_travel(lost_pct: float) -> None:
    found = drive_of(_log(RUNS, lost_pct))
    assert found.speed_up_pct_s is not None
    assert found.speed_down_pct_s is not None
    assert found.backlash_pct is not None
    assert found.dead_time_s is not None
    assert found.speed_up_pct_s.value == pytest.approx(UP_PCT_S, rel=0.04)
    assert found.speed_down_pct_s.value == pytest.approx(DOWN_PCT_S, rel=0.06)
    assert found.dead_time_s.value == pytest.approx(DEAD_S, abs=0.08)
    assert found.backlash_pct.value == pytest.approx(lost_pct, abs=0.2)
    assert found.backlash_pct.low <= lost_pct + 0.05
    assert found.backlash_pct.high >= lost_pct - 0.05


def test_a_slide_at_its_stop_does_not_slow_the_speed_down() -> None:
    found = drive_of(_log([(10.0, 12.0, 1), (50.0, 8.0, -1)], start=85.0))
    assert found.speed_up_pct_s is not None
    assert found.speed_up_pct_s.value == pytest.approx(UP_PCT_S, rel=0.04)


def test_moves_and_their_travel() -> None:
    log = _log(RUNS)
    moves = moves_of(log.position_pct)
    assert [m.direction for m in moves] == [way for _, _, way in RUNS]
    assert [m.travel_pct for m in moves] == pytest.approx([6.0, 6.0, -6.0, -6.0, 6.0, 6.0, -6.0], abs=0.3)


def test_rests_are_calmed_and_moves_left() -> None:
    log = _log(RUNS, noise_pct=0.08)
    quiet = calm(log.position_pct)
    rest = (log.time_s > 15.0) & (log.time_s < 24.0)
    assert quiet[rest].std() < 0.01
    assert quiet[rest].mean() == pytest.approx(56.0, abs=0.03)
    assert position_noise_pct(log.position_pct) == pytest.approx(0.08, rel=0.15)
    creeping = np.linspace(50.0, 52.0, 600)
    assert np.array_equal(calm(creeping), creeping)


def test_no_speed_from_a_coarse_log_and_it_says_so() -> None:
    found = drive_of(_log(RUNS, step_s=1.0))
    assert found.speed_down_pct_s is None
    assert any("speed down" in note for note in found.notes)


def test_without_drives_the_demand_gives_an_upper_bound() -> None:
    demand = np.full(1200, 50.0)
    t = np.arange(1200) * 0.1
    for at, duration, way in RUNS:
        demand[t >= at] += way * (UP_PCT_S if way > 0 else DOWN_PCT_S) * duration
    found = drive_of(_log(RUNS, lost_pct=1.0, drives=False, demand=demand))
    assert found.backlash_pct is not None
    assert found.backlash_pct.low == 0.0
    assert found.backlash_pct.high >= 0.5
    assert any("upper bound" in note for note in found.notes)
    assert drive_of(_log(RUNS, drives=False)).backlash_pct is None
