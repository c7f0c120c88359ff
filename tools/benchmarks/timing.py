"""Measuring in turns: A B C A B C …, so that whatever else the machine does falls on all of them alike."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

Work = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing to be timed.  `fresh` sets up a run, untimed, and returns what is timed; it does `amount` units of work."""

    name: str
    text: str
    amount: float
    fresh: Callable[[], Work]


@dataclass(frozen=True, slots=True)
class Speed:
    """What was measured: units of work per second of wall time and of this thread's processor time, all rounds."""

    name: str
    text: str
    per_wall_s: tuple[float, ...]
    per_cpu_s: tuple[float, ...]

    @property
    def wall(self) -> float:
        """Median per second of wall time."""
        return statistics.median(self.per_wall_s)

    @property
    def cpu(self) -> float:
        """Median per second of processor time: what a core of its own would give."""
        return statistics.median(self.per_cpu_s)

    @property
    def best(self) -> float:
        """The best round per second of wall time: the round that others disturbed least."""
        return max(self.per_wall_s)

    @property
    def spread_frac(self) -> float:
        """Middle half of the rounds' processor-time figures over their median; 0 for a single round."""
        if len(self.per_cpu_s) < 2:
            return 0.0
        low, _, high = statistics.quantiles(self.per_cpu_s, n=4, method="inclusive")
        return (high - low) / self.cpu

    @property
    def settled(self) -> bool:
        """Whether the rounds agree well enough for the figure to be used: several, within 15 % in their middle half."""
        return len(self.per_cpu_s) > 1 and self.spread_frac <= 0.15


def timed(work: Work) -> tuple[float, float]:
    """Wall and processor seconds of one call."""
    wall, cpu = time.perf_counter(), time.thread_time()
    work()
    return max(time.perf_counter() - wall, 1e-9), max(time.thread_time() - cpu, 1e-9)


def _median_of_some(candidate: Candidate, least_s: float) -> tuple[float, float]:
    """Median wall and processor seconds of as many fresh runs as fill `least_s`, seven at most.

    A quick run that follows a slow one pays for caches and pages that the slow one took; the runs after it do not.
    """
    taken: list[tuple[float, float]] = []
    while not taken or (len(taken) < 7 and sum(wall_s for wall_s, _ in taken) < least_s):
        taken.append(timed(candidate.fresh()))
    return statistics.median(wall_s for wall_s, _ in taken), statistics.median(cpu_s for _, cpu_s in taken)


def in_turns(candidates: Sequence[Candidate], rounds: int, warm: bool = True, least_s: float = 0.3) -> list[Speed]:
    """Time every candidate in a fixed order, again and again.

    With `warm` a first, untimed round compiles and fills caches.  A candidate's turn is one run, or as many as fill
    `least_s` seconds.  Raises ValueError for less than one round.
    """
    if rounds < 1:
        raise ValueError(f"{rounds} rounds: at least one is needed")
    walls: dict[str, list[float]] = {c.name: [] for c in candidates}
    cpus: dict[str, list[float]] = {c.name: [] for c in candidates}
    for number in range(-1 if warm else 0, rounds):
        for c in candidates:
            gc.collect()  # a session and its callback hold each other, and a day's rows are half a gigabyte
            wall_s, cpu_s = _median_of_some(c, least_s)
            if number >= 0:
                walls[c.name].append(c.amount / wall_s)
                cpus[c.name].append(c.amount / cpu_s)
    return [Speed(c.name, c.text, tuple(walls[c.name]), tuple(cpus[c.name])) for c in candidates]


def ratio(a: Speed, b: Speed) -> tuple[float, float]:
    """How many times faster `a` is than `b`: median of the rounds' ratios, by wall and by processor time."""
    walls = [x / y for x, y in zip(a.per_wall_s, b.per_wall_s, strict=True)]
    cpus = [x / y for x, y in zip(a.per_cpu_s, b.per_cpu_s, strict=True)]
    return statistics.median(walls), statistics.median(cpus)
