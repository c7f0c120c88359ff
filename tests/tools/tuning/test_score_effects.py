"""Effects of settings on scores: against known slopes, a library's intervals, the promised error rate, and the plant."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tools.tuning.small_study import small_cases, small_plan
from tools.tuning.executors import InProcess
from tools.tuning.score_effects import effect_of, holm, score_effects
from tools.tuning.space import space_of
from tools.tuning.trials import Constraints, Context, Floats, Outcome, Task


def rows(values: Floats) -> Floats:
    return np.repeat(np.asarray(values, dtype=np.float64)[:, None], 4, axis=1)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0.5, 50.0), min_size=3, max_size=20), st.floats(0.8, 1.25))
def test_a_common_factor_is_found_without_spread(low: list[float], factor: float) -> None:
    """Every case times `factor`: mean-type scores change by it, the root of a mean square by its root."""
    base = np.array(low)
    for score, expected in ((0, math.sqrt(factor)), (1, factor), (3, factor)):
        between, _ = effect_of(score, rows(factor * base), rows(base), 2.0)
        assert between.value == pytest.approx(50.0 * (expected - 1.0), abs=1e-9)
        assert between.high - between.low == pytest.approx(0.0, abs=1e-6)


def test_jackknife_interval_of_a_mean_is_student_s() -> None:
    """With all of `low` at 100 the statistic is a mean, whose jackknife error is exactly s/√n: scipy's t interval."""
    from scipy.stats import t

    high = 100.0 + np.random.default_rng(3).normal(2.0, 5.0, 12)
    between, p = effect_of(1, rows(high), rows(np.full(12, 100.0)), 1.0)
    wanted = t.interval(0.95, 11, loc=high.mean() - 100.0, scale=high.std(ddof=1) / math.sqrt(12))
    assert (between.low, between.high) == pytest.approx(wanted, rel=1e-9)
    from scipy.stats import ttest_1samp

    assert p == pytest.approx(float(ttest_1samp(high, 100.0).pvalue), rel=1e-9)


def test_noise_alone_is_told_from_noise_as_rarely_as_promised() -> None:
    """100 families of 20 effects that are none: at most 5 % of families may show any (within binomial scatter)."""
    rng = np.random.default_rng(11)
    wrong = 0
    for _ in range(100):
        p_values = []
        for _ in range(20):
            base, other = rng.normal(10.0, 1.0, 24), rng.normal(10.0, 1.0, 24)
            p_values.append(effect_of(1, rows(other), rows(base), 2.0)[1])
        wrong += any(holm(p_values))
    assert wrong <= 12  # 5 expected; P(more than 12 | 5 %) < 0.2 %; without the correction 64


def test_a_single_effect_is_tested_at_the_level_itself() -> None:
    assert holm([0.049]) == [True]
    assert holm([0.051]) == [False]
    assert holm([]) == []


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=12))
def test_holm_lies_between_bonferroni_and_no_correction(p_values: list[float]) -> None:
    falls = holm(p_values)
    for p, fallen in zip(p_values, falls, strict=True):
        assert fallen or p > 0.05 / len(p_values)
        assert not fallen or p <= 0.05


def test_equal_runs_have_no_effect_and_a_score_of_zero_none_that_is_known() -> None:
    base = rows(np.array([1.0, 2.0, 3.0]))
    assert effect_of(2, base, base, 2.0) == (effect_of(1, base, base, 2.0)[0], 1.0)
    between, p = effect_of(2, base, np.zeros_like(base), 2.0)
    assert not math.isfinite(between.value)
    assert p == 1.0


class _Fake:
    """Scores that follow from two of the settings: wear grows as 1/rest zone, pressure as the rest zone."""

    def __init__(self, context: Context) -> None:
        self.context = context

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        for task in tasks:
            values = self.context.space.values(task.vector)
            zone, wild = values["pi.rest_zone_kpa"], values["pi.proportional_band_kpa"] != 55.0
            wild |= values["pi.integral_time_ms"] < 30_000
            cases = np.arange(1.0, 7.0)
            slow = values["pi.integral_time_ms"] / 30_000
            made = np.stack([(zone * cases) ** 2, slow * cases / zone, np.ones(6), np.full(6, 0.3)], axis=1)
            kept: tuple[tuple[float, ...], ...] = () if wild else tuple(tuple(r) for r in made.tolist())
            status = "infeasible" if wild else "finished"
            reason = "1 trips in case 2" if wild else ""
            yield Outcome(task.number, task.vector, values, status, 6, (), 0.0, reason, {}, None, kept, 0.0)

    def close(self) -> None:
        pass


def test_known_slopes_and_a_neighbour_that_trips(tmp_path: Path) -> None:
    plan = small_plan(tmp_path)
    space = plan.context.space
    found = score_effects(plan.context, space.vector(space.base), _Fake)
    pressure, wear, starts, energy = found.by_path["pi.rest_zone_kpa"]
    assert pressure.change_pct.value == pytest.approx(50.0 * (1.1 / 0.9 - 1.0), rel=1e-6)
    assert wear.change_pct.value == pytest.approx(50.0 * (0.9 / 1.1 - 1.0), rel=1e-6)
    assert pressure.told_from_noise
    assert wear.told_from_noise
    assert (starts.change_pct.value, starts.told_from_noise) == (0.0, False)
    assert not energy.told_from_noise
    assert "pi.proportional_band_kpa" not in found.by_path
    trips = "1 trips in case 2"
    assert found.words == (
        f"pi.proportional_band_kpa: no figure; 10 % less: {trips}; 10 % more: {trips}",
        f"pi.integral_time_ms: from one side only; 10 % less: {trips}",
    )
    # wear grows with the integral time here: 10 % more of it is 10 % more wear, from the chosen value up
    assert found.by_path["pi.integral_time_ms"][1].change_pct.value == pytest.approx(10.0, rel=1e-6)
    assert "6 cases" not in found.method  # the small study has four
    assert "4 cases" in found.method


def test_on_the_plant_the_same_again_gives_the_same(tmp_path: Path) -> None:
    cases = small_cases(tmp_path, draws=2)
    space = space_of("scheduled_pi", cases.base)
    only = [k for k in space.knobs if k.name == "pi.rest_zone_kpa"]
    space = type(space)(space.controller, space.base, tuple(only))
    context = Context(cases, space, Constraints())
    seen: list[float] = []
    found = score_effects(context, space.vector(space.base), InProcess, seen.append)
    assert list(found.by_path) == ["pi.rest_zone_kpa"]
    assert seen[-1] == 1.0
    again = score_effects(context, space.vector(space.base), InProcess)
    assert again == found
