"""The acceptance record as data: each requirement's verdict over all runs, and the run that came nearest to breaking it.

A requirement that no run exercised is told as such and never as held.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tools.verification.campaign import RunFindings
from tools.verification.findings import Finding, Verdict
from tools.verification.hunted import Hunted, HuntLine
from tools.verification.pack import Pack, Requirement

CAUTION = (
    "An engineering aid on a simulated plant, and no safety system. Hard-wired cut-outs, relief devices, the motor's own "
    "protection, local codes and licensed practice come first; nothing in this record replaces a test on the plant."
)
CAUTIONS = (
    CAUTION,
    "Held means: held in these runs, at these seeds, on this plant model, with this sheet. It is no proof for others.",
    "Not exercised means that no run brought about what the requirement is for: it is as good as not tested.",
    "A signature says that the person has read the line and answers for the plant; it does not make the line true.",
)
ORDER = (Verdict.FAILED, Verdict.NOT_EXERCISED, Verdict.NOT_APPLICABLE, Verdict.HELD)


@dataclass(frozen=True, slots=True)
class Line:
    """One requirement over all runs.

    run, finding: the failing run that broke it most, or else the one of least margin; None where it was never exercised.
    exercised: scenario and number of times, of every run that exercised it; failed: the scenarios that broke it.
    hunt: what the hunt says of it; None where there was none.
    """

    requirement: Requirement
    verdict: Verdict
    sentence: str
    run: RunFindings | None
    finding: Finding | None
    exercised: tuple[tuple[str, int], ...]
    failed: tuple[str, ...]
    reason: str
    hunt: HuntLine | None = None

    @property
    def margin_text(self) -> str:
        """Least margin with its unit; "kept" or "broken" where the deciding part has no number."""
        if self.finding is None:
            return "–" if self.verdict is not Verdict.HELD else "kept (no number)"
        return margin_text(self.finding)

    @property
    def times(self) -> int:
        """How many times it came to count, over all runs."""
        return sum(times for _, times in self.exercised)

    @property
    def excerpt(self) -> dict[str, Any] | None:
        """What happened round its moment."""
        return None if self.run is None else self.run.excerpts.get(self.requirement.id)


def margin_text(finding: Finding) -> str:
    """A margin as people read it.

    >>> margin_text(Finding("X", Verdict.HELD, 12.3456, "kPa"))
    '+12.35 kPa'
    """
    if finding.margin is None:
        return "broken (no number)" if finding.verdict is Verdict.FAILED else "kept (no number)"
    unit = "" if finding.unit == "1" else f" {finding.unit}"
    return f"{finding.margin:+.4g}{unit}"


def lines(pack: Pack, runs: Sequence[RunFindings], hunted: Hunted | None = None) -> list[Line]:
    """One line for each requirement, in the pack's order.  What a hunt broke is broken, whatever else was held."""
    shown = [*runs, *(hunted.replayed if hunted else ())]
    found = [_line(requirement, k, shown) for k, requirement in enumerate(pack.requirements)]
    return [_with_hunt(line, hunted.line(line.requirement.id)) for line in found] if hunted else found


def _with_hunt(line: Line, hunt: HuntLine) -> Line:
    if hunt.verdict != "broken" or line.verdict is Verdict.FAILED:
        return replace(line, hunt=hunt)
    reason = "broken in the hunt, and not when its file was played again: the controller does not answer the same twice"
    return replace(line, hunt=hunt, verdict=Verdict.FAILED, reason=reason)


def _line(requirement: Requirement, k: int, runs: Sequence[RunFindings]) -> Line:
    findings = [(run, run.findings[k]) for run in runs]
    counted = [(run, one) for run, one in findings if one.exercised]
    failed = [(run, one) for run, one in counted if one.verdict is Verdict.FAILED]
    worst = min(failed or counted, key=lambda pair: _nearness(pair[1]), default=None)
    verdict, reason = Verdict.HELD, ""
    if failed:
        verdict = Verdict.FAILED
    elif not counted:
        verdict = Verdict.NOT_EXERCISED
        reasons = sorted({one.reason for _, one in findings if one.reason})
        if all(one.verdict is Verdict.NOT_APPLICABLE for _, one in findings):
            verdict = Verdict.NOT_APPLICABLE
        reason = "; ".join(reasons)
    sentence = worst[0].sentences.get(requirement.id, "") if worst else ""
    if not sentence:
        sentence = next((run.sentences[requirement.id] for run in runs), requirement.text)
    return Line(
        requirement, verdict, sentence, worst[0] if worst else None, worst[1] if worst else None,
        tuple((run.scenario, one.exercised) for run, one in counted), tuple(run.scenario for run, _ in failed), reason,
    )  # fmt: skip


def _nearness(finding: Finding) -> float:
    """Sorts findings by how near they came to breaking, or how far they broke."""
    if finding.share is not None:
        return finding.share
    return -math.inf if finding.verdict is Verdict.FAILED else math.inf


def counts(found: Iterable[Line]) -> dict[Verdict, int]:
    """How many requirements have each verdict."""
    verdicts = [line.verdict for line in found]
    return {verdict: verdicts.count(verdict) for verdict in ORDER}
