"""`twoslide describe`: what may be written in a scenario, a plant or a sheet, and what a controller sees."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from tools.output import console

if TYPE_CHECKING:
    from rich.console import Console

    from scenarios.guide_rows import GuideRow

LEAST_BESIDE_NAME = 75  # columns that range, default and why need beside the name, to be read with ease


@click.command()
@click.argument("topic", metavar="scenario|events|plant|image|CONTROLLER")
@click.option("--markdown", is_flag=True, help="As a Markdown table.")
def describe(topic: str, markdown: bool) -> int:
    """List what may be set, or what a controller sees: name, unit, range, default and reason."""
    from scenarios.field_guide import as_markdown, guide, notes

    rows = guide(topic)
    if markdown:
        click.echo("\n\n".join([as_markdown(rows), *notes(topic)]))
        return 0
    show(console(), topic, rows, notes(topic))
    return 0


def show(where: Console, topic: str, rows: Sequence[GuideRow], notes: Sequence[str]) -> None:
    """Print a guide so that every name is whole: beside its range where there is room, else on a line of its own."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from scenarios.guide_rows import IN_PLACE

    longest = max(len(row.name) for row in rows)
    if where.width >= longest + LEAST_BESIDE_NAME:
        table = Table(title=topic, show_lines=False)
        table.add_column("name", no_wrap=True, min_width=longest)
        for head in ("range", "default", "why"):
            table.add_column(head, overflow="fold")
        for row in rows:
            table.add_row(*(Text(cell) for cell in (row.name, row.range or row.unit, row.default, row.why)))
        where.print(table)
    else:
        for row in rows:
            where.print(Text(row.name, style="bold"), overflow="fold", no_wrap=False)
            reach = row.range or row.unit
            default = row.default if row.default in ("", *IN_PLACE) else f"default: {row.default}"
            for line in ("; ".join(part for part in (reach, default) if part), row.why):
                if line:
                    where.print(Padding(Text(line, overflow="fold"), (0, 0, 0, 4), expand=False))
    for note in notes:
        where.print(Text(note), overflow="fold")
