"""How a run's cost grows: with its simulated duration, with its log interval, with what happens from outside."""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from scenarios.event_kinds import LoadStep
from scenarios.preparation import Prepared
from scenarios.scoring import score
from scenarios.trace import trace_of, write_trace
from tools.benchmarks.demo import new_session, play_whole, prepared_day, shipped_entry

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DURATIONS_MS = (5 * MINUTE_MS, 15 * MINUTE_MS, HOUR_MS, 2 * HOUR_MS, 6 * HOUR_MS, 24 * HOUR_MS)
LOGS_MS = (100, 500, 1000, 5000, 60_000)
EVENTS_PER_H = (0, 6, 60, 600, 6000)
STAGES = ("open", "play", "score", "write")


@dataclass(frozen=True, slots=True)
class Growth:
    """One point: medians of the processor seconds of each stage over the rounds, and how far the rounds are apart."""

    duration_ms: int
    log_ms: int
    events_per_h: int
    rows: int
    stage_s: dict[str, float]
    spread_frac: float  # of playing: the middle half of the rounds over their median

    @property
    def whole_s(self) -> float:
        """Processor seconds of all stages."""
        return sum(self.stage_s.values())

    @property
    def speed(self) -> float:
        """Simulated seconds per processor second, playing alone."""
        return 0.001 * self.duration_ms / self.stage_s["play"]

    @property
    def whole_speed(self) -> float:
        """Simulated seconds per processor second, all stages."""
        return 0.001 * self.duration_ms / self.whole_s

    @property
    def settled(self) -> bool:
        """Whether the rounds agree: within 15 % in their middle half."""
        return self.spread_frac <= 0.15


def _stages(prepared: Prepared) -> tuple[int, dict[str, float]]:
    """Rows, and processor seconds of all threads by stage, of one run as `twoslide run` has it, without its report."""
    taken: dict[str, float] = {}
    began = time.process_time()

    def stage(name: str) -> None:
        nonlocal began
        now = time.process_time()
        taken[name] = max(now - began, 1e-9)
        began = now

    session = new_session(prepared, shipped_entry(prepared))
    session.warm_up()
    stage("open")
    play_whole(session)
    stage("play")
    run, buffers = session.run, session.buffers
    trace = trace_of(
        buffers.rows[: run.row_count], buffers.edges[: run.edge_count], session.noted, dict(prepared.facts)
    )
    score(trace, prepared.limits, prepared.refrigerant)
    stage("score")
    with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder:
        write_trace(trace, Path(folder))
        stage("write")
    return int(run.row_count), taken


def _in_turns(points: Sequence[tuple[int, int, int, Callable[[], Prepared]]], rounds: int) -> list[Growth]:
    """Every point once a round, the first of which is not kept."""
    prepared = [make() for *_, make in points]
    found: list[list[dict[str, float]]] = [[] for _ in points]
    rows = [0] * len(points)
    for number in range(-1, rounds):
        for k, one in enumerate(prepared):
            rows[k], taken = _stages(one)
            if number >= 0:
                found[k].append(taken)
    out = []
    for k, (duration_ms, log_ms, events_per_h, _) in enumerate(points):
        medians = {name: statistics.median(taken[name] for taken in found[k]) for name in STAGES}
        plays = [taken["play"] for taken in found[k]]
        spread = 0.0
        if len(plays) > 1:
            low, _, high = statistics.quantiles(plays, n=4, method="inclusive")
            spread = (high - low) / medians["play"]
        out.append(Growth(duration_ms, log_ms, events_per_h, rows[k], medians, spread))
    return out


def by_duration(rounds: int = 7, durations_ms: Sequence[int] = DURATIONS_MS) -> list[Growth]:
    """Runs of several lengths at a row a second."""
    return _in_turns([(ms, 1000, 0, lambda ms=ms: prepared_day("scheduled_pi", ms)) for ms in durations_ms], rounds)  # type: ignore[misc]


def by_log_interval(rounds: int = 7, logs_ms: Sequence[int] = LOGS_MS, duration_ms: int = 2 * HOUR_MS) -> list[Growth]:
    """One run at several log intervals."""
    return _in_turns(
        [
            (duration_ms, ms, 0, lambda ms=ms: prepared_day("scheduled_pi", duration_ms, ms))  # type: ignore[misc]
            for ms in logs_ms
        ],
        rounds,
    )


def _eventful(duration_ms: int, per_h: int) -> Prepared:
    """The shift with nothing in it but load steps of 1 W up and down, evenly apart."""
    found = prepared_day("scheduled_pi", duration_ms)
    count = per_h * duration_ms // HOUR_MS
    events = tuple(
        LoadStep.model_construct(
            kind="load_step", at_ms=(k + 1) * duration_ms // (count + 1), change_w=1.0 - 2.0 * (k % 2), to_w=None
        )
        for k in range(count)
    )
    return replace(found, scenario=replace(found.scenario, events=events))


def by_event_rate(
    rounds: int = 7, rates_per_h: Sequence[int] = EVENTS_PER_H, duration_ms: int = 2 * HOUR_MS
) -> list[Growth]:
    """One run with ever more events."""
    return _in_turns(
        [(duration_ms, 1000, rate, lambda rate=rate: _eventful(duration_ms, rate)) for rate in rates_per_h],  # type: ignore[misc]
        rounds,
    )


def event_us(found: Sequence[Growth]) -> float:
    """Processor time of one event, µs: the slope over number of events, by least squares."""
    x = [g.events_per_h * g.duration_ms / HOUR_MS for g in found]
    y = [1e6 * g.stage_s["play"] for g in found]
    mean_x, mean_y = statistics.fmean(x), statistics.fmean(y)
    return sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / sum((a - mean_x) ** 2 for a in x)
