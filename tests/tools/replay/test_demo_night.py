"""The demo night in the library is what its generator writes today: a changed model or controller makes it stale."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from night_log import LIBRARY, write_demo

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
