"""A study: the search over many trials, which may be ended at any moment and goes on where it was.

Trials are numbered; generation g has the numbers from g·population on.  What a trial is follows from the study's seed
and the outcomes of earlier generations only, so a study that was killed and resumed, one on two processes, and one on a
cluster end with the same front.  Order within a generation and how long things took do not matter; a budget in time
does, because it says how many trials there are.

The first generation begins with the starts (the sheet given, the defaults, points from rules), which are finished
before the others of it are raced against them.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from scenarios.errors import InputRefused, Problem
from scenarios.kernel_cache import source_hash
from scenarios.record_tables import values_of
from scenarios.settings_sheet import checksum_of
from tools.tuning.budget import Budget
from tools.tuning.executors import Executor
from tools.tuning.optimiser import POPULATION, Optimiser, first_population
from tools.tuning.space import Vector
from tools.tuning.trial_store import TrialStore
from tools.tuning.trials import Context, Outcome, Rival, Task, Trials, front_of

STORE_NAME = "trials.jsonl"


@dataclass(frozen=True, slots=True)
class Start:
    """A point that the first generation holds: what it is called in the report, and its settings (knobs only count)."""

    name: str
    settings: Any


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that decides what a study finds, but its budget."""

    context: Context
    starts: tuple[Start, ...] = ()
    population: int = POPULATION

    @property
    def vectors(self) -> list[Vector]:
        """Start vectors; the base sheet is always the first."""
        space = self.context.space
        return [space.vector(space.base), *(space.vector(s.settings) for s in self.starts)]

    @property
    def start_names(self) -> dict[int, str]:
        """Trial number → name of the start."""
        names = ["sheet given", *(s.name for s in self.starts)]
        return dict(enumerate(names[: self.population]))

    def facts(self) -> dict[str, str]:
        """What the study is, in words that can be compared; two studies with the same facts find the same."""
        c, s = self.context.case_set, self.context.space
        limits = self.context.constraints
        sensitivity = limits.sensitivity
        ms = "none" if sensitivity is None else getattr(sensitivity, "fingerprint", type(sensitivity).__qualname__)
        scenarios = [p.scenario.sha256.get("scenario", p.scenario.title)[:16] for p in c.prepared]
        logs = sorted(v[:16] for p in c.prepared for k, v in p.scenario.sha256.items() if k.startswith("load_log"))
        knobs = json.dumps([[k.name, k.low, k.high, k.log] for k in s.knobs])
        vectors = json.dumps([v.tolist() for v in self.vectors])
        return {
            "controller": c.controller,
            "plant": c.prepared[0].plant.sha256[:16],
            "scenarios": " ".join(scenarios + logs),
            "base sheet": checksum_of(c.controller, values_of(s.base)),
            "knobs": hashlib.sha256(knobs.encode()).hexdigest()[:16],
            "starts": hashlib.sha256(vectors.encode()).hexdigest()[:16],
            "seed": str(c.seed),
            "draws": f"{c.draws} from {c.first_draw}, {c.label}",
            "population": str(self.population),
            "constraints": f"Ms {limits.ms_nominal:g}/{limits.ms_spread:g} by {ms}; duty {c.duty_kpa_abs} kPa for all "
            f"but {limits.too_warm_pct:g} %; RMS {limits.most_rms_kpa} kPa, wear {limits.most_wear_per_h}/h",
            "version": f"{version('twoslide')}, sources {source_hash()}, pymoo {version('pymoo')}",
        }


@dataclass(frozen=True, slots=True)
class StudyResult:
    """What a study found: every trial by number, and the front."""

    outcomes: tuple[Outcome, ...]
    front: tuple[Outcome, ...]
    start_names: dict[int, str]
    spent_s: float

    def counts(self) -> dict[str, int]:
        """How many trials finished, were pruned, were infeasible."""
        found: dict[str, int] = {}
        for outcome in self.outcomes:
            found[outcome.status] = found.get(outcome.status, 0) + 1
        return found


class Watch(Protocol):
    """Who is told how a study goes."""

    def begin(self, budget: Budget, done: int, spent_s: float) -> None: ...

    def update(self, outcomes: Sequence[Outcome], spent_s: float) -> None: ...


@dataclass(slots=True)
class _Clock:
    budget: Budget
    before_s: float
    began: float = field(default_factory=time.monotonic)

    @property
    def spent_s(self) -> float:
        return self.before_s + time.monotonic() - self.began

    @property
    def deadline(self) -> float | None:
        return None if self.budget.seconds is None else self.began + self.budget.seconds - self.before_s


def check_budget(context: Context, budget: Budget) -> float:
    """Wall time, s, that one whole trial takes here.  InputRefused for a budget too short for one.

    Measured on the first case under the base sheet, after compiling and once warm.
    """
    trials = Trials(context)
    case, base = trials.bench.cases[0], context.space.base
    began = time.monotonic()
    trials.bench.play(case, base)
    began = time.monotonic()
    trials.bench.play(case, base)
    share = context.case_set.prepared[0].scenario.duration_ms / 1000.0 / context.case_set.simulated_s
    trial_s = (time.monotonic() - began) / share
    if budget.seconds is not None and budget.seconds < trial_s:
        raise InputRefused(
            Problem(
                f"a budget of {budget.seconds:g} s finishes no trial",
                value=f"{budget.seconds:g} s",
                limit=f"one trial of {len(trials.bench.cases)} cases, {context.case_set.simulated_s / 3600:g} h of plant "
                f"time, takes about {trial_s:.2g} s here",
                way_out="give more time, or fewer scenarios or draws",
            )
        )
    return trial_s


def run_study(
    plan: Plan,
    folder: Path,
    budget: Budget,
    make_executor: Callable[[Context], Executor],
    watch: Watch | None = None,
) -> StudyResult:
    """Search until the budget is spent, going on from what `folder` holds of the same study.

    InputRefused before anything is written for a budget that finishes no trial, or a folder of another study.
    Ctrl-C and any other end lose the trials in hand only.
    """
    check_budget(plan.context, budget)
    store = TrialStore(folder / STORE_NAME, plan.facts())
    clock = _Clock(budget, store.spent_s)
    if watch is not None:
        watch.begin(budget, len(store.outcomes), clock.spent_s)
    executor = make_executor(plan.context)
    try:
        _generations(plan, store, clock, executor, watch)
        outcomes = tuple(store.outcomes[n] for n in sorted(store.outcomes))
    finally:
        executor.close()
        store.close()
    return StudyResult(outcomes, tuple(front_of(outcomes)), plan.start_names, clock.spent_s)


def _rivals(outcomes: Sequence[Outcome]) -> tuple[Rival, ...]:
    return tuple(Rival(o.number, np.array(o.contributions)) for o in front_of(outcomes))


def _generations(plan: Plan, store: TrialStore, clock: _Clock, executor: Executor, watch: Watch | None) -> None:
    """Generation after generation until the trials are all there, the time is over, or nothing new can be asked for."""
    vectors, seed = plan.vectors, plan.context.case_set.seed
    starts = min(len(vectors), plan.population)
    optimiser = Optimiser(first_population(vectors, plan.population, len(vectors[0]), seed), seed)
    limit = clock.budget.trials
    earlier: list[Outcome] = []
    while asked := optimiser.ask():
        first = len(earlier)
        numbered = list(enumerate(asked, start=first))
        for block in (numbered[:starts], numbered[starts:]) if first == 0 else (numbered,):
            wanted = [(n, v) for n, v in block if limit is None or n < limit]
            missing = [(n, v) for n, v in wanted if n not in store.outcomes]
            if missing:
                rivals = _rivals(earlier)
                for outcome in executor.run([Task(n, v, rivals) for n, v in missing], clock.deadline):
                    store.add(outcome, clock.spent_s)
                    if watch is not None:
                        watch.update(list(store.outcomes.values()), clock.spent_s)
            if len(wanted) < len(block) or any(n not in store.outcomes for n, _ in wanted):
                return
            earlier += [store.outcomes[n] for n, _ in block]
        optimiser.tell(earlier[first:])


def read_front(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    """The front as plain data without times: equal for equal studies."""
    return [o.identity for o in front_of(outcomes)]
