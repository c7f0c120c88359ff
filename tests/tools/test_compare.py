"""`twoslide compare`: what is matched, what is said of a difference, what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from scenarios.settings_sheet import write_sheet
from tools.cli import main

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
Write = Callable[..., Path]


def _call(*words: object) -> Result:
    return CliRunner().invoke(main, ["compare", *map(str, words)])


def _line(text: str, label: str) -> list[str]:
    found = next(line for line in text.splitlines() if f"│ {label}" in line)
    return [cell.strip() for cell in found.strip("│ ").split("│")]


def test_two_runs_with_sign_and_meaning(run_folder: Write, tmp_path: Path) -> None:
    found = _call(run_folder(tmp_path / "wild", swing_pa=12e3), run_folder(tmp_path / "calm"))
    assert found.exit_code == 0, found.output
    assert "NOT LIKE" not in found.stdout
    # 12 and 4 kPa of amplitude over whole periods: RMS is amplitude/√2
    assert _line(found.stdout, "suction deviation, RMS ↓") == [
        "suction deviation, RMS ↓", "kPa", "8.485", "2.828  −5.657  ✓ better"
    ]  # fmt: skip
    assert _line(found.stdout, "energy, all ↓")[3].endswith("±0  = equal")
    assert "pressure stability: better" in found.stdout


def test_the_other_way_round_is_worse(run_folder: Write, tmp_path: Path) -> None:
    found = _call(run_folder(tmp_path / "calm"), run_folder(tmp_path / "wild", swing_pa=12e3))
    assert _line(found.stdout, "suction deviation, RMS ↓")[3] == "8.485  +5.657  ✗ worse"
    assert "pressure stability: worse" in found.stdout


def test_within_the_tolerance_is_equal_and_the_tolerance_is_told(run_folder: Write, tmp_path: Path) -> None:
    found = _call(run_folder(tmp_path / "a"), run_folder(tmp_path / "b", swing_pa=4.02e3))
    cell = _line(found.stdout, "suction deviation, RMS, saturated ↓")[3]
    assert "= equal (within 0.05)" in cell
    assert "pressure stability: equal" in found.stdout


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"seed": "8"}, "different seed: 7 / 8"),
        ({"plant": "Other hall"}, "different plant: Invented hall / Other hall"),
        ({"duration_ms": "900000"}, "different duration: 1800 s / 900 s"),
        ({"scenario_file": "b.toml", "scenario": "Other day"}, "different scenario: calm.toml / b.toml"),
        ({"sha256": '{"scenario": "9", "plant": "2"}'}, "the scenario file was changed between the runs"),
        ({"sha256": '{"scenario": "1", "plant": "9"}'}, "the plant file was changed between the runs"),
        (
            {"sha256": '{"scenario": "1", "load_log:a.csv": "9"}'},
            "the load log file a.csv was changed between the runs",
        ),
    ],
)
def test_what_is_not_like_for_like_is_said(
    run_folder: Write, tmp_path: Path, facts: dict[str, str], words: str
) -> None:
    found = _call(run_folder(tmp_path / "a"), run_folder(tmp_path / "b", **facts))
    assert found.exit_code == 0
    assert f"NOT LIKE FOR LIKE: {words}" in found.stdout


def test_folders_of_runs_are_matched_by_scenario_and_summed_up(run_folder: Write, tmp_path: Path) -> None:
    for folder, swing_pa in (("old", 12e3), ("new", 4e3)):
        for name in ("one", "two"):
            run_folder(tmp_path / folder / f"{name}-x", swing_pa, scenario_file=f"{name}.toml", scenario=name.title())
    run_folder(tmp_path / "new" / "three-x", scenario_file="three.toml")
    found = _call(tmp_path / "old", tmp_path / "new", "--json")
    assert found.exit_code == 0, found.output
    data = json.loads(found.stdout)
    assert [s["title"] for s in data["scenarios"]] == ["One", "Two"]
    assert data["unmatched"] == ["three.toml: only in new"]
    assert data["summary"]["new"]["pressure stability"] == {
        "better": 2, "equal": 0, "worse": 0, "not comparable": 0,
    }  # fmt: skip
    score = data["scenarios"][0]["scores"]["suction_deviation_rms_kpa"]
    assert score["changes"][1] == pytest.approx(-8e3 / 2**0.5 / 1e3, rel=1e-3)
    assert score["meanings"] == [None, "better"]
    told = _call(tmp_path / "old", tmp_path / "new").stdout
    assert "2 scenarios, against old" in told
    assert "three.toml: only in new" in told


def test_one_folder_is_parted_by_controller(run_folder: Write, tmp_path: Path) -> None:
    run_folder(tmp_path / "tour" / "a", 12e3, controller="three_position")
    run_folder(tmp_path / "tour" / "b", controller="scheduled_pi")
    data = json.loads(_call(tmp_path / "tour", "--json").stdout)
    assert [run["name"] for run in data["scenarios"][0]["runs"]] == ["three_position", "scheduled_pi"]


def test_several_seeds_of_one_scenario_are_matched_by_seed(run_folder: Write, tmp_path: Path) -> None:
    for folder in ("old", "new"):
        for seed in ("1", "2"):
            run_folder(tmp_path / folder / f"s{seed}", seed=seed)
    data = json.loads(_call(tmp_path / "old", tmp_path / "new", "--json").stdout)
    assert [s["title"] for s in data["scenarios"]] == ["Calm day (1)", "Calm day (2)"]
    assert all(s["like_for_like"] for s in data["scenarios"])


def test_what_cannot_be_compared_is_refused(run_folder: Write, tmp_path: Path) -> None:
    one = run_folder(tmp_path / "one")
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("x")
    broken = run_folder(tmp_path / "broken")
    (broken / "trace.parquet").write_bytes(b"no parquet")
    old = run_folder(tmp_path / "old")
    (old / "scores.json").write_text("{}")
    for places, words in (
        ((one, tmp_path / "empty"), "is no run's folder and holds none"),
        ((one, tmp_path / "nowhere"), "no such folder"),
        ((one, tmp_path / "file"), "a run's folder is expected"),
        ((one, broken), "cannot be read as a run of this version"),
        ((one, old), "cannot be read as a run of this version"),
        ((one,), "one run only"),
        ([one] * 7, "at most 6"),
        ((one, one, "--out", one), "holds other files"),
    ):
        found = _call(*places)
        assert found.exit_code == 2, (places, found.output)
        assert words in found.stderr
        assert "Traceback" not in found.output


def test_a_run_that_ended_early_says_so(run_folder: Write, tmp_path: Path) -> None:
    other = run_folder(tmp_path / "b")
    with (other / "events.csv").open("a", encoding="utf-8") as file:
        file.write("1800000,run,fault,the controller raised KeyError\n")
    found = _call(run_folder(tmp_path / "a"), other)
    assert "a run ended early" in found.stdout
    assert "ended early: the controller raised KeyError" in found.stdout


def test_two_sheets(tmp_path: Path) -> None:
    from dataclasses import replace

    from controller.registry import SHIPPED

    settings = SHIPPED["scheduled_pi"].settings_type()
    other = replace(settings, pi=replace(settings.pi, integral_time_ms=45_000))
    write_sheet(tmp_path / "a.toml", "scheduled_pi", settings)
    write_sheet(tmp_path / "b.toml", "scheduled_pi", other)
    data = json.loads(_call(tmp_path / "a.toml", tmp_path / "b.toml", "--json").stdout)
    assert data["controller"] == "scheduled_pi"
    (found,) = data["differences"]
    assert (found["setting"], found["after"], found["unit"]) == ("pi.integral_time", "45 s", "ms")
    assert found["change"] == 45_000 - settings.pi.integral_time_ms
    assert "SIMC" in found["why"]
    told = _call(tmp_path / "a.toml", tmp_path / "b.toml").stdout
    assert "1 settings differ" in told
    assert "+15 s" in told


def test_sheets_of_two_controllers_have_nothing_in_common() -> None:
    sheets = LIBRARY / "sheets"
    found = _call(sheets / "demo_scheduled_pi.toml", sheets / "demo_three_position.toml")
    assert found.exit_code == 2
    assert "no settings in common" in found.stderr


def test_a_report_is_written(run_folder: Write, tmp_path: Path) -> None:
    places = [run_folder(tmp_path / "wild", swing_pa=12e3), run_folder(tmp_path / "calm")]
    for _ in range(2):  # the second replaces the first's file
        found = _call(*places, "--out", tmp_path / "out")
        assert found.exit_code == 0, found.output
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["report.html"]
