"""A hunt as part of an acceptance record: where it is led, and what it says of each requirement.

What a hunt breaks is written as a scenario file and played again from there, so that the record shows a run that anybody
can repeat and not one that only the hunt has seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from scenarios.errors import InputRefused, Problem
from scenarios.preparation import SCAN_MS, prepare
from tools.verification.campaign import Campaign, Job, RunFindings, run_one
from tools.verification.ground import Ground
from tools.verification.hunt import Found, run
from tools.verification.pack import Pack


@dataclass(frozen=True, slots=True)
class HuntLine:
    """What the hunt says of one requirement.  verdict: "broken", "held" or "not exercised"; margin: the least one of
    those that held, with its unit; trials: in how many it came to count; told: the trial that broke it or came nearest."""

    verdict: str
    margin: float | None = None
    unit: str = ""
    trials: int = 0
    told: str = ""

    @property
    def short(self) -> str:
        """Least margin, or the verdict where there is no number."""
        unit = "" if self.unit == "1" else f" {self.unit}"
        return self.verdict if self.margin is None else f"{self.margin:+.4g}{unit}"

    @property
    def words(self) -> str:
        """In one line."""
        if self.verdict == "not exercised":
            return "no trial brought it about"
        trials = f"counted in {self.trials} trial{'s' if self.trials != 1 else ''}"
        if self.verdict == "broken":
            return f"broken; {trials}; smallest: {self.told}"
        if self.margin is None:
            return f"kept (no number); {trials}"
        return f"nearest {self.short}; {trials}; {self.told}"


@dataclass(frozen=True, slots=True)
class Hunted:
    """A finished hunt: where, how long, what it found, and the runs of what it broke, played again from their files."""

    ground: Ground
    seed: int
    budget_s: float
    found: Found
    replayed: tuple[RunFindings, ...] = ()
    files: tuple[Path, ...] = ()

    def line(self, requirement: str) -> HuntLine:
        """What it says of one requirement."""
        trials = self.found.exercised.get(requirement, 0)
        breaker, near = self.found.broken.get(requirement), self.found.nearest.get(requirement)
        if breaker is not None:
            return HuntLine("broken", trials=trials, told=breaker.told())
        if near is not None:
            return HuntLine("held", near.margin, near.unit, trials, near.trial.told())
        return HuntLine("held" if trials else "not exercised", trials=trials)

    def file_of(self, run: RunFindings) -> Path | None:
        """The file that a replayed run came from; None for a run of the campaign's own."""
        return next((file for file, one in zip(self.files, self.replayed, strict=True) if one is run), None)

    def saved(self) -> dict[str, Path]:
        """The file of each requirement that it broke."""
        return dict(zip(sorted(self.found.broken), self.files, strict=True))

    @property
    def words(self) -> str:
        """Where and how long, and what its independent draws say together."""
        sheet = self.ground.sheet.name if self.ground.sheet else "its own settings"
        lasted = f"{self.budget_s / 60.0:g} min" if self.budget_s % 60.0 == 0.0 else f"{self.budget_s:g} s"
        return (
            f"{lasted}, seed {self.seed}, on {self.ground.plant.stem} with {sheet}: {self.found.rounds} "
            f"rounds, {self.found.runs} runs; {self.found.bound_words}"
        )


def ground_of(campaign: Campaign) -> Ground:
    """Where a campaign's hunt is led: on the plant, controller and sheet that most of its scenarios have; for somebody
    else's controller the sheet whose limits are asked for."""
    choices = Counter(
        (one.scenario.plant.path, one.named.full, one.scenario.sheet_path or job.limits_sheet)
        for job, one in zip(campaign.jobs, campaign.prepared, strict=True)
    )
    plant, controller, sheet = choices.most_common(1)[0][0]
    return Ground(plant, controller, sheet, campaign.pack.files)


def lead(
    campaign: Campaign, folder: Path, seed: int, budget_s: float, jobs: int, progress: Callable[[Found, float], None]
) -> Hunted:
    """Hunt, and play what was broken again from its saved file.  Finished rounds that `folder` keeps are not done again.

    InputRefused where the campaign's commonest plant and sheet cannot be hunted on.
    """
    ground = ground_of(campaign)
    try:
        found = run(ground, seed, folder / "hunt", budget_s, jobs, progress)
    except InputRefused as error:
        where = Problem(
            f"the hunt cannot be led on {ground.plant.name}", way_out="leave --hunt out, or name other scenarios"
        )
        raise InputRefused([*error.problems, where]) from error
    files, replayed = [], []
    for name, trial in sorted(found.broken.items()):
        path = folder / "counterexamples" / f"hunt-{name}.toml"
        ground.write(trial, path, f"Breaks {name}")
        files.append(path)
        replayed.append(_played_again(campaign.pack, path))
    return Hunted(ground, seed, budget_s, found, tuple(replayed), tuple(files))


def _played_again(pack: Pack, path: Path) -> RunFindings:
    job = Job(path, None, None, None, pack.files, None)
    return run_one(pack, prepare([path], log_ms=SCAN_MS)[0], job)
