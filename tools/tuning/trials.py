"""One trial: a candidate on every case, as four objectives and its constraints, stopped early where it is hopeless.

Objectives, all to be small, each from means over the cases (equal weight a case):

    pressure_rms_kpa      root of the mean of (RMS suction deviation)²
    wear_per_h            slide reversals + operations/20 + full strokes/2, an hour, both slides added
    starts_per_h          motor starts an hour
    energy_kwh_per_kwh    energy per cooling

The wear weights say: a turn of direction costs the linkage as much as 20 solenoid operations or two full strokes
(common practice, no source).  All figures behind them are kept, so that a choice can weigh them anew.

Constraints: no contradiction between settings; worst Ms within its limits; no trip, broken requirement, or start beyond
the motor's limit in any case; suction warmer than the duty for no more than a stated share; and, where given, most that
pressure_rms_kpa and wear_per_h may be, so that the search does not fill the ends of the front that nobody would choose.

Stopping early.  (1) At the first failure, or once a limit is broken whatever the remaining cases bring: exact, because
all of these only grow.  (2) Racing: a candidate is stopped when some finished candidate of an earlier generation would
still dominate it if from here on it did better than that one by `RECOVERY` in every remaining case, on the same cases
with the same chance.  It is recorded as pruned and is on no front; whoever so far saves more energy than
`ENERGY_RESOLUTION` is never stopped.  So the front can lose a candidate only if, over all its remaining cases, that did
15 % better in pressure or 25 % better in wear than a rival which beat it on the first ones.
Both depend on earlier generations only, never on what other processes happen to have finished.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.tuning.cases import Bench, CaseFigures, CaseSet
from tools.tuning.space import Space

Floats = NDArray[np.float64]
Sensitivity = Callable[[Any], tuple[float, float]]  # settings → worst Ms over the map: nominal, with the spread

OBJECTIVES = ("pressure_rms_kpa", "wear_per_h", "starts_per_h", "energy_kwh_per_kwh")
OPERATIONS_A_REVERSAL, STROKES_A_REVERSAL = 20.0, 2.0
ENERGY_RESOLUTION = 0.001  # relative: energies nearer than this count as equal
RECOVERY = np.array([0.85**2, 0.75, 1.0, 1.0])  # of the rival's contribution (pressure: of the square)
CHECK_EVERY = 4

FINISHED, PRUNED, INFEASIBLE = "finished", "pruned", "infeasible"


@dataclass(frozen=True, slots=True)
class Constraints:
    """Limits of a study.  Ms limits from the design (control.md, tuning 2); None for no Ms at all."""

    sensitivity: Sensitivity | None = None
    ms_nominal: float = 1.75
    ms_spread: float = 2.0
    too_warm_pct: float = 2.0  # share of time above the duty's pressure; what the baseline's demo shift shows
    most_rms_kpa: float | None = None
    most_wear_per_h: float | None = None


@dataclass(frozen=True, slots=True)
class Context:
    """What every trial of a study shares; it is sent to the processes that compute."""

    case_set: CaseSet
    space: Space
    constraints: Constraints


@dataclass(frozen=True, slots=True)
class Rival:
    """A finished candidate of an earlier generation: contributions (cases, 4)."""

    number: int
    contributions: Floats


@dataclass(frozen=True, slots=True)
class Task:
    """One trial to compute; a trial computed twice gives the same."""

    number: int
    vector: tuple[float, ...]
    rivals: tuple[Rival, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """A trial's result.  `objectives` are those of the cases done: all of them if finished, an estimate if pruned.

    violation: 0 for a feasible one, else how far from it (for the optimiser's ranking); means: mean of each case figure;
    contributions: (cases, 4) of a finished one, for racing; seconds: of processor time.
    """

    number: int
    vector: tuple[float, ...]
    values: dict[str, float]
    status: str
    cases_done: int
    objectives: tuple[float, ...]
    violation: float
    reason: str
    means: dict[str, float]
    ms: tuple[float, float] | None
    contributions: tuple[tuple[float, ...], ...]
    seconds: float

    @property
    def identity(self) -> dict[str, Any]:
        """Everything but how long it took: equal on every run."""
        return {key: value for key, value in asdict(self).items() if key != "seconds"}


def contribution(figures: CaseFigures) -> tuple[float, float, float, float]:
    """What one case adds to the means behind the objectives."""
    f = figures
    reversals = f.capacity_reversals_per_h + f.volume_ratio_reversals_per_h
    operations = f.capacity_operations_per_h + f.volume_ratio_operations_per_h
    strokes = f.capacity_strokes_per_h + f.volume_ratio_strokes_per_h
    wear = reversals + operations / OPERATIONS_A_REVERSAL + strokes / STROKES_A_REVERSAL
    return f.suction_deviation_rms_kpa**2, wear, f.starts_per_h, f.energy_per_cooling


def objectives_of(contributions: Floats) -> tuple[float, ...]:
    """Objectives from the contributions of some cases, shape (cases, 4)."""
    pressure2, wear, starts, energy = (math.fsum(column) / len(contributions) for column in contributions.T.tolist())
    return math.sqrt(pressure2), wear, starts, energy


def dominates(one: Sequence[float], other: Sequence[float]) -> bool:
    """`one` is no worse in pressure, wear and starts, better in one of them, and uses no more energy than `other`
    within the resolution; or equals it in the three and saves more than the resolution.

    Free of cycles, because the first three are compared exactly.
    """
    if any(a > b for a, b in zip(one[:3], other[:3], strict=True)):
        return False
    if any(a < b for a, b in zip(one[:3], other[:3], strict=True)):
        return one[3] <= other[3] * (1.0 + ENERGY_RESOLUTION)
    return one[3] * (1.0 + ENERGY_RESOLUTION) < other[3]


def hopeless(done: Floats, rival: Floats) -> bool:
    """A candidate with contributions `done` stays dominated by the rival even if it recovers (see the module)."""
    k, total = len(done), len(rival)
    if not len(done) or k >= total:
        return False
    best = done.sum(axis=0) + (RECOVERY * rival[k:]).sum(axis=0)
    # energy is a matter of the settings, not of the case: what it did so far against the rival, it will do again
    best[3] = done[:, 3].sum() * rival[:, 3].sum() / max(rival[:k, 3].sum(), 1e-12)
    wanted = rival.sum(axis=0)
    not_better = bool(np.all(wanted[:3] <= best[:3]) and np.any(wanted[:3] < best[:3]))
    return not_better and bool(best[3] >= wanted[3] * (1.0 - ENERGY_RESOLUTION))


def _scaled_to(done: Floats, rival: Floats) -> tuple[float, ...]:
    """Objectives expected of a stopped candidate: its ratio to the rival so far, on all cases; never below the rival."""
    so_far, same, whole = objectives_of(done), objectives_of(rival[: len(done)]), objectives_of(rival)
    return tuple(max(w, w * a / b) if b > 0.0 else max(w, a) for a, b, w in zip(so_far, same, whole, strict=True))


def _means(figures: Sequence[CaseFigures]) -> dict[str, float]:
    names = [f.name for f in fields(CaseFigures) if f.name != "fault"]
    if not figures:
        return {}
    means = {name: math.fsum(float(getattr(f, name)) for f in figures) / len(figures) for name in names}
    means["suction_deviation_peak_kpa"] = max(f.suction_deviation_peak_kpa for f in figures)
    return means


class Trials:
    """Computes trials in this process."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.bench = Bench(context.case_set)

    def run(self, task: Task) -> Outcome:
        """One trial, from its vector to its outcome."""
        began = time.process_time()
        space, constraints = self.context.space, self.context.constraints
        settings = space.settings(task.vector)
        values = space.values_in(settings)

        def outcome(
            status: str, figures: Sequence[CaseFigures], objectives: tuple[float, ...], violation: float, reason: str
        ) -> Outcome:
            rows = tuple(contribution(f) for f in figures) if status == FINISHED else ()
            seconds = time.process_time() - began
            return Outcome(
                task.number, task.vector, values, status, len(figures), objectives, violation, reason, _means(figures),
                ms, rows, seconds,
            )  # fmt: skip

        ms: tuple[float, float] | None = None
        wrong = space.contradictions(settings)
        if wrong:
            return outcome(INFEASIBLE, (), (), 10.0 + len(wrong), wrong[0])
        if constraints.sensitivity is not None:
            nominal, spread = constraints.sensitivity(settings)
            ms = (float(nominal), float(spread))
            within = ms[0] <= constraints.ms_nominal and ms[1] <= constraints.ms_spread
            if not within:  # so written that a Ms that is no number is not allowed either
                excess = max(ms[0] / constraints.ms_nominal, ms[1] / constraints.ms_spread) - 1.0
                words = f"Ms {ms[0]:.3g} nominal, {ms[1]:.3g} with the spread"
                return outcome(INFEASIBLE, (), (), 2.0 + (excess if 0.0 <= excess <= 5.0 else 5.0), words)
        return self._race(task, settings, outcome)

    def _race(self, task: Task, settings: Any, outcome: Callable[..., Outcome]) -> Outcome:
        cases = self.bench.cases
        figures: list[CaseFigures] = []
        rows = np.zeros((len(cases), len(OBJECTIVES)))
        first_check = len(self.context.case_set.prepared)
        for k, case in enumerate(cases):
            figures.append(self.bench.play(case, settings))
            rows[k] = contribution(figures[-1])
            done = k + 1
            if figures[-1].failures > 0.0:
                f = figures[-1]
                words = f.fault or (
                    f"{f.trips_count:g} trips, {f.violations_count:g} broken requirements, "
                    f"{f.starts_beyond_limit} starts beyond the limit"
                )
                where = f"case {case.number} (scenario {case.scenario}, draw {case.draw})"
                return outcome(INFEASIBLE, figures, (), 1.0 / done, f"{words} in {where}")
            broken = self._limit_broken(figures, rows[:done], len(cases))
            if broken:
                return outcome(INFEASIBLE, figures, (), *broken)
            if done >= first_check and (done - first_check) % CHECK_EVERY == 0:
                for rival in task.rivals:
                    if hopeless(rows[:done], rival.contributions):
                        estimate = _scaled_to(rows[:done], rival.contributions)
                        return outcome(PRUNED, figures, estimate, 0.0, f"stays dominated by trial {rival.number}")
        return outcome(FINISHED, figures, objectives_of(rows), 0.0, "")

    def _limit_broken(self, figures: Sequence[CaseFigures], rows: Floats, total: int) -> tuple[float, str] | None:
        """Violation and words once a limit is broken even if every remaining case adds nothing."""
        c = self.context.constraints
        limits = [(c.most_rms_kpa, 0, "pressure RMS", "kPa"), (c.most_wear_per_h, 1, "wear", "/h")]
        for limit, column, name, unit in limits:
            if limit is None:
                continue
            least = math.fsum(rows[:, column].tolist()) / total
            if (math.sqrt(least) if column == 0 else least) > limit:
                so_far = objectives_of(rows)[column]
                return so_far / limit - 1.0, f"{name} {so_far:.3g} {unit} so far, limit {limit:g} {unit}"
        if self.context.case_set.duty_kpa_abs is not None:
            warm_pct = math.fsum(f.too_warm_pct for f in figures)
            if warm_pct / total > c.too_warm_pct:
                so_far = warm_pct / len(figures)
                words = f"warmer than the duty for {so_far:.3g} % of the time so far, limit {c.too_warm_pct:g} %"
                return min(1.0, so_far / 100.0), words
        return None


def front_of(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """The finished feasible trials that no other dominates, by number; `dominates`, for all pairs at once."""
    finished = sorted((o for o in outcomes if o.status == FINISHED), key=lambda o: o.number)
    if not finished:
        return []
    values = np.array([o.objectives for o in finished])
    three, energy = values[:, :3], values[:, 3]
    no_worse = np.all(three[:, None] <= three[None], axis=2)
    better = no_worse & np.any(three[:, None] < three[None], axis=2)
    as_frugal = energy[:, None] <= energy[None] * (1.0 + ENERGY_RESOLUTION)
    saves = energy[:, None] * (1.0 + ENERGY_RESOLUTION) < energy[None]
    dominated = np.any((better & as_frugal) | (no_worse & ~better & saves), axis=0)
    return [o for o, bad in zip(finished, dominated.tolist(), strict=True) if not bad]
