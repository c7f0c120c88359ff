"""How far a formula looks ahead, and the refusal of a window that is longer than the run."""

from __future__ import annotations

import pytest

from tests.tools.verification.bench import SETTINGS
from tools.verification.horizons import horizon_ms, too_long
from tools.verification.pack import Requirement, Severity
from tools.verification.terms import check_truth


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("motor_run", 0.0),
        ("once[0 s, 1 h] motor_run", 0.0),
        ("always[1 s, 5 s] eventually[0 s, 2 s] motor_run", 7.0),
        ("always[0 s, {common.sequence.run_up}] motor_run or eventually[0 s, 3 s] oil_pump", 20.0),
        ("wait(eventually[0 s, 1 s] motor_run, max(3 s, {common.sequence.run_up} - 15 s) + 2 * 500 ms) < 1 s", 7.0),
        ("(oil_pump until[0 s, 4 s] always[0 s, 1 s] motor_run)", 5.0),
    ],
)
def test_horizons_add_up(text: str, seconds: float) -> None:
    assert horizon_ms(check_truth(text, {}), SETTINGS) == pytest.approx(1000.0 * seconds)


def test_a_window_longer_than_the_run_is_refused_in_words() -> None:
    text = "always[0 s, 10 min] motor_run"
    requirement = Requirement("A-1", "x", Severity.SERVICE, check_truth(text, {}), text, file="p.toml", line=7)
    assert too_long(requirement, SETTINGS, 600_000.0, "short.toml") is None
    problem = too_long(requirement, SETTINGS, 599_900.0, "short.toml")
    assert problem is not None
    assert str(problem).startswith("p.toml:7: requirement A-1 looks 600 s ahead, and short.toml lasts 599.9 s")


def test_unknown_settings_are_not_guessed() -> None:
    text = "always[0 s, {common.sequence.run_up}] motor_run"
    requirement = Requirement("A-1", "x", Severity.SERVICE, check_truth(text, {}), text)
    assert too_long(requirement, None, 1.0, "short.toml") is None
