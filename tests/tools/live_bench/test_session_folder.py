"""What of a session is on disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from tests.tools.live_bench.rig import LIBRARY, new_folder, scenario_file
from tools.live_bench.session_folder import (
    Journal,
    Moment,
    keep,
    note_reached,
    open_folder,
    prepared_with,
    read_journal,
    read_reached,
    scenario_text,
    write_down,
)

STEP = {"kind": "load_step", "at": "100 ms", "change": "+1 kW"}


def test_the_base_is_complete_and_says_the_same(tmp_path: Path) -> None:
    opening = prepare([LIBRARY / "real_day.toml"], seed=3)[0]
    folder = tmp_path / "s"
    open_folder(folder, opening, open_ended=False)
    base = prepared_with(folder, [])
    assert base.scenario.seed == 3
    assert base.settings == opening.settings
    assert base.scenario.plant.parameters == opening.scenario.plant.parameters
    named = [getattr(event, "file", "") for event in base.scenario.events]
    assert all("/" not in name and (not name or (folder / name).is_file()) for name in named)
    assert len(base.scenario.events) == len(opening.scenario.events)
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []


def test_a_folder_with_anything_in_it_is_refused(tmp_path: Path) -> None:
    opening = prepare([scenario_file(tmp_path)])[0]
    with pytest.raises(InputRefused, match="is not empty"):
        open_folder(tmp_path, opening, open_ended=False)
    (tmp_path / "file").write_text("")
    with pytest.raises(InputRefused, match="is not empty"):
        open_folder(tmp_path / "file", opening, open_ended=False)


def test_two_files_of_one_name_stay_apart(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    plant = (LIBRARY / "plants" / "harrow_ness.toml").read_text()
    (tmp_path / "a" / "same.toml").write_text(plant)
    sheet = (LIBRARY / "sheets" / "demo_scheduled_pi.toml").read_text()
    (tmp_path / "b" / "same.toml").write_text(sheet)
    path = scenario_file(tmp_path)
    text = path.read_text().replace(f"{LIBRARY}/plants/harrow_ness.toml", "a/same.toml")
    path.write_text(text.replace(f"{LIBRARY}/sheets/demo_scheduled_pi.toml", "b/same.toml"))
    folder = tmp_path / "s"
    open_folder(folder, prepare([path])[0], open_ended=True)
    assert (folder / "same.toml").read_text() == plant
    assert (folder / "same-2.toml").read_text() == sheet
    assert prepared_with(folder, []).scenario.duration_ms == 24 * 3_600_000


def test_the_journal_folds_what_was_gone_back_from(tmp_path: Path) -> None:
    folder = new_folder(tmp_path)
    for entry in (
        {"act": [STEP]}, {"mark": {"name": "ä", "time_ms": 500, "actions": 1}}, {"act": [STEP, STEP]},
        {"mark": {"name": "b", "time_ms": 900, "actions": 3}}, {"back": 1}, {"act": [{**STEP, "change": "+2 kW"}]},
    ):  # fmt: skip
        write_down(folder, entry)
    found = read_journal(folder)
    assert found.moments == [Moment("start", 0, 0), Moment("ä", 500, 1)]
    assert [table["change"] for table in found.actions] == ["+1 kW", "+2 kW"]
    assert Journal().moments == [Moment("start", 0, 0)]


@pytest.mark.parametrize("text", ["", "{", '{"time_ms": "x"}', "[]", '{"time_ms": -5}'])
def test_a_reached_time_that_is_none_counts_as_zero(tmp_path: Path, text: str) -> None:
    assert read_reached(tmp_path) == 0
    note_reached(tmp_path, 12_300)
    assert read_reached(tmp_path) == 12_300
    (tmp_path / "reached.json").write_text(text)
    assert read_reached(tmp_path) == 0


def test_what_lasts_beyond_the_session_is_not_cut(tmp_path: Path) -> None:
    lasting = '[[event]]\nkind = "wet_bulb_drift"\nfrom = "1 s"\nuntil = "2 h"\nby = "3 K"\n'
    folder = new_folder(tmp_path, lasting, "3 h")
    scenario = prepared_with(folder, [STEP]).scenario
    assert not keep(folder, scenario, [STEP], 600_000)
    assert prepare([folder / "session.toml"])[0].scenario.duration_ms == 3 * 3_600_000
    assert keep(folder, scenario, [STEP], 2 * 3_600_000)
    assert prepare([folder / "session.toml"])[0].scenario.duration_ms == 2 * 3_600_000


def test_actions_stand_in_the_text_as_they_were_given(tmp_path: Path) -> None:
    folder = new_folder(tmp_path)
    odd = {"kind": "settings_change", "at": "100 ms", "setting": 'x"\n[[event]]', "value": [1, 2.5, True, "ü"]}
    import tomllib

    data = tomllib.loads(scenario_text(folder, [odd]))
    assert data["event"][-1] == odd
    with pytest.raises(InputRefused, match="unknown setting"):
        prepared_with(folder, [odd])


def test_a_folder_that_is_no_session_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="is no session"):
        read_journal(tmp_path)
