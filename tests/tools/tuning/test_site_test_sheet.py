"""The sheet as people get it: everything that is in the plan is on it, and it needs nothing outside itself."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from scenarios.errors import InputRefused
from tools.tuning.site_test_plan import SitePlan, site_plan
from tools.tuning.site_test_sheet import as_html, as_text, bump_svg, write_site_test_sheet

LIBRARY = Path(__file__).parents[3] / "scenarios" / "library"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"


@cache
def plan() -> SitePlan:
    return site_plan(PLANT, SHEET)


class _Balance(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        pass


def test_page_is_whole_and_alone() -> None:
    page = as_html(plan())
    parser = _Balance()
    parser.feed(page)
    assert parser.open == []
    assert not re.search(r"https?://|<script|@import|url\(", page)
    assert "@page { size: A4" in page


@pytest.mark.parametrize("form", [as_html, as_text])
def test_everything_is_on_it(form: object) -> None:
    text = form(plan())  # type: ignore[operator]
    for line in plan().limits:
        assert line.name in text
        assert line.value in text
    for bump in plan().bumps:
        assert f"{bump.stop_kpa:.0f} kPa abs" in text
        assert f"{bump.at(30.0)[0]:.1f}" in text
        assert f"{bump.drive_on_s:.1f} s in one go" in text
    for words in (
        "no safety system",
        "Hard-wired cut-outs",
        "Volume-ratio slide to manual",
        "Any inhibit",
        plan().stamp,
    ):
        assert words in text
    assert text.index("Volume-ratio slide to manual") < text.index("Capacity slide to manual")  # the order matters


def test_names_of_a_plant_cannot_break_the_page() -> None:
    page = as_html(replace(plan(), plant_title='<b>&"x'))
    assert "&lt;b&gt;&amp;" in page


@pytest.mark.parametrize("k", [0, 1])
def test_the_curve_is_drawn_where_its_numbers_are(k: int) -> None:
    bump = plan().bumps[k]
    root = ElementTree.fromstring(bump_svg(bump))
    line = next(e for e in root.iter() if e.tag.endswith("polyline"))
    places = np.array([[float(v) for v in p.split(",")] for p in line.attrib["points"].split()])
    labels = [e for e in root.iter() if e.tag.endswith("text") and e.attrib.get("text-anchor") == "end"]
    y_of = {float(e.text or "nan"): float(e.attrib["y"]) - 4.0 for e in labels}
    values = sorted(y_of)
    drawn = np.interp(-places[-1, 1], [-y_of[v] for v in values], values, left=np.nan, right=np.nan)
    slope = (values[-1] - values[0]) / (y_of[values[-1]] - y_of[values[0]])
    drawn = values[0] + slope * (places[-1, 1] - y_of[values[0]])
    assert drawn == pytest.approx(bump.at(bump.end_s)[0], abs=0.05)
    assert places[:, 0].min() >= 62.0
    assert places[:, 0].max() <= 708.1


def test_files_are_written_whole_and_a_refusal_writes_none(tmp_path: Path) -> None:
    with pytest.raises(InputRefused):
        write_site_test_sheet(PLANT, tmp_path / "no_such_sheet.toml", tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
    html, text = write_site_test_sheet(PLANT, SHEET, tmp_path / "out")
    assert html.read_text(encoding="utf-8").endswith("</html>")
    assert "7 AFTERWARDS" in text.read_text(encoding="utf-8")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["site_test_sheet.html", "site_test_sheet.txt"]
