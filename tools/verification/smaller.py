"""The smallest scenario that still breaks a requirement: events are left out, then the end that decides nothing.

    makes = Smaller(job, seed, pack, played_by(pack, job), work)
    shrunk = makes.smallest(requirement)

Each attempt is a run of a scenario file under the same controller, sheet and seed.  What several requirements of one
scenario try alike is run once.  A requirement that is meant for some scenarios only keeps its scenario whole: without
its events it would be asked of something else.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from scenarios.errors import InputRefused
from scenarios.preparation import SCAN_MS, prepare
from scenarios.settings_sheet import write_whole
from tools.verification.campaign import Job, limits_of, run_one
from tools.verification.findings import Finding, Verdict
from tools.verification.horizons import horizon_ms
from tools.verification.pack import Pack, Requirement
from tools.verification.scenario_copy import Part, events_of, scenario_copy

RUNS_AT_MOST = 60  # attempts for all requirements of one scenario
FEW = 3  # events; with more of them left, more is tried
GOES_ON_MS = 10_000  # after the moment that decides

Play = Callable[[Path], list[Finding]]  # the findings of a scenario file, judged as the scenario that it came from
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Shrunk:
    """What is left of a scenario, and what its run says of the requirement."""

    part: Part
    finding: Finding


def file_name(requirement: Requirement, job: Job) -> str:
    """What the file of a broken requirement is called."""
    return f"{requirement.id}-{job.name}.toml"


def played_by(pack: Pack, job: Job) -> Play:
    """Runs a file as the campaign runs the scenario of a job, under the name of that scenario."""

    def play(path: Path) -> list[Finding]:
        one = prepare([path], log_ms=SCAN_MS)[0]
        return list(run_one(pack, one, job).findings)

    return play


class Smaller:
    """Makes one scenario smaller, for each requirement that it breaks."""

    def __init__(
        self, job: Job, seed: int, pack: Pack, play: Play, work: Path, progress: Progress = lambda _runs: None,
        runs_at_most: int | None = None,
    ) -> None:  # fmt: skip
        self.job, self.seed, self.pack, self.play, self.work, self.progress = job, seed, pack, play, work, progress
        self.runs, self.runs_at_most = 0, RUNS_AT_MOST if runs_at_most is None else min(runs_at_most, RUNS_AT_MOST)
        self._known: dict[Part, dict[str, Finding]] = {}
        (one,) = prepare(
            [job.scenario], controller=job.controller, settings=job.settings, seed=job.seed, log_ms=SCAN_MS
        )
        self.limits, self.duration_ms = limits_of(job, one), one.scenario.duration_ms

    def smallest(self, requirement: Requirement) -> Shrunk | None:
        """None where the scenario is best kept as it is, or does not break it when it is run again."""
        if requirement.scenarios != ("*",):
            return None
        name = requirement.id
        part = Part(tuple(range(events_of(self.job.scenario))))
        if self._broken(part, name) is None:
            return None
        part = self._fewest(part, name)
        found = self._broken(part, name)
        assert found is not None
        cut = replace(part, duration_ms=self._end_ms(requirement, found))
        ended = self._broken(cut, name, at_last=True) if cut.duration_ms else None
        return Shrunk(part, found) if ended is None else Shrunk(cut, ended)

    def _fewest(self, part: Part, name: str) -> Part:
        """A part with as few events as still break a requirement."""
        part = self._without(part, name, 1)
        if len(part.events) <= FEW:
            return part
        # events may only hold the machine until another one's time has come: that one, or two, from the start
        for count in (1, 2):
            for left in itertools.combinations(part.events, count):
                one = Part(left, at_start=True)
                if self._broken(one, name) is not None:
                    return one
        return self._without(part, name, 2)

    def _without(self, part: Part, name: str, count: int) -> Part:
        """A part from which no more can be left out, so many events at a time."""
        before = None
        while part != before:
            before = part
            for gone in itertools.combinations(reversed(before.events), count):
                one = Part(tuple(k for k in part.events if k not in gone))
                if one != part and self._broken(one, name) is not None:
                    part = one
        return part

    def _end_ms(self, requirement: Requirement, found: Finding) -> int | None:
        """A little after the moment that decides, in whole seconds; None where that cuts nothing off.

        No requirement of the pack may look beyond it, or the file could not be judged by the whole pack again.
        """
        file, ahead_ms = file_name(requirement, self.job), 0.0
        for one in self.pack.requirements:
            with contextlib.suppress(KeyError):  # a limit that nobody tells: it is not asked
                ahead_ms = max(ahead_ms, self._ahead_ms(one) if one.applies_to(file) else 0.0)
        decided_ms = (found.failed_ms or 0) + self._ahead_ms(requirement)
        end_ms = max(decided_ms + GOES_ON_MS, ahead_ms + GOES_ON_MS)
        whole_ms = 1000 * -int(-end_ms // 1000)
        return whole_ms if whole_ms < self.duration_ms else None

    def _ahead_ms(self, requirement: Requirement) -> float:
        terms = (requirement.formula, requirement.when)
        return max(horizon_ms(term, self.limits) for term in terms if term is not None)

    def _broken(self, part: Part, name: str, at_last: bool = False) -> Finding | None:
        """What a part says of a requirement that it breaks; None where it holds, or there are no runs left."""
        found = self._known.get(part)
        if found is None:
            if self.runs >= self.runs_at_most and not at_last:
                return None
            self.runs += 1
            self.progress(self.runs)
            found = self._known[part] = self._run(part)
        return found.get(name)

    def _run(self, part: Part) -> dict[str, Finding]:
        path = self.work / f"{self.job.name}.toml"
        write_whole(path, scenario_copy(self.job, self.seed, self.work, part))
        try:
            findings = self.play(path)
        except InputRefused:
            return {}  # what is left is no scenario
        return {one.id: one for one in findings if one.verdict is Verdict.FAILED}
