"""`twoslide matrix`: every cause against every effect, by running the controller at a signal simulator."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.names import short_name
from tools.output import console, progress_bar, put_json

if TYPE_CHECKING:
    from tools.verification.cause_effect import CellDifference, Matrix

BRIEF = ("limit", "milliamp", "class", "motor", "trip", "refused", "latch", "reset")  # columns of the terminal's table


@click.command()
@click.option("--controller", help="A shipped name, FILE.py:NAME or FILE.so. [default: the sheet's, or scheduled_pi]")
@click.option("--settings", type=click.Path(path_type=Path), metavar="SHEET", help="With this settings sheet.")
@click.option("--against-controller", metavar="CONTROLLER", help="Lay this controller's matrix over it.")
@click.option("--against-settings", type=click.Path(path_type=Path), metavar="SHEET", help="Lay this sheet's over it.")
@click.option(
    "--plant",
    type=click.Path(path_type=Path),
    help="Take transmitter ranges from this plant file. [default: usual ones]",
)
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Write matrix.html and matrix.csv there.")
@click.option("--json", "as_json", is_flag=True, help="Put one JSON object on stdout and nothing else.")
def matrix(
    controller: str | None,
    settings: Path | None,
    against_controller: str | None,
    against_settings: Path | None,
    plant: Path | None,
    out: Path | None,
    as_json: bool,
) -> int:
    """Show what every trip, inhibit, permissive, failed instrument and command does, as it was seen.

    With --against-controller or --against-settings every cell that differs is shown; what is not named there is taken
    from the first.
    """
    one = _made(controller, settings, plant)
    if isinstance(one, str):
        return _no_matrix(one)
    other: Matrix | None = None
    if against_controller is not None or against_settings is not None:
        sheet = against_settings if against_settings is not None else None if against_controller else settings
        second = _made(against_controller or controller, sheet, plant)
        if isinstance(second, str):
            return _no_matrix(second)
        other = second
    from tools.verification.cause_effect import differences
    from tools.verification.matrix_page import write_matrix

    found = differences(one, other) if other is not None else []
    written = write_matrix(out, one, other, found) if out is not None else []
    if as_json:
        put_json(_data(one, other, found))
        return 0
    shown = console()
    if other is None:
        shown.print(_table(one))
    else:
        shown.print(_difference_table(one, other, found))
    for path in written:
        shown.print(f"wrote {path}", markup=False, soft_wrap=True)
    return 0


def _made(controller: str | None, settings: Path | None, plant: Path | None) -> Matrix | str:
    """The matrix of one controller, or why there is none."""
    from scenarios.chosen_controller import choose, ranges_of
    from scenarios.isolated import run_isolated
    from tools.verification.cause_effect import read_matrix

    job: dict[str, Any] = choose(controller, settings, plant)
    job["ranges"] = ranges_of(plant) if plant is not None else None
    name = short_name(job["controller"])
    with progress_bar(f"matrix of {name}") as progress:
        found = run_isolated("tools.verification.cause_effect:in_child", job, progress)
    if found.fault:
        return f"{name}: {found.fault}, {found.place}"
    if "failed" in found.answer:
        return f"{name}: {found.answer['failed']}"
    return read_matrix(found.answer, controller or name, str(settings) if settings else "")


def _no_matrix(why: str) -> int:
    from tools.output import say

    say(f"no matrix: {why}")
    return 1


def _data(one: Matrix, other: Matrix | None, found: list[CellDifference]) -> dict[str, Any]:
    from dataclasses import asdict

    data: dict[str, Any] = {"format_version": 1, "matrix": asdict(one)}
    if other is not None:
        data |= {"against": asdict(other), "differences": [asdict(d) for d in found]}
    return data


def _table(one: Matrix) -> Any:
    from rich.table import Table
    from rich.text import Text

    from tools.verification.matrix_page import CAUTION, name_of
    from tools.verification.observed import COLUMNS

    table = Table(title=name_of(one), title_justify="left", caption=CAUTION, caption_justify="left")
    table.add_column("cause", overflow="fold", min_width=24)
    for column in BRIEF:
        table.add_column(COLUMNS[column], overflow="fold")
    group = ""
    for row in one.rows:
        if row.group != group:
            group = row.group
            table.add_section()
            table.add_row(Text(group, style="bold"))
        table.add_row(Text(row.text), *(Text(row.cells.get(column, "")) for column in BRIEF))
    return table


def _difference_table(one: Matrix, other: Matrix, found: list[CellDifference]) -> Any:
    from rich.table import Table
    from rich.text import Text

    from tools.verification.matrix_page import CAUTION, name_of
    from tools.verification.observed import COLUMNS

    title = Text(f"{len(found)} cells differ")
    table = Table(title=title, title_justify="left", caption=CAUTION, caption_justify="left")
    names = [name_of(one), name_of(other)]
    if names[0] == names[1]:
        names = [f"{m.controller} {m.sheet}".strip() for m in (one, other)]
    for head in ("cause", "effect", *names):
        table.add_column(Text(head), overflow="fold")
    for d in found:
        table.add_row(Text(d.text), Text(COLUMNS[d.column]), Text(d.one or "–"), Text(d.other or "–"))
    return table
