"""Local processes: the same outcomes as here, whoever dies meanwhile."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from scenarios.errors import InternalError
from tests.tools.tuning.small_study import small_plan
from tools.tuning.executors import InProcess, LocalProcesses, over
from tools.tuning.trials import Task

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="sends signals")


class _Deadly:
    """A sensitivity that ends its process."""

    def __call__(self, settings: Any) -> tuple[float, float]:
        os._exit(9)


class _Wrong:
    """A sensitivity with a mistake in it."""

    def __call__(self, settings: Any) -> tuple[float, float]:
        raise ValueError("a mistake")


def tasks(context: Any, count: int) -> list[Task]:
    base = context.space.vector(context.space.base)
    return [Task(k, tuple((base * (1.0 - 0.04 * k)).tolist())) for k in range(count)]


def test_killed_workers_are_replaced_and_nothing_changes(tmp_path: Path) -> None:
    context = small_plan(tmp_path).context
    wanted = {o.number: o.identity for o in InProcess(context).run(tasks(context, 8), None)}
    pool = LocalProcesses(context, 2)
    found: dict[int, Any] = {}
    killed = 0
    try:
        for outcome in pool.run(tasks(context, 8), None):
            found[outcome.number] = outcome.identity
            if len(found) in (1, 3):
                os.kill(pool.process_ids[0], signal.SIGKILL)
                killed += 1
    finally:
        pool.close()
    assert killed == 2
    assert found == wanted
    assert pool.process_ids == []


def test_a_trial_that_kills_every_worker_is_our_fault(tmp_path: Path) -> None:
    context = small_plan(tmp_path, sensitivity=_Deadly()).context
    pool = LocalProcesses(context, 1)
    try:
        with pytest.raises(InternalError, match="ended its process 3 times"):
            list(pool.run(tasks(context, 1), None))
    finally:
        pool.close()


def test_a_mistake_in_a_worker_comes_back_as_itself(tmp_path: Path) -> None:
    context = small_plan(tmp_path, sensitivity=_Wrong()).context
    pool = LocalProcesses(context, 1)
    try:
        with pytest.raises(ValueError, match="a mistake"):
            list(pool.run(tasks(context, 1), None))
    finally:
        pool.close()


def test_after_the_deadline_no_task_is_begun(tmp_path: Path) -> None:
    context = small_plan(tmp_path).context
    past = time.monotonic() - 1.0
    assert over(past)
    assert not over(None)
    assert list(InProcess(context).run(tasks(context, 2), past)) == []
    pool = LocalProcesses(context, 1)
    assert list(pool.run(tasks(context, 2), past)) == []
    pool.close()
