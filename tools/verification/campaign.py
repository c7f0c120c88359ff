"""Running a pack over scenarios: each is run at the scan log, judged, and kept, so that an interrupted campaign goes on.

    campaign = plan(pack, scenarios, controller="three_position")
    for result in campaign.run(folder, jobs=2):
        ...

Results are an engineering aid on a simulated plant.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from controller.registry import SHIPPED
from scenarios.controllers import Kind
from scenarios.errors import InputRefused, Problem
from scenarios.loader import scenario_files
from scenarios.preparation import SCAN_MS, Prepared, prepare
from scenarios.settings_sheet import sheet_controller, write_whole
from tools.verification.excerpts import excerpt
from tools.verification.findings import Finding, Verdict, judge
from tools.verification.ground import sheet_limits
from tools.verification.horizons import too_long
from tools.verification.monitor import Monitor, NotApplicable
from tools.verification.pack import Pack, load_pack
from tools.verification.workers import follow

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
LONGEST_MS = 3 * 3_600_000  # of a scenario that is run without being named: a day at every scan is half a gigabyte
RESULT_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Job:
    """One run of a campaign: what `prepare` needs to make it again, in another process too."""

    scenario: Path
    controller: str | None
    settings: Path | None
    seed: int | None
    packs: tuple[Path, ...]
    limits_sheet: Path | None

    @property
    def name(self) -> str:
        """The scenario's name, without its ending."""
        return self.scenario.stem


@dataclass(frozen=True, slots=True)
class RunFindings:
    """What one run says: its findings in the pack's order, an excerpt of each that counted, and what it came from."""

    scenario: str
    title: str
    seed: int
    controller: str
    settings: str
    facts: dict[str, str]
    failure: str
    findings: tuple[Finding, ...]
    excerpts: dict[str, dict[str, Any]]
    sentences: dict[str, str]
    simulated_s: float
    wall_s: float
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Campaign:
    """Jobs that have been checked: every scenario, sheet and window, before the first run."""

    pack: Pack
    jobs: tuple[Job, ...]
    prepared: tuple[Prepared, ...]
    notes: tuple[str, ...]

    def run(
        self, folder: Path | None, jobs: int = 1, progress: Callable[[str, int], None] | None = None
    ) -> Iterator[RunFindings]:
        """Run all, in any order; those that `folder` keeps from the same inputs are not run again.

        progress(name, done) is called when a run begins or ends.
        """
        waiting, done = [], 0
        for job, one in zip(self.jobs, self.prepared, strict=True):
            kept = None if folder is None else _kept(place_of(folder, job), stamp(self.pack, one, job), self.pack)
            if kept is None:
                waiting.append(job)
                continue
            done += 1
            if progress:
                progress(job.name, done)
            yield kept
        if jobs <= 1 or len(waiting) <= 1:
            for job in waiting:
                if progress:
                    progress(job.name, done)
                yield _run_and_keep(job, folder, self.pack)
                done += 1
            return
        yield from _in_processes(waiting, folder, jobs, done, progress)


def _in_processes(
    waiting: list[Job], folder: Path | None, jobs: int, done: int, progress: Callable[[str, int], None] | None
) -> Iterator[RunFindings]:
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from multiprocessing import get_context

    pool = ProcessPoolExecutor(min(jobs, len(waiting)), get_context("spawn"), follow, (os.getpid(),))
    try:
        futures = {pool.submit(_run_and_keep, job, folder, None): job for job in waiting}
        for future in as_completed(futures):
            done += 1
            if progress:
                progress(futures[future].name, done)
            yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def library_scenarios() -> list[Path]:
    """What is run when no scenario is named: the library, and its scenarios made for verification."""
    return [LIBRARY, LIBRARY / "verification"]


def plan(
    pack: Pack,
    scenarios: list[Path] | None = None,
    controller: str | None = None,
    settings: Path | None = None,
    seed: int | None = None,
) -> Campaign:
    """Read and check everything.  InputRefused with every problem, before anything runs.

    Without `settings` a scenario runs with its own sheet; under another shipped controller with the sheet of the same
    name made for that one (demo_scheduled_pi.toml → demo_three_position.toml), where it is there.
    """
    problems: list[Problem] = []
    notes: list[str] = []
    jobs, found = [], []
    for path in scenario_files(scenarios or library_scenarios(), problems):
        try:
            sheet = settings or (_sheet_for(path, controller) if controller else None)
            one = prepare([path], controller=controller, settings=sheet, seed=seed, log_ms=SCAN_MS)[0]
        except InputRefused as error:
            problems.extend(error.problems)
            continue
        if not scenarios and one.scenario.duration_ms > LONGEST_MS:
            notes.append(f"{path.name} lasts {one.scenario.duration_ms / 3.6e6:g} h: it runs only when it is named")
            continue
        limits_sheet = None if one.settings is not None else settings or _own_sheet(path)
        jobs.append(Job(path.resolve(), controller, sheet, seed, pack.files, limits_sheet))
        found.append(one)
    if not problems and not jobs:
        problems.append(Problem("no scenario is left to run"))
    problems += _unknown_patterns(pack, jobs, scenarios)
    for job, one in zip(jobs, found, strict=True):
        limits = limits_of(job, one)
        for requirement in pack.requirements:
            if requirement.applies_to(job.scenario.name, one.scenario.made_from):
                long = too_long(requirement, limits, one.scenario.duration_ms, job.scenario.name)
                problems += [long] if long else []
    if problems:
        raise InputRefused(problems)
    names = [job.name for job in jobs]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputRefused(Problem(f"two scenarios are called {twice[0]}", way_out="give each a name of its own"))
    return Campaign(pack, tuple(jobs), tuple(found), tuple(notes))


def _unknown_patterns(pack: Pack, jobs: list[Job], scenarios: list[Path] | None) -> list[Problem]:
    """A pattern of a requirement that fits no scenario of the whole library is a slip of the pen."""
    if scenarios:
        return []
    names = [job.scenario.name for job in jobs]
    return [
        Problem(
            f"requirement {one.id} is meant for {', '.join(one.scenarios)}, and no scenario is called so",
            one.file,
            one.line,
        )
        for one in pack.requirements
        if not any(one.applies_to(name) for name in names)
    ]


def _own_sheet(path: Path) -> Path | None:
    from scenarios.toml_source import read_toml

    text = read_toml(path).data.get("settings")
    return path.parent / text if isinstance(text, str) and text else None


def _sheet_for(path: Path, controller: str) -> Path | None:
    """The sheet that a scenario's own stands for under another shipped controller."""
    own = _own_sheet(path)
    if own is None or controller not in SHIPPED or not own.is_file():
        return None
    written_for = sheet_controller(own)
    other = own.with_name(own.name.replace(written_for, controller))
    return other if other.is_file() else None


def limits_of(job: Job, one: Prepared) -> Any:
    """The settings record whose limits the requirements ask for: the run's own, or for somebody else's controller those
    of the sheet that was given or that the scenario names; None where no shipped controller's sheet is there."""
    return one.settings if one.settings is not None else sheet_limits(job.limits_sheet, one.scenario.plant.site)


@cache
def _sources() -> str:
    """A hash of everything that can change a finding besides the scenario, plant, sheet and kernels."""
    folder = Path(__file__).parent
    files = sorted([*folder.glob("*.py"), *folder.glob("*.lark")])
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()


def stamp(pack: Pack, one: Prepared, job: Job) -> str:
    """What a kept result must agree in to stand for a run; "" for a plug-in, whose imports are not ours to hash."""
    if one.named.kind is not Kind.SHIPPED:
        return ""
    facts = json.dumps(one.facts, sort_keys=True)
    return hashlib.sha256(f"{RESULT_FORMAT} {facts} {pack.sha256} {_sources()} {job.limits_sheet}".encode()).hexdigest()


def place_of(folder: Path, job: Job) -> Path:
    """Where a campaign's folder keeps the run of a job."""
    word = re.sub(r"[^\w.-]+", "_", job.name)
    return folder / "runs" / f"{word}.json"


def _kept(path: Path, wanted: str, pack: Pack) -> RunFindings | None:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if not wanted or data.pop("stamp") != wanted:
            return None
        findings = tuple(Finding(**{**one, "verdict": Verdict(one["verdict"])}) for one in data.pop("findings"))
        if [one.id for one in findings] != [one.id for one in pack.requirements]:
            return None
        return RunFindings(findings=findings, **{**data, "kept": True})
    except (OSError, ValueError, KeyError, TypeError):
        return None  # none, or none of this version: it is run


def _run_and_keep(job: Job, folder: Path | None, pack: Pack | None) -> RunFindings:
    pack = pack or load_pack(list(job.packs))
    one = prepare([job.scenario], controller=job.controller, settings=job.settings, seed=job.seed, log_ms=SCAN_MS)[0]
    found = run_one(pack, one, job)
    if folder is not None:
        data = {name: getattr(found, name) for name in found.__dataclass_fields__ if name != "kept"}
        data["findings"] = [finding.as_dict() for finding in found.findings]
        text = json.dumps({"stamp": stamp(pack, one, job), **data}, ensure_ascii=False)
        write_whole(place_of(folder, job), text)
    return found


def run_one(pack: Pack, one: Prepared, job: Job) -> RunFindings:
    """Run a prepared scenario at the scan log and judge it."""
    from scenarios.runner import play_prepared

    began = time.perf_counter()
    work = Path(tempfile.mkdtemp(prefix="twoslide-"))
    try:
        trace, failure, *_ = play_prepared(one, work)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    limits = limits_of(job, one)
    excerpts: dict[str, dict[str, Any]] = {}
    try:
        monitor = Monitor(trace, limits)
        findings = []
        for requirement in pack.requirements:
            finding = judge(monitor, requirement, job.scenario.name, one.scenario.made_from)
            findings.append(finding)
            cut = excerpt(monitor, requirement, finding) if finding.exercised else None
            if cut is not None:
                excerpts[requirement.id] = cut.as_dict()
    except NotApplicable as reason:
        findings = [Finding(r.id, Verdict.NOT_APPLICABLE, reason=str(reason)) for r in pack.requirements]
    return RunFindings(
        job.scenario.name, one.scenario.title, one.seed, one.controller_name, one.facts["settings"], dict(one.facts),
        failure, tuple(findings), excerpts, {r.id: r.sentence(limits) for r in pack.requirements},
        float(trace["time_ms"][-1]) / 1000.0, time.perf_counter() - began,
    )  # fmt: skip
