"""The search of one controller within a tuning run: its space, its starts, its limits, and its trials as rows.

Every controller gets the same cases, chance, budget, population and rule of choice.  A law with a linear loop is held to
the limits on Ms over the map, before a case is simulated; a step control has none and is free of them.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from controller.model_based import ModelBasedSettings
from controller.scheduled_pi import ScheduledPiSettings
from tools.tuning.budget import Budget
from tools.tuning.cases import Bench, CaseSet
from tools.tuning.choice import Choice, choose
from tools.tuning.executors import Executor, InProcess, LocalProcesses
from tools.tuning.held import Held
from tools.tuning.map_loops import MapLoops, has_linear_loop
from tools.tuning.reference import Limits
from tools.tuning.rule_points import PiPoint
from tools.tuning.slide_zones import Zones
from tools.tuning.space import Knob, space_of
from tools.tuning.study import Plan, Start, StudyResult, Watch, run_study
from tools.tuning.trials import INFEASIBLE, Constraints, Context, Outcome
from tools.tuning.tuning_result import KnobRow, Search, Trial

CLOSE_FRAC = 0.4  # of the sheet's zones of the drive: a move goes one way, so narrow zones do not make it hunt
LEAST_ZONE_PCT = 1.2  # half as much again as the shortest pulse of the demo plant moves
PATIENT, QUICK, QUIET = 1.5, 0.7, 1.4  # times the turn zone, the return times, the observer time
GIVEN = "sheet given"


class NothingFeasible(Exception):
    """No candidate keeps every limit; the message says what stands in the way most often."""


@dataclass(frozen=True, slots=True)
class Found:
    """A finished search: rows for the result, the choice, and the settings of any trial."""

    search: Search
    choice: Choice
    plan: Plan
    front: tuple[Outcome, ...]

    @property
    def settings(self) -> Any:
        """The chosen settings."""
        return self.settings_of(self.choice.outcome.vector)

    def settings_of(self, vector: Sequence[float]) -> Any:
        """The settings of a trial."""
        return self.plan.context.space.settings(vector)


def pi_starts(base: ScheduledPiSettings, points: Sequence[PiPoint], zones: Zones | None) -> tuple[Start, ...]:
    """Starts of a scheduled PI round `base`, whose table is the fitted schedule's.

    The table is no knob, so a rule's band is made as wide as its own table asks at the position where it is gentlest.
    """
    out = []
    for point in points:
        shares = [ours / theirs for ours, theirs in zip(base.pi.gain_multiplier, point.gain_multiplier, strict=True)]
        band = point.proportional_band_kpa * max(shares)
        law = replace(base.pi, proportional_band_kpa=band, integral_time_ms=point.integral_time_ms)
        out.append(Start(point.name, replace(base, pi=law)))
    if zones is not None and out:
        settings = out[0].settings
        capacity = replace(settings.common.capacity, drive=zones.on(settings.common.capacity.drive))
        common = replace(settings.common, capacity=capacity)
        out.insert(1, Start("fitted schedule, zones that rest", replace(settings, common=common)))
    return tuple(out)


def model_starts(base: ModelBasedSettings) -> tuple[Start, ...]:
    """Starts of the model-based law: the sheet with narrow zones of the drive, and that more patient, quicker, quieter."""
    capacity, m = base.common.capacity, base.model
    zone_pct = max(LEAST_ZONE_PCT, CLOSE_FRAC * capacity.drive.neutral_zone_pct)
    drive = replace(capacity.drive, neutral_zone_pct=zone_pct, reversal_zone_pct=zone_pct)
    common = replace(base.common, capacity=replace(capacity, drive=drive))
    models = {
        "narrow zones of the drive": m,
        "narrow zones, turns later": replace(m, turn_zone_kpa=PATIENT * m.turn_zone_kpa),
        "narrow zones, turns earlier": replace(m, turn_zone_kpa=max(m.turn_zone_kpa / PATIENT, m.hold_zone_kpa)),
        "narrow zones, quicker return": replace(
            m, return_time_ms=int(QUICK * m.return_time_ms), far_return_time_ms=int(QUICK * m.far_return_time_ms)
        ),
        "narrow zones, quieter observer": replace(m, observer_time_ms=int(QUIET * m.observer_time_ms)),
    }
    return tuple(Start(name, replace(base, common=common, model=model)) for name, model in models.items())


def plan_of(
    cases: CaseSet, starts: Sequence[Start], loops: MapLoops | None, population: int, reach: Limits | None = None
) -> Plan:
    """The study: every knob of the controller, its starts, and Ms where the law has a linear loop."""
    base = cases.base
    sensitivity = loops if loops is not None and has_linear_loop(base) else None
    reach = reach or Limits()
    limits = Constraints(
        sensitivity=sensitivity, most_rms_kpa=reach.most_rms_kpa, most_wear_per_h=reach.most_wear_per_h
    )
    held = Held(sensitivity, limits.ms_nominal, limits.ms_spread)
    space = space_of(cases.controller, base, [s.settings for s in starts], repair=held)
    return Plan(Context(cases, space, limits), tuple(starts), population)


def folder_of(work: Path, plan: Plan) -> Path:
    """A folder for exactly this study: with other inputs it is another one, and the old one stays."""
    facts = json.dumps(plan.facts(), sort_keys=True).encode()
    return work / f"search_{plan.context.case_set.controller}_{hashlib.sha256(facts).hexdigest()[:10]}"


def executor_maker(jobs: int, cluster: str) -> Callable[[Context], Executor]:
    """Who computes the trials."""
    if cluster:

        def on_cluster(context: Context) -> Executor:
            from tools.tuning.cluster import Cluster

            return Cluster(context, cluster)

        return on_cluster
    return (lambda context: LocalProcesses(context, jobs)) if jobs > 1 else InProcess


def run_search(
    plan: Plan, work: Path, budget: Budget, make: Callable[[Context], Executor],
    watched: Callable[[str], AbstractContextManager[Watch]],
) -> Found:  # fmt: skip
    """Search, or go on where a former run was, and choose.  NothingFeasible where no candidate keeps the limits."""
    controller = plan.context.case_set.controller
    with watched(controller) as watch:
        result = run_study(plan, folder_of(work, plan), budget, make, watch)
    if not result.front:
        raise NothingFeasible(_why_nothing(plan, result))
    choice = choose(result.front)
    return Found(_search(plan, result, choice, budget), choice, plan, result.front)


def _why_nothing(plan: Plan, result: StudyResult) -> str:
    reasons: dict[str, int] = {}
    for outcome in result.outcomes:
        if outcome.status == INFEASIBLE:
            reasons[outcome.reason] = reasons.get(outcome.reason, 0) + 1
    worst = sorted(reasons.items(), key=lambda item: -item[1])[:3]
    told = "; ".join(f"{count} × {reason}" for reason, count in worst)
    return (
        f"none of {len(result.outcomes)} candidates of {plan.context.case_set.controller} keeps every limit ({told}); "
        f"no sheet was written. {_what_happens(plan)}"
    )


def _what_happens(plan: Plan) -> str:
    """What the sheet to begin with does on the first case that it fails, in words."""
    bench = Bench(plan.context.case_set)
    for case in bench.cases:
        trace, fault = bench.watch(case, plan.context.case_set.base)
        causes = [e.text.rsplit(" → ", 1)[-1] for e in trace.events if e.source == "trip_first_out"]
        tripped = [c.replace("_", " ").lower() for c in causes if c != "NONE"]
        if not fault and not tripped:
            continue
        title = bench.set.prepared[case.scenario].scenario.title
        words = fault or f"trip: {', '.join(dict.fromkeys(tripped))}"
        return (
            f'With the settings to begin with "{title}" ends so: {words}. Trips and limits are not searched: give a sheet '
            "whose trips suit the plant (--settings), or scenarios without that fault."
        )
    return "A larger budget may help: the settings to begin with trip nowhere."


def _search(plan: Plan, result: StudyResult, choice: Choice, budget: Budget) -> Search:
    cases = plan.context.case_set
    on_front = {o.number for o in result.front}
    return Search(
        controller=cases.controller,
        trials=tuple(_trial(o, result.start_names, o.number in on_front) for o in result.outcomes),
        knobs=tuple(_knob(k) for k in plan.context.space.knobs),
        chosen=choice.outcome.number,
        reason=choice.reason,
        weights=choice.weights,
        budget=budget.text,
        spent_s=result.spent_s,
        scenarios=len(cases.prepared),
        draws=cases.draws,
        simulated_h_per_trial=cases.simulated_s / 3600.0,
    )


def _trial(o: Outcome, names: dict[int, str], on_front: bool) -> Trial:
    ms = o.ms or (None, None)
    return Trial(
        o.number, names.get(o.number, "search"), o.status, on_front, o.objectives,
        {name: float(v) for name, v in o.values.items()}, o.means, ms[0], ms[1], o.cases_done, o.reason,
    )  # fmt: skip


def _knob(k: Knob) -> KnobRow:
    return KnobRow(k.name, k.low, k.high, k.log, k.why)
