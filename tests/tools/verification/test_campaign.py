"""The campaign: everything is checked first, finished runs are kept, and the right sheet goes with the controller."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from tools.verification.campaign import LIBRARY, LONGEST_MS, plan, stamp
from tools.verification.hunted import ground_of
from tools.verification.pack import Pack, load_pack, shipped_packs

SHORT = LIBRARY / "verification" / "stop_in_run_up.toml"
START = [path for path in shipped_packs() if path.stem == "start"]


def _pack(tmp_path: Path, formula: str, extra: str = "") -> Pack:
    path = tmp_path / "mine.toml"
    text = (
        f'title = "Mine"\n[[requirement]]\nid = "A-1"\ntext = "x"\nseverity = "service"\nformula = "{formula}"\n{extra}'
    )
    path.write_text(text, encoding="utf-8")
    return load_pack([path])


def test_finished_runs_are_kept_and_a_change_runs_again(tmp_path: Path) -> None:
    campaign = plan(load_pack(START), [SHORT])
    (first,) = campaign.run(tmp_path / "out")
    (again,) = campaign.run(tmp_path / "out")
    assert (first.kept, again.kept) == (False, True)
    assert again == replace(first, kept=True, excerpts=again.excerpts)
    assert json.dumps(again.excerpts) == json.dumps(first.excerpts)
    (other,) = plan(load_pack(START), [SHORT], seed=5).run(tmp_path / "out")
    assert not other.kept, "another seed is another run"
    assert other.seed == 5


def test_a_damaged_or_foreign_result_is_run_again(tmp_path: Path) -> None:
    campaign = plan(load_pack(START), [SHORT])
    (_,) = campaign.run(tmp_path)
    kept = tmp_path / "runs" / "stop_in_run_up.json"
    for text in ("", "{}", '{"stamp": 3}', kept.read_text(encoding="utf-8")[:-50]):
        kept.write_text(text, encoding="utf-8")
        (run,) = campaign.run(tmp_path)
        assert not run.kept


def test_a_stamp_changes_with_the_pack(tmp_path: Path) -> None:
    one, other = _pack(tmp_path, "motor_run or true"), _pack(tmp_path, "motor_run or not false")
    campaign = plan(one, [SHORT])
    stamps = [stamp(pack, campaign.prepared[0], campaign.jobs[0]) for pack in (one, other, one)]
    assert stamps[0] == stamps[2] != stamps[1]


def test_a_window_longer_than_the_run_is_refused_before_anything_runs(tmp_path: Path) -> None:
    pack = _pack(tmp_path, "always[0 s, 7 min] true")
    with pytest.raises(InputRefused, match=r"mine\.toml:2.*looks 420 s ahead, and stop_in_run_up\.toml lasts 360 s"):
        plan(pack, [SHORT])
    plan(_pack(tmp_path, "always[0 s, 7 min] true", 'scenarios = ["long*"]\n'), [SHORT])


def _library(monkeypatch: pytest.MonkeyPatch, *paths: Path) -> None:
    monkeypatch.setattr("tools.verification.campaign.library_scenarios", lambda: list(paths))


def test_a_pattern_that_fits_no_scenario_of_the_library_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _library(monkeypatch, SHORT)
    with pytest.raises(InputRefused, match="no scenario is called so"):
        plan(_pack(tmp_path, "true", 'scenarios = ["nromal_stop*"]\n'))


def test_each_scenario_is_run_with_the_sheet_made_for_the_controller(monkeypatch: pytest.MonkeyPatch) -> None:
    made = [LIBRARY / "verification" / f"{name}.toml" for name in ("starts_per_hour", "motor_overload")]
    _library(monkeypatch, LIBRARY / "emergency_stop.toml", LIBRARY / "pull_down_current_limit.toml", *made)
    campaign = plan(load_pack(START), None, "three_position")
    assert [one.facts["settings"] for one in campaign.prepared] == [
        "demo_three_position.toml", "tarn_moss_three_position.toml", "short_waits_three_position.toml",
        "small_motor_three_position.toml",
    ]  # fmt: skip


def test_a_scenario_too_long_for_the_scan_log_is_left_out_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    _library(monkeypatch, SHORT, LIBRARY / "real_day.toml")
    campaign = plan(load_pack(START))
    assert [job.name for job in campaign.jobs] == ["stop_in_run_up"]
    assert campaign.notes == ("real_day.toml lasts 24 h: it runs only when it is named",)
    assert campaign.prepared[0].scenario.duration_ms <= LONGEST_MS


def test_every_library_sheet_has_its_brothers() -> None:
    for folder in (LIBRARY / "sheets", LIBRARY / "verification" / "sheets"):
        names = {path.name for path in folder.glob("*_scheduled_pi.toml")}
        assert names
        for name in names:
            assert (folder / name.replace("scheduled_pi", "three_position")).is_file()


def test_problems_of_all_scenarios_are_told_at_once(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text(
            'title = "x"\nplant = "none.toml"\nduration = "1 min"\n', encoding="utf-8"
        )
    with pytest.raises(InputRefused) as caught:
        plan(load_pack(START), [tmp_path])
    assert {Path(problem.file).name for problem in caught.value.problems} >= {"a.toml", "b.toml"}


def test_two_scenarios_of_one_name_are_refused(tmp_path: Path) -> None:
    copy = tmp_path / SHORT.name
    copy.write_text(SHORT.read_text(encoding="utf-8").replace('"../', f'"{LIBRARY.as_posix()}/'), encoding="utf-8")
    with pytest.raises(InputRefused, match=r"two scenarios are called stop_in_run_up"):
        plan(load_pack(START), [SHORT, copy])


def test_two_processes_find_what_one_finds(tmp_path: Path) -> None:
    names = ["stop_in_run_up", "stop_button_in_pre_lubrication"]
    campaign = plan(load_pack(START), [LIBRARY / "verification" / f"{name}.toml" for name in names])
    one = {run.scenario: run.findings for run in campaign.run(None, jobs=1)}
    two = {run.scenario: run.findings for run in campaign.run(tmp_path, jobs=2)}
    assert one == two


@pytest.mark.parametrize("given", [False, True])
def test_a_hunt_on_a_plug_in_has_the_sheet_whose_limits_are_asked_for(given: bool) -> None:
    plain = Path(__file__).resolve().parents[2] / "scenarios" / "foreign" / "plain_steps.py"
    sheet = LIBRARY / "sheets" / "demo_three_position.toml"
    campaign = plan(load_pack(START), [SHORT], f"{plain}:PlainSteps", sheet if given else None)
    ground = ground_of(campaign)
    assert ground.sheet is not None
    assert ground.sheet.name == (sheet.name if given else "demo_scheduled_pi.toml")
    assert ground.limits(campaign.prepared[0]) is not None
