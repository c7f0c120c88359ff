"""How a tuning run shows where it is: bars on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from tools.output import say
from tools.tuning.budget import Budget
from tools.tuning.study import Watch
from tools.tuning.study_progress import ProgressBar, front_words, left_words
from tools.tuning.trials import Outcome

EVERY_S = 20.0  # between two lines where there is no terminal


class TuneProgress:
    """Stages and searches of a run on stderr."""

    def __init__(self) -> None:
        self._console = Console(stderr=True, highlight=False)
        self._began = time.monotonic()

    @property
    def elapsed(self) -> str:
        """Since the run began."""
        seconds = int(time.monotonic() - self._began)
        return f"{seconds // 60}:{seconds % 60:02d}"

    @contextmanager
    def stage(self, words: str) -> Iterator[Callable[[float], None]]:
        """A stage; the callback takes the share done."""
        if not self._console.is_terminal:
            say(f"[{self.elapsed}] {words}")
            yield lambda _share: None
            return
        columns = (TextColumn("{task.description}"), BarColumn(30), TimeElapsedColumn())
        with Progress(*columns, console=self._console, transient=False) as bar:
            task = bar.add_task(words, total=1.0)

            def show(share: float) -> None:
                bar.update(task, completed=share)

            yield show
            bar.update(task, completed=1.0)

    @contextmanager
    def study(self, controller: str) -> Iterator[Watch]:
        """A search; what is given to the study as its watch."""
        say(f"[{self.elapsed}] search for {controller}")
        if not self._console.is_terminal:
            yield _Lines(self)
            return
        with ProgressBar(self._console) as bar:
            yield bar


class _Lines:
    """A line now and then."""

    def __init__(self, progress: TuneProgress) -> None:
        self._progress = progress
        self._told = 0.0
        self._budget, self._before, self._spent_before_s = Budget(), 0, 0.0

    def begin(self, budget: Budget, done: int, spent_s: float) -> None:
        """What a former session left."""
        self._budget, self._before, self._spent_before_s = budget, done, spent_s
        self._told = time.monotonic()
        if done:
            say(f"[{self._progress.elapsed}]   {done} trials are there from before")

    def update(self, outcomes: Sequence[Outcome], spent_s: float) -> None:
        """After every trial."""
        now = time.monotonic()
        if now - self._told < EVERY_S:
            return
        self._told = now
        left = left_words(self._budget, len(outcomes), self._before, spent_s, self._spent_before_s)
        say(f"[{self._progress.elapsed}]   {len(outcomes)} trials; {front_words(outcomes)}; {left}")
