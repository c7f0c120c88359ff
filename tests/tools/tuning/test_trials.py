"""Trials: objectives by hand, dominance, and a race that stops only the hopeless."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tools.tuning.small_study import small_plan, write_scenarios
from tools.tuning.cases import CaseFigures, case_set
from tools.tuning.trials import (
    ENERGY_RESOLUTION,
    FINISHED,
    INFEASIBLE,
    PRUNED,
    RECOVERY,
    Constraints,
    Context,
    Floats,
    Outcome,
    Rival,
    Task,
    Trials,
    contribution,
    dominates,
    front_of,
    hopeless,
    objectives_of,
)

NUMBERS = st.sampled_from([0.0, 1.0, 1.0005, 1.002, 2.0, 3.0])
POINTS = st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS, st.sampled_from([0.3, 0.3002, 0.301, 0.31])), max_size=12)


def outcome(number: int, objectives: tuple[float, ...], status: str = FINISHED) -> Outcome:
    return Outcome(number, (0.5,), {}, status, 1, objectives, 0.0, "", {}, None, (), 0.1)


class _Ms:
    """A sensitivity as the study takes it: Ms falls with the band."""

    fingerprint = "invented"

    def __call__(self, settings: Any) -> tuple[float, float]:
        nominal = 1.0 + 40.0 / settings.pi.proportional_band_kpa
        return nominal, nominal * 1.1


def test_objectives_by_hand() -> None:
    one = CaseFigures(
        suction_deviation_rms_kpa=3.0, capacity_reversals_per_h=2.0, volume_ratio_reversals_per_h=1.0,
        capacity_operations_per_h=30.0, volume_ratio_operations_per_h=10.0, capacity_strokes_per_h=1.0,
        volume_ratio_strokes_per_h=0.5, starts_per_h=1.0, total_energy_kwh=30.0, cooling_energy_kwh=100.0,
    )  # fmt: skip
    assert contribution(one) == pytest.approx((9.0, 3.0 + 40.0 / 20.0 + 1.5 / 2.0, 1.0, 0.3))
    two = replace(one, suction_deviation_rms_kpa=4.0, starts_per_h=0.0, total_energy_kwh=31.0)
    assert objectives_of(np.array([contribution(one), contribution(two)])) == pytest.approx(
        (math.sqrt(12.5), 5.75, 0.5, 0.305)
    )


@given(POINTS)
@settings(deadline=None)
def test_the_front_is_what_nobody_dominates(points: list[tuple[float, ...]]) -> None:
    outcomes = [outcome(k, p) for k, p in enumerate(points)]
    slow = [o.number for o in outcomes if not any(dominates(p.objectives, o.objectives) for p in outcomes)]
    assert [o.number for o in front_of(outcomes)] == slow
    assert [o.number for o in front_of(outcomes[::-1])] == slow
    assert bool(slow) == bool(points), "dominance has no cycles, so somebody is left"


def test_dominance_and_the_resolution_of_energy() -> None:
    assert dominates((1.0, 1.0, 0.0, 0.3), (2.0, 1.0, 0.0, 0.3))
    assert dominates((1.0, 1.0, 0.0, 0.3 * (1 + 0.9 * ENERGY_RESOLUTION)), (2.0, 1.0, 0.0, 0.3))
    assert not dominates((1.0, 1.0, 0.0, 0.3 * (1 + 1.1 * ENERGY_RESOLUTION)), (2.0, 1.0, 0.0, 0.3))
    assert not dominates((1.0, 1.0, 0.0, 0.3), (1.0, 1.0, 0.0, 0.3))
    assert dominates((1.0, 1.0, 0.0, 0.29), (1.0, 1.0, 0.0, 0.3))
    assert not dominates((1.0, 2.0, 0.0, 0.3), (2.0, 1.0, 0.0, 0.3))


def test_only_finished_trials_are_on_the_front() -> None:
    best = (0.1, 0.1, 0.0, 0.1)
    outcomes = [outcome(0, best, PRUNED), outcome(1, best, INFEASIBLE), outcome(2, (1.0, 1.0, 0.0, 0.3))]
    assert [o.number for o in front_of(outcomes)] == [2]
    assert front_of(outcomes[:2]) == []


ROWS = st.integers(2, 12).flatmap(
    lambda n: st.tuples(
        *(
            st.lists(
                st.tuples(
                    st.floats(0.1, 20.0), st.floats(0.0, 20.0), st.sampled_from([0.0, 1.0]), st.floats(0.29, 0.31)
                ),
                min_size=n,
                max_size=n,
            )
            for _ in range(2)
        )
    )
)


@given(ROWS, st.integers(1, 11))
@settings(deadline=None, max_examples=300)
def test_whoever_is_stopped_would_have_had_to_recover_beyond_the_stated_bound(
    rows: tuple[list[Any], list[Any]], k: int
) -> None:
    """The race's promise, against full results: a stopped candidate that would have escaped its rival did so by beating
    the rival's remaining cases by more than RECOVERY in pressure or wear, or in starts, or by changing its energy."""
    candidate, rival = np.array(rows[0]), np.array(rows[1])
    if k >= len(candidate) or not hopeless(candidate[:k], rival):
        return
    rest, rival_rest = candidate[k:].sum(axis=0), rival[k:].sum(axis=0)
    recovered = bool(np.any(rest[:3] < RECOVERY[:3] * rival_rest[:3]))
    so_far = candidate[:k, 3].sum() / rival[:k, 3].sum()
    frugal_later = rest[3] / rival_rest[3] < so_far * (1.0 - 1e-9)
    beaten = bool(np.all(rival.sum(axis=0)[:3] <= candidate.sum(axis=0)[:3] * (1.0 + 1e-12)))
    assert beaten or recovered
    if beaten and not frugal_later:
        least_energy = candidate[:, 3].mean() * (1.0 + 2.1 * ENERGY_RESOLUTION)
        assert rival[:, 3].mean() <= least_energy


def test_a_race_by_hand() -> None:
    rival = np.tile([4.0, 4.0, 0.0, 0.3], (8, 1))
    same, worse = rival.copy(), np.tile([8.0, 8.0, 0.0, 0.3], (8, 1))
    assert not hopeless(same[:4], rival)
    # 8·k + 0.75·4·(8 − k) > 32 from k = 2 on in wear; 8·k + 0.7225·4·(8 − k) > 32 from k = 2 on in pressure
    assert not hopeless(worse[:1], rival)
    assert hopeless(worse[:2], rival)
    frugal = worse * [1.0, 1.0, 1.0, 0.99]
    assert not hopeless(frugal[:7], rival), "whoever saves energy is never stopped"
    quiet = worse * [1.0, 0.1, 1.0, 1.0]
    assert not hopeless(quiet[:7], rival)
    assert not hopeless(worse, rival), "nothing is left to save"


def fixed(plan_folder: Path, **limits: Any) -> tuple[Context, tuple[float, ...]]:
    context = small_plan(plan_folder, **limits).context
    return context, tuple(context.space.vector(context.space.base).tolist())


def test_a_trial_is_the_same_again_and_keeps_its_figures(tmp_path: Path) -> None:
    context, base = fixed(tmp_path)
    one, two = Trials(context).run(Task(3, base)), Trials(context).run(Task(3, base))
    assert one.identity == two.identity
    assert one.status == FINISHED
    assert one.cases_done == len(one.contributions) == 4
    assert one.objectives == objectives_of(np.array(one.contributions))
    assert one.means["capacity_operations_per_h"] > 0.0
    assert one.values["pi.proportional_band_kpa"] == 55.0


def test_a_candidate_beaten_from_the_start_is_stopped_and_estimated_behind_its_rival(tmp_path: Path) -> None:
    context, base = fixed(tmp_path)
    trials = Trials(context)
    done = trials.run(Task(0, base))
    rows: Floats = np.array(done.contributions)
    rival = Rival(7, rows * [0.2, 0.2, 1.0, 1.0])
    stopped = trials.run(Task(1, base, (rival,)))
    assert stopped.status == PRUNED
    assert stopped.cases_done == 2 < done.cases_done
    assert "trial 7" in stopped.reason
    assert dominates(objectives_of(rival.contributions), stopped.objectives)
    assert stopped.contributions == ()
    assert trials.run(Task(2, base, (Rival(0, rows),))).status == FINISHED, "nobody is stopped by itself"


def test_ms_decides_before_anything_is_simulated(tmp_path: Path) -> None:
    context, base = fixed(tmp_path, sensitivity=_Ms())
    trials = Trials(context)
    assert trials.run(Task(0, base)).ms == pytest.approx((1.0 + 40.0 / 55.0, 1.1 * (1.0 + 40.0 / 55.0)))
    assert trials.run(Task(0, base)).status == FINISHED
    tight = context.space.settings(base)
    tight = replace(tight, pi=replace(tight.pi, proportional_band_kpa=20.0))
    refused = trials.run(Task(1, tuple(context.space.vector(tight).tolist())))
    assert (refused.status, refused.cases_done, refused.objectives) == (INFEASIBLE, 0, ())
    assert "Ms 3" in refused.reason
    assert refused.violation > 0.0


def test_a_sensitivity_that_is_no_number_is_not_allowed(tmp_path: Path) -> None:
    context, base = fixed(tmp_path, sensitivity=lambda _: (math.nan, math.nan))
    refused = Trials(context).run(Task(0, base))
    assert refused.status == INFEASIBLE
    assert math.isfinite(refused.violation)


def test_contradictions_and_limits(tmp_path: Path) -> None:
    context, base = fixed(tmp_path)
    zone = [k.name for k in context.space.knobs].index("common.capacity.drive.neutral_zone_pct")
    pulse = replace(context.space.base.common.capacity.drive, minimum_pulse_ms=5000)
    capacity = replace(context.space.base.common.capacity, drive=pulse)
    common = replace(context.space.base.common, capacity=capacity)
    space = replace(context.space, base=replace(context.space.base, common=common))
    wrong = Trials(replace(context, space=space)).run(
        Task(0, tuple(0.0 if k == zone else v for k, v in enumerate(base)))
    )
    assert (wrong.status, wrong.cases_done) == (INFEASIBLE, 0)
    assert "shortest pulse" in wrong.reason
    limited = replace(context, constraints=Constraints(most_rms_kpa=0.5))
    stopped = Trials(limited).run(Task(0, base))
    assert (stopped.status, stopped.cases_done) == (INFEASIBLE, 1)
    assert "pressure RMS" in stopped.reason
    worn = Trials(replace(context, constraints=Constraints(most_wear_per_h=0.1))).run(Task(0, base))
    assert "wear" in worn.reason
    warm = replace(context, case_set=replace(context.case_set, duty_kpa_abs=100.0))
    assert "warmer than the duty" in Trials(warm).run(Task(0, base)).reason


def test_the_first_trip_ends_a_trial(tmp_path: Path) -> None:
    context, base = fixed(tmp_path)
    paths = write_scenarios(tmp_path)
    event = '[[event]]\nkind = "safety_chain"\nat = "5 min"\nlasting = "1 min"\n'
    paths[1].write_text(paths[1].read_text(encoding="utf-8") + event, encoding="utf-8")
    cases = case_set(paths, "scheduled_pi", context.space.base, 5, 2)
    stopped = Trials(replace(context, case_set=cases)).run(Task(0, base))
    assert (stopped.status, stopped.cases_done) == (INFEASIBLE, 2)
    assert "1 trips" in stopped.reason
    assert "scenario 1, draw 0" in stopped.reason
    assert stopped.violation == 0.5
