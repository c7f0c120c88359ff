"""One rule for what counts as a difference: the table of a tour, the report and `twoslide compare` say the same."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.group_verdicts import BETTER, EQUAL, NOT_COMPARABLE, WORSE
from scenarios.score_differences import TWINS, Line, difference, lines_between
from scenarios.score_records import NONE, Scores
from tests.scenarios.library_runs import run


def baseline() -> Scores:
    return run("load_step_up", "three_position").scores


def changed(**factors: float) -> Scores:
    """The baseline with some scores multiplied."""
    scores = baseline()
    return replace(
        scores,
        values=tuple(
            replace(s, value=s.value * factors[s.name]) if s.name in factors and s.value is not None else s
            for s in scores.values
        ),
    )


def line(name: str, *runs: Scores) -> Line:
    return next(one for one in lines_between(runs) if one.head.name == name)


@pytest.mark.parametrize(
    ("name", "factor", "marks"),
    [
        ("specific_energy_kwh_per_kwh", 0.996, ("", "=")),  # 0.4 %: no meter tells
        ("specific_energy_kwh_per_kwh", 0.99, ("", "✓")),
        ("specific_energy_kwh_per_kwh", 1.01, ("✓", "")),
        ("specific_energy_kwh_per_kwh", 1.0, ("", "=")),
        ("cooling_energy_kwh", 2.0, ("", "")),  # a plain fact
    ],
)
def test_a_tick_stands_only_beyond_the_tolerance(name: str, factor: float, marks: tuple[str, str]) -> None:
    found = line(name, baseline(), changed(**{name: factor}))
    assert (found.mark(0), found.mark(1)) == marks


def test_one_run_alone_has_no_mark() -> None:
    assert {one.mark(0) for one in lines_between([baseline()])} == {""}


def test_of_three_runs_the_best_is_better_than_each_other_one() -> None:
    name = "specific_energy_kwh_per_kwh"
    runs = [baseline(), changed(**{name: 0.98}), changed(**{name: 0.979})]
    assert line(name, *runs).best is None  # the last two are equal
    runs[2] = changed(**{name: 0.95})
    found = line(name, *runs)
    assert [found.mark(k) for k in range(3)] == ["", "", "✓"]


@given(
    st.sampled_from(sorted({s.name for s in baseline().values if s.direction != NONE} - set(TWINS))),
    st.floats(0.5, 2.0),
)
def test_the_tick_of_two_runs_is_what_compare_says(name: str, factor: float) -> None:
    if "_margin_" in name:  # goes by its share of the span, as compare does
        return
    found = lines_between([baseline(), changed(**{name: factor})])
    for one in found:
        if one.head.name == name:
            said = difference(one.scores[0], one.scores[1]).meaning
            assert one.best == {BETTER: 1, WORSE: 0}.get(said)
            assert (one.mark(1) == "=") == (said == EQUAL)


def test_breaches_are_not_equal_where_not_all_was_checked() -> None:
    name = "violations_count"
    assert line(name, baseline(), baseline()).differences[1].meaning == EQUAL
    blind = replace(baseline(), skipped=("trip_in_time",))
    for runs in ((baseline(), blind), (blind, baseline()), (blind, blind)):
        found = line(name, *runs)
        assert found.differences[1].meaning == NOT_COMPARABLE
        assert (found.best, found.mark(0), found.mark(1)) == (None, "", "")
