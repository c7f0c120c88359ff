"""The plant's side of a logged event: playback, load, diagnosis, scenario and what-if, in one record for the report."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from plant_model.derived import Parameters
from scenarios.preparation import prepare
from tools.replay import what_if
from tools.replay.as_scenario import Story, story_of, write_story
from tools.replay.diagnosis import SURE, Diagnosis, diagnose, likely_fits, posterior
from tools.replay.fitting import Evidence, evidence_of
from tools.replay.load import Load, estimate_load
from tools.replay.record import Record, stretch_of
from tools.replay.what_if import Variant, WhatIf

Progress = Callable[[float, str], None]
Keep = Callable[
    [str, Mapping[str, Any], Any, Callable[[], Any]], Any
]  # (stage, made of, type, compute) → kept or computed
ENSEMBLE = 100


def keep_nothing(stage: str, made_of: Mapping[str, Any], kind: Any, compute: Callable[[], Any]) -> Any:
    """Every stage is computed."""
    return compute()


@dataclass(slots=True)
class Study:
    """What the plant's side of an event came to; fields are None where a step could not be made, and words say why."""

    record: Record
    first: int
    end: int
    evidence: Evidence | None = None
    diagnosis: Diagnosis | None = None
    load: Load | None = None
    story: Story | None = None
    what_if: WhatIf | None = None
    words: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Alternative:
    """Other settings to try: name for people, settings of the same controller."""

    name: str
    settings: Any


def study(
    record: Record, parameters: Parameters, settings: Any, controller: str, plant: Path, sheet: Path | None, folder: Path,
    alternatives: Sequence[Alternative] = (), ensemble: int = ENSEMBLE, seed: int = 1, progress: Progress | None = None,
    keep: Keep = keep_nothing,
) -> Study:  # fmt: skip
    """Everything for one event; `folder` (existing) gets the scenario and what it names; keep: what an interrupted study
    had finished of its ensembles."""

    def tell(share: float, what: str) -> None:
        if progress:
            progress(share, what)

    first, end = stretch_of(record)
    made = Study(record, first, end)
    if end == 0:
        made.words.append(
            "The plant was not replayed: less than seven minutes of steady service with suction and discharge pressure and "
            "both slide positions stand before the event."
        )
        return made
    tell(0.02, "leading the plant along the log")
    made.evidence = evidence_of(record.part(first, end), parameters)
    tell(0.10, "weighing causes")
    made.diagnosis = diagnose(made.evidence, record, settings)
    tell(0.30, "reconstructing the load")
    made.load = estimate_load(made.evidence, made.diagnosis)
    made.words += diagnosis_words(made)
    made.words.append(_load_words(made))
    if sheet is None:
        made.words.append("No what-if: it needs the settings sheet of that time (--settings).")
        return made
    trip_row = record.trip_row if record.trip_row >= 0 else end
    made.story = story_of(made.evidence, record, made.diagnosis, made.load, plant, sheet, controller, trip_row, first)
    path = write_story(folder, made.story)
    if made.story.problem:
        made.words.append(f"No what-if: {made.story.problem}.")
        return made
    made.what_if = _what_if(made, path, settings, controller, alternatives, plant, sheet, ensemble, seed, tell, keep)
    made.words += made.what_if.words
    return made


def _what_if(
    made: Study, path: Path, settings: Any, controller: str, alternatives: Sequence[Alternative], plant: Path, sheet: Path,
    ensemble: int, seed: int, tell: Progress, keep: Keep,
) -> WhatIf:  # fmt: skip
    assert made.evidence is not None
    assert made.load is not None
    assert made.story is not None
    assert made.diagnosis is not None
    _, _, covariance = posterior(made.evidence, likely_fits(made.evidence, made.diagnosis))
    members = what_if.members_of(made.evidence, made.load, covariance, ensemble, seed)
    prepared = prepare([path], log_ms=what_if.LOG_MS)[0]
    logged = made.record.trip
    sound = _sound_story(made, plant, sheet, controller, path)
    total = ensemble * (1 + len(alternatives) + (sound is not None))
    done = [0]
    stages: list[str] = []

    def step() -> None:
        done[0] += 1
        tell(0.35 + 0.65 * done[0] / total, "running what might have been")

    def run(name: str, one: Any, own: Any) -> Variant:
        assert made.evidence is not None
        assert made.load is not None
        stage = f"what_if_{len(stages)}"
        stages.append(stage)
        made_of = {
            "name": name, "files": one.scenario.sha256, "settings": own, "controller": controller,
            "members": members, "watch": logged, "best": made.load.factors,
        }  # fmt: skip

        def compute() -> Variant:
            assert made.evidence is not None
            assert made.load is not None
            return what_if.run_variant(name, one, own, controller, made.evidence, made.load, members, logged, step)

        found: Variant = keep(stage, made_of, Variant, compute)
        return found

    original = run("As it was", prepared, settings)
    found = WhatIf(original, what_if.judge(original, logged, made.story.trip_s))
    if found.reproduced:
        for other in alternatives:
            found.variants.append(run(other.name, prepared, other.settings))
        if sound is not None:
            found.variants.append(run(f"With the {made.diagnosis.verdict} sound", sound, settings))
    found.words = what_if.in_words(found, logged)
    return found


def _sound_story(made: Study, plant: Path, sheet: Path, controller: str, path: Path) -> Any:
    """The same event with the diagnosed part sound; None where there is no such part."""
    assert made.evidence is not None
    assert made.load is not None
    assert made.diagnosis is not None
    if not made.diagnosis.verdict or made.diagnosis.verdict in (
        "settings",
        "operator",
        "hard-wired chain",
        "load side",
    ):
        return None
    trip_row = made.record.trip_row if made.record.trip_row >= 0 else made.end
    story = story_of(
        made.evidence, made.record, made.diagnosis, made.load, plant, sheet, controller, trip_row,
        made.first, sound=True,
    )  # fmt: skip
    import tempfile

    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        return prepare([write_story(Path(folder), story)], log_ms=what_if.LOG_MS)[0]


def diagnosis_words(made: Study) -> list[str]:
    """The diagnosis in plain words."""
    assert made.diagnosis is not None
    assert made.evidence is not None
    found = made.diagnosis
    first = found.ranked[0]
    lines = []
    if found.verdict:
        lines.append(
            f"Most likely cause: {first.text} ({_percent(first.probability)}, group “{first.group}”). {first.check}"
        )
        if first.why:
            lines.append(f"Within this group the log cannot choose: {first.why}.")
        best = first.fits[0] if first.fits and first.fits[0].chi2 < found.null_chi2 - 6.0 else None
        if best is not None:
            start_s = best.onset_s
            ago = (made.evidence.record.rows - start_s) / 60.0
            lines.append(
                f"It shows from about {ago:.0f} min before the event, in size about {best.size:.2g} "
                f"{best.hypothesis.size_unit} at the end."
            )
    else:
        named = ", ".join(f"{one.group} {_percent(one.probability)}" for one in found.ranked[:3])
        lines.append(f"The log cannot tell the cause (no group reaches {_percent(SURE)}). Nearest: {named}.")
    second = found.ranked[1]
    if found.verdict and second.probability >= 0.03:
        lines.append(f"Next: {second.text} ({_percent(second.probability)}).")
    lines += [f"The log says itself: {text}." for text in found.words]
    return lines


def _percent(share: float) -> str:
    """Never 0 or 100: nothing here is that sure."""
    return f"{min(99.0, max(1.0, 100.0 * share)):.0f} %"


def _load_words(made: Study) -> str:
    assert made.load is not None
    load = made.load
    last = slice(-120, None)
    mean, low, high = (float(np.mean(v[last])) / 1000.0 for v in (load.load_w, load.low_w, load.high_w))
    return (
        f"Load in the last two minutes: {low:.0f} to {high:.0f} kW (90 %), middle {mean:.0f} kW. A range, because no flow "
        f"is logged: displacement and load cannot be told apart closer than {100.0 * 1.645 * load.common_sd_frac:.1f} %."
    )
