"""What a run says about each requirement: the one call that everybody makes who has a trace.

    pack = load_pack()
    for finding in evaluate(pack, trace, settings):
        print(finding.id, finding.verdict, finding.margin, finding.unit, finding.time_ms)

An engineering aid and no safety system: a requirement that was held in these runs is a statement about these runs.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import numpy as np

from tools.verification.deciding import decides
from tools.verification.horizons import horizon_ms
from tools.verification.late_scans import excused
from tools.verification.monitor import Monitor, NotApplicable, Truth, shown
from tools.verification.sorts import find_setting
from tools.verification.term import Term

if TYPE_CHECKING:
    from scenarios.trace import Trace
    from tools.verification.pack import Pack, Requirement


class Verdict(StrEnum):
    """What a run says about a requirement."""

    HELD = "held"
    FAILED = "failed"
    NOT_EXERCISED = "not exercised"  # its `when` did not come about
    NOT_APPLICABLE = "not applicable"  # another setting, a setting that is not told, or a run too short


@dataclass(frozen=True, slots=True)
class Finding:
    """One requirement on one run.

    margin: least distance from breaking it, in `unit`, over the scans in which it counts; negative where it was broken;
    None where what decides has no number (a state, a drive, an edge).
    time_ms: the scan of the least margin; where there is no number, the first in which it was broken, or else counted.
    failed_ms: the first scan in which it was broken, or None; exercised: how many times it came to count (stretches of
    scans); clause: the comparison that decided; reason: why it is not applicable; share: the margin divided by the scale
    of its dimension, for comparing margins of different units.
    """

    id: str
    verdict: Verdict
    margin: float | None = None
    unit: str = ""
    time_ms: int | None = None
    failed_ms: int | None = None
    exercised: int = 0
    clause: str = ""
    reason: str = ""
    share: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {**asdict(self), "verdict": str(self.verdict)}


def evaluate(pack: Pack, trace: Trace, settings: Any, *scenarios: str) -> list[Finding]:
    """Judge every requirement of a pack on a run logged at every scan, in the pack's order.

    settings: a shipped controller's settings record, whose limits the requirements ask for; None where nobody tells
    them: what needs one is then not applicable.  scenarios: the file's name, and that of the scenario that it was made
    from, for requirements meant for some only.
    """
    try:
        monitor = Monitor(trace, settings)
    except NotApplicable as reason:
        return [Finding(one.id, Verdict.NOT_APPLICABLE, reason=str(reason)) for one in pack.requirements]
    return [judge(monitor, one, *scenarios) for one in pack.requirements]


def judge(monitor: Monitor, requirement: Requirement, *scenarios: str) -> Finding:
    """Judge one requirement."""
    name = requirement.id
    if not requirement.applies_to(*scenarios):
        return Finding(name, Verdict.NOT_APPLICABLE, reason="it is not meant for this scenario")
    try:
        if requirement.only_if is not None and not monitor.truth(requirement.only_if).holds[0]:
            return Finding(name, Verdict.NOT_APPLICABLE, reason="the settings sheet has it otherwise")
        truth = monitor.truth(requirement.formula)
        when = None if requirement.when is None else monitor.truth(requirement.when)
    except NotApplicable as reason:
        return Finding(name, Verdict.NOT_APPLICABLE, reason=str(reason))
    n = len(truth.holds) if when is None else min(len(truth.holds), len(when.holds))
    counts = np.ones(n, dtype=np.bool_) if when is None else when.holds[:n]
    if monitor.late:
        ahead_ms = max(
            horizon_ms(t, monitor.settings) for t in (requirement.formula, requirement.when) if t is not None
        )
        counts = counts & ~excused(monitor.trace["time_ms"][:n], monitor.late, ahead_ms)
    places = np.flatnonzero(counts)
    if not len(places):
        return Finding(name, Verdict.NOT_EXERCISED)
    exercised = 1 + int(np.count_nonzero(np.diff(places) > 1))
    broken = places[~truth.holds[places]]
    margin, unit, place, clause = _least(monitor, requirement, truth, broken if len(broken) else places)
    share = None if margin is None or truth.margin is None else float(truth.margin[place])
    return Finding(
        name,
        Verdict.FAILED if len(broken) else Verdict.HELD,
        margin,
        unit,
        _time_ms(monitor, place),
        _time_ms(monitor, int(broken[0])) if len(broken) else None,
        exercised,
        clause,
        share=share,
    )


def _least(monitor: Monitor, requirement: Requirement, truth: Truth, places: Any) -> tuple[float | None, str, int, str]:
    """Least margin over these scans with its unit, its scan and the clause that sets it."""
    first = int(places[0])
    if truth.margin is None:
        return None, "", first, ""
    margins = truth.margin[places]
    place = int(places[int(np.argmin(margins))])
    margin = float(truth.margin[place])
    clause = decides(monitor, requirement.formula, place)
    if clause is None or not math.isfinite(margin):
        return None, "", place, "" if clause is None else clause.term.said
    sort = clause.term.parts[0].sort
    value, unit = shown(sort, margin * sort.scale)
    if sort.dimension == "number" and not is_share(clause.term):
        value, unit = margin, "1"
    return float(f"{value:.12g}") + 0.0, unit, place, clause.term.said


def is_share(term: Term) -> bool:
    """Whether a number is a share that people read in %: counts and ratios are not."""
    names = any(name.endswith("_frac") for name in term.columns())
    return names or any(find_setting(name).rule.unit == "%" for name in term.settings())


def _time_ms(monitor: Monitor, place: int) -> int:
    return round(monitor.first_ms + place * monitor.scan_ms)
