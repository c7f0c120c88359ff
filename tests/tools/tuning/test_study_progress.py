"""Progress in words."""

from __future__ import annotations

import io

from rich.console import Console

from tools.tuning.budget import Budget
from tools.tuning.study_progress import ProgressBar, front_words, left_words
from tools.tuning.trials import FINISHED, PRUNED, Outcome


def outcome(number: int, objectives: tuple[float, ...], status: str = FINISHED) -> Outcome:
    return Outcome(number, (0.5,), {}, status, 1, objectives, 0.0, "", {}, None, (), 0.1)


def test_the_front_in_words() -> None:
    assert front_words([]) == "nothing feasible yet"
    words = front_words([outcome(0, (2.0, 9.0, 0.0, 0.3)), outcome(1, (4.0, 5.0, 0.0, 0.3))])
    assert words == "front of 2: tightest 2.00 kPa at wear 9.0/h, quietest 5.0/h at 4.00 kPa"


def test_time_left_is_of_the_budget_or_at_this_sittings_pace() -> None:
    assert left_words(Budget(seconds=600.0), 5, 0, 475.0, 0.0) == "2:05 left"
    assert left_words(Budget(seconds=600.0), 5, 0, 700.0, 0.0) == "0:00 left"
    # 100 trials were there after 1000 s; this sitting did 10 in 20 s, and 190 are missing
    assert left_words(Budget(trials=300), 110, 100, 1020.0, 1000.0) == "6:20 left"
    assert left_words(Budget(trials=300), 100, 100, 1000.0, 1000.0) == "time left not known yet"


def test_the_bar_shows_them() -> None:
    out = io.StringIO()
    with ProgressBar(Console(file=out, force_terminal=True, width=200)) as bar:
        bar.update([], 0.0)  # before it began: nothing to show, nothing to fail
        bar.begin(Budget(trials=10), 0, 0.0)
        bar.update([outcome(0, (2.0, 9.0, 0.0, 0.3)), outcome(1, (4.0, 9.5, 0.0, 0.3), PRUNED)], 4.0)
    text = out.getvalue()
    assert "2 trials (1 stopped early, 0 not allowed)" in text
    assert "0:16 left" in text
    assert "front of 1" in text
