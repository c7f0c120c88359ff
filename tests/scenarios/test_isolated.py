"""Work in a child: what it gives back, and what is told of one that hangs, crashes, leaves or refuses."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest

from scenarios.controller_checks import check_chosen
from scenarios.errors import InputRefused, InternalError
from scenarios.isolated import Heart, run_isolated

HERE = Path(__file__).parent
DEADLY = HERE / "foreign" / "deadly.py"


def test_a_heart_tells_where_the_work_stands() -> None:
    heart = Heart()
    assert heart.place == "while preparing"
    heart.phase("loading")
    assert heart.place == "while loading"
    heart.phase("scanning")
    heart.begin("a walk · 3 °C")
    before = heart.told
    heart.scan[0] = 7
    assert heart.place == "in scan 7 of a walk · 3 °C"
    assert heart.told != before
    heart.come(0.25)
    assert heart.told[2] == 250_000


def test_a_long_name_does_not_leave_its_room() -> None:
    heart = Heart()
    heart.phase("scanning")
    heart.begin("x" * 10_000)
    assert heart.place == f"in scan 0 of {'x' * 400}"


def test_plain_data_comes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "my_task.py").write_text("def work(job, heart):\n    return {'twice': 2 * job['n']}\n")
    monkeypatch.syspath_prepend(tmp_path)
    assert run_isolated("my_task:work", {"n": 21}).answer == {"twice": 42}


def test_an_error_of_the_task_is_ours_not_the_controllers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bad_task.py").write_text("def work(job, heart):\n    raise KeyError('nobody')\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(InternalError, match="nobody"):
        run_isolated("bad_task:work", {})


def job(controller: str) -> dict[str, Any]:
    return {"controller": controller, "sheet": "", "plant": ""}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Hangs", "hung: nothing moved for 2 s, in scan 500 of closed loop"),
        ("Leaves", "ended its process (exit status 3), in scan 500 of closed loop"),
        ("Strays", "crashed its process (SIGSEGV: memory that is not its own), in scan 500 of closed loop"),
    ],
)
def test_a_deadly_controller_is_told_and_nothing_else_is_judged(
    name: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "2")
    first, *rest = check_chosen(job(f"{DEADLY}:{name}"))
    assert first.name == "answers"
    assert first.judged
    assert not first.passed
    assert words in first.text
    assert not any(result.passed or result.judged for result in rest)


def test_one_that_never_loads_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "2")
    began = time.monotonic()
    with pytest.raises(InputRefused, match="hung: nothing moved for 2 s, while loading"):
        check_chosen(job(f"{DEADLY}:NeverResets"))
    assert time.monotonic() - began < 60.0


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    (tmp_path / "wrong.py").write_text("import no_such_module\n")
    with pytest.raises(InputRefused, match="does not import"):
        check_chosen(job(f"{tmp_path / 'wrong.py'}:Mine"))
    assert os.listdir(tmp_path) == ["wrong.py"]
