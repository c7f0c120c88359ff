"""Running: from a prepared scenario to its folder, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from scenarios.errors import InputRefused, StorageFailed
from scenarios.runner import RunResult, execute, finished_run, prepare, prepare_job
from scenarios.scoring import read_scores
from scenarios.trace import read_trace

Write = Callable[..., Path]
BROKEN = Path(__file__).parent / "foreign" / "broken.py"
FILES = {"trace.parquet", "events.csv", "scores.json"}


def report(folder: Path, _result: RunResult) -> None:
    (folder / "report.html").write_text("<p>a report</p>", encoding="utf-8")


def test_a_run_leaves_its_folder_and_nothing_beside_it(scenario: Write, tmp_path: Path) -> None:
    out = tmp_path / "runs" / "one"
    seen: list[float] = []
    result = execute(prepare([scenario()])[0], out, seen.append, report)
    assert result.failure is None
    assert result.folder == out
    assert {path.name for path in out.iterdir()} == FILES | {"report.html"}
    assert [path.name for path in out.parent.iterdir()] == ["one"]
    assert seen[-1] == 1.0
    assert seen == sorted(seen)
    trace = read_trace(out)
    for name, values in result.trace.values.items():
        assert np.array_equal(values, trace[name]), name
    assert trace.events == result.trace.events
    assert read_scores(out).as_dict() == result.scores.as_dict()


def test_the_folder_says_what_it_came_from(scenario: Write, tmp_path: Path) -> None:
    sheet = BROKEN.parents[3] / "scenarios" / "library" / "sheets" / "demo_scheduled_pi.toml"
    prepared = prepare([scenario()], settings=sheet, seed=42)[0]
    execute(prepared, tmp_path / "run")
    metadata = read_trace(tmp_path / "run").metadata
    assert metadata["seed"] == "42"
    assert {"scenario", "plant", "settings"} <= set(json.loads(metadata["sha256"]))
    assert metadata["kernels"] == prepared.facts["kernels"]
    assert len(metadata["kernels"]) >= 16
    assert metadata["version"]
    assert json.loads(metadata["units"])["suction_pressure_pa"] == "Pa"
    assert json.loads(metadata["units"])["time_s"] == "s"


def test_without_a_folder_nothing_is_written(scenario: Write, tmp_path: Path) -> None:
    path = scenario()
    result = execute(prepare([path])[0], None)
    assert result.folder is None
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_a_run_replaces_an_older_one_whole(scenario: Write, tmp_path: Path) -> None:
    out, prepared = tmp_path / "run", prepare([scenario()])[0]
    execute(prepared, out, finish=report)
    (out / "report.html").write_text("from the old run")
    execute(prepared, out, finish=report)
    assert {path.name for path in out.iterdir()} == {*FILES, "report.html"}
    assert (out / "report.html").read_text() != "from the old run"


def test_a_run_folder_with_somebodys_notes_in_it_is_not_replaced(scenario: Write, tmp_path: Path) -> None:
    out, prepared = tmp_path / "run", prepare([scenario()])[0]
    execute(prepared, out)
    (out / "notes.txt").write_text("what I saw")
    with pytest.raises(InputRefused, match=r"notes\.txt"):
        execute(prepared, out)
    assert (out / "notes.txt").read_text() == "what I saw"


def test_a_folder_that_is_no_run_is_never_replaced(scenario: Write, tmp_path: Path) -> None:
    out = tmp_path / "thesis"
    out.mkdir()
    (out / "chapter.txt").write_text("years of work")
    with pytest.raises(InputRefused, match="holds other files"):
        execute(prepare([scenario()])[0], out)
    assert (out / "chapter.txt").read_text() == "years of work"
    with pytest.raises(InputRefused, match="is a file"):
        execute(prepare([scenario()])[0], out / "chapter.txt")


def test_an_empty_folder_may_become_a_run(scenario: Write, tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    assert execute(prepare([scenario()])[0], tmp_path / "run").folder == tmp_path / "run"


@pytest.mark.parametrize("error", [RuntimeError("no ink"), KeyboardInterrupt()])
def test_a_crash_before_the_name_leaves_nothing(scenario: Write, tmp_path: Path, error: BaseException) -> None:
    def crash(folder: Path, _result: RunResult) -> None:
        (folder / "report.html").write_text("half")
        raise error

    with pytest.raises(type(error)):
        execute(prepare([scenario()])[0], tmp_path / "runs" / "run", finish=crash)
    assert list((tmp_path / "runs").iterdir()) == []


def test_a_crash_keeps_the_older_run(scenario: Write, tmp_path: Path) -> None:
    out, prepared = tmp_path / "runs" / "run", prepare([scenario()])[0]
    execute(prepared, out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}

    def crash(_folder: Path, _result: RunResult) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(StorageFailed, match="No space left on device") as caught:
        execute(prepared, out, finish=crash)
    assert caught.value.exit_code == 74
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert [path.name for path in out.parent.iterdir()] == ["run"]


def test_a_finished_run_is_found_again_only_for_the_same_inputs(scenario: Write, tmp_path: Path) -> None:
    out, path = tmp_path / "run", scenario()
    first = execute(prepare([path])[0], out, finish=report)
    again = finished_run(prepare([path])[0], out)
    assert again is not None
    assert again.engine == "kept"
    assert again.scores.as_dict() == first.scores.as_dict()
    assert finished_run(prepare([path], seed=6)[0], out) is None
    assert finished_run(prepare([path], log_ms=500)[0], out) is None
    (out / "trace.parquet").write_bytes((out / "trace.parquet").read_bytes()[:200])
    assert finished_run(prepare([path])[0], out) is None
    (out / "report.html").unlink()
    assert finished_run(prepare([path])[0], out) is None


def test_a_number_that_means_nothing_is_kept_as_a_gap(scenario: Write, tmp_path: Path) -> None:
    """A foreign controller says mode 42 while it loads: the run goes on, is scored, and its folder can be read."""
    path = scenario(controller=f"{BROKEN}:UnknownMode", minutes=4)
    result = execute(prepare([path])[0], tmp_path / "run")
    assert result.failure is None
    assert 42.0 in result.trace["mode"]
    trace = read_trace(tmp_path / "run")
    assert np.array_equal(np.isnan(trace["mode"]), result.trace["mode"] == 42.0)
    assert any("unknown 42" in event.text for event in trace.events)


def test_a_trip_is_a_result(scenario: Write, tmp_path: Path) -> None:
    events = '[[event]]\nkind = "operator"\nat = "100 s"\naction = "stop_button"\n'
    result = execute(prepare([scenario(events)])[0], tmp_path / "run")
    assert result.failure is None
    assert result.scores.value("trips_count") == 1.0
    assert result.scores.violations == ()


def test_a_job_prepares_the_same_run_again(scenario: Write) -> None:
    path = scenario()
    job = {
        "scenario": str(path),
        "controller": "three_position",
        "settings": "",
        "seed": 8,
        "log_ms": 200,
        "clock_offset_ms": 7,
    }
    again = prepare_job(job)
    direct = prepare([path], controller="three_position", seed=8, log_ms=200)[0]
    assert again.facts == direct.facts
    assert again.clock_offset_ms == 7
