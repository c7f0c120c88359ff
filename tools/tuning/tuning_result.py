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

from tools.tuning.map_rows import (
    Bump,
    CouplingRow,
    CycleRow,
    MapRow,
    MeasuredRow,
    RelayRow,
    RuleRow,
    ScheduleRow,
    SkippedRow,
)

__all__ = [
    "FORMAT_VERSION",
    "OBJECTIVES",
    "Between",
    "Bump",
    "CouplingRow",
    "CycleRow",
    "Effect",
    "FailureBound",
    "KnobRow",
    "MapRow",
    "MeasuredRow",
    "ProofOutcome",
    "ProofRow",
    "Provenance",
    "RelayRow",
    "RuleRow",
    "ScheduleRow",
    "Search",
    "SettingRow",
    "SkippedRow",
    "SourceFile",
    "Trial",
    "TuningResult",
    "WeightRow",
    "from_json",
    "plain",
    "read_result",
    "to_json",
]

FORMAT_VERSION = 1
OBJECTIVES = ("pressure_rms_kpa", "wear_per_h", "starts_per_h", "energy_kwh_per_kwh")  # order of every `objectives`


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
