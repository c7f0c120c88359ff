"""The scenario that broke a requirement, made small, as a scenario file of its own that `twoslide run` plays again."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from scenarios.preparation import SCAN_MS, prepare
from scenarios.settings_sheet import write_whole
from tools.verification.acceptance import CAUTION, Line, margin_text
from tools.verification.campaign import Campaign, Job, place_of, stamp
from tools.verification.findings import Finding, Verdict
from tools.verification.hunted import Hunted
from tools.verification.scenario_copy import events_of, scenario_copy
from tools.verification.smaller import Shrunk, Smaller, asked_as, file_name, own_of, played_by
from tools.verification.tried import Tried

RUNS_IN_ALL = 400  # attempts to make scenarios smaller; what is left then is saved whole
Progress = Callable[[str, int], None]


def save_all(
    found: Sequence[Line], campaign: Campaign, hunted: Hunted | None, folder: Path, progress: Progress
) -> dict[str, Path]:
    """Write the smallest scenario of every broken requirement into `folder`; returns them by id.

    progress(scenario, runs) is called before each attempt to make one smaller.
    """
    jobs = {
        job.scenario.name: (job, one.scenario.made_from)
        for job, one in zip(campaign.jobs, campaign.prepared, strict=True)
    }
    shrinkers: dict[str, Smaller] = {}
    saved = {}
    with tempfile.TemporaryDirectory(prefix="twoslide-") as work:
        for line in found:
            if line.verdict is not Verdict.FAILED or line.run is None:
                continue
            file = hunted.file_of(line.run) if hunted else None
            if file is None:
                job, origin = jobs[line.run.scenario]
                if job.name not in shrinkers:
                    own, place = own_of(campaign.pack, job), Path(work) / str(len(shrinkers))
                    shrinkers[job.name] = Smaller(
                        job, line.run.seed, campaign.pack, played_by(campaign.pack, job), place,
                        partial(progress, job.name), RUNS_IN_ALL - sum(one.runs for one in shrinkers.values()),
                        own, _tried(campaign, job, own, folder.parent),
                    )  # fmt: skip
                file = save(line, job, folder, origin, shrinkers[job.name].smallest(line.requirement))
            saved[line.requirement.id] = file
    return saved


def _tried(campaign: Campaign, job: Job, own: Job | None, folder: Path) -> Tried:
    """What a command that was interrupted has tried already of a job; nothing is kept of a plug-in, as of its runs."""
    stamps = [stamp(campaign.pack, campaign.prepared[campaign.jobs.index(job)], job)]
    if own is not None:
        (one,) = prepare([own.scenario], seed=own.seed, log_ms=SCAN_MS)
        stamps.append(stamp(campaign.pack, one, own))
    place = place_of(folder, job)
    return Tried(place.parent / "smaller" / place.name, " ".join(stamps) if all(stamps) else "")


def save(line: Line, job: Job, folder: Path, origin: str = "", shrunk: Shrunk | None = None) -> Path:
    """Write the scenario of a failed line into `folder`, or what is left of it, with everything the command line had
    said put into it.

    Paths are made relative to the new place.  origin: what the job's scenario itself was made from.  Returns the file;
    StorageFailed if it cannot be written.
    """
    assert line.run is not None
    assert line.finding is not None
    path = folder / file_name(line.requirement, job)
    finding = shrunk.finding if shrunk else line.finding
    made_from = asked_as(line.requirement, job.scenario.name, origin)
    text = scenario_copy(job, line.run.seed, folder, shrunk.part if shrunk else None, made_from)
    left = shrunk.part.told(events_of(job.scenario)) if shrunk else ""
    write_whole(path, _head(line, finding, left) + text)
    return path


def _head(line: Line, finding: Finding, left: str) -> str:
    assert line.run is not None
    at_s = (finding.failed_ms or 0) / 1000.0
    said = [
        f"{line.requirement.id}: {line.sentence}",
        f"Broken at {at_s:g} s under {Path(line.run.controller).name}, margin {margin_text(finding)}.",
        f"The deciding clause: {finding.clause}" if finding.clause else "",
        f"Of {Path(line.run.scenario).name} there is left: {left}." if left else "",
        "Play it again: twoslide run THIS_FILE --log-every scan; judge it again: twoslide verify --scenarios THIS_FILE",
        CAUTION,
    ]
    return "".join(f"# {text}\n" for text in said if text) + "\n"
