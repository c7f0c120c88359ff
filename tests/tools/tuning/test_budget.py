"""Budgets as people write them."""

from __future__ import annotations

import pytest

from scenarios.errors import InputRefused
from tools.tuning.budget import Budget, parse_budget


@pytest.mark.parametrize(
    ("text", "budget"),
    [
        ("10min", Budget(seconds=600.0)),
        ("90 s", Budget(seconds=90.0)),
        ("1.5 h", Budget(seconds=5400.0)),
        ("300 trials", Budget(trials=300)),
        ("1 Trial", Budget(trials=1)),
    ],
)
def test_read(text: str, budget: Budget) -> None:
    assert parse_budget(text) == budget
    assert parse_budget(budget.text) == budget


@pytest.mark.parametrize(
    "text", ["", "10", "ten min", "0 min", "0 trials", "2.5 trials", "-3 min", "10 weeks", "min 10"]
)
def test_refused_with_a_way_out(text: str) -> None:
    with pytest.raises(InputRefused, match="10min"):
        parse_budget(text)
