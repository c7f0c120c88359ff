"""A whole tuning run, stage by stage; every stage's result is kept, so the same command goes on where it was ended.

    read → map → bump and relay tests → logs → rules and schedule → zones → search (controller, baseline) → choice
    → proof on unseen cases → sensitivity of the scores → limit cycles and coupling of what was chosen → sheets and result

Results are an engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Protocol

from controller.model_based import ModelBasedSettings
from controller.scheduled_pi import ScheduledPiSettings
from scenarios.errors import InputRefused, Problem
from scenarios.record_tables import values_of
from tools.tuning.case_files import search_cases, search_scenarios, unseen_cases, unseen_scenarios
from tools.tuning.cases import CaseSet
from tools.tuning.cycle_check import SHARES, cycle_row, steady_bench
from tools.tuning.effects_stage import effects_stage
from tools.tuning.gain_schedule import ScheduleError
from tools.tuning.linear_process import PiSettings
from tools.tuning.map_analysis import (
    PlantMap,
    bump_row,
    coupling_rows,
    point_rows,
    relay_places,
    relay_row,
    skipped_rows,
    with_margins,
)
from tools.tuning.map_loops import MapLoops
from tools.tuning.measured_map import measured
from tools.tuning.operating_map import MapPoint
from tools.tuning.proof_run import Entrant, play_all, proof_outcome
from tools.tuning.reference import Limits, base_objectives, limits_of
from tools.tuning.rule_points import RULE_PARTS, RulePart, RulePoints, joined, rule_part
from tools.tuning.score_effects import ScoreEffects
from tools.tuning.search_stage import Found, executor_maker, model_starts, pi_starts, plan_of, run_search
from tools.tuning.slide_speed import refuse_slow_slides
from tools.tuning.slide_zones import Zones, choose_zones
from tools.tuning.stage_files import StageFiles
from tools.tuning.study import Start, Watch, check_budget
from tools.tuning.tuning_inputs import BASELINE, TuningInputs
from tools.tuning.tuning_result import (
    Bump,
    CouplingRow,
    CycleRow,
    MapRow,
    MeasuredRow,
    ProofOutcome,
    RelayRow,
    SkippedRow,
)

DEFAULT_SHEET = f"{BASELINE}, default sheet"
TUNED_BASELINE = f"{BASELINE}, tuned"
SHEET_GIVEN = "sheet given"
LEAST_AMPLITUDE_KPA = 1.0


class Progress(Protocol):
    """Who is told how the run goes."""

    def stage(self, words: str) -> AbstractContextManager[Callable[[float], None]]:
        """A stage begins; the callback takes the share done."""
        ...

    def study(self, controller: str) -> AbstractContextManager[Watch]:
        """A search begins."""
        ...


@dataclass(frozen=True)
class Tuned:
    """All that a run found, still with its settings as records."""

    inputs: TuningInputs
    map_points: tuple[MapRow, ...]
    skipped: tuple[SkippedRow, ...]
    relays: tuple[RelayRow, ...]
    measured: tuple[MeasuredRow, ...]
    rules: RulePoints | None
    bounds: tuple[
        tuple[float, float, float], ...
    ]  # of the chosen PI's gain: travel in %, least, most; () for another law
    coupling: tuple[CouplingRow, ...]
    coupling_words: str
    cycles: tuple[CycleRow, ...]
    chosen: Found
    baseline: Found
    search_base: Any  # the settings that the knobs were laid over
    proof: ProofOutcome
    effects: ScoreEffects
    unseen_files: tuple[Path, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Map:
    rows: tuple[MapRow, ...]
    skipped: tuple[SkippedRow, ...]
    relays: tuple[RelayRow, ...]
    measured: tuple[MeasuredRow, ...]
    loops: MapLoops


def run_tuning(inputs: TuningInputs, work: Path, progress: Progress) -> Tuned:
    """The whole run.  `work` keeps the stages.

    InputRefused for what cannot be tuned, NothingFeasible where no candidate keeps the limits.
    """
    stages, plant_map, notes = StageFiles(work), PlantMap(inputs), list(inputs.notes)
    files = search_scenarios(inputs, work)
    cases = search_cases(inputs, files, inputs.controller, inputs.base)
    check_budget(plan_of(cases, (), None, inputs.effort.population).context, inputs.budget)
    found = _map_stage(inputs, stages, plant_map, progress)
    rules, base = _rules_stage(inputs, stages, plant_map, found.loops, progress, notes)
    zones = _zones_stage(inputs, base, stages, plant_map, notes, progress)
    make = executor_maker(inputs.jobs, inputs.cluster)
    starts = _starts(inputs, base, rules, zones)
    cases = replace_base(cases, base)
    rivals = () if inputs.controller == BASELINE else (search_cases(inputs, files, BASELINE, inputs.baseline),)
    reach = _reach((cases, *rivals), stages, progress)
    baseline: Found | None = None
    for other in rivals:
        rival = plan_of(other, (), None, inputs.effort.population, reach)
        baseline = run_search(rival, work, inputs.budget, make, progress.study)
    plan = plan_of(cases, starts, found.loops, inputs.effort.population, reach)
    chosen = run_search(plan, work, inputs.budget, make, progress.study)
    baseline = baseline or chosen
    unseen = unseen_scenarios(inputs, work)
    proof = _proof_stage(inputs, cases, unseen, chosen, baseline, stages, progress)
    with progress.stage("sensitivity of the scores") as told:
        effects = effects_stage(chosen.plan, chosen.choice.outcome.vector, stages, make, told)
    coupling, words, cycles = _chosen_on_the_map(inputs, chosen.settings, rules, stages, plant_map, progress, work)
    return Tuned(
        inputs=inputs,
        map_points=with_margins(found.rows, found.loops, chosen.settings),
        skipped=found.skipped,
        relays=found.relays,
        measured=found.measured,
        rules=rules,
        bounds=_bounds(chosen.settings, found.loops, stages),
        coupling=coupling,
        coupling_words=words,
        cycles=cycles,
        chosen=chosen,
        baseline=baseline,
        search_base=base,
        proof=proof,
        effects=effects,
        unseen_files=unseen,
        notes=tuple(notes),
    )


def _bounds(settings: Any, loops: MapLoops, stages: StageFiles) -> tuple[tuple[float, float, float], ...]:
    if not isinstance(settings, ScheduledPiSettings):
        return ()
    key = {"loops": loops.fingerprint, "settings": values_of(settings)}
    found: tuple[tuple[float, float, float], ...] = stages.have(
        "gain_bounds", key, tuple[tuple[float, float, float], ...], lambda: tuple(loops.gain_bounds(settings))
    )
    return found


def _reach(sets: tuple[CaseSet, ...], stages: StageFiles, progress: Progress) -> Limits:
    key = {"studies": [plan_of(cases, (), None, 1).facts() for cases in sets]}
    kind = tuple[float, float] | None
    with progress.stage("the settings to begin with") as told:
        return limits_of(stages.each("reach", key, kind, len(sets), lambda k: base_objectives(sets[k]), told))


def replace_base(cases: Any, base: Any) -> Any:
    """The same cases under other settings to begin with; the start states stay those of the common set point."""
    return replace(cases, base=base, prepared=tuple(replace(p, settings=base) for p in cases.prepared))


def _map_key(inputs: TuningInputs) -> dict[str, Any]:
    capacity = inputs.base.common.capacity
    return {
        "plant": inputs.plant.sha256,
        "grid": inputs.effort.grid(inputs.evaporating_k),
        "capacity": capacity,
        "suction_hold_kpa_abs": inputs.base.common.inhibit.suction_hold_kpa_abs,
    }


def _map_stage(inputs: TuningInputs, stages: StageFiles, plant_map: PlantMap, progress: Progress) -> _Map:
    key = _map_key(inputs)
    rows = stages.find("map", key, tuple[MapRow, ...])
    arrays = stages.find_arrays("map_loops", key)
    if rows is None or arrays is None:
        with progress.stage("operating map") as told:
            plant_map.progress = told
            refuse_slow_slides(plant_map.points, inputs.base, str(inputs.plant.path))
            plant_map.progress = None
        loops = MapLoops.of(plant_map.points)
        rows = point_rows(plant_map.points)
        stages.keep("map_skipped", key, skipped_rows(plant_map.map))
        stages.keep_arrays("map_loops", key, loops.arrays())
        stages.keep("map", key, rows)
    else:
        loops = MapLoops.from_arrays(arrays)
    skipped = stages.have("map_skipped", key, tuple[SkippedRow, ...], lambda: skipped_rows(plant_map.map))
    with progress.stage("bump tests on the simulated plant") as told:
        bumps = stages.each("bumps", key, Bump, len(rows), lambda k: bump_row(plant_map.points[k]), told)
    with progress.stage("relay experiments") as told:
        places = relay_places(rows, inputs.effort.relays)
        relays = stages.each(
            "relays", {**key, "places": places}, RelayRow, len(places),
            lambda k: relay_row([plant_map.points[i] for i in places[k]]), told,
        )  # fmt: skip
    rows = tuple(replace(row, bump=bump) for row, bump in zip(rows, bumps, strict=True))
    found: list[MeasuredRow] = []
    points: tuple[MapPoint, ...] | None = None
    for path, first in zip(inputs.log_files, inputs.logs, strict=True):
        points, loops, rows, row = measured(
            path, first, inputs.plant.site, inputs.plant.refrigerant, points or plant_map.points, loops, rows
        )
        found.append(row)
    if points is not None:
        plant_map.correct(points)
    return _Map(rows, skipped, relays, tuple(found), loops)


def _rules_stage(
    inputs: TuningInputs, stages: StageFiles, plant_map: PlantMap, loops: MapLoops, progress: Progress,
    notes: list[str],
) -> tuple[RulePoints | None, Any]:  # fmt: skip
    """Rules and schedule, and the settings to search round: the sheet's, a scheduled PI with the fitted table."""
    base = inputs.base
    law = base if isinstance(base, ScheduledPiSettings) else None
    if law is None:  # the rules are of a PI; another law is still shown against them
        law = ScheduledPiSettings(common=base.common)
    key = {**_map_key(inputs), "pi": law.pi, "loops": loops.fingerprint}
    try:
        with progress.stage("rules and gain schedule") as told:
            parts = stages.each(
                "rules", key, RulePart, RULE_PARTS, lambda k: rule_part(k, plant_map.map, loops, law), told
            )
            found = joined(parts)
    except ScheduleError as error:
        if isinstance(base, ScheduledPiSettings):
            raise InputRefused(
                Problem(
                    f"no settings of a scheduled PI are stable enough over the map: {error}",
                    file=str(inputs.plant.path),
                    way_out="a faster slide drive or a shorter pause; or look at another controller",
                )
            ) from error
        notes.append(f"no scheduled PI holds the limits on this plant: {error}")
        return None, base
    if isinstance(base, ScheduledPiSettings):
        table: Any = found.starts[0].gain_multiplier
        base = replace(base, pi=replace(base.pi, gain_multiplier=table))
    return found, base


def _zones_stage(
    inputs: TuningInputs, base: Any, stages: StageFiles, plant_map: PlantMap, notes: list[str], progress: Progress
) -> Zones | None:
    """Zones of the positioner at the map's liveliest point, for a start of the search; None where none keep quiet."""
    if not isinstance(base, ScheduledPiSettings):
        return None
    key = {**_map_key(inputs), "settings": values_of(base), "step": "zones"}
    kept = stages.find("zones", key, tuple[float, ...])
    if kept is None:
        with progress.stage("zones of the positioner"):
            try:
                kept = _zones(base, plant_map)
            except InputRefused as error:
                notes.append(f"limit cycle at the liveliest point of the map: {error.problems[0]}")
                kept = ()
        stages.keep("zones", key, kept)
    if not kept:
        return None
    from tools.tuning.slide_loop import Seen
    from tools.tuning.slide_zones import Prediction

    nothing = Seen(0.0, 0.0, 0.0, 0.0, 0.0)
    return Zones(kept[0], kept[1], int(kept[2]), Prediction(None, False, ""), nothing, float("nan"))


def _zones(base: ScheduledPiSettings, plant_map: PlantMap) -> tuple[float, ...]:
    from tools.tuning.gain_schedule import scheduled_gain_pct_kpa

    point = plant_map.map.worst(lambda p: p.process.gain if not p.process.integrating else float("inf"))
    pi = PiSettings(
        scheduled_gain_pct_kpa(base.pi, 100.0 * point.capacity_travel_frac), 0.001 * base.pi.integral_time_ms
    )
    limit_kpa = max(LEAST_AMPLITUDE_KPA, base.pi.rest_zone_kpa)
    drive = base.common.capacity.drive
    found = choose_zones(point.process, pi, drive, limit_kpa, base.pi.rest_zone_kpa)
    return (found.neutral_zone_pct, found.reversal_zone_pct, float(found.minimum_pulse_ms))


def _starts(inputs: TuningInputs, base: Any, rules: RulePoints | None, zones: Zones | None) -> tuple[Start, ...]:
    if isinstance(base, ScheduledPiSettings) and rules is not None:
        return pi_starts(base, rules.starts, zones)
    if isinstance(base, ModelBasedSettings):
        return model_starts(base)
    return ()


def _proof_stage(
    inputs: TuningInputs, search: Any, unseen: tuple[Path, ...], chosen: Found, baseline: Found, stages: StageFiles,
    progress: Progress,
) -> ProofOutcome:  # fmt: skip
    """The chosen settings against the tuned baseline, the baseline's defaults and the sheet given."""
    mine = unseen_cases(inputs, unseen, inputs.controller, inputs.base)
    theirs = unseen_cases(inputs, unseen, BASELINE, inputs.baseline)
    entrants = [Entrant("chosen", mine, chosen.settings)]
    if inputs.controller != BASELINE:
        entrants.append(Entrant(TUNED_BASELINE, theirs, baseline.settings))
        entrants.append(Entrant(DEFAULT_SHEET, theirs, inputs.baseline))
    entrants.append(Entrant(SHEET_GIVEN, mine, inputs.base))
    with progress.stage(f"proof on {len(mine.cases())} unseen cases") as told:
        figures = play_all(entrants, stages, inputs.jobs, told)
    return proof_outcome(search, entrants, figures)


def _chosen_on_the_map(
    inputs: TuningInputs, settings: Any, rules: RulePoints | None, stages: StageFiles, plant_map: PlantMap,
    progress: Progress, work: Path,
) -> tuple[tuple[CouplingRow, ...], str, tuple[CycleRow, ...]]:  # fmt: skip
    """Coupling and limit cycles under the chosen settings."""
    key = {**_map_key(inputs), "settings": values_of(settings)}
    law = settings.pi if isinstance(settings, ScheduledPiSettings) else None
    if law is None and rules is not None:  # coupling is reckoned for a PI: the fitted one stands in
        law = rules.starts[0].on(ScheduledPiSettings(common=settings.common)).pi
    rows: tuple[CouplingRow, ...] = ()
    words = ""
    if law is not None:
        schedule = law
        with progress.stage("coupling of the two slides"):
            rows, words = stages.have(
                "coupling",
                key,
                tuple[tuple[CouplingRow, ...], str],
                lambda: coupling_rows(plant_map.points, settings.common.volume_ratio, schedule),
            )
    with progress.stage("limit cycles") as told:
        bench = cache(lambda: steady_bench(inputs, settings, work))  # made only where a place is missing
        each = stages.each(
            "cycles", key, tuple[CycleRow, ...], len(SHARES[: inputs.effort.cycles]),
            lambda k: cycle_row(k, plant_map.points, settings, inputs, bench()), told,
        )  # fmt: skip
    return rows, words, tuple(row for rows_there in each for row in rows_there)
