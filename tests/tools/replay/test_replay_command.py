"""The demo night by the command line, as a new user would."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from scenarios.errors import InputRefused
from tools.inspect import inspect
from tools.replay_command import replay

LOGS = Path(__file__).resolve().parents[3] / "scenarios" / "library" / "logs"
NIGHT, ALARMS = LOGS / "nordkai_night.csv", LOGS / "nordkai_alarms.csv"


def call(command: object, *words: object) -> str:
    found = CliRunner().invoke(command, [str(w) for w in words], standalone_mode=False)  # type: ignore[arg-type]
    if found.exception:
        raise found.exception
    assert found.return_value == 0
    return found.output


def test_inspect_without_a_zone_asks(tmp_path: Path) -> None:
    said = json.loads(call(inspect, NIGHT, ALARMS, "--out", tmp_path / "m.toml", "--json"))
    assert said["questions"] >= 6
    assert said["files"][0]["settings"]["time_zone"] == "?"
    with pytest.raises(InputRefused, match="time_zone is not answered"):
        call(replay, NIGHT, ALARMS, "--mapping", tmp_path / "m.toml", "--out", tmp_path / "r")
    with pytest.raises(InputRefused, match="is there already"):
        call(inspect, NIGHT, "--out", tmp_path / "m.toml")


def test_the_demo_night_from_the_log_to_the_first_cause(tmp_path: Path) -> None:
    mapping = tmp_path / "m.toml"
    said = call(inspect, NIGHT, ALARMS, "--out", mapping, "--time-zone", "Europe/Berlin")
    assert "ahead of nordkai_night.csv by 16" in said  # the printer's clock is 17.4 s ahead, ± 1.5 s are told
    assert "told apart by the row order" in said
    mapping.write_text(mapping.read_text().replace('unit = "?"', 'unit = "bar(g)"'))
    said = call(
        replay, NIGHT, ALARMS, "--mapping", mapping, "--settings", LOGS / "nordkai_evening.toml",
        "--settings", f"{LOGS / 'nordkai_raised.toml'}@2026-10-25 01:41:00", "--out", tmp_path / "r",
    )  # fmt: skip
    assert "First cause: trip: high discharge pressure" in said
    assert "Parameter Lastbegrenzung Hochdruck geändert" in said
    assert {p.name for p in (tmp_path / "r").iterdir()} == {"findings.html", "findings.json", "timeline.csv"}
    found = json.loads((tmp_path / "r" / "findings.json").read_text())
    assert [s["verdict"] for s in found["stops"]] == ["trip"]
    # 01:20 summer time is 23:20 UTC, and the trip came 91.88 min later, as the generator of the night knows
    assert abs(found["stops"][0]["latest_ms"] - (1_792_884_000_000 + round(91.88 * 60_000))) <= 2500
    page = (tmp_path / "r" / "findings.html").read_text()
    assert "no safety system" in page
    assert "http://" not in page.split("<script")[0]


def test_without_the_change_of_settings_the_logic_parts_and_says_why(tmp_path: Path) -> None:
    call(
        replay,
        NIGHT,
        ALARMS,
        "--mapping",
        LOGS / "nordkai.mapping.toml",
        "--settings",
        LOGS / "nordkai_evening.toml",
        "--out",
        tmp_path / "r",
    )
    found = json.loads((tmp_path / "r" / "findings.json").read_text())
    assert any("another setting" in text for text in found["differences"][0]["why"])


def test_a_foreign_folder_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("x")
    with pytest.raises(InputRefused, match="holds other files"):
        call(replay, NIGHT, "--mapping", LOGS / "nordkai.mapping.toml", "--out", tmp_path)


def test_without_a_mapping_the_way_out_is_told(tmp_path: Path) -> None:
    log = tmp_path / "x.csv"
    log.write_text("a;b\n")
    with pytest.raises(InputRefused, match="twoslide inspect"):
        call(replay, log)
