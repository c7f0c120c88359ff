"""`twoslide tune`: a plant file in, a settings sheet with its reasons out."""

from __future__ import annotations

import os
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.output import console, say

if TYPE_CHECKING:
    from tools.tuning.tuning_result import TuningResult

RUNS = Path("twoslide-runs")
BUDGET = "300 trials"  # fewer scatter: at 80 the chosen point is much a matter of luck
OWN = {"work", "alternatives", "tuning.json", "report.html", "settings.csv", "settings.html"}


@click.command()
@click.argument("plant", type=click.Path(path_type=Path))
@click.option(
    "--settings", type=click.Path(path_type=Path), metavar="SHEET", help="Start from it. [default: made for PLANT]"
)
@click.option("--controller", help="A shipped controller. [default: the sheet's, or scheduled_pi]")
@click.option(
    "--scenario", "--scenarios", "scenarios", multiple=True, type=click.Path(path_type=Path), metavar="FILE|DIR",
    help="Search on these; may be repeated. [default: eight generated hours]",
)  # fmt: skip
@click.option(
    "--log", "logs", multiple=True, type=click.Path(path_type=Path), metavar="CSV",
    help="A logged step test on the plant; may be repeated.",
)  # fmt: skip
@click.option(
    "--budget", default=BUDGET, metavar="BUDGET", help=f'Of each search: "10min" or "300 trials". [default: {BUDGET}]'
)
@click.option("--jobs", type=click.IntRange(1, 256), help="Processes. [default: one a core]")
@click.option("--cluster", default="", metavar="ADDRESS", help="Search on the Dask cluster of this scheduler.")
@click.option("--seed", default=1, type=click.IntRange(min=0), help="Seed of everything drawn. [default: 1]")
@click.option("--unseen", type=click.IntRange(min=2), metavar="N", help="Cases of the proof, at least. [default: 299]")
@click.option("--quick", is_flag=True, help="A coarse map, two plant draws, 16 unseen cases: to see how it goes.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/tune-PLANT-CONTROLLER]"
)
def tune(
    plant: Path, settings: Path | None, controller: str | None, scenarios: tuple[Path, ...], logs: tuple[Path, ...],
    budget: str, jobs: int | None, cluster: str, seed: int, unseen: int | None, quick: bool, out: Path | None,
) -> int:  # fmt: skip
    """Find settings for PLANT that hold over its whole operating map, and prove them on cases the search has not seen.

    Map, rules and margins first, then a search on the simulated plant for the controller and, with the same budget, for the
    step control as its rival.  Ends with a settings sheet, a report and the alternatives in the folder.  Finished work is
    kept there: after Ctrl-C, or any other end, the same command goes on where it was.
    """
    from tools.tuning.search_stage import NothingFeasible
    from tools.tuning.tune_progress import TuneProgress
    from tools.tuning.tuned_sheet import check_not_overwritten
    from tools.tuning.tuning_flow import run_tuning
    from tools.tuning.tuning_inputs import FULL, QUICK, read_inputs

    inputs = read_inputs(
        plant,
        settings=settings,
        controller=controller,
        scenarios=scenarios,
        logs=logs,
        budget=budget,
        seed=seed,
        jobs=jobs or _cores(),
        cluster=cluster,
        unseen=unseen,
        effort=QUICK if quick else FULL,
    )
    folder = out or RUNS / f"tune-{plant.stem}-{inputs.controller}"
    _check_place(folder)
    check_not_overwritten(settings, folder)
    for note in inputs.notes:
        say(f"note: {note}")
    try:
        tuned = run_tuning(inputs, folder / "work", TuneProgress())
    except NothingFeasible as error:
        say(str(error))
        return 1
    return _leave(tuned, folder)


def _leave(tuned: object, folder: Path) -> int:
    """Write what a finished run leaves, and say it."""
    from scenarios.settings_sheet import write_whole
    from tools.tuning.sheet_for_people import write_sheet_for_people
    from tools.tuning.tune_report import write_tune_report
    from tools.tuning.tuning_flow import Tuned
    from tools.tuning.tuning_outcome import result_of, write_sheets
    from tools.tuning.tuning_result import to_json

    assert isinstance(tuned, Tuned)
    result = result_of(tuned, shlex.join(["twoslide", *sys.argv[1:]]))
    sheets = write_sheets(tuned, folder)
    write_whole(folder / "tuning.json", to_json(result))
    write_sheet_for_people(result, folder)
    write_tune_report(result, folder)
    _print(result, folder, sheets)
    return 0


def _cores() -> int:
    return max(1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)


def _check_place(folder: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    def ours(name: str) -> bool:
        return name in OWN or name.startswith(("tuned_", "."))

    strange = [p.name for p in folder.iterdir() if not ours(p.name)] if folder.is_dir() else []
    if strange or (folder.exists() and not folder.is_dir()):
        what = f"holds other files ({strange[0]})" if strange else "is a file"
        raise InputRefused(Problem(f"--out {folder} {what}", value=str(folder), way_out="name a new folder"))


def _print(result: TuningResult, folder: Path, sheets: list[Path]) -> None:
    from tools.tuning.tune_tables import answer_lines, proof_table, rule_table, settings_table

    screen = console()
    screen.print(result.title, markup=False)
    for table in (rule_table(result), settings_table(result), proof_table(result)):
        if table is not None:
            screen.print(table)
    for line in answer_lines(result):
        screen.print(line, markup=False, soft_wrap=True)
    for warning in result.warnings:
        screen.print(f"note: {warning}", markup=False, soft_wrap=True)
    screen.print("An engineering aid on a simulated plant, and no safety system: hard-wired cut-outs come first.")
    screen.print(f"sheet: {sheets[0]}", markup=False, soft_wrap=True)
    if len(sheets) > 1:
        screen.print(f"alternatives: {', '.join(str(p) for p in sheets[1:])}", markup=False, soft_wrap=True)
    screen.print(
        f"to print and sign: {folder / 'settings.html'}, {folder / 'settings.csv'}", markup=False, soft_wrap=True
    )
    screen.print(f"all figures: {folder / 'tuning.json'}", markup=False, soft_wrap=True)
    screen.print(f"report: {folder / 'report.html'}", markup=False, soft_wrap=True)
