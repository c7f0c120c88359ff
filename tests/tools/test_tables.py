"""What the terminal shows."""

from __future__ import annotations

import io
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, cast

from rich.console import Console

from tools.report import ReportRun
from tools.tables import print_failure, scenario_table, score_table, trip_lines

Make = Callable[..., ReportRun]


def _shown(table: object) -> str:
    console = Console(width=140, record=True, file=io.StringIO())
    console.print(table)
    return console.export_text()


def test_scores_side_by_side_mark_the_better_one(invented_run: Make) -> None:
    wild, calm = invented_run("wild", swing_pa=12e3), invented_run("calm")
    text = _shown(score_table(["wild", "calm"], [wild.scores, calm.scores]))
    line = next(line for line in text.splitlines() if "suction deviation, RMS ↓" in line)
    cells = [cell.strip() for cell in line.strip("│ ").split("│")]
    # 12 and 4 kPa of amplitude over whole periods: RMS is amplitude/√2
    assert cells == ["suction deviation, RMS ↓", "kPa", "8.485", "✓ 2.828  −66.7 %"]
    assert "energy at equal cooling" in text
    assert "shortest rest" not in text  # applies to neither
    for group in ("pressure stability", "short-cycling", "energy", "safety"):
        assert group in text


def test_one_run_alone_has_no_marks(invented_run: Make) -> None:
    text = _shown(score_table(["calm"], [invented_run().scores]))
    assert "✓" not in text
    assert "equal cooling" not in text


def test_a_line_for_each_scenario(invented_run: Make) -> None:
    calm, tripped = invented_run(), invented_run("tripped", trip=True)
    rows = [("Calm [day]", "a", calm.scores, None), ("Bad day", "b", tripped.scores, "the controller raised KeyError")]
    text = _shown(scenario_table(rows))
    assert "Calm [day]" in text  # brackets are text, not markup
    assert "as planned" in text
    assert "the controller raised KeyError" in text


def test_trips_in_words(invented_run: Make) -> None:
    assert trip_lines(invented_run(trip=True).trace) == ["trip at 0:15:00: high discharge pressure"]
    assert trip_lines(invented_run().trace) == []


def test_ticks_follow_the_tolerance_of_compare(invented_run: Make) -> None:
    """3 % of the RMS deviation is scatter: 4.0 and 4.1 kPa of swing are equal, however clear the figures."""
    runs = [invented_run("a", swing_pa=4.0e3), invented_run("b", swing_pa=4.1e3)]
    text = _shown(score_table(["a", "b"], [run.scores for run in runs]))
    row = next(line for line in text.splitlines() if "suction deviation, RMS ↓" in line)
    assert [cell.strip() for cell in row.strip("│ ").split("│")][2:] == ["2.828", "= 2.899  +2.5 %"]
    assert "beyond 0.1 %" not in text


def test_a_long_name_of_a_controller_does_not_widen_its_column(invented_run: Make) -> None:
    name = "/home/somebody/projects/cold_store/logic/a_rather_long_name_of_a_controller.py:Mine"
    text = _shown(score_table([name], [invented_run().scores]))
    assert "/home" not in text
    assert "a_rather_long_name_of_a_ ┃" in text
    assert "controller.py:Mine ┃" in text


def test_why_a_run_ended_early_stands_by_itself() -> None:
    console = Console(width=60, record=True, file=io.StringIO())
    one, ended = SimpleNamespace(controller_name="/a/mine.py:Mine"), SimpleNamespace(failure="it [raised] an error")
    print_failure(console, cast(Any, one), cast(Any, ended))
    assert console.export_text() == "mine.py:Mine ended early: it [raised] an error\n"
    print_failure(console, cast(Any, one), cast(Any, SimpleNamespace(failure=None)))
    assert console.export_text() == ""
