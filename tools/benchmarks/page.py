"""The benchmark page: one HTML file that needs nothing from outside."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from tools.benchmarks.plots import pictures
from tools.benchmarks.results import Results
from tools.benchmarks.tables import all_tables

METHOD = (
    "Variants take turns within one process, so that whatever else the machine does falls on all alike; figures are medians "
    "of processor time of one thread. Components and parts are compared in bursts of 1024 scans from one moment of the "
    "running demo plant, all on the same memory, and what counts is the difference within a round. A part's place is what "
    "a scan is cheaper with nothing in its stead. Figures in seconds say more about this machine than about the program; "
    "shares and ratios carry over better. No figure is a promise, and none checks physics."
)


def _cells(table: Any) -> dict[str, Any]:
    columns = [list(column.cells) for column in table.columns]
    return {
        "title": str(table.title),
        "caption": str(table.caption or ""),
        "heads": [str(column.header) for column in table.columns],
        "left": [column.justify == "left" for column in table.columns],
        "rows": [[str(cell) for cell in row] for row in zip(*columns, strict=True)],
    }


def write_page(path: Path, found: Results) -> None:
    """Write the page; a file that stood there is replaced whole or not at all.  Raises OSError."""
    import jinja2
    from bokeh.embed import components
    from bokeh.resources import Resources

    shown = pictures(found)
    script, divisions = components({picture.name: picture.plot for picture in shown}) if shown else ("", {})
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    html = environment.get_template("page.html").render(
        quick=found.quick,
        limits=found.limits,
        pictures=shown,
        divisions=divisions,
        tables=[_cells(table) for table in all_tables(found)],
        method=METHOD,
        facts=[(name.replace("_", " "), value) for name, value in found.machine.items()],
        script=script,
        library=Resources(mode="inline", components=["bokeh"]).render_js() if shown else "",
    )
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        beside.write_text(html, encoding="utf-8")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
