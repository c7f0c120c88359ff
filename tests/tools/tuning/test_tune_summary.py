"""The answer in plain words: never better than the intervals say."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from tests.tools.tuning.invented_result import NAN, invented
from tools.tuning.tune_summary import bound_words, compared, energy_compared, equal_terms, summary
from tools.tuning.tuning_result import Between, FailureBound

RESULT = invented()


@given(st.floats(0.2, 3.0), st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_an_interval_across_one_is_never_called_better_or_worse(value: float, below: float, above: float) -> None:
    ratio = Between(value, value * (1.0 - below), value * (1.0 + above))
    words = compared(ratio, "x")
    if ratio.low <= 1.0 <= ratio.high:
        assert "no difference shown" in words
    else:
        assert ("% less" in words) == (ratio.high < 1.0)
        assert ("% more" in words) == (ratio.low > 1.0)


@given(st.floats(-5.0, 5.0), st.floats(0.0, 3.0))
def test_the_same_for_energy(value: float, half: float) -> None:
    words = energy_compared(Between(value, value - half, value + half))
    assert ("no difference shown" in words) == (value - half <= 0.0 <= value + half)


def test_figures_that_cannot_be_had_are_said() -> None:
    assert "cannot be compared" in compared(Between(NAN, NAN, NAN), "x")
    assert "without an interval" in compared(Between(0.8, NAN, NAN), "x")
    assert "cannot be compared" in energy_compared(Between(NAN, NAN, NAN))


def test_a_failure_is_told_as_one() -> None:
    words = bound_words(FailureBound("trip", 3, 100, 0.95, 0.076))
    assert words.startswith("3 with a trip in 100 cases")
    assert "7.6 %" in words


def test_limits_that_do_not_hold_are_said_loudly() -> None:
    assert any("both limits hold" in line for line in summary(RESULT))
    rows = tuple(replace(row, ms_spread=2.3) if k == 5 else row for k, row in enumerate(RESULT.map_points))
    assert any("NOT within the limits" in line for line in summary(replace(RESULT, map_points=rows)))
    unstable = tuple(replace(row, ms_spread=float("inf")) for row in RESULT.map_points)
    assert any("off by the spread unstable" in line for line in summary(replace(RESULT, map_points=unstable)))


def test_a_step_control_has_no_margins_and_old_scenarios_are_told() -> None:
    rows = tuple(replace(row, ms=NAN, ms_spread=NAN) for row in RESULT.map_points)
    lines = summary(replace(RESULT, map_points=rows, proof=replace(RESULT.proof, new_scenarios=False)))
    assert any("no linear loop" in line for line in lines)
    assert any("only their plants and chance are new" in line for line in lines)


def test_fronts_are_compared_on_equal_terms() -> None:
    (line,) = equal_terms(RESULT)
    _, wear, *_ = RESULT.baseline.chosen_trial.objectives
    mine = [t.objectives for t in RESULT.search.trials if t.feasible]
    best = min(o[0] for o in mine if o[1] <= wear)
    assert f"down to {best:.3g} kPa" in line
    assert equal_terms(replace(RESULT, baseline=RESULT.search)) == []
    tiny = replace(RESULT.baseline.chosen_trial, objectives=(0.01, 0.01, 0.1, 0.3))
    trials = tuple(tiny if t.number == tiny.number else t for t in RESULT.baseline.trials)
    (line,) = equal_terms(replace(RESULT, baseline=replace(RESULT.baseline, trials=trials)))
    assert line.count("no trial of scheduled_pi was found") == 2


def test_no_minus_nothing() -> None:
    assert "-0" not in compared(Between(1.2, 0.999, 1.4), "x")
