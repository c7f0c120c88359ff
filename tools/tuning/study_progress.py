"""Progress of a study on the terminal: trials done, the best of the front so far, time left."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from tools.tuning.budget import Budget
from tools.tuning.trials import FINISHED, INFEASIBLE, PRUNED, Outcome, front_of


def front_words(outcomes: Sequence[Outcome]) -> str:
    """The ends of the front in words."""
    front = front_of(outcomes)
    if not front:
        return "nothing feasible yet"
    tight = min(front, key=lambda o: o.objectives[0])
    quiet = min(front, key=lambda o: o.objectives[1])
    return (
        f"front of {len(front)}: tightest {tight.objectives[0]:.2f} kPa at wear {tight.objectives[1]:.1f}/h, "
        f"quietest {quiet.objectives[1]:.1f}/h at {quiet.objectives[0]:.2f} kPa"
    )


def left_words(budget: Budget, done: int, done_before: int, spent_s: float, spent_before_s: float) -> str:
    """Time left: of the budget, or for the trials that are missing at the pace of this session."""
    if budget.seconds is not None:
        left_s = max(0.0, budget.seconds - spent_s)
    elif done > done_before:
        pace_s = (spent_s - spent_before_s) / (done - done_before)
        left_s = pace_s * max(0, (budget.trials or 0) - done)
    else:
        return "time left not known yet"
    return f"{int(left_s) // 60}:{int(left_s) % 60:02d} left"


class ProgressBar:
    """A bar on the terminal; use as a context manager and give it to `run_study` as its watch."""

    def __init__(self, console: Console) -> None:
        columns = (
            TextColumn("{task.description}"),
            BarColumn(30),
            TimeElapsedColumn(),
            TextColumn("{task.fields[words]}"),
        )
        self._progress = Progress(*columns, console=console, transient=not console.is_terminal)
        self._bar: TaskID | None = None
        self._budget, self._done_before, self._spent_before_s = Budget(), 0, 0.0

    def __enter__(self) -> ProgressBar:
        self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._progress.stop()

    def begin(self, budget: Budget, done: int, spent_s: float) -> None:
        """Called once, with what a former session left."""
        self._budget, self._done_before, self._spent_before_s = budget, done, spent_s
        total = budget.seconds if budget.seconds is not None else budget.trials
        self._bar = self._progress.add_task(f"{done} trials", total=total, words="compiling")

    def update(self, outcomes: Sequence[Outcome], spent_s: float) -> None:
        """Called after every trial."""
        if self._bar is None:
            return
        count = {status: sum(o.status == status for o in outcomes) for status in (FINISHED, PRUNED, INFEASIBLE)}
        left = left_words(self._budget, len(outcomes), self._done_before, spent_s, self._spent_before_s)
        self._progress.update(
            self._bar,
            completed=spent_s if self._budget.seconds is not None else len(outcomes),
            description=f"{len(outcomes)} trials ({count[PRUNED]} stopped early, {count[INFEASIBLE]} not allowed)",
            words=f"{front_words(outcomes)}; {left}",
        )
