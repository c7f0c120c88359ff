"""`twoslide hunt`: search for the sequence of happenings that breaks a requirement, or comes nearest to it."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.names import short_name
from tools.output import console, put_json

if TYPE_CHECKING:
    from tools.verification.ground import Ground
    from tools.verification.hunt import Found

RUNS = Path("twoslide-runs")
FILES = {"rounds", "counterexamples", "hunt.csv"}
PLANT = Path(__file__).resolve().parent.parent / "scenarios" / "library" / "plants" / "harrow_ness.toml"
CAUTION = (
    "An engineering aid on a simulated plant and no safety system. What a hunt has not found is not shown to be absent; "
    "hard-wired cut-outs come first."
)
Progress = Callable[["Found", float], None]


def budget_s(_context: click.Context, _parameter: click.Parameter, text: str | None) -> float | None:
    """A time as people write it, in seconds; None where none is given."""
    if text is None:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?) ?(s|min|h)", text.strip())
    if not match or float(match[1]) <= 0.0:
        raise click.BadParameter(f'"{text}" is no time for a hunt; write 90s, 5min or 1h')
    return float(match[1]) * {"s": 1.0, "min": 60.0, "h": 3600.0}[match[2]]


@click.command()
@click.option("--controller", help="A shipped name, FILE.py:NAME or FILE.so. [default: the sheet's, or scheduled_pi]")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="With this settings sheet.")
@click.option("--plant", type=click.Path(path_type=Path), help="On this plant. [default: the demo plant]")
@click.option(
    "--pack", "packs", multiple=True, type=click.Path(path_type=Path), metavar="FILE",
    help="Requirements (TOML); may be repeated. [default: the shipped packs]",
)  # fmt: skip
@click.option(
    "--for", "budget", default="5min", callback=budget_s, metavar="5min", help="How long in all. [default: 5min]"
)
@click.option("--seed", default=1, type=click.IntRange(min=0), help="Another hunt. [default: 1]")
@click.option("--jobs", type=click.IntRange(1, 256), help="Rounds at a time. [default: as many as there are cores]")
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help=f"Folder. [default: {RUNS}/hunt-...]")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def hunt(
    controller: str | None, settings: Path | None, plant: Path | None, packs: tuple[Path, ...], budget: float, seed: int,
    jobs: int | None, out: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Search sequences of operator actions, faults and loads, and their times and sizes, for a broken requirement.

    Finished rounds are kept in the folder: an interrupted hunt goes on. Exit code 1 when a requirement was broken; the
    smallest scenario that shows it is saved as a scenario file.
    """
    from scenarios.controllers import name_controller
    from scenarios.runner import check_plug_in
    from scenarios.settings_sheet import sheet_controller
    from tools.verification.ground import Ground
    from tools.verification.hunt import run

    name = controller or (sheet_controller(settings) if settings else "scheduled_pi")
    ground = Ground(plant or PLANT, name_controller(name, Path.cwd()).full, settings, packs)
    word = re.sub(r"[^\w.-]+", "_", Path(name).name)
    folder = out or RUNS / f"hunt-{word}-seed{seed}"
    _check_place(folder)
    _load_once(ground, check_plug_in)
    with hunt_progress(f"hunt on {short_name(name)}") as progress:
        found = run(ground, seed, folder, budget, jobs or os.cpu_count() or 1, progress)
    saved = write_findings(folder, ground, found)
    if as_json:
        put_json(as_data(folder, found, saved))
    else:
        print_findings(name, found, saved)
    return int(bool(found.broken))


def _check_place(folder: Path) -> None:
    from scenarios.errors import InputRefused, Problem

    strange = [p.name for p in folder.iterdir() if p.name not in FILES and p.name[0] != "."] if folder.is_dir() else []
    if strange or (folder.exists() and not folder.is_dir()):
        what = f"holds other files ({strange[0]})" if strange else "is a file"
        raise InputRefused(Problem(f"--out {folder} {what}", value=str(folder), way_out="name a new folder"))


def _load_once(ground: Ground, check_plug_in: Callable[[Any], None]) -> None:
    """Somebody else's code is loaded once, in a child, so that what is no controller is refused before the hunt."""
    import tempfile

    from scenarios.preparation import SCAN_MS, prepare
    from tools.verification.trial import Trial

    with tempfile.TemporaryDirectory(prefix="twoslide-") as folder:
        path = Path(folder) / "hunt.toml"
        ground.write(Trial(50, 0, 4, 0, ()), path)
        check_plug_in(prepare([path], log_ms=SCAN_MS)[0])


@contextlib.contextmanager
def hunt_progress(text: str) -> Iterator[Progress]:
    """A bar on stderr over the time; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    shown = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Bar(*columns, console=shown, disable=not shown.is_terminal) as bar:
        task = bar.add_task(escape(text), total=1.0)
        yield lambda found, share: bar.update(
            task,
            completed=share,
            description=escape(f"{text}: {found.runs} runs, {len(found.broken)} requirements broken"),
        )


def write_findings(folder: Path, ground: Ground, found: Found) -> dict[str, Path]:
    """hunt.csv, and the smallest scenario for each broken requirement; returns those by id."""
    import csv
    import io
    import shutil

    from scenarios.settings_sheet import write_whole

    place = folder / "counterexamples"
    shutil.rmtree(place, ignore_errors=True)
    saved = {}
    for name, trial in sorted(found.broken.items()):
        saved[name] = place / f"{name}.toml"
        ground.write(trial, saved[name], f"Breaks {name}")
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        [
            "requirement",
            "verdict",
            "least margin",
            "unit",
            "trials that exercised it",
            "load %",
            "condensing K over the rating",
            "happenings",
        ]
    )
    for name in sorted(found.exercised):
        near, breaker = found.nearest.get(name), found.broken.get(name)
        shown = breaker or (near.trial if near else None)
        writer.writerow(
            [
                name, "broken" if breaker else "held", "" if breaker or near is None else f"{near.margin:.6g}",
                "" if breaker or near is None else near.unit, found.exercised[name], shown.load_pct if shown else "",
                shown.condensing_k if shown else "", shown.told() if shown else "",
            ]
        )  # fmt: skip
    write_whole(folder / "hunt.csv", out.getvalue())
    return saved


def print_findings(name: str, found: Found, saved: dict[str, Path]) -> None:
    """A line for each broken requirement, and for those that came nearest."""
    from rich.table import Table
    from rich.text import Text

    table = Table(caption=CAUTION, caption_justify="left", title=f"hunt on {short_name(name)}", title_justify="left")
    for head in ("requirement", "verdict", "least margin", "trials", "happenings"):
        table.add_column(head, overflow="fold")
    for one, trial in sorted(found.broken.items()):
        table.add_row(
            *(Text(x, "bold red") for x in (one, "broken", "", str(found.exercised.get(one, 0)), trial.told()))
        )
    near = sorted(((x.share, n) for n, x in found.nearest.items() if n not in found.broken))
    for _, one in near:
        x = found.nearest[one]
        table.add_row(one, "held", f"{x.margin:+.4g} {x.unit}", str(found.exercised.get(one, 0)), "")
    shown = console()
    shown.print(table)
    for one, path in saved.items():
        shown.print(f"{one} broken; saved as {path}", style="bold", markup=False, soft_wrap=True)
    shown.print("the trial that came nearest to each requirement stands in hunt.csv", markup=False, soft_wrap=True)
    shown.print(f"{found.rounds} rounds, {found.runs} runs; {found.bound_words}", markup=False, soft_wrap=True)


def as_data(folder: Path, found: Found, saved: dict[str, Path]) -> dict[str, Any]:
    """All of it as plain data."""
    bound = found.zero_failure
    return {
        "format_version": 1,
        "folder": str(folder),
        "caution": CAUTION,
        "rounds": found.rounds,
        "runs": found.runs,
        "independent_draws": found.drawn,
        "failing_draws": found.failed_drawn,
        "at_most": None if bound is None else bound.at_most,
        "confidence": None if bound is None else bound.confidence,
        "broken": {name: {"trial": t.as_dict(), "saved": str(saved[name])} for name, t in found.broken.items()},
        "nearest": {
            name: {"margin": x.margin, "unit": x.unit, "share": x.share, "trial": x.trial.as_dict()}
            for name, x in found.nearest.items()
        },
        "exercised": dict(found.exercised),
    }
