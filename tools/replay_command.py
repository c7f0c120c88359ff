"""`twoslide replay`: why a logged machine stopped, and whether the logic did what its settings say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.output import console, put_json

if TYPE_CHECKING:
    from rich.console import Console

    from tools.replay.findings import Findings
    from tools.replay.settings_history import History
    from tools.replay.study import Study

RUNS = Path("twoslide-runs")
WORK = ".work"  # finished stages of an interrupted replay, in the folder that it will replace
REPLAY_FILES = {
    "findings.html", "findings.json", "timeline.csv", "scenario.toml", "load.csv", "plant.toml", "settings.toml",
    WORK,
}  # fmt: skip


@click.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="LOG...")
@click.option(
    "--mapping", type=click.Path(path_type=Path), help="What `twoslide inspect` wrote. [default: LOG.mapping.toml]"
)
@click.option(
    "--settings",
    multiple=True,
    metavar="SHEET[@TIME]",
    help="The sheet that was valid; with @TIME from then on. May be given again.",
)
@click.option(
    "--plant",
    type=click.Path(path_type=Path),
    help="Plant file: replays the plant, and gives the site of gauge pressures.",
)
@click.option(
    "--alternative", "alternatives", multiple=True, type=click.Path(path_type=Path), metavar="SHEET",
    help="Would these settings have held?  May be given again.",
)  # fmt: skip
@click.option("--ensemble", default=100, type=click.IntRange(2, 1000), help="Runs of each what-if. [default: 100]")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/replay-LOG]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def replay(
    logs: tuple[Path, ...],
    mapping: Path | None,
    settings: tuple[str, ...],
    plant: Path | None,
    alternatives: tuple[Path, ...],
    ensemble: int,
    out: Path | None,
    as_json: bool,
) -> int:
    """Put LOGs on one clock, find what stopped the machine first, and run the logged measurements through the controller.

    With --plant the plant is led along the log: load, likely cause, and whether other settings would have held.  The
    event is saved as a scenario, with copies of what it needs.  A mapping with open questions is refused.  After Ctrl-C
    or a kill the same command goes on with the runs that it had finished.  An engineering aid, not a safety system.
    """
    from scenarios.errors import InputRefused, Problem
    from scenarios.logged_data.reader import read_log

    chosen = mapping or logs[0].with_name(f"{logs[0].stem}.mapping.toml")
    if mapping is None and not chosen.is_file():
        raise InputRefused(
            Problem("no mapping for this log", file=str(logs[0]), way_out=f"run: twoslide inspect {logs[0]}")
        )
    target = out or RUNS / f"replay-{logs[0].stem}"
    _check_place(target)
    if alternatives and (plant is None or not settings):
        raise InputRefused(
            Problem("--alternative needs --plant and --settings", way_out="name the plant and the sheet of that time")
        )
    data = read_log(list(logs), chosen)
    history = _history(settings, plant, data.start_ms, data.zone)
    found = _find_with_progress(data, history)
    facts = [("logs", ", ".join(str(p) for p in logs)), ("mapping", str(chosen)), ("settings", ", ".join(settings)),
        ("plant", str(plant or "")),
             ("span", f"{found.clock(data.start_ms)} to {found.clock(data.end_ms)} ({data.zone or 'as written'})"),
             ("controller", history.controller if history else "")]  # fmt: skip
    study = _write(target, found, f"{logs[0].stem}: what happened", facts, plant, alternatives, ensemble)
    if as_json:
        put_json(_as_json(found, target, study))
    else:
        _show(found, target, study)
    return 0


def _check_place(target: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    if not target.exists():
        return
    strange = (
        sorted(p.name for p in target.iterdir() if p.name not in REPLAY_FILES) if target.is_dir() else [target.name]
    )
    if strange:
        text = f"--out {target} holds other files ({strange[0]}), and a replay replaces its folder whole"
        raise InputRefused(Problem(text, value=str(target), way_out="name a new folder"))


def _history(settings: tuple[str, ...], plant: Path | None, start_ms: int, zone: str) -> History | None:
    from scenarios.quantities import Site
    from tools.replay.settings_history import read_history

    if not settings:
        return None
    site = Site(101_325.0)
    if plant is not None:
        from scenarios.plant_file import load_plant
        from scenarios.preparation import known

        k = known()
        site = load_plant(
            plant,
            k.parameters_type,
            k.plant_cross_check,
            k.saturation_pressure_pa,
            check_refrigerant=k.check_refrigerant,
        ).site
    return read_history(settings, site, start_ms, zone)


def _find_with_progress(data: object, history: History | None) -> Findings:
    from rich.console import Console
    from rich.progress import Progress

    from scenarios.logged_data.records import LoggedData
    from tools.replay.findings import find

    assert isinstance(data, LoggedData)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("replaying the logic", total=1.0)
        return find(data, history, lambda share: bar.update(task, completed=share))


def _write(
    target: Path, found: Findings, title: str, facts: list[tuple[str, str]], plant: Path | None,
    alternatives: tuple[Path, ...], ensemble: int,
) -> Study | None:  # fmt: skip
    """The folder's files appear whole under their names, or not at all; until then it holds finished stages in `.work`."""
    import json
    import shutil

    from scenarios.errors import StorageFailed
    from scenarios.trace import partial_folder, publish
    from tools.replay_plant import study_plant
    from tools.replay_report import write_replay_report
    from tools.tuning.stage_files import StageFiles

    study: Study | None = None
    try:
        partial = partial_folder(target)
        try:
            if plant is not None:
                study, words = study_plant(
                    found.data, found, plant, alternatives, ensemble, partial, StageFiles(target / WORK).have
                )
                found.words = [*found.words, *words]
            write_replay_report(partial / "findings.html", found, title, facts, study)
            (partial / "findings.json").write_text(
                json.dumps(_as_json(found, target, study), ensure_ascii=False, indent=1), encoding="utf-8"
            )
            (partial / "timeline.csv").write_text(_timeline_csv(found), encoding="utf-8")
            publish(partial, target)
        except BaseException:
            shutil.rmtree(partial, ignore_errors=True)
            raise
    except OSError as error:
        raise StorageFailed(f"{target} could not be written: {error.strerror or error}") from error
    return study


def _timeline_csv(found: Findings) -> str:
    import polars as pl

    rows = [
        (
            e.time_ms,
            e.earliest_ms,
            e.latest_ms,
            found.clock(e.time_ms),
            e.kind,
            e.name,
            e.state,
            e.text,
            e.source,
            e.line,
        )
        for e in found.events
    ]
    names = ["time_ms", "earliest_ms", "latest_ms", "clock", "kind", "name", "state", "text", "source", "line"]
    return str(pl.DataFrame(rows, schema=names, orient="row").write_csv())


def _as_json(found: Findings, target: Path, study: Study | None) -> dict[str, object]:
    from dataclasses import asdict

    from tools.replay_plant import as_plain

    return {
        "folder": str(target), "findings": found.words, "plant": as_plain(study),
        "stops": [
            {"earliest_ms": s.earliest_ms, "latest_ms": s.latest_ms, "verdict": s.verdict, "sure": s.sure, "text": s.text,
             "causes": [asdict(e) for e in s.causes], "later": [asdict(e) for e in s.later], "evidence": s.evidence}
            for s in found.stops
        ],
        "differences": [asdict(d) for d in (found.replay.differences if found.replay else [])],
        "compared": list(found.replay.compared) if found.replay else [],
        "missing_inputs": list(found.replay.missing) if found.replay else [],
        "issues": {name: [asdict(i) for i in issues] for name, issues in found.data.issues.items()},
    }  # fmt: skip


def _show(found: Findings, target: Path, study: Study | None) -> None:
    from rich.table import Table
    from rich.text import Text

    from tools.replay.findings import CAUTION, condensed

    screen = console()
    for line in found.words:
        screen.print(line, markup=False, soft_wrap=True)
    lines = [one for one in condensed(found.events) if one.kind != "limit" or one.times > 1][-24:]
    table = Table(title="Timeline, the last of it", title_justify="left")
    for name in ("time", "±", "kind", "what"):
        table.add_column(name, overflow="fold")
    for one in lines:
        more = f"  × {one.times}, last {found.clock(one.last_ms)}" if one.times > 1 else ""
        table.add_row(
            found.clock(one.time_ms),
            f"{one.uncertainty_ms / 1000.0:.1f} s",
            one.kind,
            Text(one.text + more, style="bold" if one.kind == "trip" else ""),
        )
    screen.print(table)
    if study is not None:
        _show_study(screen, study)
    screen.print(f"wrote {target / 'findings.html'}", markup=False, soft_wrap=True)
    screen.print(CAUTION, markup=False, soft_wrap=True, style="dim")


def _show_study(screen: Console, study: Study) -> None:
    """Causes and what-if as tables."""
    from rich.table import Table
    from rich.text import Text

    from tools.replay_plant import causes_table, variants_table

    causes = causes_table(study)
    if causes:
        table = Table(title="Causes, by how well each explains what the model leaves over", title_justify="left")
        for name in ("group", "probability", "explains", "size", "look first"):
            table.add_column(name, overflow="fold")
        for row in causes[:5]:
            table.add_row(row["group"], row["probability"], row["explains"], row["size"], Text(row["check"]))
        screen.print(table)
    variants = variants_table(study)
    if variants:
        table = Table(title="What might have been", title_justify="left")
        for name in ("run", "tripped", "on", "nearest to the limit"):
            table.add_column(name, overflow="fold")
        for row in variants:
            table.add_row(Text(row["name"]), row["tripped"], row["causes"], row["room"])
        screen.print(table)
