"""`twoslide plant`: a plant file by questions, and the sheet for the bump tests on site."""

from __future__ import annotations

from pathlib import Path

import click

from tools.tuning.questionnaire import new


@click.group()
def plant() -> None:
    """Describe a plant, and prepare the tests on it."""


@plant.command("test-sheet")
@click.argument("file", type=click.Path(path_type=Path), metavar="PLANT")
@click.argument("sheet", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Where to write it.")
def test_sheet(file: Path, sheet: Path, out: Path) -> int:
    """Write a sheet to print for the site: two bump tests, stroke times, the curve to expect, when to stop."""
    from tools.tuning.site_test_sheet import write_site_test_sheet

    page, text = write_site_test_sheet(file, sheet, out)
    click.echo(f"wrote {page}\nwrote {text}")
    return 0


plant.add_command(new)
