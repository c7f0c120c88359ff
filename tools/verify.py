"""`twoslide verify`: every requirement on every scenario, and the acceptance record."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.hunt import budget_s, hunt_progress
from tools.names import short_name
from tools.output import console, put_json, say

if TYPE_CHECKING:
    from rich.table import Table

    from tools.verification.acceptance import Line
    from tools.verification.campaign import Campaign, RunFindings
    from tools.verification.hunted import Hunted
    from tools.verification.pack import Pack

RUNS = Path("twoslide-runs")
FILES = {"runs", "hunt", "counterexamples", "acceptance.html", "acceptance.csv", "traceability.csv", "acceptance.xml"}
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
@click.option(
    "--hunt", "budget", callback=budget_s, metavar="5min",
    help="Then search for what breaks a requirement, for so long in all. [default: no hunt]",
)  # fmt: skip
@click.option("--jobs", type=click.IntRange(1, 256), help="Runs at a time. [default: as many as there are cores]")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/verify-...]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
@click.option(
    "--describe", is_flag=True, is_eager=True, expose_value=False, callback=_describe,
    help="List the columns, functions and settings that a formula may use.",
)  # fmt: skip
def verify(
    packs: tuple[Path, ...], controller: str | None, settings: Path | None, scenarios: tuple[Path, ...],
    seed: int | None, budget: float | None, jobs: int | None, out: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Judge every requirement on every scenario and leave an acceptance record.

    All is checked before the first run.  Finished runs, and rounds of a hunt, are kept in the folder: an interrupted
    command goes on.  Without a pack of your own the contract suite of check-controller is part of the record.  Exit code
    1 when a requirement was broken; the scenario that shows it is then saved.
    """
    from tools.verification.acceptance import lines
    from tools.verification.campaign import plan
    from tools.verification.contract_lines import contract_lines
    from tools.verification.findings import Verdict
    from tools.verification.hunted import lead
    from tools.verification.pack import load_pack

    pack = load_pack(list(packs) or None)
    say(f"{len(pack.requirements)} requirements; checking scenarios, plants and sheets")
    campaign = plan(pack, list(scenarios) or None, controller, settings, seed)
    folder = out or RUNS / f"verify-{_word(controller, settings, seed)}"
    _check_place(folder)
    _check_plug_in(campaign)
    for note in campaign.notes:
        say(note)
    cores = jobs or os.cpu_count() or 1
    with _progress(len(campaign.jobs)) as progress:
        runs = list(campaign.run(folder, cores, progress))
    names = [job.scenario.name for job in campaign.jobs]
    runs.sort(key=lambda run: names.index(run.scenario))
    shutil.rmtree(folder / "counterexamples", ignore_errors=True)  # what failed before need not fail now
    hunted = None
    if budget is not None:
        with hunt_progress("hunt") as hunting:
            hunted = lead(campaign, folder, 1 if seed is None else seed, budget, cores, hunting)
    found = lines(pack, runs, hunted)
    if not packs:
        say("the contract suite")
        found += contract_lines(campaign, 1 if seed is None else seed)
    saved = _write(folder, pack, campaign, runs, found, hunted)
    if as_json:
        put_json(_as_dict(folder, found, runs, saved, hunted))
    else:
        _print(folder, found, runs, saved, hunted)
    # a run that a plug-in ended early proves nothing of what lies beyond: no pass
    return int(any(line.verdict is Verdict.FAILED for line in found) or any(run.failure for run in runs))


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


@contextlib.contextmanager
def _shrinking() -> Iterator[Progress]:
    """What is being made smaller, on stderr; a line a scenario where that is no terminal."""
    from rich.console import Console
    from rich.markup import escape

    shown = Console(stderr=True)
    if not shown.is_terminal:
        yield lambda name, runs: say(f"making {name} smaller") if runs == 1 else None
        return
    with shown.status("") as status:
        yield lambda name, runs: status.update(f"making {escape(name)} smaller, run {runs}")


def _facts(
    pack: Pack, campaign: Campaign, runs: Sequence[RunFindings], hunted: Hunted | None, promises: int
) -> list[tuple[str, str]]:
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
        ("requirements", f"{len(pack.requirements)}{f', and {promises} promises of the contract' if promises else ''}"),
        (
            "runs",
            f"{len(runs)} scenarios, {sum(run.simulated_s for run in runs) / 3600.0:.1f} h simulated, every scan judged",
        ),
        ("hunt", hunted.words if hunted else "none"),
        ("program", f"twoslide {each('version')}, sources {each('sources')[:16]}…"),
        ("made", datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %Z")),
    ]
    return [(key, text) for key, text in found if text]


def _write(
    folder: Path, pack: Pack, campaign: Campaign, runs: Sequence[RunFindings], found: Sequence[Line],
    hunted: Hunted | None,
) -> dict[str, Path]:  # fmt: skip
    """The record in its forms, and the scenario of every broken requirement; returns those by id."""
    from scenarios.settings_sheet import write_whole
    from tools.verification.counterexample import save_all
    from tools.verification.record_files import acceptance_csv, junit_xml, traceability_csv
    from tools.verification.record_html import as_html

    with _shrinking() as progress:
        saved = save_all(found, campaign, hunted, folder / "counterexamples", progress)
    title = f"Acceptance record: {', '.join(sorted({short_name(run.controller) for run in runs}))}"
    shown = [*runs, *(hunted.replayed if hunted else ())]
    facts = _facts(pack, campaign, runs, hunted, len(found) - len(pack.requirements))
    write_whole(folder / "acceptance.csv", acceptance_csv(found))
    write_whole(folder / "traceability.csv", traceability_csv(found, shown))
    write_whole(folder / "acceptance.xml", junit_xml(found, runs, title, hunted))
    write_whole(folder / "acceptance.html", as_html(pack, found, shown, title, facts, saved))
    return saved


def table(found: Sequence[Line]) -> Table:
    """A line a requirement: verdict, least margin and where."""
    from rich.table import Table
    from rich.text import Text

    from tools.verification.acceptance import CAUTION

    out = Table(caption=CAUTION, caption_justify="left")
    hunted = any(line.hunt for line in found)
    for name in ("id", "verdict", "least margin", "in scenario", "at s", "exercised", *(["hunt"] if hunted else [])):
        out.add_column(
            name, justify="right" if name in ("least margin", "at s", "exercised") else "left", overflow="fold"
        )
    styles = {"failed": "bold red", "held": "", "not exercised": "yellow", "not applicable": "yellow"}
    for line in found:
        one, run = line.finding, line.run
        at_s = f"{one.time_ms / 1000.0:g}" if one and one.time_ms is not None else ""
        row = [line.requirement.id, str(line.verdict), line.margin_text, Path(run.scenario).stem if run else "", at_s]
        row.append(f"{line.times} in {len(line.exercised)}")
        row += [line.hunt.short if line.hunt else ""] if hunted else []
        out.add_row(*(Text(word) for word in row), style=styles[line.verdict])
    return out


def _print(
    folder: Path, found: Sequence[Line], runs: Sequence[RunFindings], saved: dict[str, Path], hunted: Hunted | None
) -> None:
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
    if hunted is not None:
        shown.print(f"hunt: {hunted.words}", markup=False, soft_wrap=True)
    shown.print(f"record: {folder / 'acceptance.html'}", markup=False, soft_wrap=True)


def _as_dict(
    folder: Path, found: Sequence[Line], runs: Sequence[RunFindings], saved: dict[str, Path], hunted: Hunted | None
) -> dict[str, Any]:
    from tools.hunt import as_data
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
                "hunt": asdict(line.hunt) if line.hunt else None,
                "saved": str(saved[line.requirement.id]) if line.requirement.id in saved else None,
            }
            for line in found
        ],
        "runs": [
            {"scenario": run.scenario, "seed": run.seed, "failure": run.failure, "kept": run.kept} for run in runs
        ],
        "hunt": None if hunted is None else as_data(folder / "hunt", hunted.found, hunted.saved()),
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
