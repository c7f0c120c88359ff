"""The demo night in the library is what its generator writes today: a changed model or controller makes it stale."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from night_log import LIBRARY, write_demo

from scenarios.logged_data.mapping import write_mapping
from scenarios.logged_data.proposal import inspect_logs

SHEETS = ("nordkai_evening.toml", "nordkai_raised.toml")
SAME_SHARE = 0.999  # of cells: another machine's last bit may turn a digit; a changed model turns most of them


@pytest.fixture(scope="module")
def fresh_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("night")
    write_demo(folder / "logs", folder)
    return folder / "logs"


def cells(path: Path) -> list[list[str]]:
    return [line.split(";") for line in path.read_bytes().decode("cp1252").split("\r\n")]


def test_the_trends_are_not_stale(fresh_night: Path) -> None:
    kept, made = cells(LIBRARY / "logs" / "nordkai_night.csv"), cells(fresh_night / "nordkai_night.csv")
    assert [len(row) for row in kept] == [len(row) for row in made]
    pairs = [(a, b) for old, new in zip(kept, made, strict=True) for a, b in zip(old, new, strict=True)]
    assert sum(a == b for a, b in pairs) >= SAME_SHARE * len(pairs)
    assert kept[:5] == made[:5]


def test_the_alarm_list_and_the_sheets_are_not_stale(fresh_night: Path) -> None:
    name = "nordkai_alarms.csv"
    assert cells(LIBRARY / "logs" / name) == cells(fresh_night / name)
    for sheet in SHEETS:
        assert (LIBRARY / "logs" / sheet).read_text() == (fresh_night / sheet).read_text(), sheet


def test_the_mapping_is_what_inspect_proposes_today_with_its_questions_answered(tmp_path: Path) -> None:
    logs = [
        Path(shutil.copy(LIBRARY / "logs" / name, tmp_path)) for name in ("nordkai_night.csv", "nordkai_alarms.csv")
    ]
    found = inspect_logs(logs, tmp_path / "m.toml", time_zone="Europe/Berlin")
    write_mapping(found.mapping)
    answered = (tmp_path / "m.toml").read_text(encoding="utf-8").replace('unit = "?"', 'unit = "bar(g)"')
    assert answered == (LIBRARY / "logs" / "nordkai.mapping.toml").read_text(encoding="utf-8")
