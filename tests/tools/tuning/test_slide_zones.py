"""Zones of the positioner: exact bounds against the positioner itself, predictions against the small loop.

How good harmonic balance must be here is reference §5's own tolerance for a loop with backlash and a PI: 25 % of
the amplitude (its rows: up to 25 % either way).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.positioner import DriveSettings, PositionerState, position_slide
from scenarios.errors import InputRefused
from tools.tuning.linear_process import LinearProcess, first_order, integrator
from tools.tuning.rules import simc_pi
from tools.tuning.slide_loop import run_slide_loop
from tools.tuning.slide_zones import (
    LOADS_PCT,
    choose_zones,
    landing_error_pct,
    overshoot_pct,
    predict,
    shortest_step_pct,
    turns_back,
)

PROCESSES = [integrator(0.06, 3.0), first_order(9.0, 150.0, 3.0), first_order(4.0, 60.0, 3.0)]
DF_AMPLITUDE_TOLERANCE = 0.25


def turns_under_a_constant_demand(drive: DriveSettings, demand_pct: float) -> int:
    """Reversals in ten minutes of the positioner with a slide as believed."""
    state, position, way, run_on, turns, last = PositionerState(), 0.0, 0, 0.0, 0, 0
    up, down = 1e4 / drive.stroke_up_ms, 1e4 / drive.stroke_down_ms
    for _ in range(6000):
        way = position_slide(drive, state, position, demand_pct, True, True, 100)
        if way:
            turns += last not in (0, way)
            last, run_on = way, drive.overrun_ms / 100.0
            position += up if way > 0 else -down
        elif run_on > 0.0:
            position += min(run_on, 1.0) * (up if last > 0 else -down)
            run_on -= 1.0
    return turns


@given(st.floats(0.3, 3.0), st.floats(0.3, 4.0), st.integers(100, 1000), st.floats(-40.0, 40.0))
@settings(max_examples=150, deadline=None)
def test_zones_that_never_turn_back_never_do(neutral: float, reversal: float, pulse_ms: int, demand: float) -> None:
    drive = DriveSettings(
        stroke_up_ms=30_000, neutral_zone_pct=neutral, reversal_zone_pct=reversal, minimum_pulse_ms=pulse_ms
    )
    assume(landing_error_pct(drive) < neutral)
    if not turns_back(drive) or overshoot_pct(drive) <= max(neutral, reversal):
        assert turns_under_a_constant_demand(drive, demand) == 0


@pytest.mark.parametrize(("zone", "turns"), [(0.3, True), (0.7, True), (0.85, False)])
def test_past_the_overshoot_a_positioner_does_turn_back(zone: float, turns: bool) -> None:
    """4 %/s for 100 ms of scan and 100 ms of run-on: 0.8 % past the demand at most."""
    drive = DriveSettings(
        stroke_up_ms=25_000,
        neutral_zone_pct=0.3,
        reversal_zone_pct=zone,
        minimum_pulse_ms=500,
        continuous_above_pct=0.5,
    )
    assert overshoot_pct(drive) == pytest.approx(0.8)
    assert (max(turns_under_a_constant_demand(drive, 0.3 + 0.005 * k) for k in range(400)) > 0) is turns


def test_shortest_step_and_landing_in_numbers() -> None:
    """400 ms of 25 s stroke are 1.6 %; half of 100 ms is 0.2 %; 200 ms past the demand would be 0.8 %, but the shortest
    pulse from 1 % off ends 0.6 % past it."""
    assert shortest_step_pct(DriveSettings()) == pytest.approx(1.6)
    assert landing_error_pct(DriveSettings()) == pytest.approx(0.2)
    assert overshoot_pct(DriveSettings()) == pytest.approx(0.6)


@pytest.mark.parametrize("process", PROCESSES, ids=["integrator", "slow", "brisk"])
@pytest.mark.parametrize(("neutral", "reversal"), [(1.0, 2.5), (2.0, 3.5), (1.0, 4.5), (1.0, 8.0)])
@pytest.mark.parametrize("rest_zone_kpa", [0.0, 4.0])
def test_the_predicted_amplitude_is_the_simulated_one(
    process: LinearProcess, neutral: float, reversal: float, rest_zone_kpa: float
) -> None:
    controller = simc_pi(process)
    drive = DriveSettings(neutral_zone_pct=neutral, reversal_zone_pct=reversal)
    found = predict(process, controller, drive, rest_zone_kpa)
    runs = [run_slide_loop(process, controller, drive, rest_zone_kpa, load_pct=load) for load in LOADS_PCT[:2]]
    cycling = [run for run in runs if run.cycles]
    if found.dies_out:
        assert not cycling
    if cycling:  # a cycle that is seen must have been foreseen; one that is foreseen may die out
        worst = max(run.pressure_amplitude_kpa for run in cycling)
        assert found.cycle is not None
        print(f"predicted {found.cycle.pressure_amplitude_kpa / worst - 1.0:+.1%}")
        assert found.cycle.pressure_amplitude_kpa == pytest.approx(worst, rel=DF_AMPLITUDE_TOLERANCE)


def test_certain_rest_is_rest() -> None:
    """Brisk plant, 4 kPa/%: a reversal zone of 1.9 % settles 7.6 kPa away, inside ± 4 kPa."""
    process = PROCESSES[2]
    drive = DriveSettings(neutral_zone_pct=1.0, reversal_zone_pct=1.9)
    found = predict(process, simc_pi(process), drive, rest_zone_kpa=4.0)
    assert found.dies_out
    for load in (*LOADS_PCT, 0.0, 2.2, -3.05):
        assert not run_slide_loop(process, simc_pi(process), drive, 4.0, load_pct=load).cycles


@pytest.mark.parametrize(("rest_zone_kpa", "limit_kpa"), [(0.0, 1.0), (4.0, 5.0), (4.0, 4.5)])
@pytest.mark.parametrize("process", PROCESSES[:2], ids=["integrator", "slow"])
def test_chosen_zones_keep_the_amplitude_at_loads_not_looked_at(
    process: LinearProcess, rest_zone_kpa: float, limit_kpa: float
) -> None:
    controller, drive = simc_pi(process), DriveSettings()
    chosen = choose_zones(process, controller, drive, limit_kpa, rest_zone_kpa)
    assert chosen.seen.pressure_amplitude_kpa <= limit_kpa
    assert not turns_back(chosen.on(drive))
    assert chosen.minimum_pulse_ms == drive.minimum_pulse_ms
    for load in (0.0, 0.77, -1.9):
        run = run_slide_loop(process, controller, chosen.on(drive), rest_zone_kpa, load_pct=load)
        assert run.pressure_amplitude_kpa <= 1.1 * limit_kpa  # another place between the stairs
    wider = replace(
        drive, neutral_zone_pct=1.6 * chosen.neutral_zone_pct, reversal_zone_pct=1.6 * chosen.reversal_zone_pct
    )
    runs = [run_slide_loop(process, controller, wider, rest_zone_kpa, load_pct=load) for load in LOADS_PCT]
    assert max(run.pressure_amplitude_kpa for run in runs) > limit_kpa  # no room was given away beyond 1.6


def test_a_cycle_that_can_die_out_does() -> None:
    process = PROCESSES[2]
    chosen = choose_zones(process, simc_pi(process), DriveSettings(), 0.0, rest_zone_kpa=4.0)
    assert not chosen.seen.cycles
    assert chosen.seen.pressure_amplitude_kpa < 0.02
    assert chosen.reversal_zone_pct >= 1.9


def test_what_cannot_be_kept_is_refused_with_the_figure_that_limits() -> None:
    process = PROCESSES[0]
    with pytest.raises(InputRefused, match=r"shortest pulse moves 1\.6 %"):
        choose_zones(process, simc_pi(process), DriveSettings(), 0.2)
    with pytest.raises(InputRefused, match="turns back by itself"):
        choose_zones(process, simc_pi(process), DriveSettings(minimum_pulse_ms=5000), 1.0)
