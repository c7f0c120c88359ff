"""`twoslide tune` from end to end on a tiny run, its resuming, and every refusal of the issue."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tools
from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.errors import InputRefused
from scenarios.settings_sheet import load_sheet
from tests.tools.tuning.logged_tests import synthetic
from tests.tools.tuning.small_study import LIBRARY, write_scenarios
from tools.tuning import cluster, tuning_inputs
from tools.tuning.gain_schedule import MS_NOMINAL, MS_SPREAD
from tools.tuning.proof import upper_bound
from tools.tuning.trials import Outcome, Task
from tools.tuning.tune import tune
from tools.tuning.tuning_inputs import Effort, read_plant
from tools.tuning.tuning_result import TuningResult, read_result

PLANT = LIBRARY / "plants" / "harrow_ness.toml"
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"
TINY = Effort((0.2, 0.8), (3.7,), (0.4,), (0.0,), 1, 2, 8, 1, 1, 4)
TRIALS = 9
ROOT = Path(tools.__file__).parents[1]


def run(*args: object) -> Result:
    return CliRunner().invoke(tune, [str(a) for a in args], catch_exceptions=False, standalone_mode=False)


def arguments(folder: Path, *more: object) -> list[object]:
    scenarios = folder / "scenarios"
    if not scenarios.is_dir():
        write_scenarios(scenarios)
    return [
        PLANT, "--settings", SHEET, "--scenario", scenarios, "--budget", f"{TRIALS} trials", "--quick", "--jobs", 1,
        "--out", folder / "out", *more,
    ]  # fmt: skip


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    folder = tmp_path_factory.mktemp("tune")
    patch = pytest.MonkeyPatch()
    patch.setattr(tuning_inputs, "QUICK", TINY)
    try:
        return folder, run(*arguments(folder))
    finally:
        patch.undo()


def result_in(out: Path) -> TuningResult:
    return read_result((out / "tuning.json").read_text(encoding="utf-8"))


def test_it_ends_with_a_sheet_that_the_tool_takes(finished: tuple[Path, Result]) -> None:
    folder, result = finished
    assert result.return_value == 0, result.output
    kind = SHIPPED["scheduled_pi"].settings_type
    sheet = load_sheet(
        folder / "out" / "tuned_scheduled_pi.toml", "scheduled_pi", kind, read_plant(PLANT).site, CROSS_CHECKS[kind]
    )
    found = result_in(folder / "out")
    assert sheet.stamp == found.provenance.chosen_checksum
    rival = SHIPPED["three_position"].settings_type
    load_sheet(folder / "out" / "tuned_three_position.toml", "three_position", rival, read_plant(PLANT).site)
    assert "hard-wired cut-outs come first" in result.output
    assert "tuned_scheduled_pi.toml" in result.output


def test_the_result_holds_together(finished: tuple[Path, Result]) -> None:
    found = result_in(finished[0] / "out")
    assert len(found.map_points) == 4
    assert all(row.bump is not None for row in found.map_points)
    assert max(row.ms for row in found.map_points) <= MS_NOMINAL
    assert max(row.ms_spread for row in found.map_points) <= MS_SPREAD
    assert len(found.search.trials) == len(found.baseline.trials) == TRIALS
    assert found.search.budget == found.baseline.budget
    chosen = found.search.chosen_trial
    assert chosen.on_front
    assert chosen.ms == pytest.approx(max(row.ms for row in found.map_points))
    for trial in found.search.trials:
        if trial.feasible:
            assert trial.ms is not None
            assert trial.ms <= MS_NOMINAL
            assert trial.ms_spread is not None
            assert trial.ms_spread <= MS_SPREAD
    values = {row.path: row.value for row in found.settings if row.tuned and not isinstance(row.value, tuple)}
    assert {path: values[path] for path in chosen.values} == chosen.values
    assert found.proof.cases == 4
    assert [row.rival for row in found.proof.rows] == [
        "three_position, tuned",
        "three_position, default sheet",
        "sheet given",
    ]
    assert found.proof.bounds[0].at_most_frac == upper_bound(found.proof.bounds[0].failures, 4)
    assert any("only 4 unseen cases" in w for w in found.warnings)
    assert {row.name for row in found.rules} >= {"SIMC", "AMIGO"}
    assert {row.simulated_on for row in found.cycles} == {"small loop", "whole plant"}
    assert len(found.coupling) == 4
    assert {f.role for f in found.provenance.files} >= {"plant", "sheet given", "unseen scenario"}


def test_the_same_command_computes_nothing_again(
    finished: tuple[Path, Result], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    folder, first = finished
    monkeypatch.setattr(tuning_inputs, "QUICK", TINY)
    for name in ("operating_map", "bump_row", "relay_row", "rule_part", "cycle_row", "base_objectives", "play_block"):
        for module in ("map_analysis", "tuning_flow", "proof_run"):
            target = sys.modules[f"tools.tuning.{module}"]
            if hasattr(target, name):
                monkeypatch.setattr(target, name, lambda *_args, **_more: pytest.fail("computed again"))
    before = result_in(folder / "out")
    stores = {p: p.stat().st_mtime_ns for p in (folder / "out" / "work").rglob("trials.jsonl")}
    assert len(stores) == 2
    again = run(*arguments(folder))
    assert again.return_value == 0
    after = result_in(folder / "out")
    assert after.search.trials == before.search.trials
    assert after.proof == before.proof or str(after.proof) == str(before.proof)
    assert {p: p.stat().st_mtime_ns for p in stores} == stores
    assert [line for line in again.stdout.splitlines() if "│" in line] == [
        line for line in first.stdout.splitlines() if "│" in line
    ]


def refused(*args: object) -> str:
    with pytest.raises(InputRefused) as error:
        run(*args)
    return str(error.value)


def test_a_budget_that_finishes_no_trial_leaves_the_old_sheet(
    finished: tuple[Path, Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, _ = finished
    monkeypatch.setattr(tuning_inputs, "QUICK", TINY)
    sheet = folder / "out" / "tuned_scheduled_pi.toml"
    old = sheet.read_bytes()
    args = arguments(folder)
    args[args.index(f"{TRIALS} trials")] = "0.001 s"
    assert "finishes no trial" in refused(*args)
    assert sheet.read_bytes() == old


@pytest.mark.parametrize(
    ("budget", "words"), [("ten minutes", "is no budget"), ("0 trials", "no whole number"), ("3 days", "no unit")]
)
def test_a_budget_nobody_understands(tmp_path: Path, budget: str, words: str) -> None:
    assert words in refused(PLANT, "--budget", budget, "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_sheet_that_was_changed_is_refused(tmp_path: Path) -> None:
    text = SHEET.read_text(encoding="utf-8")
    changed = tmp_path / "sheet.toml"
    changed.write_text(text.replace('rest_zone = "4 kPa"', 'rest_zone = "3 kPa"'), encoding="utf-8")
    assert "checksum" in refused(PLANT, "--settings", changed, "--out", tmp_path / "out")
    changed.write_text(text.replace('rest_zone = "4 kPa"', 'rest_zone = "400 kPa"'), encoding="utf-8")
    assert "rest_zone" in refused(PLANT, "--settings", changed, "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def write_log(path: Path, head: str, gain: float, moves: tuple[tuple[float, float], ...] = ((60.0, 55.0),)) -> Path:
    time_s, travel_pct, kpa = synthetic(gain=gain, length_s=240.0, moves=moves)
    rows = [f"{t};{x:.3f};{p:.3f}" for t, x, p in zip(time_s, travel_pct, kpa, strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_a_log_that_cannot_be_used_is_refused(tmp_path: Path) -> None:
    good = "time s;capacity position %;suction pressure kPa"
    logs = {
        "reversed": write_log(tmp_path / "reversed.csv", good, 3.0),
        "no excitation": write_log(tmp_path / "still.csv", good, -3.0, ()),
        "suction": write_log(tmp_path / "bar.csv", good.replace("kPa", "bar(a)"), -3.0),
    }
    for words, path in logs.items():
        told = refused(PLANT, "--log", path, "--out", tmp_path / "out")
        assert words in told.lower()
        assert path.name in told
    assert not (tmp_path / "out").exists()


def slow_plant(path: Path, stroke: str) -> Path:
    """The demo plant with slow slides, a small vessel and rooms of no heat to speak of."""
    text = PLANT.read_text(encoding="utf-8")
    for old, new in (('"50 s"', stroke), ('"25 s"', stroke), ('"5 m³"', '"0.2 m³"'), ('"0.5 MJ/K"', '"0.1 MJ/K"')):
        text = text.replace(old, new, 1)
    path.write_text(text.replace("[uncertainty]", "[uncertainty]\n#"), encoding="utf-8")
    return path


def test_slides_too_slow_are_refused_with_the_figure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tuning_inputs, "QUICK", TINY)
    more = ("--quick", "--budget", "1 trials", "--jobs", 1, "--out", tmp_path / "out")
    told = refused(slow_plant(tmp_path / "slow.toml", '"200 s"'), *more)
    assert "too slow for any settings" in told
    assert "the stroke must not take more than about" in told
    told = refused(slow_plant(tmp_path / "slower.toml", '"600 s"'), *more)
    assert "too slow for this controller" in told
    assert "300000 ms" in told
    assert not list((tmp_path / "out").glob("tuned_*"))


def test_other_refusals(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert "no shipped controller" in refused(PLANT, "--controller", "mine", "--out", out)
    assert "no such file" in refused(tmp_path / "none.toml", "--out", out)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "holiday.jpg").write_text("")
    assert "holds other files (holiday.jpg)" in refused(PLANT, "--out", tmp_path / "full")
    other = LIBRARY / "steady_part_load.toml"
    tarn = LIBRARY / "plants" / "tarn_moss.toml"
    assert "is of the plant" in refused(tarn, "--scenario", other, "--budget", "1 trials", "--out", out)


def test_scenarios_that_trip_whatever_is_set_are_an_answer_of_no(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tuning_inputs, "QUICK", TINY)
    stop = LIBRARY / "emergency_stop.toml"
    result = run(PLANT, "--scenario", stop, "--quick", "--budget", "2 trials", "--jobs", 1, "--out", tmp_path / "out")
    assert result.return_value == 1
    assert "none of 2 candidates" in result.output
    assert "ends so: trip: stop button" in result.output
    assert not list((tmp_path / "out").glob("tuned_*"))


def identities(out: Path) -> list[object]:
    found = result_in(out)
    return [found.search.trials, found.baseline.trials, found.search.chosen]


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_on_a_cluster_one_of_whose_workers_is_killed_it_ends_the_same(
    finished: tuple[Path, Result], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr(tuning_inputs, "QUICK", TINY)
    killed: list[int] = []

    class Killing(cluster.Cluster):
        """Kills a worker after the second trial of the first search."""

        def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
            for k, outcome in enumerate(super().run(tasks, deadline)):
                if k == 1 and not killed:
                    killed.append(next(iter(self._client.run(os.getpid).values())))
                    os.kill(killed[0], signal.SIGKILL)
                yield outcome

    monkeypatch.setattr(cluster, "Cluster", Killing)
    shutil.copytree(finished[0] / "scenarios", tmp_path / "scenarios")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as local:
        result = run(*arguments(tmp_path, "--cluster", local.scheduler_address))
    assert result.return_value == 0
    assert killed
    assert identities(tmp_path / "out") == identities(finished[0] / "out")


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
def test_kill_9_at_any_moment_and_the_same_command_ends_as_an_undisturbed_one(
    finished: tuple[Path, Result], tmp_path: Path
) -> None:
    """The command itself in a process of its own, killed until it ends; stages, searches and proof are all cut."""
    rng = random.Random(5)
    script = (
        "from tests.tools.tuning import test_tune as t; from tools.tuning import tuning_inputs as i;"
        "from pathlib import Path; import sys; i.QUICK = t.TINY;"
        "r = t.run(*t.arguments(Path(sys.argv[1]))); sys.exit(r.return_value)"
    )
    shutil.copytree(finished[0] / "scenarios", tmp_path / "scenarios")
    kills = 0
    while True:
        process = subprocess.Popen(
            [sys.executable, "-c", script, str(tmp_path)], cwd=ROOT, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        wait_s = rng.uniform(4.0, 20.0) + 2.0 * kills  # a busy machine must come to its end, too
        end = time.monotonic() + wait_s
        while process.poll() is None and time.monotonic() < end:
            time.sleep(0.05)
        if process.poll() is not None:
            assert process.returncode == 0
            break
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        kills += 1
        assert kills < 40
    assert kills >= 2, "it was over before it could be killed"
    one, other = identities(tmp_path / "out"), identities(finished[0] / "out")
    assert json.dumps(str(one)) == json.dumps(str(other))
