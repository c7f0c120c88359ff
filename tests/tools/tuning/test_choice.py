"""The rule of choice: on the front, blind to units, and led by its weights."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.tuning.choice import EQUAL, WEIGHTS, choose, nearest
from tools.tuning.trials import FINISHED, Outcome


def outcome(number: int, *objectives: float) -> Outcome:
    return Outcome(number, (0.5,), {}, FINISHED, 4, objectives, 0.0, "", {}, None, (), 0.0)


FIGURES = st.tuples(st.floats(0.5, 50.0), st.floats(0.2, 100.0), st.floats(0.0, 3.0), st.floats(0.2, 0.5))
FRONTS = st.lists(FIGURES, min_size=1, max_size=12).map(lambda rows: [outcome(k, *row) for k, row in enumerate(rows)])


def test_the_middle_of_a_plain_front() -> None:
    """Halving one figure for a doubled other: the point that gives up 1.5 of both lies nearer than either end."""
    front = [outcome(0, 1.0, 4.0, 0.0, 0.3), outcome(1, 4.0, 1.0, 0.0, 0.3), outcome(2, 1.5, 1.5, 0.0, 0.3)]
    found = choose(front)
    assert found.outcome.number == 2
    assert {row.name: row.trial for row in found.weights}["pressure alone"] == 0
    assert {row.name: row.trial for row in found.weights}["wear alone"] == 1
    assert "ideal point of 3" in found.reason


@given(FRONTS)
def test_every_choice_is_of_the_front_and_the_ends_are_the_ends(front: list[Outcome]) -> None:
    found = choose(front)
    assert found.outcome in front
    assert {row.name for row in found.weights} == set(WEIGHTS)
    by_name = {row.name: row for row in found.weights}
    assert by_name["pressure alone"].objectives[0] == pytest.approx(min(o.objectives[0] for o in front), rel=1e-5)
    assert by_name["wear alone"].objectives[1] == pytest.approx(min(o.objectives[1] for o in front), rel=1e-5)


@given(FRONTS, st.floats(0.01, 100.0))
def test_another_unit_of_pressure_chooses_the_same(front: list[Outcome], factor: float) -> None:
    def scaled(o: Outcome) -> Outcome:
        return replace(o, objectives=(o.objectives[0] * factor, *o.objectives[1:]))

    one, other = nearest(front, EQUAL), nearest([scaled(o) for o in front], EQUAL)
    if one.number != other.number:  # two of them equally far, told apart by rounding
        assert min(abs(a - b) for a, b in zip(one.objectives, front[other.number].objectives, strict=True)) < 1e-6


def test_no_wear_at_all_has_a_place() -> None:
    assert choose([outcome(0, 2.0, 0.0, 0.0, 0.3)]).outcome.number == 0


def test_nothing_to_choose_from() -> None:
    with pytest.raises(ValueError, match="no candidate is feasible"):
        choose([])
