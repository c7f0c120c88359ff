"""Who computes trials: this process, or a few processes of this machine that may die and are replaced.

The standard process pools give up when a worker is killed; this one starts another and gives it the trial again, which
is safe because a trial computed twice gives the same.  Workers end with the process that started them.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from multiprocessing.connection import Connection, wait
from typing import Any, Protocol

from scenarios.errors import InternalError
from tools.tuning.trials import Context, Outcome, Task, Trials

ATTEMPTS = 3  # of one trial: a trial that kills three workers is our fault, not chance


class Executor(Protocol):
    """Computes tasks in any order."""

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        """Outcomes as they finish; after `deadline` (time.monotonic) no new task is begun."""
        ...

    def close(self) -> None:
        """End what was started; trials in hand are lost."""
        ...


def over(deadline: float | None) -> bool:
    """Whether a deadline has passed."""
    return deadline is not None and time.monotonic() >= deadline


class InProcess:
    """One after the other, here."""

    def __init__(self, context: Context) -> None:
        self._trials = Trials(context)

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        for task in tasks:
            if over(deadline):
                return
            yield self._trials.run(task)

    def close(self) -> None:
        """Nothing was started."""


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
    os._exit(1)


def work(pipe: Connection, context: bytes) -> None:
    """A worker process: tasks in, outcomes (or the error) out, until None comes or the parent is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's business
    threading.Thread(target=_end_with_parent, daemon=True).start()
    trials: Trials | None = None
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        if task is None:
            return
        answer: Any
        try:
            if trials is None:
                trials = Trials(pickle.loads(context))
            answer = trials.run(task)
        except Exception as error:
            answer = error
        try:
            pipe.send(answer)
        except OSError:
            return  # the parent is gone; nobody wants it


class _Worker:
    def __init__(self, context: bytes) -> None:
        spawn = multiprocessing.get_context("spawn")  # fork would copy numba's locks and threads as they stand
        self.pipe, theirs = spawn.Pipe()
        self.process = spawn.Process(target=work, args=(theirs, context), daemon=True)
        self.process.start()
        theirs.close()
        self.task: Task | None = None

    def give(self, task: Task) -> bool:
        """Hand a task over; False if the worker is no more."""
        self.task = task
        try:
            self.pipe.send(task)
        except OSError:
            return False
        return True

    def end(self) -> None:
        self.pipe.close()
        self.process.kill()
        self.process.join()


class LocalProcesses:
    """`jobs` processes of this machine."""

    def __init__(self, context: Context, jobs: int) -> None:
        self._context = pickle.dumps(context)
        self._jobs = jobs
        self._workers: list[_Worker] = []

    @property
    def process_ids(self) -> list[int]:
        """Of the workers alive now."""
        return [w.process.pid for w in self._workers if w.process.pid is not None and w.process.is_alive()]

    def run(self, tasks: Sequence[Task], deadline: float | None) -> Iterator[Outcome]:
        waiting = list(reversed(tasks))
        attempts: dict[int, int] = {}
        while True:
            while waiting and not over(deadline):
                worker = self._free()
                if worker is None:
                    break
                task = waiting.pop()
                attempts[task.number] = attempts.get(task.number, 0) + 1
                if attempts[task.number] > ATTEMPTS:
                    raise InternalError(f"trial {task.number} ended its process {ATTEMPTS} times: {task.vector}")
                if not worker.give(task):
                    waiting.append(self._lost(worker))
            busy = [w for w in self._workers if w.task is not None]
            if not busy:
                return
            ready = wait([*(w.pipe for w in busy), *(w.process.sentinel for w in busy)])
            for worker in busy:
                if worker.pipe in ready:
                    try:
                        answer = worker.pipe.recv()
                    except (EOFError, OSError):
                        waiting.append(self._lost(worker))
                        continue
                    worker.task = None
                    if isinstance(answer, BaseException):
                        raise answer
                    yield answer
                elif worker.process.sentinel in ready:
                    waiting.append(self._lost(worker))

    def _free(self) -> _Worker | None:
        idle = next((w for w in self._workers if w.task is None), None)
        if idle is None and len(self._workers) < self._jobs:
            idle = _Worker(self._context)
            self._workers.append(idle)
        return idle

    def _lost(self, worker: _Worker) -> Task:
        """Forget a worker that died; the task it had."""
        self._workers.remove(worker)
        worker.end()
        if worker.task is None:
            raise InternalError("an idle worker was taken for a busy one")
        return worker.task

    def close(self) -> None:
        for worker in self._workers:
            worker.end()
        self._workers.clear()
