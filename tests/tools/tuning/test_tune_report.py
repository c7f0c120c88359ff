"""The tuning report: one file, nothing from outside, every part there, nothing of a file becomes markup."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from tests.tools.tuning.invented_result import NAN, invented
from tools.tuning.tune_report import (
    by_travel_table,
    cycle_table,
    map_table,
    points_table,
    settings_table,
    weights_table,
    write_tune_report,
)
from tools.tuning.tuning_result import CycleRow, TuningResult, read_result, to_json

RESULT = invented()


class _Page(HTMLParser):
    """Tags, addresses, labels and text of a page, scripts and styles apart."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.labels: list[str] = []
        self.text = ""
        self._skip = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._skip += tag in ("script", "style")
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("src", "href") and value:
                self.addresses.append(value)
            if name == "aria-label" and value:
                self.labels.append(value)

    def handle_endtag(self, tag: str) -> None:
        self._skip -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.text += data


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> _Page:
    path = write_tune_report(RESULT, tmp_path_factory.mktemp("report"))
    return _Page(path.read_text(encoding="utf-8"))


def test_it_needs_nothing_from_outside(page: _Page) -> None:
    assert page.addresses == ["data:,"]
    assert page.tags.count("figure") == 7
    assert len(page.labels) == 7


def test_every_part_is_there(page: _Page) -> None:
    for words in (
        "In plain words", "Not tested", "What each weight would choose", "Proof on cases that the search has not seen",
        "Margins over the operating map", "Rules and gain schedule", "Two slides, one plant", "Limit cycles",
        "Measured on the plant", "Before it goes to site", "What it came from", "An engineering aid on a simulated plant",
        "defrost by hot gas", "the dead band <holds> a cycle", "the condenser cannot reject the heat & <stalls>",
        "sha256:a1a1", "pressure above all", "Ziegler-Nichols", "bump_travel_45.csv", "the slide reached its stop",
        "within the rest zone", "Harrow Ness <fish hall>",
    ):  # fmt: skip
        assert words in page.text, words
    # the drawn pictures are in scripts: no text of the result stands there as markup
    assert "holds" not in page.tags


def test_it_survives_the_journey_through_json(tmp_path: Path, page: _Page) -> None:
    path = write_tune_report(read_result(to_json(RESULT)), tmp_path)
    again = _Page(path.read_text(encoding="utf-8"))
    assert again.text.split() == page.text.split()
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def _hostile(value: Any) -> Any:
    """Every text of a record with markup in it; names that are keys stay."""
    if isinstance(value, str):
        return f'{value}</script><img src="https://example.org/x">'
    if isinstance(value, tuple):
        return tuple(_hostile(item) for item in value)
    if hasattr(value, "__dataclass_fields__"):
        kept = {"controller", "rival_controller", "status", "origin", "unit", "path", "score", "direction"}
        return replace(value, **{f.name: _hostile(getattr(value, f.name)) for f in fields(value) if f.name not in kept})
    return value


def test_no_text_of_a_result_becomes_markup(tmp_path: Path, page: _Page) -> None:
    hostile: TuningResult = _hostile(RESULT)
    text = write_tune_report(hostile, tmp_path).read_text(encoding="utf-8")
    found = _Page(text)
    assert found.addresses == ["data:,"]
    assert found.tags.count("img") == 0
    assert found.tags.count("script") == page.tags.count("script")
    assert not re.search(r"<img src=.https://example", text)


def test_a_point_off_its_bump_test_is_flagged() -> None:
    grid = map_table(RESULT)
    (bad,) = grid.bad
    assert RESULT.map_points[bad].bump is not None
    assert "+13 % !" in grid.rows[bad]
    assert grid.rows[bad][-2:] == ("+0.10 s", "lag")
    bumped = [row.bump for row in RESULT.map_points if row.bump is not None and not row.bump.why_not]
    counts = [row[-1].split(" of ") for row in by_travel_table(RESULT).rows]
    assert sum(int(tried) for _, tried in counts) == len(bumped)
    assert sum(int(good) for good, _ in counts) == len(bumped) - 1


def test_what_broke_a_limit_says_which() -> None:
    trial = replace(RESULT.search.trials[3], status="infeasible", objectives=(), reason="Ms 2.1 nominal", ms=2.1)
    trials = tuple(trial if t.number == 3 else t for t in RESULT.search.trials)
    rows = points_table(replace(RESULT, search=replace(RESULT.search, trials=trials))).rows
    lambda_row = next(row for row in rows if row[0] == "Lambda")
    assert lambda_row[2:] == ("–", "–", "–", "–", "2.10", "1.90", "Ms 2.1 nominal")


def test_the_weights_that_choose_the_same_are_bold() -> None:
    grid = weights_table(RESULT.search)
    assert [RESULT.search.weights[k].trial for k in grid.bold] == [RESULT.search.chosen]


def test_settings_without_sensitivities_say_so() -> None:
    bare = replace(RESULT, settings=tuple(replace(row, effects=()) for row in RESULT.settings))
    assert "not worked out" in settings_table(bare).caption
    assert "10 % more of it" not in settings_table(bare).heads
    assert "10 % more of it" in settings_table(RESULT).heads


def test_a_cycle_within_rest_is_none() -> None:
    row = replace(RESULT.cycles[0], seen_amplitude_kpa=3.6e-8, seen_period_s=0.0)
    assert cycle_table(replace(RESULT, cycles=(row,))).rows[0][1:3] == ("none", "none")
    row = replace(row, dies_out=False, predicted_amplitude_kpa=NAN, seen_amplitude_kpa=2.0)
    assert cycle_table(replace(RESULT, cycles=(row,))).rows[0][1:3] == ("not predicted", "2 kPa, no period")


@pytest.mark.parametrize(
    ("predicted_kpa", "dies_out", "seen_s", "words"),
    [
        (0.0, True, 0.0, "right: no cycle came"),
        (0.0, True, 60.0, "a cycle of 2 kPa was not predicted"),
        (1.0, False, 0.0, "a cycle was predicted, none came"),
    ],
)
def test_a_prediction_is_judged_where_there_is_no_ratio(
    predicted_kpa: float, dies_out: bool, seen_s: float, words: str
) -> None:
    row = CycleRow("here", predicted_kpa, 40.0, dies_out, "why", "whole plant", 2.0, seen_s, NAN)
    assert cycle_table(replace(RESULT, cycles=(row,))).rows[0][4] == words


def test_an_empty_result_still_makes_a_page(tmp_path: Path) -> None:
    bare = replace(
        RESULT, map_points=tuple(replace(r, ms=NAN, ms_spread=NAN, bump=None) for r in RESULT.map_points), relays=(),
        measured=(), rules=(), schedule=(), coupling=(), cycles=(), baseline=RESULT.search, warnings=(), not_tested=(),
        skipped_points=(), proof=replace(RESULT.proof, rows=(), failures=("case 3 tripped",)),
    )  # fmt: skip
    found = _Page(write_tune_report(bare, tmp_path).read_text(encoding="utf-8"))
    assert "has no linear loop" in found.text
    assert "read that as “unknown”" in found.text
    assert "case 3 tripped" in found.text
