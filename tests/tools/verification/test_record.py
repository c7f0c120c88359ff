"""The acceptance record in its three forms, and the scenario that is saved for a broken requirement."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from scenarios.runner import prepare
from tools.cli import main
from tools.verification import counterexample
from tools.verification.acceptance import CAUTIONS, Line, counts, lines
from tools.verification.campaign import LIBRARY, Campaign, RunFindings, plan
from tools.verification.counterexample import save, save_all
from tools.verification.findings import Verdict
from tools.verification.moment_svg import CAPACITY, VOLUME_RATIO, colour_of, moment_svg, ticks
from tools.verification.pack import Pack, load_pack
from tools.verification.record_files import acceptance_csv, junit_xml, traceability_csv
from tools.verification.record_html import as_html
from tools.verification.scenario_copy import events_of

PACK = """title = "Mine <&>"
[[requirement]]
id = "A-1"
text = "Never above 3 %, <b>bold</b>."
severity = "people"
when = "capacity_unload"
formula = "capacity_travel_measured < 3 % and duration(capacity_unload) < 1 h"
[[requirement]]
id = "A-2"
text = "Kept."
severity = "damage"
formula = "not (capacity_load and capacity_unload)"
[[requirement]]
id = "A-3"
text = "Never comes about."
severity = "service"
when = "mode == TRIPPED"
formula = "true"
[[requirement]]
id = "A-4"
text = "For others."
severity = "service"
scenarios = ["none*"]
formula = "true"
"""


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    path = tmp_path_factory.mktemp("pack") / "mine.toml"
    path.write_text(PACK, encoding="utf-8")
    names = ("stop_in_run_up", "valve_closes_in_pre_lubrication")
    return plan(
        load_pack([path]), [LIBRARY / "verification" / f"{name}.toml" for name in names], "three_position", seed=3
    )


@pytest.fixture(scope="module")
def runs(campaign: Campaign) -> list[RunFindings]:
    return list(campaign.run(None))


@pytest.fixture(scope="module")
def found(campaign: Campaign, runs: list[RunFindings]) -> list[Line]:
    return lines(campaign.pack, runs)


def test_verdicts_over_all_runs(found: list[Line]) -> None:
    assert [str(line.verdict) for line in found] == ["failed", "held", "not exercised", "not applicable"]
    assert list(counts(found).values()) == [1, 1, 1, 1]
    worst = found[0].finding
    assert worst is not None
    assert worst.margin is not None
    assert worst.margin < 0.0
    assert worst.unit == "%"
    every = [run.findings[0].margin for run in [found[0].run] if run is not None]
    assert worst.margin == min(margin for margin in every if margin is not None)


def test_csv_has_a_row_for_each_requirement_with_room_to_sign(found: list[Line], runs: list[RunFindings]) -> None:
    rows = list(csv.DictReader(io.StringIO(acceptance_csv(found))))
    assert [row["id"] for row in rows] == ["A-1", "A-2", "A-3", "A-4"]
    assert rows[0]["requirement"] == "Never above 3 %, <b>bold</b>."
    assert float(rows[0]["least_margin"]) < 0.0
    assert (rows[0]["date"], rows[0]["name"], rows[0]["signature"]) == ("", "", "")
    assert rows[2]["verdict"] == "not exercised"
    traced = list(csv.DictReader(io.StringIO(traceability_csv(found, runs))))
    assert {row["id"] for row in traced} == {"A-1", "A-2"}, "a row only where it came to count"


def test_junit_xml_says_failed_skipped_and_passed(found: list[Line], runs: list[RunFindings]) -> None:
    root = ET.fromstring(junit_xml(found, runs, "Mine"))
    assert (root.tag, root.get("tests"), root.get("failures"), root.get("skipped")) == ("testsuites", "4", "1", "2")
    cases = root.findall("testsuite/testcase")
    assert [[child.tag for child in case] for case in cases] == [["failure"], ["system-out"], ["skipped"], ["skipped"]]
    failure = cases[0].find("failure")
    assert failure is not None
    assert "margin -" in (failure.get("message") or "")


def test_junit_xml_tells_a_run_that_ended_early_as_an_error(found: list[Line], runs: list[RunFindings]) -> None:
    """On the rows up to then no requirement need be broken."""
    hung = [replace(runs[0], failure="the controller hung"), *runs[1:]]
    root = ET.fromstring(junit_xml(found, hung, "Mine"))
    assert (root.get("tests"), root.get("failures"), root.get("errors")) == ("5", "1", "1")
    (error,) = root.findall("testsuite[@name='runs']/testcase/error")
    assert error.get("message") == "the controller hung"
    assert ET.fromstring(junit_xml(found, runs, "Mine")).get("errors") == "0"


def test_html_is_whole_escaped_and_asks_nobody(
    campaign: Campaign, found: list[Line], runs: list[RunFindings], tmp_path: Path
) -> None:
    page = as_html(campaign.pack, found, runs, "Record", [("plant", "a & b")], {"A-1": tmp_path / "x.toml"})
    assert "&lt;b&gt;bold&lt;/b&gt;" in page
    assert "Mine &lt;&amp;&gt;" in page
    assert "://" not in page
    assert "Content-Security-Policy" in page
    for text in CAUTIONS:
        assert text.replace("'", "&#39;") in page
    assert page.count("<span>signature</span>") == 4, "at each line"
    assert page.count("<svg") == 2, "a picture for each that was exercised"
    assert "twoslide run" in page


def test_the_saved_scenario_breaks_the_same_requirement_by_the_same_margin(
    campaign: Campaign, found: list[Line], tmp_path: Path
) -> None:
    line = found[0]
    assert line.run is not None
    assert line.finding is not None
    job = next(job for job in campaign.jobs if job.scenario.name == line.run.scenario)
    path = save(line, job, tmp_path / "deep" / "er")
    text = path.read_text(encoding="utf-8")
    assert "no safety system" in text
    again = plan(campaign.pack, [path])
    assert again.prepared[0].controller_name == "three_position"
    assert again.prepared[0].seed == 3
    (run,) = again.run(None)
    assert run.findings[0] == line.finding
    assert prepare([path])[0].facts["settings"] == "demo_three_position.toml", "an ordinary scenario file"


def test_the_saved_scenario_is_made_small_and_breaks_the_same_requirement(
    campaign: Campaign, found: list[Line], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    attempts: list[int] = []
    saved = save_all(found, campaign, None, tmp_path / "small", lambda _name, runs: attempts.append(runs))
    assert list(saved) == ["A-1"]
    assert attempts == list(range(1, len(attempts) + 1))
    (small,) = plan(campaign.pack, [saved["A-1"]]).run(None)
    assert small.findings[0].verdict is Verdict.FAILED
    assert " events, its first " in saved["A-1"].read_text(encoding="utf-8")
    # what was tried is kept: the same again runs nothing
    text = saved["A-1"].read_text(encoding="utf-8")
    saved["A-1"].unlink()
    with monkeypatch.context() as patch:
        patch.setattr(counterexample, "played_by", lambda _pack, _job: pytest.fail)
        assert save_all(found, campaign, None, tmp_path / "small", lambda _name, _runs: None) == saved
    assert saved["A-1"].read_text(encoding="utf-8") == text
    monkeypatch.setattr(counterexample, "RUNS_IN_ALL", 0)
    whole = save_all(found, campaign, None, tmp_path / "whole", lambda _name, _runs: None)
    (large,) = plan(campaign.pack, [whole["A-1"]]).run(None)
    assert large.findings[0] == found[0].finding
    assert events_of(saved["A-1"]) < events_of(whole["A-1"])
    assert small.simulated_s < large.simulated_s


def _bound_pack(tmp_path: Path) -> Pack:
    path = tmp_path / "bound.toml"
    bound = 'id = "A-1"\ntext = "x"\nseverity = "service"\nscenarios = ["stop_*"]\nformula = "not motor_run"'
    path.write_text(f'title = "Bound"\n[[requirement]]\n{bound}\n', encoding="utf-8")
    return load_pack([path])


def test_a_saved_scenario_is_asked_what_is_meant_for_the_one_that_it_was_made_from(tmp_path: Path) -> None:
    """As its head says: judged again by the same pack, it breaks the same."""
    pack = _bound_pack(tmp_path)
    short = LIBRARY / "verification" / "stop_in_run_up.toml"
    folder = tmp_path / "out"
    for scenario in (short, folder / "counterexamples" / f"A-1-{short.stem}.toml"):  # and the saved one once more
        campaign = plan(pack, [scenario], "three_position")
        found = lines(pack, list(campaign.run(folder)), None)
        assert found[0].verdict is Verdict.FAILED
        saved = save_all(found, campaign, None, folder / "counterexamples", lambda _name, _runs: None)
        assert 'made_from = "stop_in_run_up.toml"' in saved["A-1"].read_text(encoding="utf-8")
    again = CliRunner().invoke(
        main, ["verify", "--pack", str(pack.files[0]), "--scenarios", str(saved["A-1"]), "--json",
               "--out", str(tmp_path / "again")],
    )  # fmt: skip
    assert (again.exit_code, json.loads(again.stdout)["requirements"][0]["verdict"]) == (1, "failed")


def test_pictures_follow_the_colours_of_the_slides(found: list[Line]) -> None:
    assert colour_of("capacity_travel < 3 %") == CAPACITY
    assert colour_of("volume_ratio_travel_measured") == VOLUME_RATIO
    cut = found[0].excerpt
    assert cut is not None
    root = ET.fromstring(moment_svg(cut))
    assert root.tag == "svg"
    assert CAPACITY in moment_svg(cut)
    assert moment_svg({**cut, "time_s": [], "left": [], "right": [], "lanes": {}}) == ""


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-3.0, 17.0), (1e5, 1e5 + 3.0), (2.0, 2.0), (0.0, 1e-7)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    found = ticks(low, high, 5)
    assert 1 <= len(found) <= 12
    assert all(low - 1e-9 <= value <= high + 1e-9 * max(1.0, abs(high)) for value in found)


def test_a_failure_counts_before_any_margin(found: list[Line]) -> None:
    assert found[0].verdict is Verdict.FAILED
    assert set(found[0].failed) <= {name for name, _ in found[0].exercised}
