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


def test_a_stage_in_pieces_goes_on_at_the_piece_in_hand(tmp_path: Path) -> None:
    stages, asked = StageFiles(tmp_path), list[int]()

    def compute(k: int) -> Between:
        asked.append(k)
        if asked == [0, 1, 2]:
            raise KeyboardInterrupt
        return Between(float(k), 0.0, 0.0)

    with pytest.raises(KeyboardInterrupt):
        stages.each("bumps", {"plant": "a"}, Between, 4, compute)
    found = stages.each("bumps", {"plant": "a"}, Between, 4, compute)
    assert [row.value for row in found] == [0.0, 1.0, 2.0, 3.0]
    assert asked == [0, 1, 2, 2, 3]
    stages.each("bumps", {"plant": "b"}, Between, 4, compute)  # other inputs: nothing of the former counts
    assert asked[5:] == [0, 1, 2, 3]
