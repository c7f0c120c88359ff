"""The smallest scenario that still breaks a requirement: events are left out, then the end that decides nothing.  Where
many events remain, another load at the start, or an earlier time, may stand for them.

    makes = Smaller(job, seed, pack, played_by(pack, job), work)
    shrunk = makes.smallest(requirement)

Each attempt is a run of a scenario file under the same controller, sheet and seed.  What several requirements of one
scenario try alike is run once, and what was tried before an interruption is not run again.

A requirement that is meant for some scenarios only may be asked of something else where events are left out: that a
fouled filter stops the machine is broken by anybody without the fouling.  So its events are left out only as long as the
scenario's own controller, where that is another one, breaks no more without them.  Without another one to ask, only
what comes after the moment that decides is left out.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from scenarios.errors import InputRefused
from scenarios.load_and_weather_kinds import LoadStep
from scenarios.preparation import SCAN_MS, prepare
from scenarios.settings_sheet import write_whole
from tools.verification.campaign import Job, limits_of, plan, run_one
from tools.verification.findings import Finding
from tools.verification.horizons import horizon_ms
from tools.verification.pack import Pack, Requirement
from tools.verification.scenario_copy import Part, events_of, scenario_copy
from tools.verification.tried import Outcome, Tried

RUNS_AT_MOST = 60  # attempts for all requirements of one scenario
FEW = 3  # events; with more of them left, more is tried
LESS_LOAD = (0.5, 0.25, 0.125)  # of its own at the start: a machine that has little to do stops and starts by itself
GOES_ON_MS = 10_000  # after the moment that decides

SUBJECT, OWN = "subject", "own"  # whose run: of the controller that is judged, or of the scenario's own
UNKNOWN = Outcome()

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


def asked_as(requirement: Requirement, *names: str) -> str:
    """The file name, of these, that a saved file has to say it was made from to be asked for a requirement; "" where
    that is asked of every file."""
    return "" if requirement.for_all else next((n for n in names if n and requirement.applies_to(n)), "")


def played_by(pack: Pack, job: Job) -> Play:
    """Runs a file as the campaign runs the scenario of a job, under the name of that scenario."""

    def play(path: Path) -> list[Finding]:
        one = prepare([path], log_ms=SCAN_MS)[0]
        return list(run_one(pack, one, job).findings)

    return play


def own_of(pack: Pack, job: Job) -> Job | None:
    """The job of the same scenario under the controller and sheet that it names itself; None where that is the same."""
    if job.controller is None and job.settings is None:
        return None
    try:
        return plan(pack, [job.scenario], seed=job.seed).jobs[0]
    except InputRefused:
        return None


class Smaller:
    """Makes one scenario smaller, for each requirement that it breaks.

    own: the job whose controller tells whether a requirement of some scenarios is still due; tried: what is known already.
    """

    def __init__(
        self, job: Job, seed: int, pack: Pack, play: Play, work: Path, progress: Progress = lambda _runs: None,
        runs_at_most: int | None = None, own: Job | None = None, tried: Tried | None = None,
    ) -> None:  # fmt: skip
        self.job, self.seed, self.pack, self.work, self.progress = job, seed, pack, work, progress
        self.runs, self.runs_at_most = 0, RUNS_AT_MOST if runs_at_most is None else min(runs_at_most, RUNS_AT_MOST)
        self.plays = {SUBJECT: (job, play)} | ({OWN: (own, played_by(pack, own))} if own else {})
        self.tried = tried or Tried(None, "")
        self._known: dict[tuple[str, Part], Outcome] = {}
        (one,) = prepare(
            [job.scenario], controller=job.controller, settings=job.settings, seed=job.seed, log_ms=SCAN_MS
        )
        self.limits, self.duration_ms = limits_of(job, one), one.scenario.duration_ms
        self.names = (job.scenario.name, one.scenario.made_from)
        self.load_w, self.events = one.disturbances().load_heat_w, one.scenario.events
        self.starts_ms = [event.starts_ms for event in one.scenario.events]
        self.whole = Part(tuple(range(events_of(job.scenario))))

    def smallest(self, requirement: Requirement) -> Shrunk | None:
        """None where the scenario does not break it when it is run again."""
        if self._outcome(SUBJECT, self.whole).broken.get(requirement.id) is None:
            return None
        part = self._fewest(self.whole, requirement) if self._may_leave_out(requirement) else self.whole
        found = self._outcome(SUBJECT, part).broken[requirement.id]
        end_ms = self._end_ms(requirement, found)
        if end_ms is not None:
            left = tuple(k for k in part.events if part.at_start or self.starts_ms[k] < end_ms)
            cut = replace(part, events=left, duration_ms=end_ms)
            ended = self._outcome(SUBJECT, cut, at_last=True).broken.get(requirement.id)
            if ended is not None:
                return Shrunk(cut, ended)
        return Shrunk(part, found)

    def _may_leave_out(self, requirement: Requirement) -> bool:
        return requirement.for_all or requirement.id in self._outcome(OWN, self.whole).held

    def _fewest(self, part: Part, asked: Requirement) -> Part:
        """A part with as few events as still break a requirement."""
        part = self._without(part, asked, 1)
        if len(part.events) <= FEW:
            return part
        part = self._from_another_load(part, asked)
        if len(part.events) <= FEW:
            return part
        # events may only hold the machine until another one's time has come: that one, or two, from the start
        for count in (1, 2):
            for left in itertools.combinations(part.events, count):
                one = Part(left, at_start=True)
                if self._breaks(one, asked):
                    return one
        return self._without(part, asked, 2)

    def _without(self, part: Part, asked: Requirement, count: int) -> Part:
        """A part from which no more can be left out, so many events at a time."""
        before = None
        while part != before:
            before = part
            for gone in itertools.combinations(reversed(before.events), count):
                one = replace(part, events=tuple(k for k in part.events if k not in gone))
                if one != part and self._breaks(one, asked):
                    part = one
        return part

    def _from_another_load(self, part: Part, asked: Requirement) -> Part:
        """A part in which the load at the start stands for all events, or for a step of the load."""
        for share in LESS_LOAD:
            one = Part((), load_w=share * self.load_w)
            if self._breaks(one, asked):
                return one
        for k in part.events:
            event, load_w = self.events[k], self.load_w if part.load_w is None else part.load_w
            if not isinstance(event, LoadStep) or k not in part.events:
                continue
            after_w = event.to_w if event.to_w is not None else load_w + (event.change_w or 0.0)
            one = replace(part, events=tuple(i for i in part.events if i != k), load_w=after_w)
            if self._breaks(one, asked):
                part = self._without(one, asked, 1)
        return part

    def _end_ms(self, requirement: Requirement, found: Finding) -> int | None:
        """A little after the moment that decides, in whole seconds; None where that cuts nothing off.

        No requirement of the pack may look beyond it, or the file could not be judged by the whole pack again.
        """
        names, ahead_ms = (file_name(requirement, self.job), asked_as(requirement, *self.names) or self.names[1]), 0.0
        for one in self.pack.requirements:
            with contextlib.suppress(KeyError):  # a limit that nobody tells: it is not asked
                ahead_ms = max(ahead_ms, self._ahead_ms(one) if one.applies_to(*names) else 0.0)
        decided_ms = (found.failed_ms or 0) + self._ahead_ms(requirement)
        end_ms = max(decided_ms + GOES_ON_MS, ahead_ms + GOES_ON_MS)
        whole_ms = 1000 * -int(-end_ms // 1000)
        return whole_ms if whole_ms < self.duration_ms else None

    def _ahead_ms(self, requirement: Requirement) -> float:
        terms = (requirement.formula, requirement.when)
        return max(horizon_ms(term, self.limits) for term in terms if term is not None)

    def _breaks(self, part: Part, asked: Requirement) -> bool:
        """Whether a part breaks a requirement that is still due in it; not where there are no runs left."""
        if asked.id not in self._outcome(SUBJECT, part).broken:
            return False
        if asked.for_all:
            return True
        own = self._outcome(OWN, part)
        return bool(own.held) and own.broken.keys() <= self._outcome(OWN, self.whole).broken.keys()

    def _outcome(self, who: str, part: Part, at_last: bool = False) -> Outcome:
        """What a run says; UNKNOWN where there is nobody to run it, or there are no runs left."""
        key = who, part
        if key in self._known:
            return self._known[key]
        if who not in self.plays or (self.runs >= self.runs_at_most and not at_last):
            return UNKNOWN
        self.runs += 1  # those of before an interruption too, so that it ends where it would have ended without
        self.progress(self.runs)
        found = self.tried.get(key)
        if found is None:
            found = self._run(*self.plays[who], part)
            self.tried.put(key, found)
        self._known[key] = found
        return found

    def _run(self, job: Job, play: Play, part: Part) -> Outcome:
        path = self.work / f"{self.job.name}.toml"
        write_whole(path, scenario_copy(job, self.seed, self.work, part))
        try:
            return Outcome.of(play(path))
        except InputRefused:
            return Outcome()  # what is left is no scenario
