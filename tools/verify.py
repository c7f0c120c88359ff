"""`twoslide verify`: every requirement on every scenario, and the acceptance record."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.names import short_name
from tools.output import console, put_json, say

if TYPE_CHECKING:
    from rich.table import Table

    from tools.verification.acceptance import Line
    from tools.verification.campaign import Campaign, RunFindings
    from tools.verification.pack import Pack

RUNS = Path("twoslide-runs")
FILES = {"runs", "counterexamples", "acceptance.html", "acceptance.csv", "traceability.csv", "acceptance.xml"}
Progress = Callable[[str, int], None]


def _describe(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        _print_words()
        context.exit(0)


@click.command()
@click.option(
    "--pack", "packs", multiple=True, type=click.Path(path_type=Path), metavar="FILE",
    help="Requirements (TOML); may be repeated. [default: the shipped packs]",
)  # fmt: skip
@click.option("--controller", help="A shipped name, FILE.py:NAME or FILE.so. [default: each scenario's own]")
@click.option(
    "--settings", type=click.Path(path_type=Path), metavar="SHEET",
    help="Use this settings sheet; its limits are what is asked of a controller that has no sheet.",
)  # fmt: skip
@click.option(
    "--scenarios", multiple=True, type=click.Path(path_type=Path), metavar="PATH",
    help="Scenario file or folder; may be repeated. [default: the library and its verification folder]",
)  # fmt: skip
@click.option("--seed", type=click.IntRange(min=0), help="Use this seed in every scenario.")
@click.option("--jobs", type=click.IntRange(1, 256), help="Runs at a time. [default: as many as there are cores]")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/verify-...]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
@click.option(
    "--describe", is_flag=True, is_eager=True, expose_value=False, callback=_describe,
    help="List the columns, functions and settings that a formula may use.",
)  # fmt: skip
def verify(
    packs: tuple[Path, ...], controller: str | None, settings: Path | None, scenarios: tuple[Path, ...],
    seed: int | None, jobs: int | None, out: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Judge every requirement on every scenario and leave an acceptance record.

    All is checked before the first run.  Finished runs are kept in the folder: an interrupted command goes on.  Exit
    code 1 when a requirement was broken; the scenario that shows it is then saved.
    """
    from tools.verification.acceptance import lines
    from tools.verification.campaign import plan
    from tools.verification.findings import Verdict
    from tools.verification.pack import load_pack

    pack = load_pack(list(packs) or None)
    say(f"{len(pack.requirements)} requirements; checking scenarios, plants and sheets")
    campaign = plan(pack, list(scenarios) or None, controller, settings, seed)
    folder = out or RUNS / f"verify-{_word(controller, settings, seed)}"
    _check_place(folder)
    _check_plug_in(campaign)
    for note in campaign.notes:
        say(note)
    with _progress(len(campaign.jobs)) as progress:
        runs = list(campaign.run(folder, jobs or os.cpu_count() or 1, progress))
    names = [job.scenario.name for job in campaign.jobs]
    runs.sort(key=lambda run: names.index(run.scenario))
    found = lines(pack, runs)
    saved = _write(folder, pack, campaign, runs, found)
    if as_json:
        put_json(_as_dict(folder, found, runs, saved))
    else:
        _print(folder, found, runs, saved)
    return int(any(line.verdict is Verdict.FAILED for line in found))


def _word(controller: str | None, settings: Path | None, seed: int | None) -> str:
    import re

    words = [controller or "library", settings.stem if settings else "", "" if seed is None else f"seed{seed}"]
    return "-".join(re.sub(r"[^\w.-]+", "_", Path(word).name) for word in words if word)


def _check_place(folder: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    strange = [p.name for p in folder.iterdir() if p.name not in FILES and p.name[0] != "."] if folder.is_dir() else []
    if strange or (folder.exists() and not folder.is_dir()):
        what = f"holds other files ({strange[0]})" if strange else "is a file"
        raise InputRefused(Problem(f"--out {folder} {what}", value=str(folder), way_out="name a new folder"))


def _check_plug_in(campaign: Campaign) -> None:
    """Somebody else's code is loaded once before anything runs, so that what is no controller is refused."""
    from scenarios.runner import check_plug_in

    for one in {one.controller_name: one for one in campaign.prepared}.values():
        check_plug_in(one)


@contextlib.contextmanager
def _progress(total: int) -> Iterator[Progress]:
    """A bar on stderr over the runs; a line a run where stderr is no terminal."""
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    shown = Console(stderr=True)
    if not shown.is_terminal:
        yield lambda name, done: say(f"{done}/{total} {name}")
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Bar(*columns, console=shown) as bar:
        task = bar.add_task("", total=total)
        yield lambda name, done: bar.update(task, description=escape(name), completed=done)


def _facts(pack: Pack, campaign: Campaign, runs: Sequence[RunFindings]) -> list[tuple[str, str]]:
    facts = [run.facts for run in runs]

    def each(key: str) -> str:
        return ", ".join(sorted({fact.get(key, "") for fact in facts if fact.get(key)}))

    asked = sorted({job.limits_sheet.name for job in campaign.jobs if job.limits_sheet})
    found = [
        ("controller", ", ".join(sorted({short_name(run.controller) for run in runs}))),
        ("settings sheets", each("settings")),
        ("limits asked for are those of", ", ".join(asked)),
        (
            "sheet checksums",
            ", ".join(f"{stamp[:23]}…" for stamp in sorted({f["settings_checksum"] for f in facts} - {""})),
        ),
        ("plants", "; ".join(sorted({fact["plant"] for fact in facts}))),
        ("packs", ", ".join(path.name for path in pack.files) + f" (sha256 {pack.sha256[:16]}…)"),
        ("requirements", str(len(pack.requirements))),
        (
            "runs",
            f"{len(runs)} scenarios, {sum(run.simulated_s for run in runs) / 3600.0:.1f} h simulated, every scan judged",
        ),
        ("program", f"twoslide {each('version')}, sources {each('sources')[:16]}…"),
        ("made", datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %Z")),
    ]
    return [(key, text) for key, text in found if text]


def _write(
    folder: Path, pack: Pack, campaign: Campaign, runs: Sequence[RunFindings], found: Sequence[Line]
) -> dict[str, Path]:
    """The record in its forms, and the scenario of every broken requirement; returns those by id."""
    import shutil

    from scenarios.settings_sheet import write_whole
    from tools.verification.counterexample import save
    from tools.verification.findings import Verdict
    from tools.verification.record_files import acceptance_csv, junit_xml, traceability_csv
    from tools.verification.record_html import as_html

    jobs = {job.scenario.name: job for job in campaign.jobs}
    shutil.rmtree(folder / "counterexamples", ignore_errors=True)  # what failed before need not fail now
    saved = {}
    for line in found:
        if line.verdict is Verdict.FAILED and line.run is not None:
            saved[line.requirement.id] = save(line, jobs[line.run.scenario], folder / "counterexamples")
    title = f"Acceptance record: {', '.join(sorted({short_name(run.controller) for run in runs}))}"
    facts = _facts(pack, campaign, runs)
    write_whole(folder / "acceptance.csv", acceptance_csv(found))
    write_whole(folder / "traceability.csv", traceability_csv(found, runs))
    write_whole(folder / "acceptance.xml", junit_xml(found, runs, title))
    write_whole(folder / "acceptance.html", as_html(pack, found, runs, title, facts, saved))
    return saved


def table(found: Sequence[Line]) -> Table:
    """A line a requirement: verdict, least margin and where."""
    from rich.table import Table
    from rich.text import Text

    from tools.verification.acceptance import CAUTION

    out = Table(caption=CAUTION, caption_justify="left")
    for name in ("id", "verdict", "least margin", "in scenario", "at s", "exercised"):
        out.add_column(
            name, justify="right" if name in ("least margin", "at s", "exercised") else "left", overflow="fold"
        )
    styles = {"failed": "bold red", "held": "", "not exercised": "yellow", "not applicable": "yellow"}
    for line in found:
        one, run = line.finding, line.run
        at_s = f"{one.time_ms / 1000.0:g}" if one and one.time_ms is not None else ""
        row = (line.requirement.id, str(line.verdict), line.margin_text, Path(run.scenario).stem if run else "", at_s)
        out.add_row(*(Text(word) for word in row), f"{line.times} in {len(line.exercised)}", style=styles[line.verdict])
    return out


def _print(folder: Path, found: Sequence[Line], runs: Sequence[RunFindings], saved: dict[str, Path]) -> None:
    from tools.verification.acceptance import counts
    from tools.verification.findings import Verdict

    shown = console()
    shown.print(table(found))
    for line in found:
        if line.verdict is Verdict.FAILED and line.finding and line.run:
            at_s = (line.finding.failed_ms or 0) / 1000.0
            words = f"{line.requirement.id} broken in {', '.join(line.failed)}: {line.sentence} First at {at_s:g} s in "
            shown.print(
                f"{words}{line.run.scenario}; saved as {saved[line.requirement.id]}",
                style="bold",
                markup=False,
                soft_wrap=True,
            )
    for run in runs:
        if run.failure:
            shown.print(f"{run.scenario} ended early: {run.failure}", style="bold", markup=False, soft_wrap=True)
    number = ", ".join(f"{n} {verdict}" for verdict, n in counts(found).items() if n)
    kept = sum(run.kept for run in runs)
    again = f"; {kept} were there from before and not run again" if kept else ""
    plural = "s" if len(runs) != 1 else ""
    shown.print(f"{len(found)} requirements: {number}; {len(runs)} run{plural}{again}", markup=False, soft_wrap=True)
    shown.print(f"record: {folder / 'acceptance.html'}", markup=False, soft_wrap=True)


def _as_dict(
    folder: Path, found: Sequence[Line], runs: Sequence[RunFindings], saved: dict[str, Path]
) -> dict[str, Any]:
    from tools.verification.acceptance import CAUTION

    return {
        "format_version": 1,
        "folder": str(folder),
        "caution": CAUTION,
        "requirements": [
            {
                **(line.finding.as_dict() if line.finding else {}),
                "id": line.requirement.id,
                "severity": str(line.requirement.severity),
                "text": line.sentence,
                "verdict": str(line.verdict),
                "scenario": line.run.scenario if line.run else None,
                "seed": line.run.seed if line.run else None,
                "exercised": dict(line.exercised),
                "failed_in": list(line.failed),
                "reason": line.reason,
                "saved": str(saved[line.requirement.id]) if line.requirement.id in saved else None,
            }
            for line in found
        ],
        "runs": [
            {"scenario": run.scenario, "seed": run.seed, "failure": run.failure, "kept": run.kept} for run in runs
        ],
    }


def _print_words() -> None:
    """Everything that a formula may name."""
    from rich.table import Table

    from scenarios.row import FORMS, TEXTS, UNITS
    from tools.verification.pack import every_setting
    from tools.verification.sorts import columns
    from tools.verification.words import FUNCTIONS

    shown = console()
    short = {name: key for key, name in columns().items() if key != name}
    names = Table(title="columns", title_justify="left")
    for head in ("name", "unit", "means"):
        names.add_column(head, overflow="fold")
    for name, text in TEXTS.items():
        unit = UNITS[name] if FORMS[name] in (float, int) else FORMS[name].__name__.replace("bool", "yes or no")
        names.add_row(short.get(name, name), unit, text)
    shown.print(names)
    shown.print(
        "operators, loosest first: implies · or · and · a until[t1, t2] b · not, always[t1, t2], eventually[t1, t2],\n"
        "once[t1, t2], historically[t1, t2] (these look back)\n"
        "· > >= < <= == !=, STATE in (A, B), CAUSE in trip_word · + - · * /\n"
        "A window holds both its ends. A formula is judged in every scan whose windows lie in the run.",
        markup=False,
        soft_wrap=True,
    )
    functions = Table(title="functions", title_justify="left")
    functions.add_column("name")
    functions.add_column("means", overflow="fold")
    for name, text in FUNCTIONS.items():
        functions.add_row(name, text)
    shown.print(functions)
    shown.print(
        "settings, in braces: " + ", ".join(f"{{{name}}}" for name in every_setting()), markup=False, soft_wrap=True
    )
