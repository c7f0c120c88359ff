"""The store: whole lines only, one study, one process, and nothing finished is ever lost."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused, StorageFailed
from tools.tuning.trial_store import TrialStore
from tools.tuning.trials import Outcome

STUDY = {"seed": "1", "plant": "abc"}


def outcome(number: int, value: float = 1 / 3) -> Outcome:
    return Outcome(
        number, (value, 0.1), {"pi.integral_time_ms": 30000}, "finished", 2, (value, 1.0, 0.0, 0.3), 0.0, "", {"x": 0.1},
        (1.5, 1.8), ((value, 1.0, 0.0, 0.3), (2.0, 0.5, 0.0, 0.3)), 0.25,
    )  # fmt: skip


def test_what_is_kept_comes_back_to_the_last_bit(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "trials.jsonl"
    store = TrialStore(path, STUDY)
    kept = [outcome(2, math.pi), outcome(0), outcome(1, 1e-300)]
    for k, one in enumerate(kept):
        store.add(one, 10.0 * k)
    store.close()
    again = TrialStore(path, STUDY)
    assert [again.outcomes[o.number] for o in kept] == kept
    assert again.spent_s == 20.0
    again.close()


@given(st.integers(1, 2000))
@settings(max_examples=60, deadline=None)
def test_a_torn_last_line_costs_that_trial_only(tmp_path_factory: pytest.TempPathFactory, cut: int) -> None:
    path = tmp_path_factory.mktemp("torn") / "trials.jsonl"
    store = TrialStore(path, STUDY)
    store.add(outcome(0), 1.0)
    whole = path.stat().st_size
    store.add(outcome(1), 2.0)
    store.close()
    data = path.read_bytes()
    path.write_bytes(data[: whole + min(cut, len(data) - whole - 1)])
    again = TrialStore(path, STUDY)
    assert set(again.outcomes) == {0}
    again.add(outcome(1), 3.0)
    again.close()
    last = TrialStore(path, STUDY)
    assert last.outcomes == {0: outcome(0), 1: outcome(1)}
    last.close()


def test_a_damaged_line_in_the_middle_is_refused_with_its_number(tmp_path: Path) -> None:
    path = tmp_path / "trials.jsonl"
    store = TrialStore(path, STUDY)
    store.add(outcome(0), 1.0)
    store.add(outcome(1), 2.0)
    store.close()
    lines = path.read_bytes().splitlines(keepends=True)
    lines[1] = lines[1].replace(b"finished", b"finishad")
    path.write_bytes(b"".join(lines))
    with pytest.raises(InputRefused, match=r"trials\.jsonl:2: this line was damaged"):
        TrialStore(path, STUDY)
    assert path.read_bytes() == b"".join(lines), "left as it was"


def test_another_study_is_not_mixed_in(tmp_path: Path) -> None:
    path = tmp_path / "trials.jsonl"
    TrialStore(path, STUDY).close()
    before = path.read_bytes()
    with pytest.raises(InputRefused, match="seed was 1, is 2"):
        TrialStore(path, {**STUDY, "seed": "2"})
    assert path.read_bytes() == before
    TrialStore(path, STUDY).close()  # and the refusal left no lock


@pytest.mark.parametrize("text", ["", "not a store\n", '00000000 {"format": 1}\n'])
def test_a_strange_file_is_refused_or_begun(tmp_path: Path, text: str) -> None:
    path = tmp_path / "trials.jsonl"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused):
        TrialStore(path, STUDY)
    assert path.read_text(encoding="utf-8") == text


def test_one_process_at_a_time(tmp_path: Path) -> None:
    path = tmp_path / "trials.jsonl"
    store = TrialStore(path, STUDY)
    code = (
        "from pathlib import Path; from tools.tuning.trial_store import TrialStore; "
        f"TrialStore(Path({str(path)!r}), {STUDY!r})"
    )
    other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "another process is at this study" in other.stderr
    store.close()
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(StorageFailed, match="cannot be written"):
        TrialStore(tmp_path / "file" / "trials.jsonl", STUDY)


def test_lines_are_json_that_a_person_can_read(tmp_path: Path) -> None:
    path = tmp_path / "trials.jsonl"
    store = TrialStore(path, STUDY)
    store.add(outcome(4), 1.0)
    store.close()
    head, line = (json.loads(text.split(" ", 1)[1]) for text in path.read_text(encoding="utf-8").splitlines())
    assert head == {"format": 1, "study": STUDY}
    assert line["number"] == 4
    assert line["values"] == {"pi.integral_time_ms": 30000}
