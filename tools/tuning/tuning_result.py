"""Everything that a tuning run found, as plain records: what the report, the sheets and a comparison are made of.

A result is complete in itself: nothing in it points to an object of the run, and JSON carries it there and back
unchanged (`to_json`, `from_json`; what is no finite number stands as "Infinity", "-Infinity", "NaN").  Names end in their
units.  `settings` lists every setting of the chosen sheet by its attribute path; those that were searched are `tuned`.

Results are an engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from typing import Any

FORMAT_VERSION = 1
OBJECTIVES = ("pressure_rms_kpa", "wear_per_h", "starts_per_h", "energy_kwh_per_kwh")  # order of every `objectives`


@dataclass(frozen=True, slots=True)
class Bump:
    """A simulated bump test at a point of the map.

    Process found by the bump; `*_apart_*`: the bump on the whole plant against the same bump on the map's linearised plant,
    as shares of the latter; nan where one of the two is integrating.  flagged: the figures more than 10 % apart.
    flagged_form: those of the map's reduced first-order process: what a form misses, which no margin is taken from.
    With `why_not` no bump was possible and the rest is 0 or nan.
    """

    bump_pct: float
    slope_kpa_s_pct: float
    dead_time_s: float
    lag_s: float  # 0 where it found an integrator
    integrating: bool
    gain_apart_frac: float
    lag_apart_frac: float
    slope_apart_frac: float
    response_apart_frac: float
    dead_time_apart_s: float
    trace_error_frac: float
    flagged: tuple[str, ...]
    flagged_form: tuple[str, ...] = ()
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class MapRow:
    """A point and direction of the operating map: process of the capacity loop, bump test, margins of the chosen settings.

    `gain_kpa_pct` is None for an integrating process.  `controller_gain_pct_kpa` and the margins are of the chosen
    controller's linear loop there, margins from the unreduced response; nan where the controller has no such loop (a step
    control).  ms_spread: the worst corner of the parameter spread.
    """

    where: str
    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    direction: str  # "falling" (loading) or "rising"
    suction_pa: float
    discharge_pa: float
    load_w: float
    integrating: bool
    gain_kpa_pct: float | None
    slope_kpa_s_pct: float  # gain over the longest lag, or the integrator's
    dead_time_s: float
    lags_s: tuple[float, ...]
    fit_error_frac: float
    stroke_s: float
    measured: bool  # the process comes from the log that was given
    controller_gain_pct_kpa: float
    integral_s: float
    ms: float
    ms_spread: float
    gain_margin: float
    phase_margin_deg: float
    bump: Bump | None = None


@dataclass(frozen=True, slots=True)
class SkippedRow:
    """A point of the grid at which the plant cannot stand, and why."""

    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    reason: str


@dataclass(frozen=True, slots=True)
class RelayRow:
    """A simulated relay experiment against the map: ultimate gain and period of both, and of the plain reading.

    The experiment goes both ways; the map's figures are the geometric mean of its two directions there.
    """

    where: str
    ultimate_gain_pct_kpa: float
    ultimate_period_s: float
    map_ultimate_gain_pct_kpa: float
    map_ultimate_period_s: float
    describing_function_gain_pct_kpa: float
    describing_function_period_s: float
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """What a logged test on the plant gave, in words and figures; intervals are 95 % ones (None: not found)."""

    file: str
    sha256: str
    where: str  # the point of the map that it stands for
    form: str
    slope_kpa_s_pct: tuple[float, float, float]  # value, low, high
    dead_time_s: tuple[float, float, float]
    lag_s: tuple[float, float, float] | None
    model_slope_kpa_s_pct: float
    model_dead_time_s: float  # without drive and cabinet, as the log has it
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A published rule on the whole map: its settings as a schedule, its worst margins, and why it was not searched from.

    As the rule says, without regard to the limits on Ms; `holds` tells whether it keeps them anyway.  `trial` is its number
    in the search (None: it was not a start).
    """

    name: str
    proportional_band_kpa: float
    integral_s: float
    gain_multiplier: tuple[float, ...]  # at 0, 10 … 100 % position
    ms: float
    ms_spread: float
    gain_margin: float
    phase_margin_deg: float
    holds: bool
    trial: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ScheduleRow:
    """The gain schedule at a travel: what the chosen settings give, and the bounds that hold Ms there.

    Bounds are at the chosen integral time and drive zones, over all points of the map at the nearest travels; nan where no
    gain holds Ms.
    """

    position_pct: float
    gain_pct_kpa: float
    least_pct_kpa: float
    most_pct_kpa: float


@dataclass(frozen=True, slots=True)
class CouplingRow:
    """The two slides at a point: relative gain at rest and where the capacity loop works, Ms alone and with the other."""

    where: str
    capacity_travel_frac: float
    volume_ratio_travel_frac: float
    pressure_ratio: float
    direction: str
    relative_gain: float
    relative_gain_at_crossover: float  # magnitude
    through_path_kg_s: float
    ms_alone: float
    ms_coupled: float
    ms_shared_oil: float


@dataclass(frozen=True, slots=True)
class CycleRow:
    """A limit cycle: predicted, and as a simulation showed it.  Amplitudes are half of peak to peak; 0 for none.

    simulated_on: "small loop" (linear process with the cabinet's own blocks) or "whole plant".  error_frac is predicted
    over seen amplitude, less 1; nan where there is nothing to compare.
    """

    where: str
    predicted_amplitude_kpa: float
    predicted_period_s: float
    dies_out: bool
    why: str
    simulated_on: str
    seen_amplitude_kpa: float
    seen_period_s: float
    error_frac: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A candidate of the search.  objectives: in the order of OBJECTIVES, () where none were had; an estimate if pruned.

    status: "finished", "pruned" or "infeasible" (with `reason`).  origin: "search", or the name of a start ("sheet given",
    "SIMC", …).  values: searched settings by attribute path.  means: mean of each score over the cases.
    """

    number: int
    origin: str
    status: str
    on_front: bool
    objectives: tuple[float, ...]
    values: dict[str, float]
    means: dict[str, float]
    ms: float | None
    ms_spread: float | None
    cases_done: int
    reason: str = ""

    @property
    def feasible(self) -> bool:
        """Whether it was run on every case and keeps every limit."""
        return self.status == "finished"


@dataclass(frozen=True, slots=True)
class WeightRow:
    """What another weighting of the objectives would choose.  weights: in the order of OBJECTIVES, of relative changes."""

    name: str
    weights: tuple[float, ...]
    trial: int
    objectives: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class KnobRow:
    """A setting that the search could move, how far, and why so far; values in `unit`."""

    path: str
    low: float
    high: float
    log: bool
    why: str


@dataclass(frozen=True, slots=True)
class Search:
    """One study: all its trials by number, what was chosen and why."""

    controller: str
    trials: tuple[Trial, ...]
    knobs: tuple[KnobRow, ...]
    chosen: int  # number of a trial on the front
    reason: str  # the rule of choice and what it said, in words
    weights: tuple[WeightRow, ...]
    budget: str
    spent_s: float
    scenarios: int
    draws: int
    simulated_h_per_trial: float

    @property
    def front(self) -> tuple[Trial, ...]:
        """The trials that no other beats."""
        return tuple(t for t in self.trials if t.on_front)

    @property
    def chosen_trial(self) -> Trial:
        """The one that was chosen."""
        return next(t for t in self.trials if t.number == self.chosen)


@dataclass(frozen=True, slots=True)
class Between:
    """A figure with its 95 % interval; nan where it cannot be had."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FailureBound:
    """How many unseen cases failed, and at most what share of all such cases does, at `confidence` (exact, one-sided)."""

    name: str
    failures: int
    cases: int
    confidence: float
    at_most_frac: float


@dataclass(frozen=True, slots=True)
class ProofRow:
    """The chosen settings against one rival on the same unseen cases.  Ratios below 1 and differences below 0 are better.

    means and rival_means: mean of each score over the cases that could be scored.
    """

    rival: str  # "tuned three_position", "three_position, default sheet", "sheet given"
    rival_controller: str
    rms_ratio: Between
    reversals_ratio: Between
    operations_ratio: Between
    wear_ratio: Between
    energy_difference_pct: Between
    means: dict[str, float]
    rival_means: dict[str, float]
    rival_bounds: tuple[FailureBound, ...]


@dataclass(frozen=True, slots=True)
class ProofOutcome:
    """The chosen settings on the unseen cases, and the rows against the rivals."""

    cases: int
    new_scenarios: bool  # no scenario file of the search among them
    scenarios: int
    bounds: tuple[FailureBound, ...]  # of the chosen settings
    rows: tuple[ProofRow, ...]
    failures: tuple[str, ...] = ()  # what went wrong where, in words


@dataclass(frozen=True, slots=True)
class Effect:
    """What one step of a setting does to a score: change in %, its interval, and whether it is told from noise."""

    score: str
    change_pct: Between
    told_from_noise: bool


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting of the chosen sheet.  Values are in `unit` ("" for a word or a plain number), a table as a tuple.

    why: what the field says of itself.  because: where the value comes from ("searched", "as in the sheet given", …).
    """

    path: str
    key: str  # as the sheet has it, with its tables
    unit: str
    low: float | None
    high: float | None
    value: float | str | tuple[float, ...]
    previous: float | str | tuple[float, ...]
    why: str
    because: str
    tuned: bool
    effects: tuple[Effect, ...] = ()


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that went in."""

    role: str  # "plant", "sheet given", "scenario", "unseen scenario", "log"
    title: str
    path: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Provenance:
    """What the result came from; enough to repeat it."""

    command: str
    files: tuple[SourceFile, ...]
    seed: int
    versions: dict[str, str]
    sources: str  # hash of the code that ran
    spread: dict[str, float]  # of the margins: gain_frac, dead_time_frac, lag_frac
    ms_limit: float
    ms_spread_limit: float
    sheet_given: str  # path, or "defaults for this plant"
    sheet_given_checksum: str
    chosen_checksum: str
    finished_utc: str


@dataclass(frozen=True, slots=True)
class TuningResult:
    """All of it."""

    title: str
    plant_title: str
    refrigerant: str
    controller: str
    map_points: tuple[MapRow, ...]
    skipped_points: tuple[SkippedRow, ...]
    relays: tuple[RelayRow, ...]
    measured: tuple[MeasuredRow, ...]
    rules: tuple[RuleRow, ...]
    schedule: tuple[ScheduleRow, ...]  # () where the controller has none
    coupling: tuple[CouplingRow, ...]
    coupling_words: str
    cycles: tuple[CycleRow, ...]
    search: Search
    baseline: Search
    proof: ProofOutcome
    settings: tuple[SettingRow, ...]
    provenance: Provenance
    warnings: tuple[str, ...]
    not_tested: tuple[str, ...]
    format_version: int = FORMAT_VERSION


def plain(value: Any) -> Any:
    """Records, tuples and figures as JSON has them; what is no finite number becomes a word."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else "Infinity" if value > 0.0 else "-Infinity"
    return value


def to_json(record: Any) -> str:
    """A record of this module (or a tuple of them) as JSON that any reader takes."""
    return json.dumps(plain(record), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


@cache
def _adapter(kind: Any) -> Any:
    from pydantic import TypeAdapter  # 0.2 s: only who reads waits

    return TypeAdapter(kind)


def from_json(kind: Any, text: str) -> Any:
    """The record of type `kind` (a tuple of records as `tuple[MapRow, ...]`).  ValueError for anything else."""
    return _adapter(kind).validate_python(json.loads(text))


def read_result(text: str) -> TuningResult:
    """A whole result from its JSON.  ValueError for another format or what is none."""
    data = json.loads(text)
    found = data.get("format_version") if isinstance(data, dict) else None
    if found != FORMAT_VERSION:
        raise ValueError(f"no tuning result of format {FORMAT_VERSION}: {found!r}")
    result: TuningResult = _adapter(TuningResult).validate_python(data)
    return result
