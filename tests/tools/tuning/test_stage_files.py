"""A stage is computed once for its inputs, and again for others or when its file is damaged."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import StorageFailed
from tools.tuning.stage_files import StageFiles, key_of
from tools.tuning.tuning_result import Between

ROWS = tuple[Between, ...]


class Counter:
    def __init__(self) -> None:
        self.calls = 0

    def __call__(self) -> tuple[Between, ...]:
        self.calls += 1
        return (Between(float(self.calls), 0.0, float("inf")),)


def test_computed_once_for_the_same_inputs(tmp_path: Path) -> None:
    stages, compute = StageFiles(tmp_path / "work"), Counter()
    first = stages.have("map", {"plant": "a", "seed": 1}, ROWS, compute)
    assert stages.have("map", {"seed": 1, "plant": "a"}, ROWS, compute) == first
    assert compute.calls == 1
    assert stages.have("map", {"plant": "b", "seed": 1}, ROWS, compute) != first
    assert compute.calls == 2


@pytest.mark.parametrize("damage", ["", "{", '{"key": 1}', "[]", "null", "nonsense"])
def test_a_damaged_file_is_computed_again(tmp_path: Path, damage: str) -> None:
    stages, compute = StageFiles(tmp_path), Counter()
    stages.have("map", {"plant": "a"}, ROWS, compute)
    stages.path("map").write_text(damage, encoding="utf-8")
    stages.have("map", {"plant": "a"}, ROWS, compute)
    assert compute.calls == 2
    assert stages.find("map", {"plant": "a"}, ROWS) is not None


def test_rows_of_another_form_are_computed_again(tmp_path: Path) -> None:
    stages = StageFiles(tmp_path)
    stages.keep("map", {"plant": "a"}, [{"value": 1.0}])
    assert stages.find("map", {"plant": "a"}, ROWS) is None


def test_the_key_tells_records_apart() -> None:
    assert key_of({"a": Between(1.0, 2.0, 3.0)}) != key_of({"a": Between(1.0, 2.0, 4.0)})


def test_a_folder_that_is_a_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "work").write_text("")
    with pytest.raises(StorageFailed):
        StageFiles(tmp_path / "work").keep("map", {}, [])
