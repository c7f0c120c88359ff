"""The acceptance record as one HTML page, to read or to print and sign: no address outside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

from tools.verification.acceptance import CAUTIONS, ORDER, Line, counts
from tools.verification.campaign import RunFindings
from tools.verification.findings import Verdict
from tools.verification.moment_svg import moment_svg
from tools.verification.pack import Pack
from tools.verification.record_files import test_of

SEVERITIES = {
    "people": "people may be hurt",
    "damage": "the machine may be damaged",
    "service": "the plant's service suffers",
}


def _kind(verdict: Verdict) -> str:
    return {Verdict.HELD: "held", Verdict.FAILED: "failed"}.get(verdict, "not")


def _name(file: str) -> str:
    return file.removesuffix(".toml")


def _test(line: Line) -> str:
    """The test in short: its file's name and its case."""
    path, _, case = test_of(line).partition("::")
    return f"{Path(path).name} {case}" if path else "none: not of the shipped packs"


def view(line: Line, saved: Mapping[str, Path]) -> dict[str, Any]:
    """What the page shows of one requirement."""
    from markupsafe import Markup

    one, run = line.finding, line.run
    where = moment = ""
    if one is not None and run is not None and one.time_ms is not None:
        where = f"{_name(run.scenario)}, seed {run.seed}, at {one.time_ms / 1000.0:g} s"
        moment = "nearest in" if one.margin is not None else "first in"
        if line.verdict is Verdict.FAILED:
            moment = "worst in"
            where += f"; first broken at {(one.failed_ms or 0) / 1000.0:g} s"
    many = len(line.exercised)
    times = "once" if line.times == 1 else f"{line.times} times"
    exercised = f"{times} in {many} scenario{'s' if many != 1 else ''}" if many else "never"
    cut = line.excerpt
    return {
        "id": line.requirement.id,
        "verdict": str(line.verdict),
        "kind": _kind(line.verdict),
        "sentence": line.sentence,
        "margin": line.margin_text,
        "where": where,
        "moment": moment,
        "clause": one.clause if one else "",
        "exercised": exercised,
        "failed": ", ".join(_name(name) for name in line.failed),
        "saved": str(saved.get(line.requirement.id, "")),
        "reason": line.reason,
        "hunt": line.hunt.words if line.hunt else "",
        "severity": SEVERITIES[line.requirement.severity],
        "source": line.requirement.source or "not told",
        "svg": Markup(moment_svg(cut)) if cut else "",  # its texts are escaped where it is made
    }


def as_html(
    pack: Pack,
    found: Sequence[Line],
    runs: Sequence[RunFindings],
    title: str,
    facts: Sequence[tuple[str, str]],
    saved: Mapping[str, Path],
) -> str:
    """The page.  saved: the scenario file of each failed requirement."""
    from tools.charts import page_parts, template_of

    views = [view(line, saved) for line in found]
    number = counts(found)
    packs = []
    titles = {str(path): text for path, text in zip(pack.files, pack.titles, strict=True)}
    titles["contract"] = "The controller's contract"
    pairs = zip(found, views, strict=True)
    for file, members in groupby(pairs, key=lambda pair: pair[0].requirement.file):
        packs.append((titles.get(file, Path(file).stem), file, [one for _, one in members]))
    attention = [one for verdict in ORDER[:3] for one in views if one["verdict"] == verdict]
    trace = [
        (line.requirement.id, ", ".join(f"{_name(n)} ({k})" for n, k in line.exercised) or "none", _test(line))
        for line in found
    ]
    page: str = template_of(Path(__file__).with_name("record.html")).render(
        **page_parts(),
        title=title,
        cautions=CAUTIONS,
        facts=facts,
        counts=[(str(verdict), number[verdict], _kind(verdict)) for verdict in ORDER],
        attention=attention,
        packs=packs,
        trace=trace,
        runs=[
            {
                "scenario": run.scenario, "title": run.title, "seed": run.seed,
                "simulated": f"{run.simulated_s / 60.0:g} min", "ended": run.failure or "as planned",
            }
            for run in sorted(runs, key=lambda run: run.scenario)
        ],
    )  # fmt: skip
    return page
