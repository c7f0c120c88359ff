"""The same study on a Dask cluster: one task is one trial, which is a batch of many runs.

Needs the extra `[cluster]` (dask and distributed).  The study's context goes to the cluster once, as a task that gives it
back, on which every trial depends: workers pass it on among themselves, and where the last that had it dies, the scheduler
makes it again.  So the cluster's machines need twoslide in the same version but none of the study's files.  A task whose
worker dies is given to another; it may then run twice, which does no harm, because a trial computed twice gives the same.
"""

from __future__ import annotations

import hashlib
import pickle
import zlib
from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from scenarios.errors import InputRefused, InternalError, Problem
from scenarios.kernel_cache import source_hash
from tools.tuning.executors import ATTEMPTS, over
from tools.tuning.trials import Context, Outcome, Task, Trials

CONNECT_S = 10.0
AHEAD = 2  # tasks in hand for each thread, so that none waits for us


@lru_cache(maxsize=2)
def _trials(packed: bytes) -> Trials:
    return Trials(pickle.loads(zlib.decompress(packed)))


def compute(packed: bytes, task: Task, sources: str) -> Outcome:
    """One trial, on a worker.  InputRefused if the worker has another version of the code."""
    if source_hash() != sources:
        way_out = "install the same version on every machine of the cluster"
        raise InputRefused(Problem("a worker of the cluster runs other code than this machine", way_out=way_out))
    return _trials(packed).run(task)


def hold(packed: bytes) -> bytes:
    """The context, as something that a cluster can keep and make again."""
    return packed


class Cluster:
    """Trials on the cluster whose scheduler is at `address`, such as tcp://host:8786.

    InputRefused without the extra, or where nobody answers.
    """

    def __init__(self, context: Context, address: str) -> None:
        if find_spec("distributed") is None:
            raise InputRefused(
                Problem("--cluster needs Dask", value=address, way_out="pip install 'twoslide[cluster]'")
            )
        self._dask: Any = import_module("distributed")  # by name: an extra that need not be there
        try:
            self._client: Any = self._dask.Client(address, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            text = f"no Dask scheduler answers at {address} ({type(error).__name__})"
            way_out = "start one with `dask scheduler`, and workers with `dask worker`; or leave --cluster out"
            raise InputRefused(Problem(text, value=address, way_out=way_out)) from error
        self._packed = zlib.compress(pickle.dumps(context))
        # two studies on one cluster must not take each other's answers
        mark = hashlib.sha256(self._packed).hexdigest()[:16]
        self._name = f"trial-{mark}"
        self._context = self._client.submit(hold, self._packed, pure=False, retries=ATTEMPTS, key=f"context-{mark}")

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        """Outcomes as they finish; tasks are handed out a few ahead, so that a deadline leaves few in hand."""
        waiting = list(reversed(tasks))
        numbers: dict[str, int] = {}
        running: Any = self._dask.as_completed(loop=self._client.loop)

        def hand_out() -> None:
            room = max(1, AHEAD * sum(self._client.nthreads().values())) - len(numbers)
            while waiting and room > 0 and not over(deadline):
                task = waiting.pop()
                future = self._client.submit(
                    compute,
                    self._context,
                    task,
                    source_hash(),
                    pure=False,
                    retries=ATTEMPTS,
                    key=f"{self._name}-{task.number}",
                )
                numbers[future.key] = task.number
                running.add(future)
                room -= 1

        hand_out()
        while numbers:
            future = next(running)
            number = numbers.pop(future.key)
            try:
                outcome = future.result()
            except self._dask.KilledWorker as error:
                raise InternalError(f"trial {number} ended one worker of the cluster after another") from error
            if outcome.number != number:
                raise InternalError(f"the cluster answered trial {outcome.number} for {number}")
            future.release()
            hand_out()
            yield outcome

    def close(self) -> None:
        """Leave the cluster; it goes on without us."""
        self._client.close()
