"""A study: the same front whoever computes it and however often it is killed."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import tools
from scenarios.errors import InputRefused
from tests.tools.tuning import small_study
from tests.tools.tuning.small_study import run_small, small_plan
from tools.tuning.budget import Budget
from tools.tuning.executors import InProcess
from tools.tuning.study import STORE_NAME, Plan, StudyResult, read_front, run_study
from tools.tuning.trial_store import TrialStore
from tools.tuning.trials import FINISHED, INFEASIBLE, PRUNED

TRIALS = 30
ROOT = Path(tools.__file__).parents[1]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, StudyResult]:
    folder = tmp_path_factory.mktemp("undisturbed")
    return folder, run_small(folder / "study", TRIALS)


def identities(result: StudyResult) -> list[object]:
    return [o.identity for o in result.outcomes]


def test_it_finds_better_than_it_began_with(undisturbed: tuple[Path, StudyResult]) -> None:
    result = undisturbed[1]
    assert [o.number for o in result.outcomes] == list(range(TRIALS))
    assert sum(result.counts().values()) == TRIALS
    assert set(result.counts()) <= {FINISHED, PRUNED, INFEASIBLE}
    base = result.outcomes[0]
    assert base.values["pi.proportional_band_kpa"] == 55.0
    assert result.start_names == {0: "sheet given", 1: "twice the band"}
    assert result.outcomes[1].values["pi.proportional_band_kpa"] == 110.0
    assert min(o.objectives[0] for o in result.front) <= base.objectives[0]
    assert min(o.objectives[1] for o in result.front) <= base.objectives[1]


def test_two_processes_find_the_same(undisturbed: tuple[Path, StudyResult], tmp_path: Path) -> None:
    folder, result = undisturbed
    other = run_small(tmp_path / "study", TRIALS, jobs=2, plan=small_plan(folder / "scenarios"))
    assert identities(other) == identities(result)
    assert read_front(other.outcomes) == read_front(result.outcomes)


def test_in_two_sittings_it_finds_the_same_and_a_third_computes_nothing(
    undisturbed: tuple[Path, StudyResult], tmp_path: Path
) -> None:
    folder, result = undisturbed
    plan = small_plan(folder / "scenarios")
    first = run_small(tmp_path / "study", 11, plan=plan)
    assert len(first.outcomes) == 11
    second = run_small(tmp_path / "study", TRIALS, plan=plan)
    assert identities(second) == identities(result)
    size = (tmp_path / "study" / STORE_NAME).stat().st_size
    third = run_small(tmp_path / "study", TRIALS, plan=plan)
    assert identities(third) == identities(result)
    assert (tmp_path / "study" / STORE_NAME).stat().st_size == size


def killed_and_resumed(undisturbed: tuple[Path, StudyResult], tmp_path: Path, wait_s: float) -> tuple[int, int]:
    """Kill a study so long after its first trial; returns how many trials it had said were kept, and how many were.

    Asserts that each of them is there and that the resumed study ends as the undisturbed one.
    """
    folder, result = undisturbed
    place = tmp_path / f"study-{time.monotonic_ns()}" / "study"
    plan = small_plan(folder / "scenarios")
    small_study.write_scenarios(place.parent / "scenarios")
    process = subprocess.Popen(
        [sys.executable, str(Path(small_study.__file__)), str(place), str(TRIALS), "2"],
        stdout=subprocess.PIPE, text=True, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "begun\n"
    said = [process.stdout.readline()]
    time.sleep(wait_s)
    os.kill(process.pid, signal.SIGKILL)
    said += process.stdout.readlines()
    process.wait()
    numbers = {int(text) for text in said if text.endswith("\n")}
    store = TrialStore(place / STORE_NAME, plan.facts())
    kept = dict(store.outcomes)
    store.close()
    assert numbers <= set(kept)
    assert len(kept) <= len(numbers) + 1, "at most the line that was being said is kept unsaid"
    for number, outcome in kept.items():
        assert outcome.identity == result.outcomes[number].identity
    resumed = run_small(place, TRIALS, plan=plan)
    assert {n: o for n, o in kept.items() if resumed.outcomes[n] != o} == {}, "what was kept is not computed again"
    assert read_front(resumed.outcomes) == read_front(result.outcomes)
    assert identities(resumed) == identities(result)
    return len(numbers), len(kept)


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
def test_kill_9_at_random_moments(undisturbed: tuple[Path, StudyResult], tmp_path: Path) -> None:
    rng = random.Random(11)
    for _ in range(3):
        killed_and_resumed(undisturbed, tmp_path, rng.uniform(0.0, 2.0))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kill -9")
def test_kill_9_at_twenty_random_moments(undisturbed: tuple[Path, StudyResult], tmp_path: Path) -> None:
    rng = random.Random(20)
    counts = [killed_and_resumed(undisturbed, tmp_path, rng.uniform(0.0, 4.0)) for _ in range(20)]
    print("trials said to be kept, and kept, at each kill:", counts)
    assert len({kept for _, kept in counts}) > 5, "the moments were not spread over the study"


def test_a_time_that_finishes_no_trial_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    plan = small_plan(tmp_path / "scenarios")
    with pytest.raises(InputRefused, match="finishes no trial") as refused:
        run_study(plan, tmp_path / "study", Budget(seconds=0.001), InProcess)
    assert "one trial of 4 cases" in refused.value.problems[0].limit
    assert not (tmp_path / "study").exists()


def test_a_time_budget_ends_and_goes_on_with_what_is_left(tmp_path: Path) -> None:
    plan = small_plan(tmp_path / "scenarios")
    first = run_study(plan, tmp_path / "study", Budget(seconds=3.0), InProcess)
    assert first.outcomes
    assert first.spent_s >= 3.0
    began = time.monotonic()
    again = run_study(plan, tmp_path / "study", Budget(seconds=3.0), InProcess)
    assert identities(again) == identities(first), "the time of the former sitting counts"
    assert time.monotonic() - began < 60.0


def test_another_seed_or_sheet_is_another_study(undisturbed: tuple[Path, StudyResult], tmp_path: Path) -> None:
    folder, _ = undisturbed
    other = small_plan(folder / "scenarios", population=10)
    with pytest.raises(InputRefused, match="another study"):
        run_small(folder / "study", TRIALS, plan=other)
    facts = small_plan(folder / "scenarios").facts()
    assert facts != other.facts()
    assert facts == small_plan(folder / "scenarios").facts()


def test_the_baseline_is_tuned_by_the_same_study(tmp_path: Path) -> None:
    plan: Plan = small_plan(tmp_path / "scenarios", "three_position")
    result = run_small(tmp_path / "study", 10, plan=plan)
    assert len(result.outcomes) == 10
    assert result.front
    assert all("step.period_ms" in o.values for o in result.outcomes)
