"""`twoslide diff`: what changed between two settings sheets, and what that is expected to do."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.output import console, put_json, say

if TYPE_CHECKING:
    from scenarios.plant_file import Plant
    from scenarios.preparation import Prepared
    from tools.sheet_change import SheetChange


@click.command()
@click.argument("one", type=click.Path(path_type=Path), metavar="FROM")
@click.argument("other", type=click.Path(path_type=Path), metavar="TO")
@click.option(
    "--plant", type=click.Path(path_type=Path), metavar="PLANT", help="Margins of the loop on this plant, too."
)
@click.option(
    "--scenarios", multiple=True, type=click.Path(path_type=Path), metavar="SCENARIO",
    help="Run this one, or the ones of this folder, under both sheets; may be given several times.",
)  # fmt: skip
@click.option("--seed", type=click.IntRange(min=0), help="Use this seed in the scenarios.")
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="DIR", help="Write diff.html, changes.csv and runs there."
)
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def diff(
    one: Path, other: Path, plant: Path | None, scenarios: tuple[Path, ...], seed: int | None, out: Path | None,
    as_json: bool,
) -> int:  # fmt: skip
    """Tell what changed between two settings sheets, FROM and TO, and what that is expected to do.

    In words always; in margins of the loop with a plant; in scores with scenarios.  Both sheets are left as they are.
    """
    from tools import sheet_change as change_of
    from tools.sheet_change_page import check_place, write_changes

    read = _read_plant(plant) if plant is not None else None
    prepared = _prepare(scenarios, (one, other), seed)
    read = _one_plant(read, prepared)
    if out is not None:
        check_place(out)
    change = change_of.read_change(one, other, read)
    if read is not None:
        with _progress("settling the plant at a few points") as progress:
            change = change_of.with_loop(change, read, progress)
    if prepared:
        with _progress("running scenarios under both sheets") as progress:
            change = change_of.with_scores(change, prepared, out, progress)
    if out is not None:
        write_changes(out, change)
    if as_json:
        put_json(change_of.data_of(change))
    else:
        _show(change, out)
    return 0


def _read_plant(path: Path) -> Plant[Any]:
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known

    k = known()
    return load_plant(path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant)


def _prepare(
    scenarios: tuple[Path, ...], sheets: tuple[Path, Path], seed: int | None
) -> list[tuple[Prepared, Prepared]]:
    """Each scenario under both sheets; InputRefused before anything runs."""
    from scenarios.errors import InputRefused, Problem

    if not scenarios:
        if seed is not None:
            raise InputRefused(Problem(f"--seed {seed} without scenarios", way_out="name --scenarios, or no --seed"))
        return []
    from scenarios.runner import prepare
    from scenarios.settings_sheet import sheet_controller

    first, second = (
        prepare(list(scenarios), controller=sheet_controller(sheet), settings=sheet, seed=seed) for sheet in sheets
    )
    return list(zip(first, second, strict=True))


def _one_plant(given: Plant[Any] | None, prepared: list[tuple[Prepared, Prepared]]) -> Plant[Any] | None:
    """The plant that everything is about: the one given, else that of the scenarios if they have one in common."""
    from scenarios.errors import InputRefused, Problem

    theirs = {pair[0].plant.sha256: pair[0].plant for pair in prepared}
    if given is None:
        return next(iter(theirs.values())) if len(theirs) == 1 else None
    for sha256, plant in theirs.items():
        if sha256 != given.sha256:
            text = f"--plant is {given.path}, but a scenario is of {plant.path}"
            raise InputRefused(
                Problem(text, value=str(given.path), way_out="name scenarios of that plant, or no --plant")
            )
    return given


@contextlib.contextmanager
def _progress(text: str) -> Iterator[Callable[[float], None]]:
    """A bar on stderr; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    shown = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Progress(*columns, console=shown, disable=not shown.is_terminal, transient=True) as bar:
        task = bar.add_task(text, total=1.0)
        yield lambda fraction: bar.update(task, completed=fraction)


def _show(change: SheetChange, out: Path | None) -> None:
    from tools import difference_tables
    from tools import sheet_change as change_of

    shown = console()

    def tell(text: str, style: str = "") -> None:
        shown.print(text, style=style or None, markup=False, soft_wrap=True)

    for note in change.notes:
        say(f"note: {note}")
    shown.print(change_of.change_table(change))
    if change.loop:
        shown.print(change_of.loop_table(change))
    for line in change.words:
        tell(line)
    if change.matches:
        if len(change.matches) == 1:
            difference_tables.print_match(shown, change.matches[0])
        else:
            shown.print(difference_tables.brief_table(change.matches))
            shown.print(difference_tables.summary_table(change.matches))
    tell(change_of.CAUTION_LINE)
    if out is not None:
        tell(f"page: {out / 'diff.html'}")
