"""The report: one file, no address outside, nothing lost, readable words, and it really draws."""

from __future__ import annotations

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tools.report import ReportRun, write_report
from tools.report.pictures import run_sheet

Make = Callable[..., ReportRun]


class _Page(HTMLParser):
    """Addresses, texts and labels of a page, scripts apart."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.labels: list[str] = []
        self.text = ""
        self.skip = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.skip += tag in ("script", "style")
        self.addresses += [v or "" for k, v in attrs if k in ("src", "href", "srcset", "action", "data", "poster")]
        self.labels += [v or "" for k, v in attrs if k == "aria-label"]

    def handle_endtag(self, tag: str) -> None:
        self.skip -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self.skip:
            self.text += data + " "


def _read(path: Path) -> tuple[str, _Page]:
    html, page = path.read_text(encoding="utf-8"), _Page()
    page.feed(html)
    page.text = " ".join(page.text.split())
    return html, page


def test_one_file_without_an_address_outside(invented_run: Make, tmp_path: Path) -> None:
    write_report(tmp_path / "report.html", [invented_run()], "A run")
    html, page = _read(tmp_path / "report.html")
    assert page.addresses == ["data:,"]  # the empty icon, so that a browser does not ask for one
    styles = "".join(re.findall(r"<style>(.*?)</style>", html, re.DOTALL))
    assert styles
    assert "url(" not in styles
    assert "@import" not in styles
    assert list(tmp_path.iterdir()) == [tmp_path / "report.html"]
    assert len(html) < 400_000


def test_words_that_must_be_there(invented_run: Make, tmp_path: Path) -> None:
    runs = [invented_run("wild", swing_pa=12e3, trip=True), invented_run("calm")]
    write_report(tmp_path / "report.html", runs, "Two runs")
    _, page = _read(tmp_path / "report.html")
    for words in (
        "no safety system", "hard-wired high-pressure cut-out", "no economiser", "lower is better", "Invented hall",
        "Trips: 00:15:00 high discharge pressure", "energy at equal cooling", "Changes are against wild",
        "Not applicable here: ", "trip below 190 kPa", "load <+120 kW> & more",
    ):  # fmt: skip
        assert words in page.text, words
    assert "empty" not in page.text  # a fact without a value is no fact


def test_the_better_figure_has_a_mark_that_is_no_colour(invented_run: Make, tmp_path: Path) -> None:
    write_report(tmp_path / "r.html", [invented_run("wild", swing_pa=12e3), invented_run("calm")], "Two")
    _, page = _read(tmp_path / "r.html")
    line = re.search(r"suction deviation, RMS \[kPa\] ↓ (.*?) suction deviation", page.text)
    assert line is not None
    # 12 and 4 kPa of amplitude over whole periods: RMS is amplitude/√2
    assert line[1] == "8.485 ✓ 2.828 −66.7 %"


def test_every_limit_is_in_the_picture_s_words(invented_run: Make) -> None:
    suction, *_ = run_sheet([invented_run(swing_pa=60e3)]).trends
    assert [(one.value, one.label.split(" below")[0]) for one in suction.limits] == [
        (250.0, "load hold"), (235.0, "forced unload"), (190.0, "trip")
    ]  # fmt: skip
    assert "trip below 190 kPa" in suction.words


def test_drives_and_marks_stand_where_the_events_are(invented_run: Make) -> None:
    run = invented_run("wild", trip=True)
    sheet = run_sheet([run])
    (drives,) = [one for one in sheet.trends if one.name == "drives-0"]
    load = next(one for one in drives.lanes if one.label == "load").spans
    edges = [e for e in run.trace.events if e.source == "capacity_load"]
    assert [a for a, _ in load] == [e.time_ms for e in edges if e.text == "on"]
    assert [(mark.time_ms, mark.kind) for mark in sheet.marks] == [(90_000, "disturbance"), (900_000, "trip")]
    assert sheet.marks[1].text == "trip: high discharge pressure"


def test_ticks_and_equals_stand_as_in_compare(invented_run: Make, tmp_path: Path) -> None:
    runs = [invented_run("a", swing_pa=4.0e3), invented_run("/home/me/mine.py:Mine", swing_pa=4.1e3)]
    write_report(tmp_path / "r.html", runs, "Two")
    html, page = _read(tmp_path / "r.html")
    row = re.search(r"suction deviation, RMS \[kPa\] ↓ (.*?) suction deviation", page.text)
    assert row is not None
    assert row[1] == "2.828 = 2.899 +2.5 %"  # 3 % is what ten seeds scatter
    assert "less than 0.1 %" not in page.text
    assert "/home" not in html


def test_every_picture_has_words_and_shares_the_time_axis(invented_run: Make, tmp_path: Path) -> None:
    runs = [invented_run("wild", swing_pa=12e3), invented_run("calm")]
    trends = run_sheet(runs).trends
    assert {one.name for one in trends} >= {"suction", "deviation", "events", "slides-0", "slides-1", "power", "level"}
    assert all(len(one.caption) > 20 for one in trends)
    write_report(tmp_path / "r.html", runs, "Two")
    assert set(_read(tmp_path / "r.html")[1].labels) >= {one.words for one in trends}


def test_a_failure_and_names_that_look_like_code_are_shown_as_text(invented_run: Make, tmp_path: Path) -> None:
    run = invented_run("<script>alert(1)</script>")
    failed = ReportRun(run.name, run.trace, run.scores, None, {"note": "</dd><b>"}, "it <raised> an error")
    write_report(tmp_path / "r.html", [failed], "<i>title</i>")
    html, page = _read(tmp_path / "r.html")
    assert "<script>alert(1)" not in html
    assert "<i>title" not in html
    assert "it <raised> an error" in page.text


def test_a_run_of_one_row_has_a_report(invented_run: Make, tmp_path: Path) -> None:
    run = invented_run(rows=200)
    run.trace.values = {name: data[:1] for name, data in run.trace.values.items()}
    run.trace.events = []
    write_report(tmp_path / "r.html", [run], "Short")
    assert "Slides" in _read(tmp_path / "r.html")[1].text


def test_a_folder_that_is_not_there_is_an_os_error_and_leaves_nothing(invented_run: Make, tmp_path: Path) -> None:
    with pytest.raises(OSError, match="nowhere"):
        write_report(tmp_path / "nowhere" / "r.html", [invented_run()], "x")
    assert list(tmp_path.iterdir()) == []
