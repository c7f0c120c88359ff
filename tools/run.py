"""`twoslide run` and `twoslide tour`: scenarios are run, shown and reported."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.names import short_name
from tools.output import console, progress_bar, put_json, say

if TYPE_CHECKING:
    from scenarios.preparation import Prepared
    from scenarios.runner import RunResult

RUNS = Path("twoslide-runs")
TOUR_CONTROLLERS = ("three_position", "scheduled_pi", "model_based")


def _log_ms(_context: click.Context, _parameter: click.Parameter, text: str | None) -> int | None:
    """The scan is 100 ms; anything else is a time."""
    if text is None:
        return None
    if text.strip() == "scan":
        return 100
    match = re.fullmatch(r"(\d+(?:\.\d+)?) ?(ms|s|min)", text.strip())
    if not match:
        raise click.BadParameter(f'"{text}" is no log interval; write scan, 1s or 500ms')
    return round(float(match[1]) * {"ms": 1.0, "s": 1000.0, "min": 60_000.0}[match[2]])


@click.command()
@click.argument("scenarios", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SCENARIO...")
@click.option("--controller", help="Use this one: a shipped name, FILE.py:NAME or FILE.so.")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="Use this settings sheet.")
@click.option("--seed", type=click.IntRange(min=0), help="Use this seed.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder for the run. [default: {RUNS}/...]"
)
@click.option("--log-every", "log_ms", callback=_log_ms, metavar="scan|1s", help="Row interval. [default: 1s]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def run(
    scenarios: tuple[Path, ...],
    controller: str | None,
    settings: Path | None,
    seed: int | None,
    out: Path | None,
    log_ms: int | None,
    as_json: bool,
) -> int:
    """Run scenario files, or folders of them.  All are checked before the first one starts.

    Of several, those that were finished before from the same inputs are kept, so that an interrupted command goes on.
    """
    from scenarios.runner import prepare

    prepared = prepare(list(scenarios), controller=controller, settings=settings, seed=seed, log_ms=log_ms)
    results = _execute_all(prepared, _places(prepared, out, seed))
    if as_json:
        _print_json(prepared, results)
    else:
        _print_runs(prepared, results)
    return _exit_code(results)


@click.command()
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/tour]")
def tour(out: Path | None) -> int:
    """Run the demo shift under each of the three shipped controllers, and compare them with the first, the baseline."""
    from scenarios.runner import prepare

    library = Path(__file__).resolve().parent.parent / "scenarios" / "library"
    prepared = []
    for name in TOUR_CONTROLLERS:
        sheet = library / "sheets" / f"demo_{name}.toml"
        prepared += prepare([library / "demo_shift.toml"], controller=name, settings=sheet)
    folder = out or RUNS / "tour"
    _check_tour_place(folder)
    results = _execute_all(prepared, [folder / one.controller_name for one in prepared])
    title = f"{prepared[0].scenario.title}: {' against '.join(TOUR_CONTROLLERS)}"
    _write_report(folder / "report.html", prepared, results, title)
    _print_comparison(prepared, results, folder / "report.html")
    return _exit_code(results)


def _check_tour_place(folder: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    known = {*TOUR_CONTROLLERS, "report.html"}
    # what a killed tour left under a dotted name is cleared away by the next
    strange = [p.name for p in folder.iterdir() if p.name not in known and p.name[0] != "."] if folder.is_dir() else []
    if strange or (folder.exists() and not folder.is_dir()):
        what = f"holds other files ({strange[0]})" if strange else "is a file"
        raise InputRefused(Problem(f"--out {folder} {what}", value=str(folder), way_out="name a new folder"))


def _places(prepared: list[Prepared], out: Path | None, seed: int | None) -> list[Path]:
    """A folder for each run: a seed of its own has a folder of its own, two scenarios of one name get a number."""
    if out is not None and len(prepared) == 1:
        return [out]
    places: list[Path] = []
    for one in prepared:
        word = re.sub(r"[^\w.-]+", "_", Path(one.controller_name).name)
        word += "" if seed is None else f"-seed{seed}"
        place = base = (out or RUNS) / f"{one.scenario.path.stem}-{word}"
        number = 1
        while place in places:
            number += 1
            place = base.with_name(f"{base.name}-{number}")
        places.append(place)
    return places


def _execute_all(prepared: list[Prepared], places: list[Path]) -> list[RunResult]:
    from scenarios.runner import check_place, check_plug_in, execute, finished_run

    for place in places:
        check_place(place)
    if len(prepared) > 1:  # a single one is found out before its first scan anyway
        for one in {one.controller_name: one for one in prepared}.values():
            check_plug_in(one)
    results = []
    for one, place in zip(prepared, places, strict=True):
        kept = finished_run(one, place) if len(prepared) > 1 else None
        if kept:
            results.append(kept)
            continue
        _say_what_is_replaced(one, place)

        def finish(folder: Path, result: RunResult, one: Prepared = one) -> None:
            title = f"{one.scenario.title}: {short_name(one.controller_name)}"
            _write_report(folder / "report.html", [one], [result], title)

        with progress_bar(f"{one.scenario.title} · {short_name(one.controller_name)}") as progress:
            results.append(execute(one, place, progress, finish))
    return results


def _say_what_is_replaced(one: Prepared, place: Path) -> None:
    """A word on stderr where another run's folder is about to be replaced: another seed, sheet, controller or scenario."""
    from scenarios.errors import InputRefused
    from scenarios.finished_runs import is_run, read_run

    if not is_run(place):
        return
    try:
        facts = read_run(place).facts
    except InputRefused:
        return  # a run of another version, or a damaged one: nothing to tell of it
    keys = ("scenario_file", "plant", "controller", "settings", "settings_checksum", "seed")
    other = [
        f"{key.replace('_', ' ')} {facts[key]}"
        for key in keys
        if key in one.facts and facts.get(key, "") != one.facts[key]
    ]
    if other:
        say(f"{place}: replaces the run with {', '.join(other)}")


def _write_report(path: Path, prepared: list[Prepared], results: list[RunResult], title: str) -> None:
    from tools.report import ReportRun, write_report
    from tools.tables import speed

    runs = [
        ReportRun(
            one.controller_name,
            result.trace,
            result.scores,
            result.limits,
            {**result.facts, "engine": result.engine, "engine_note": result.engine_note, "speed": speed(result)},
            result.failure,
            one.refrigerant,
            one.parameters,
            one.settings,
            one.scenario.purpose,
            one.scenario.expects,
        )
        for one, result in zip(prepared, results, strict=True)
    ]
    write_report(path, runs, title)


def _exit_code(results: list[RunResult]) -> int:
    return int(any(result.failure or result.scores.violations for result in results))


def _print_comparison(prepared: list[Prepared], results: list[RunResult], report: Path) -> None:
    from tools.tables import print_failure, print_notes, score_table

    shown = console()
    for one, result in zip(prepared, results, strict=True):
        print_failure(shown, one, result)
    shown.print(score_table([one.controller_name for one in prepared], [result.scores for result in results]))
    for one, result in zip(prepared, results, strict=True):
        print_notes(shown, one, result)
    shown.print(f"report: {report}", markup=False, soft_wrap=True)


def _print_runs(prepared: list[Prepared], results: list[RunResult]) -> None:
    from tools.tables import print_failure, print_notes, scenario_table

    if len(results) == 1:
        _print_comparison(prepared, results, (results[0].folder or Path()) / "report.html")
        return
    shown = console()
    pairs = list(zip(prepared, results, strict=True))
    shown.print(scenario_table([(one.scenario.title, one.controller_name, r.scores, r.failure) for one, r in pairs]))
    for one, result in pairs:
        shown.print(f"{one.scenario.path.name}: {result.folder}/report.html", markup=False, soft_wrap=True)
        print_failure(shown, one, result)
        print_notes(shown, one, result)


def _print_json(prepared: list[Prepared], results: list[RunResult]) -> None:
    from tools.tables import trip_lines

    runs = [
        {
            "scenario": str(one.scenario.path),
            "title": one.scenario.title,
            "controller": one.controller_name,
            "folder": str(result.folder) if result.folder else None,
            "failure": result.failure,
            "trips": trip_lines(result.trace),
            "engine": result.engine,
            "engine_note": result.engine_note,
            "simulated_s_per_s": result.simulated_s_per_s,
            "facts": result.facts,
            **result.scores.as_dict(),
        }
        for one, result in zip(prepared, results, strict=True)
    ]
    put_json({"format_version": 1, "runs": runs})
