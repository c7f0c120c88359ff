"""The same study on a cluster of two workers, one of which is killed on the way."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from scenarios.errors import InputRefused
from tests.tools.tuning.small_study import run_small, small_plan
from tools.tuning import cluster as cluster_module
from tools.tuning.budget import Budget
from tools.tuning.cluster import Cluster, compute
from tools.tuning.study import read_front, run_study
from tools.tuning.trials import Context, Outcome, Task

TRIALS, KILLED_AFTER = 16, 12  # two generations; in the middle of the second


@pytest.fixture
def two_workers() -> Iterator[Any]:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as local:
        yield local


class _Killing(Cluster):
    """Kills one worker of a local cluster in the middle of a generation."""

    local: Any = None
    seen = 0
    killed = 0

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        for outcome in super().run(tasks, deadline):
            type(self).seen += 1
            if self.seen == KILLED_AFTER:
                victim = next(iter(self._client.run(os.getpid).values()))
                os.kill(victim, signal.SIGKILL)
                type(self).killed = victim
            yield outcome


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_one_worker_killed_on_the_way_ends_with_the_same_front(two_workers: Any, tmp_path: Path) -> None:
    plan = small_plan(tmp_path / "scenarios")
    here = run_small(tmp_path / "here", TRIALS, plan=plan)

    def make(context: Context) -> Cluster:
        return _Killing(context, two_workers.scheduler_address)

    there = run_study(plan, tmp_path / "there", Budget(trials=TRIALS), make)
    assert _Killing.killed
    assert [o.identity for o in there.outcomes] == [o.identity for o in here.outcomes]
    assert read_front(there.outcomes) == read_front(here.outcomes)
    assert len(there.outcomes) == TRIALS


def test_nobody_at_the_address_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster_module, "CONNECT_S", 0.5)
    context = small_plan(tmp_path).context
    with pytest.raises(InputRefused, match="no Dask scheduler answers"):
        Cluster(context, "tcp://127.0.0.1:9")
    with pytest.raises(InputRefused, match="no Dask scheduler answers"):
        Cluster(context, "nonsense")


def test_without_the_extra_it_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "find_spec", lambda name: None)
    with pytest.raises(InputRefused, match=r"twoslide\[cluster\]"):
        Cluster(small_plan(tmp_path).context, "tcp://127.0.0.1:8786")


def test_a_worker_with_other_code_is_refused() -> None:
    with pytest.raises(InputRefused, match="same version"):
        compute(b"", Task(0, (0.5,)), "another hash")
