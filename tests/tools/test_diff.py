"""`twoslide diff`: what changed, what it is expected to do, what is refused; the page and the CSV."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from scenarios.demo_sheets import demo_settings
from scenarios.settings_sheet import write_sheet
from tools.cli import main
from tools.sheet_change import read_change, rows_of
from tools.tuning import sheet_effects
from tools.tuning.sheet_effects import LoopChange, LoopFigures

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"
SCENARIO = """title = "Short <step>"
purpose = "invented, for tests"
expects = "nothing in particular"
plant = "{library}/plants/harrow_ness.toml"
controller = "scheduled_pi"
settings = "{library}/sheets/demo_scheduled_pi.toml"
duration = "10 min"
seed = 3
[start]
machine = "running"
load = "280 kW"
[[event]]
kind = "load_step"
at = "2 min"
change = "+90 kW"
"""
LOOP = [
    LoopChange(0.5, 3.0, "falling", LoopFigures(1.3, 1.5, 4.0), LoopFigures(1.6, 2.3, 2.6)),
    LoopChange(0.5, 3.0, "rising", LoopFigures(1.3, 1.6, 4.1), LoopFigures(float("inf"), float("inf"), 0.0)),
]


def call(*words: object) -> Result:
    return CliRunner().invoke(main, ["diff", *map(str, words)])


@pytest.fixture
def sheets(tmp_path: Path) -> tuple[Path, Path]:
    """The demo sheet, and one with more gain, another rest zone and another trip delay."""
    base = demo_settings("scheduled_pi")
    common = base.common
    other = replace(
        base,
        pi=replace(base.pi, proportional_band_kpa=35.0, rest_zone_kpa=2.5),
        common=replace(common, protection=replace(common.protection, low_suction_pressure_delay_ms=15_000)),
    )
    paths = tmp_path / "a.toml", tmp_path / "b.toml"
    for path, settings in zip(paths, (base, other), strict=True):
        write_sheet(path, "scheduled_pi", settings)
    return paths


def test_settings_with_range_reason_and_direction(sheets: tuple[Path, Path]) -> None:
    before = [path.read_bytes() for path in sheets]
    found = call(*sheets, "--json")
    assert found.exit_code == 0, found.output
    data = json.loads(found.stdout)
    by_key = {d["setting"]: d for d in data["differences"]}
    assert list(by_key) == ["common.protection.low_suction_pressure_delay", "pi.proportional_band", "pi.rest_zone"]
    band = by_key["pi.proportional_band"]
    assert (band["before"], band["after"], band["low"], band["high"]) == ("55 kPa", "35 kPa", 2.0, 2000.0)
    assert band["expected"].startswith("higher loop gain")
    assert [d["protects"] for d in data["differences"]] == [True, False, False]
    assert any("no matter of tuning" in line for line in data["words"])
    assert [path.read_bytes() for path in sheets] == before
    shown = call(*sheets)
    assert "3 settings differ" in shown.stdout
    assert "hard-wired cut-outs come first" in shown.stdout


def test_a_table_is_one_row_and_its_gain_is_told_with_the_band(sheets: tuple[Path, Path]) -> None:
    base = demo_settings("scheduled_pi")
    table = list(base.pi.gain_multiplier)
    table[0], table[5] = 0.5 * table[0], 2.0 * table[5]
    other: Any = replace(base, pi=replace(base.pi, gain_multiplier=tuple(table), proportional_band_kpa=50.0))
    write_sheet(sheets[1], "scheduled_pi", other)
    found = call(*sheets)
    assert found.exit_code == 0, found.output
    assert "multiplier[1, 6]" in found.stdout
    assert "more at some places and less at others" in rows_of(read_change(*sheets, None))[-1].expected
    before, after = (100.0 / pi.proportional_band_kpa * pi.gain_multiplier[0] for pi in (base.pi, other.pi))
    assert f"0 % {before:.3g} to {after:.3g}" in found.stdout
    data = json.loads(call(*sheets, "--json").stdout)
    assert [d["setting"] for d in data["differences"]][1:] == ["pi.gain_multiplier[1]", "pi.gain_multiplier[6]"]


def test_equal_sheets(sheets: tuple[Path, Path]) -> None:
    found = call(sheets[0], sheets[0])
    assert found.exit_code == 0
    assert "The two sheets hold the same values." in found.stdout


@pytest.mark.parametrize(
    ("was", "becomes", "words"),
    [
        ('proportional_band = "35 kPa"', 'proportional_band = "20 kPa"', "the checksum does not match"),
        ('proportional_band = "35 kPa"', 'proportional_band = "1 kPa"', "at least 2 kPa"),
        ('controller = "scheduled_pi"', 'controller = "three_position"', "no settings in common"),
        ("[settings.pi]", "[settings.pi", "b.toml"),
    ],
)
def test_a_wrong_sheet_is_refused_in_words(sheets: tuple[Path, Path], was: str, becomes: str, words: str) -> None:
    text = sheets[1].read_text(encoding="utf-8")
    assert was in text
    sheets[1].write_text(text.replace(was, becomes), encoding="utf-8")
    found = call(*sheets)
    assert found.exit_code == 2
    assert words in found.stderr
    assert str(sheets[1]) in found.stderr


def test_margins_page_and_csv(sheets: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def known(_p: Any, before: Any, after: Any, _progress: Any = None) -> list[LoopChange]:
        assert (before.pi.proportional_band_kpa, after.pi.proportional_band_kpa) == (55.0, 35.0)
        return LOOP

    monkeypatch.setattr("tools.sheet_change.loop_changes", known)
    scenario = tmp_path / "short.toml"
    scenario.write_text(SCENARIO.format(library=LIBRARY.as_posix()), encoding="utf-8")
    out = tmp_path / "out"
    found = call(*sheets, "--plant", PLANT, "--scenarios", scenario, "--out", out)
    assert found.exit_code == 0, found.output
    assert "1.30 → unstable" in found.stdout
    assert "has an unstable corner: tuning would not accept it" in found.stdout
    assert "pressure stability: " in found.stdout
    page = (out / "diff.html").read_text(encoding="utf-8")
    text = _text(page)
    assert "Short <step>" in text
    assert "An engineering aid on a simulated plant" in text
    with (out / "changes.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["setting"] for row in rows][1] == "pi.proportional_band"
    assert (out / "comparison" / "report.html").is_file()
    again = call(*sheets, "--plant", PLANT, "--out", out)
    assert again.exit_code == 0
    (out / "mine.txt").write_text("keep", encoding="utf-8")
    refused = call(*sheets, "--out", out)
    assert refused.exit_code == 2
    assert "mine.txt" in refused.stderr


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.inside = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.inside += tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self.inside -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.parts.append(data)


def _text(page: str) -> str:
    parser = _Text()
    parser.feed(page)
    return "".join(parser.parts)


def test_the_plant_and_the_scenario_s_plant_must_be_one(sheets: tuple[Path, Path], tmp_path: Path) -> None:
    scenario = tmp_path / "short.toml"
    scenario.write_text(SCENARIO.format(library=LIBRARY.as_posix()), encoding="utf-8")
    found = call(*sheets, "--plant", LIBRARY / "plants" / "tarn_moss.toml", "--scenarios", scenario)
    assert found.exit_code == 2
    assert "harrow_ness.toml" in found.stderr


def test_a_step_control_tells_why_it_has_no_margins(tmp_path: Path) -> None:
    base = demo_settings("three_position")
    paths = tmp_path / "a.toml", tmp_path / "b.toml"
    for path, settings in zip(paths, (base, replace(base, step=replace(base.step, period_ms=9_000))), strict=True):
        write_sheet(path, "three_position", settings)
    found = call(*paths, "--plant", PLANT)
    assert found.exit_code == 0, found.output
    assert "No margins: this controller has no linear loop" in found.stdout


def test_a_foreign_refrigerant_is_refused(sheets: tuple[Path, Path], tmp_path: Path) -> None:
    base = demo_settings("scheduled_pi")
    refrigerant = base.common.refrigerant
    warm: Any = tuple(t + 9.0 for t in refrigerant.saturation_c)
    other = replace(base, common=replace(base.common, refrigerant=replace(refrigerant, saturation_c=warm)))
    write_sheet(sheets[1], "scheduled_pi", other)
    found = call(*sheets, "--plant", PLANT)
    assert found.exit_code == 2
    assert "common.refrigerant.saturation" in found.stderr


def test_a_missing_sheet_and_a_seed_for_nothing_are_refused(sheets: tuple[Path, Path], tmp_path: Path) -> None:
    found = call(sheets[0], tmp_path / "nowhere.toml")
    assert found.exit_code == 2
    assert "nowhere.toml" in found.stderr
    found = call(*sheets, "--seed", "3")
    assert found.exit_code == 2
    assert "without scenarios" in found.stderr


def test_the_small_map_is_small() -> None:
    assert len(sheet_effects.TRAVELS_FRAC) * len(sheet_effects.PRESSURE_RATIOS) <= 8
