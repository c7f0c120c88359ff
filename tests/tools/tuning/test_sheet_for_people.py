"""The sheet for people: every setting on it, the right numbers, nothing that runs, nothing from outside."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.quantities import parse_quantity
from tests.tools.tuning.invented_result import invented
from tools.tuning.result_words import CAUTIONS, quantity
from tools.tuning.sheet_for_people import as_csv, as_html, write_sheet_for_people
from tools.tuning.tuning_result import OBJECTIVES, SettingRow, TuningResult

RESULT = invented()


class _Page(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_csv_has_every_setting_with_its_numbers() -> None:
    rows = read(as_csv(RESULT))
    heads, lines = rows[0], rows[1 : 1 + len(RESULT.settings)]
    assert heads[-len(OBJECTIVES) :] == [
        "10 % more: pressure RMS", "10 % more: slide wear", "10 % more: starts", "10 % more: energy per cooling"
    ]  # fmt: skip
    for setting, line in zip(RESULT.settings, lines, strict=True):
        cell = dict(zip(heads, line, strict=True))
        assert cell["setting"] == setting.key
        if isinstance(setting.value, float):
            assert float(cell["value"]) == pytest.approx(setting.value, rel=1e-11)
            assert float(cell["previous"]) == pytest.approx(float(setting.previous), rel=1e-11)  # type: ignore[arg-type]
        assert cell["changed"] == ("yes" if setting.tuned and setting.value else "no")
    foot = "\n".join(line[0] for line in rows[1 + len(RESULT.settings) :] if line)
    assert RESULT.provenance.chosen_checksum in foot
    assert all(caution in foot for caution in CAUTIONS)


def test_html_says_everything_a_signer_needs() -> None:
    page = _Page(as_html(RESULT))
    for row in RESULT.settings:
        assert row.key in page.text or row.key.rpartition(".")[2] in page.text
    for words in (
        *CAUTIONS,
        *RESULT.not_tested,
        RESULT.provenance.chosen_checksum,
        "signature",
        "Harrow Ness <fish hall>",
    ):
        assert words in page.text
    assert "Unseen hour 1" in page.text
    assert "script" not in page.tags
    assert not [v for _, v in page.attributes if v and re.match(r"(https?:)?//", v)]
    assert "pressure RMS +1.5 % (+1.0 to +2.0)" in page.text
    assert "not told from noise: starts, energy per cooling" in page.text


@settings(max_examples=60, deadline=None)
@given(st.text(min_size=1), st.text())
def test_no_text_of_a_file_becomes_markup_or_a_formula(title: str, why: str) -> None:
    row = replace(RESULT.settings[0], why=why, because=why, value=title, previous=why)
    result = replace(RESULT, plant_title=title, settings=(row,), not_tested=(why,))
    before, after = _Page(as_html(replace(RESULT, settings=(row,)))), _Page(as_html(result))
    assert "script" not in after.tags
    assert set(after.tags) <= set(before.tags)
    for line in read(as_csv(result)):
        for cell in line:
            assert not cell.lstrip().startswith(("=", "+", "-", "@")) or _is_number(cell)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


NUMBERS = [row for row in RESULT.settings if isinstance(row.value, float) and row.unit]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(NUMBERS), st.floats(0.0, 1.0))
def test_a_written_value_is_one_that_the_sheet_reads(row: SettingRow, share: float) -> None:
    assert row.low is not None
    assert row.high is not None
    value = row.low + share * (row.high - row.low)
    if row.unit == "ms":
        value = float(round(value))
    of = "absolute" if row.path.endswith(("_abs", "_c")) else "difference"
    of = of if row.unit in ("kPa", "°C", "K") else ""
    read_back: Any = parse_quantity(quantity(value, row.unit), row.unit, of)
    assert read_back == pytest.approx(value, rel=1e-5, abs=1e-9)


def test_nothing_searched_is_said(tmp_path: Path) -> None:
    rows = tuple(replace(r, tuned=False, previous=r.value, effects=()) for r in RESULT.settings)
    quiet: TuningResult = replace(RESULT, settings=rows)
    assert "Nothing was searched, and nothing changed." in as_html(quiet)
    paths = write_sheet_for_people(quiet, tmp_path / "new")
    assert [p.name for p in paths] == ["settings.csv", "settings.html"]
    assert all(p.stat().st_size > 1000 for p in paths)
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == ["settings.csv", "settings.html"]
