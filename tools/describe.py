"""`twoslide describe`: what may be set, and what a controller sees."""

from __future__ import annotations

import click

from tools.output import console


@click.command()
@click.argument("topic", metavar="image|plant|CONTROLLER")
@click.option("--markdown", is_flag=True, help="As a Markdown table.")
def describe(topic: str, markdown: bool) -> int:
    """List what may be set, or what a controller sees: name, unit, range, default and reason."""
    from scenarios.field_guide import as_markdown, guide

    rows = guide(topic)
    if markdown:
        click.echo(as_markdown(rows))
        return 0
    from rich.table import Table

    table = Table("name", "range", "default", "why", title=topic, show_lines=False)
    for row in rows:
        table.add_row(row.name, row.range or row.unit, row.default, row.why)
    console().print(table)
    return 0
