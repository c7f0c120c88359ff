"""The command line: exit codes, what goes where, what is loaded; and the tour on the real engine."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from controller.registry import SHIPPED
from scenarios import runner
from scenarios.errors import ControllerFailed, InputRefused, Problem, StorageFailed
from scenarios.requirements import Violation
from scenarios.runner import RunResult
from scenarios.scoring import read_scores
from tools.cli import main
from tools.report import ReportRun

ROOT = Path(__file__).resolve().parent.parent.parent
LIBRARY = ROOT / "scenarios" / "library"
Make = Callable[..., ReportRun]


def _call(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch, invented_run: Make) -> SimpleNamespace:
    """A runner that runs nothing: it hands out an invented run, and notes what it was asked."""
    asked = SimpleNamespace(prepare=None, places=[], run=invented_run(), failure=None, error=None)

    def prepare(paths: list[Path], **options: Any) -> list[Any]:
        asked.prepare = (paths, options)
        told = {"duration_ms": 1_800_000, "notes": (), "purpose": "To see <it>.", "expects": "It is seen."}
        scenario = [SimpleNamespace(title=f"Title of {p.stem}", path=p, **told) for p in paths]
        rest = {"controller_name": options["controller"] or "scheduled_pi", "facts": {}, "refrigerant": None}
        return [SimpleNamespace(scenario=s, parameters=None, settings=None, **rest) for s in scenario]

    def execute(prepared: Any, out: Path | None, progress: Any, finish: Any) -> RunResult:
        if asked.error:
            raise asked.error
        run = asked.run
        progress(0.5)
        result = RunResult(run.trace, run.scores, run.limits, out, asked.failure, "compiled", "a note", 1e5, run.facts)
        assert out is not None
        asked.places.append(out)
        out.mkdir(parents=True)
        finish(out, result)
        return result

    monkeypatch.setattr(runner, "prepare", prepare)
    monkeypatch.setattr(runner, "execute", execute)
    monkeypatch.setattr(runner, "check_plug_in", lambda prepared: None)
    return asked


def test_run_passes_its_options_on(fake: SimpleNamespace) -> None:
    found = _call(
        "run", "a.toml", "--controller", "x.py:Mine", "--settings", "s.toml", "--seed", "5", "--log-every", "scan"
    )  # fmt: skip
    assert found.exit_code == 0, found.output
    paths, options = fake.prepare
    assert paths == [Path("a.toml")]
    assert options == {"controller": "x.py:Mine", "settings": Path("s.toml"), "seed": 5, "log_ms": 100}
    assert fake.places == [Path("twoslide-runs/a-x.py_Mine-seed5")]
    page = (fake.places[0] / "report.html").read_text(encoding="utf-8")
    assert "To see &lt;it&gt;." in page
    assert "It is seen." in page
    assert "report: twoslide-runs/a-x.py_Mine-seed5/report.html" in found.stdout
    assert "100,000 simulated s per s (a note)" in found.stdout


@pytest.mark.parametrize(("text", "log_ms"), [("1s", 1000), ("500ms", 500), ("0.5 s", 500), ("1min", 60_000)])
def test_log_intervals(fake: SimpleNamespace, text: str, log_ms: int) -> None:
    assert _call("run", "a.toml", "--log-every", text).exit_code == 0
    assert fake.prepare[1]["log_ms"] == log_ms


def test_a_wrong_log_interval_is_refused_with_the_way_out(fake: SimpleNamespace) -> None:
    found = _call("run", "a.toml", "--log-every", "often")
    assert found.exit_code == 2
    assert "write scan, 1s or 500ms" in found.stderr
    assert fake.prepare is None


def test_several_scenarios_have_a_line_and_a_folder_each(fake: SimpleNamespace) -> None:
    found = _call("run", "one/a.toml", "two/a.toml", "b.toml", "--out", "runs")
    assert found.exit_code == 0
    assert [str(p) for p in fake.places] == ["runs/a-scheduled_pi", "runs/a-scheduled_pi-2", "runs/b-scheduled_pi"]
    assert "Title of b" in found.stdout


def test_another_seed_has_a_folder_of_its_own(fake: SimpleNamespace) -> None:
    for words in ([], ["--seed", "3"], ["--seed", "4"]):
        assert _call("run", "a.toml", *words).exit_code == 0
    names = ["a-scheduled_pi", "a-scheduled_pi-seed3", "a-scheduled_pi-seed4"]
    assert [p.name for p in fake.places] == names


def test_a_run_that_replaces_another_says_so(tmp_path: Path) -> None:
    step = str(LIBRARY / "load_step_up.toml")
    assert "replaces" not in _call("run", step, "--out", "r").stderr
    assert "replaces" not in _call("run", step, "--out", "r").stderr  # the same run again
    found = _call("run", step, "--out", "r", "--seed", "99")
    assert found.exit_code == 0
    assert "r: replaces the run with seed 12" in found.stderr


def test_json_is_one_object_and_nothing_else(fake: SimpleNamespace) -> None:
    found = _call("run", "a.toml", "b.toml", "--json")
    data = json.loads(found.stdout)
    assert [Path(run["scenario"]).name for run in data["runs"]] == ["a.toml", "b.toml"]
    first = data["runs"][0]
    assert first["scores"]["suction_deviation_rms_kpa"]["value"] == pytest.approx(4.0 / 2**0.5, rel=1e-3)
    assert first["scores"]["suction_deviation_rms_kpa"]["direction"] == "lower"
    assert first["failure"] is None
    assert first["facts"]["plant"] == "Invented hall"


def test_a_trip_is_a_result(fake: SimpleNamespace, invented_run: Make) -> None:
    fake.run = invented_run(trip=True)
    found = _call("run", "a.toml")
    assert found.exit_code == 0
    assert "trip at 0:15:00: high discharge pressure" in found.stdout


def test_a_controller_that_fails_ends_with_1_and_its_folder(fake: SimpleNamespace) -> None:
    fake.failure = "the controller raised KeyError: 'x'"
    found = _call("run", "a.toml")
    assert found.exit_code == 1
    assert "ended early: the controller raised KeyError: 'x'" in found.stdout
    assert "the controller raised KeyError" in (fake.places[0] / "report.html").read_text(encoding="utf-8")


def test_a_broken_requirement_ends_with_1(fake: SimpleNamespace) -> None:
    violation = Violation("start_to_start", 61_500, "too soon")
    fake.run = replace(fake.run, scores=replace(fake.run.scores, violations=(violation,)))
    found = _call("run", "a.toml")
    assert found.exit_code == 1
    assert "broken requirement at 0:01:01.5: start_to_start: too soon" in found.stdout


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (InputRefused([Problem("no such key", "a.toml", 3, 5), Problem("too hot", "b.toml", 9, 1)]), 2,
         ["a.toml:3:5: no such key", "b.toml:9:1: too hot"]),
        (ControllerFailed("hung"), 1, ["hung"]),
        (StorageFailed("disk full"), 74, ["disk full"]),
        (PermissionError(13, "Permission denied", "/x"), 74, ["/x: Permission denied"]),
        (KeyboardInterrupt(), 130, ["interrupted"]),
        (ZeroDivisionError("oops"), 70, ["internal error: ZeroDivisionError: oops", "TWOSLIDE_DEBUG"]),
    ],
)  # fmt: skip
def test_exit_codes(fake: SimpleNamespace, error: BaseException, code: int, words: list[str]) -> None:
    fake.error = error
    found = _call("run", "a.toml", "--json")
    assert found.exit_code == code
    assert found.stdout == ""
    assert "Traceback" not in found.stderr
    for word in words:
        assert word in found.stderr


def test_a_traceback_only_when_asked_for(fake: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> None:
    fake.error = ZeroDivisionError("oops")
    monkeypatch.setenv("TWOSLIDE_DEBUG", "1")
    assert "Traceback" in _call("run", "a.toml").stderr


def test_the_tour_keeps_off_a_folder_with_other_things(fake: SimpleNamespace, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("years of work")
    found = _call("tour", "--out", "mine")
    assert found.exit_code == 2
    assert "thesis.txt" in found.stderr
    assert fake.places == []


def test_usage_errors_are_2_and_help_is_0() -> None:
    assert _call("run").exit_code == 2
    assert _call("nonsense").exit_code == 2
    assert _call("--help").exit_code == 0
    assert "0.1.0" in _call("--version").output


@pytest.mark.parametrize("words", [["--help"], ["run", "--help"], ["tour", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys\nfrom tools.cli import main\n"
        f"try:\n    main({words!r})\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numba', 'numpy', 'polars', 'bokeh', 'CoolProp', 'pydantic', 'rich.table', 'simpy', 'scipy')"
        " if m in sys.modules])"
    )
    seen = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert seen.stdout.splitlines()[-1] == "[]"


def test_a_missing_file_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    found = _call("run", "nowhere.toml")
    assert found.exit_code == 2
    assert "nowhere.toml" in found.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_tour_runs_each_shipped_controller_and_compares_them(tmp_path: Path) -> None:
    """The main job, on the real engine; the second time it replaces its own folder."""
    for _ in range(2):
        found = _call("tour", "--out", "t")
        assert found.exit_code == 0, found.output
    assert {p.name for p in (tmp_path / "t").iterdir()} == {"report.html", *SHIPPED}
    for name in SHIPPED:
        inside = sorted(p.name for p in (tmp_path / "t" / name).iterdir())
        assert inside == ["events.csv", "report.html", "scores.json", "trace.parquet"]
        assert read_scores(tmp_path / "t" / name).value("violations_count") == 0
    assert all(name in found.stdout for name in SHIPPED)
    assert "report: t/report.html" in found.stdout


def test_a_real_run_gives_its_scores_as_json(tmp_path: Path) -> None:
    found = _call("run", str(LIBRARY / "steady_part_load.toml"), "--json", "--out", "r")
    assert found.exit_code == 0, found.stderr
    (run,) = json.loads(found.stdout)["runs"]
    assert run["folder"] == "r"
    on_disk = json.loads((tmp_path / "r" / "scores.json").read_text(encoding="utf-8"))
    assert run["scores"] == on_disk["scores"]
