"""Every page with pictures in a real browser: no accessibility violation, nothing asked from outside, no complaint.

The run's report has a test of its own (report/test_in_browser.py), the live page too.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner

from scenarios.finished_runs import match_runs
from tests.tools.page_checks import violations_everywhere
from tests.tools.test_diff import LOOP
from tests.tools.test_season import made as made_season
from tests.tools.tuning.invented_result import invented
from tools.replay_command import replay
from tools.report.comparison import write_comparison
from tools.season import answer_lines, held_table, month_table
from tools.season_report import write_season_report
from tools.sheet_change import SheetChange
from tools.sheet_change_page import write_changes
from tools.tuning.tune_report import write_tune_report
from tools.verification.acceptance import lines
from tools.verification.campaign import RunFindings
from tools.verification.findings import Finding, Verdict
from tools.verification.pack import Pack, load_pack
from tools.verification.record_html import as_html

CHROMIUM = shutil.which("chromium")
sync_api = pytest.importorskip("playwright.sync_api")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here")

LOGS = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "logs"
PACK = """title = "Mine"
[[requirement]]
id = "A-1"
text = "Never above 3 %."
severity = "people"
formula = "capacity_travel_measured < 3 %"
[[requirement]]
id = "A-2"
text = "Never comes about."
severity = "service"
when = "mode == TRIPPED"
formula = "true"
"""
CUT = {
    "time_s": [0.1 * k for k in range(100)], "left": [2.0 + math.sin(0.1 * k) for k in range(100)], "right": [2.9] * 100,
    "unit": "%", "clause": "capacity_travel_measured < 3 %", "at_s": 1.6,
    "lanes": {"mode": [(0.0, 4.0, "starting"), (4.0, 9.9, "automatic")]},
}  # fmt: skip


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield started
        started.close()


class Opened:
    """A page, and everything that it asked for or complained of."""

    def __init__(self, browser: Any, path: Path) -> None:
        self.page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        self.page.set_default_timeout(120_000)
        self.said: list[str] = []
        self.page.on("request", lambda request: self.said.append(f"asks {request.url}"))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("console", lambda m: self.said.append(m.text) if m.type in ("error", "warning") else None)
        self.page.goto(path.as_uri())
        self.page.wait_for_timeout(500)
        self.address = path.as_uri()

    def check(self) -> None:
        assert violations_everywhere(self.page) == []
        assert self.said == [f"asks {self.address}"]


def record(pack: Pack) -> str:
    """An acceptance record with one broken line and its picture."""
    one = Finding("A-1", Verdict.FAILED, -0.1, "%", 1600, 1200, 1, "capacity_travel_measured < 3 %")
    other = Finding("A-2", Verdict.NOT_EXERCISED, reason="never tripped")
    run = RunFindings(
        "a.toml", "A run", 3, "three_position", "x.toml", {}, "", (one, other), {"A-1": CUT}, {}, 600.0, 1.0
    )  # fmt: skip
    run.sentences.update({r.id: r.text for r in pack.requirements})
    return as_html(pack, lines(pack, [run]), [run], "Record", [("plant", "Hall")], {})


def test_the_acceptance_record_and_the_cursor_in_its_pictures(browser: Any, tmp_path: Path) -> None:
    (tmp_path / "pack.toml").write_text(PACK, encoding="utf-8")
    (tmp_path / "r.html").write_text(record(load_pack([tmp_path / "pack.toml"])), encoding="utf-8")
    opened = Opened(browser, tmp_path / "r.html")
    opened.check()
    opened.page.focus("svg[data-scale]")
    for _ in range(8):
        opened.page.keyboard.press("ArrowRight")
    told = opened.page.locator("svg .told").text_content()
    at_s, rest = told.split(" s: ")
    left, right = rest.split(", apart ")[0].split(" against ")
    assert float(at_s) == pytest.approx(1.6 + 8 * 9.9 / 160, abs=0.06)
    assert float(left) == pytest.approx(2.0 + math.sin(float(at_s)), abs=0.05)
    assert float(right) == pytest.approx(2.9, abs=0.01)


def test_the_tuning_report(browser: Any, tmp_path: Path) -> None:
    Opened(browser, write_tune_report(invented(), tmp_path)).check()


def test_the_findings_page_opens_at_the_event(browser: Any, tmp_path: Path) -> None:
    words = [
        LOGS / "nordkai_night.csv", LOGS / "nordkai_alarms.csv", "--mapping", LOGS / "nordkai.mapping.toml",
        "--settings", LOGS / "nordkai_evening.toml", "--out", tmp_path / "why",
    ]  # fmt: skip
    found = CliRunner().invoke(replay, [str(word) for word in words], standalone_mode=False)
    assert found.exception is None, found.output
    opened = Opened(browser, tmp_path / "why" / "findings.html")
    opened.check()
    assert opened.page.inner_text(".timebar .clock").startswith("02:51:5")  # the trip, by the hall's own clock


def test_the_season_page(browser: Any, tmp_path: Path) -> None:
    found = made_season()
    write_season_report(
        tmp_path / "s.html", found, "A year", [("plant", "Hall")], answer_lines(found), month_table(found), held_table(found)
    )  # fmt: skip
    Opened(browser, tmp_path / "s.html").check()


def test_the_page_of_a_change_of_settings(browser: Any, tmp_path: Path) -> None:
    sheet: Any = SimpleNamespace(controller="scheduled_pi", path=Path("a.toml"), stamp="no checksum")
    write_changes(tmp_path, SheetChange(("a", "b"), (sheet, sheet), (), "Hall", tuple(LOOP), (), ("Words.",)))
    Opened(browser, tmp_path / "diff.html").check()


def test_the_comparison(browser: Any, tmp_path: Path, run_folder: Callable[..., Path]) -> None:
    places = [run_folder(tmp_path / "wild", swing_pa=12e3), run_folder(tmp_path / "calm")]
    matches, lonely = match_runs(places)
    write_comparison(tmp_path / "c.html", matches, lonely)
    opened = Opened(browser, tmp_path / "c.html")
    opened.check()
    opened.page.locator(".trend").first.scroll_into_view_if_needed()
    opened.page.wait_for_selector(".trendsheet[data-drawn]:not([data-drawn='0'])")
