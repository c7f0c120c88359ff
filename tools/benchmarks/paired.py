"""Small differences on a busy machine: two variants of the engine by turns, in bursts of a few milliseconds.

A difference of 10 ns in a scan of 1000 ns cannot be read off two runs made one after the other.  So every variant has its
moment, a running plant with all its records copied; a round takes each variant once from its moment, in another order
each time, and what counts is the difference of two variants *within* a round.  The median of the rounds' differences
has an interval, and where that is wide the figure says so itself.
"""

from __future__ import annotations

import math
import random
import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scenarios.engine import NOISE_ROWS, BlockEnd
from tools.benchmarks.demo import OpenSession

SCANS = 1024  # 1 ms: most bursts end before anybody else gets the processor
WITH_NOISE = NOISE_ROWS  # with drawing, a burst draws its noise once, as a run does
WIDE_NS = 6.0  # half an interval: below, a difference is settled whatever its size
WIDE_FRAC = 0.25  # of the difference itself


class Moment:
    """A session at one moment, with all its records copied so that it can be put back there.

    With a `stage` it is played on that session's memory: where records happen to lie moves a scan by up to 1 %, which is
    more than most components cost.
    """

    def __init__(self, session: OpenSession, stage: OpenSession | None = None) -> None:
        """Raises RuntimeError where the machine does not run."""
        if not session.plant_state().motor.running:
            raise RuntimeError(f"the machine does not run at {session.time_ms} ms: its time would say nothing")
        self.session = stage or session
        self.start_ms = session.time_ms
        self.live = _arrays(self.session)
        self.kept = [array.copy() for array in _arrays(session)]
        self.outside = session.outside

    def restore(self, drawing: bool = False) -> None:
        """Back to the moment at which the records were taken; `drawing` says whether noise is to be drawn from there."""
        for array, kept in zip(self.live, self.kept, strict=True):
            array[:] = kept
        self.session.outside = self.outside
        self.session.drawing = drawing

    def call_ns(self, times: int = 200) -> float:
        """Nanoseconds of one call of the block that does nothing: what the event engine pays each time it is called."""
        self.restore()
        taken = []
        for _ in range(times):
            began = time.thread_time_ns()
            self.session.advance(self.start_ms)
            taken.append(time.thread_time_ns() - began)
        return statistics.median(taken)

    def burst(self, scans: int, drawing: bool = False) -> float:
        """Nanoseconds of processor time a scan, from the moment on.  Raises RuntimeError if the run breaks off."""
        self.restore(drawing)
        began = time.thread_time_ns()
        end = self.session.advance(self.start_ms + self.session.scan_ms * scans)
        taken = (time.thread_time_ns() - began) / scans
        if end is not BlockEnd.REACHED:
            raise RuntimeError(f"the benchmarked burst broke off: {end.name}")
        return taken


def _arrays(session: OpenSession) -> list[Any]:
    """Everything that a compiled session's run depends on but the noise, settings and state of the controller included."""
    entry = session.entry
    own = [] if entry is None else [array for array in (entry.settings, entry.state) if array is not None]
    return [*session.records, session.run_record, session.row_record, *own]


@dataclass(frozen=True, slots=True)
class Interval:
    """A median in ns a scan with the interval that holds it at about 95 %, from the order of the values alone."""

    ns: float
    low_ns: float
    high_ns: float

    @property
    def settled(self) -> bool:
        """Whether the interval is narrow enough for the figure to be used: ± 6 ns or ± 25 % of it."""
        return 0.5 * (self.high_ns - self.low_ns) <= max(WIDE_NS, WIDE_FRAC * abs(self.ns))

    @property
    def seen(self) -> bool:
        """Whether there is a difference at all: the interval does not hold 0."""
        return self.low_ns > 0.0 or self.high_ns < 0.0

    @property
    def word(self) -> str:
        """What to say beside the figure."""
        if not self.settled:
            return "unreliable"
        return "" if self.seen else "within noise"


def interval(values: Sequence[float]) -> Interval:
    """Median and interval of some values; with fewer than six the interval is all of them.

    The ranks are n/2 ± 0.98 √n, the normal approximation to the binomial distribution of the sign test (textbook, recalled).
    """
    ordered = sorted(values)
    n = len(ordered)
    low = max(0, math.floor(0.5 * n - 0.98 * math.sqrt(n)) - 1) if n >= 6 else 0
    return Interval(statistics.median(ordered), ordered[low], ordered[n - 1 - low])


def bursts_in_turns(
    bursts: Mapping[str, Callable[[], float]], rounds: int, seed: int = 1
) -> dict[str, tuple[float, ...]]:
    """Every burst's figure in each round; the order within a round changes from round to round.

    The first round warms up and is not kept.  Raises ValueError for less than one round.
    """
    if rounds < 1:
        raise ValueError(f"{rounds} rounds: at least one is needed")
    shuffle = random.Random(seed)
    order = list(bursts)
    found: dict[str, list[float]] = {name: [] for name in order}
    for number in range(-1, rounds):
        for name in order:
            value = bursts[name]()
            if number >= 0:
                found[name].append(value)
        shuffle.shuffle(order)
    return {name: tuple(values) for name, values in found.items()}


def difference(found: Mapping[str, Sequence[float]], name: str, base: str) -> Interval:
    """How much dearer `name` is than `base`: median of the differences within the rounds."""
    return interval([a - b for a, b in zip(found[name], found[base], strict=True)])
