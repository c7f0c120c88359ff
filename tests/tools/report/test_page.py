"""The report: one file, no address outside, nothing lost, readable words, and it really draws."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from bokeh.models.annotations import Span

from tools.report import ReportRun, write_report
from tools.report.pictures import all_panels

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
    assert len(html) < 4_000_000


def test_words_that_must_be_there(invented_run: Make, tmp_path: Path) -> None:
    runs = [invented_run("wild", swing_pa=12e3, trip=True), invented_run("calm")]
    write_report(tmp_path / "report.html", runs, "Two runs")
    _, page = _read(tmp_path / "report.html")
    for words in (
        "no safety system", "hard-wired high-pressure cut-out", "no economiser", "lower is better", "Invented hall",
        "Trips: 00:15:00 high discharge pressure", "energy at equal cooling", "Changes are against wild",
        "Not applicable here: ", "trip below 190 kPa (outside the picture)", "load <+120 kW> & more",
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


def test_a_limit_is_drawn_or_told_to_lie_outside(invented_run: Make) -> None:
    """Curves from 230 to 350 kPa: the picture ends a twentieth beyond them, and the trip at 190 kPa is not seen."""
    (panel,) = [one for one in all_panels([invented_run(swing_pa=60e3)]) if one.name == "suction"]
    drawn = [float(s.location) for s in panel.plot.center if isinstance(s, Span) and s.dimension == "width"]  # type: ignore[arg-type]
    keys = {key.label: key.style for key in panel.keys}
    assert len(drawn) == 2
    assert all(224.0 <= location <= 357.0 for location in drawn)
    assert keys["trip below 190 kPa (outside the picture)"] == "none"
    for location in drawn:
        (label,) = [label for label in keys if label.endswith(f" below {location:.0f} kPa")]
        assert keys[label] != "none"


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
    panels = all_panels(runs)
    assert len({panel.plot.x_range.id for panel in panels}) == 1
    assert {panel.name for panel in panels} >= {"suction", "deviation", "events", "slides-0", "slides-1", "power"}
    assert all(len(panel.caption) > 20 for panel in panels)
    write_report(tmp_path / "r.html", runs, "Two")
    assert len(_read(tmp_path / "r.html")[1].labels) == len(panels)


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
    assert (tmp_path / "r.html").stat().st_size > 500_000


def test_a_folder_that_is_not_there_is_an_os_error_and_leaves_nothing(invented_run: Make, tmp_path: Path) -> None:
    with pytest.raises(OSError, match="nowhere"):
        write_report(tmp_path / "nowhere" / "r.html", [invented_run()], "x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(shutil.which("chromium") is None, reason="needs a browser to look with")
def test_a_browser_without_network_draws_every_picture(invented_run: Make, tmp_path: Path) -> None:
    runs = [invented_run("wild", swing_pa=12e3), invented_run("calm")]
    write_report(tmp_path / "r.html", runs, "Two")
    html = (tmp_path / "r.html").read_text(encoding="utf-8")
    probe = """<script>
      const wrong = []; window.addEventListener("error", e => wrong.push(e.message));
      addEventListener("load", () => setTimeout(() => {
        const drawn = [...document.querySelectorAll("[data-root-id]")].filter(e => e.firstElementChild?.shadowRoot
          && [...e.firstElementChild.shadowRoot.querySelectorAll("*")].some(x => x.shadowRoot
          && x.shadowRoot.querySelector("canvas") || x.tagName == "CANVAS"));
        document.title =
          `drawn ${drawn.length} wrong ${wrong.length} fits ${document.body.scrollWidth <= innerWidth}`; }, 2500));
      </script>"""
    (tmp_path / "probe.html").write_text(
        html.replace("</head>\n<body>", "</head>\n<body>" + probe, 1), encoding="utf-8"
    )
    seen = subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--proxy-server=127.0.0.1:9", f"--user-data-dir={tmp_path / 'profile'}", "--window-size=1280,900",
         "--virtual-time-budget=8000", "--dump-dom", (tmp_path / "probe.html").as_uri()],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    title = re.search(r"<title>(.*?)</title>", seen.stdout)
    assert title is not None
    assert title[1] == f"drawn {len(all_panels(runs))} wrong 0 fits true"


def test_facts_are_words_and_no_json(invented_run: Make, tmp_path: Path) -> None:
    run = invented_run()
    run.facts.update(
        notes='["the sheet has no checksum", "second [note]"]', sha256='{"plant": "00ff"}', overridden="{}"
    )
    write_report(tmp_path / "r.html", [run], "Facts")
    _, page = _read(tmp_path / "r.html")
    assert "the sheet has no checksum second [note]" in page.text
    assert "sha256 plant: 00ff" in page.text
    assert '["' not in page.text
    assert "overridden" not in page.text


def test_each_set_point_is_drawn_once(invented_run: Make) -> None:
    one, same, other = invented_run("one"), invented_run("same"), invented_run("other")
    labels = [key.label for key in all_panels([one, same])[0].keys]
    assert labels.count("set point") == 1
    other.trace.values["suction_set_point_pa"] = other.trace["suction_set_point_pa"] + 2000.0
    labels = [key.label for key in all_panels([one, same, other])[0].keys]
    assert [label for label in labels if "set point" in label] == ["set point, one", "set point, other"]


def test_pictures_turn_dark_with_the_page(invented_run: Make, tmp_path: Path) -> None:
    write_report(tmp_path / "r.html", [invented_run()], "Dark")
    html, _ = _read(tmp_path / "r.html")
    assert re.search(r"prefers-color-scheme: dark\) \{ figure \{ filter:invert", html)
