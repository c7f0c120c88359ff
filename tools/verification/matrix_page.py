"""The cause-and-effect matrix for people: one HTML page that needs nothing from outside, and CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from scenarios.settings_sheet import write_whole
from tools.names import short_name
from tools.verification.cause_effect import CellDifference, Matrix
from tools.verification.causes import GROUPS
from tools.verification.observed import COLUMNS

CAUTION = (
    "An engineering aid and no safety system. This matrix shows what a controller program does at a signal simulator. "
    "Hard-wired cut-outs, relief devices and the motor's own protection do not ask this program, are not shown here, and "
    "come first."
)
METHOD = (
    "Made by running the controller, not by reading it or its sheet. A healthy machine is shown to its inputs; then one "
    "thing is changed. A limit is the first count of the input card at which the effect came. Times count from the first "
    "scan that saw the cause, to the scan of the effect (0.1 s). Slide drives are compared with twenty seconds without the "
    "cause, in which the law wants to load. An empty cell: no effect was seen."
)
NUMBERS = ("milliamp", "at_stop")


def facts_of(matrix: Matrix) -> list[tuple[str, str]]:
    """What a matrix is of."""
    found = [("controller", matrix.controller), ("settings", matrix.sheet or "its own defaults")]
    if matrix.stamp:
        found.append(("values", matrix.stamp))
    return [*found, *(("note", note) for note in matrix.notes)]


def name_of(matrix: Matrix) -> str:
    """Controller and sheet in short."""
    return f"{short_name(matrix.controller)}{f', {Path(matrix.sheet).name}' if matrix.sheet else ''}"


def _groups(matrix: Matrix, found: list[CellDifference], other: Matrix | None) -> list[dict[str, Any]]:
    differ = {(d.key, d.column): d.other for d in found}
    rows = list(matrix.rows)
    if other is not None:
        mine = {row.key for row in rows}
        rows += [row for row in other.rows if row.key not in mine]
    groups = []
    for name in GROUPS:
        members = [row for row in rows if row.group == name]
        own = {row.key for row in matrix.rows}
        used = [
            c for c in COLUMNS if any((row.key in own and c in row.cells) or (row.key, c) in differ for row in members)
        ]
        shown = []
        for row in members:
            cells = []
            for column in used:
                text = row.cells.get(column, "") if row.key in own else "no such row"
                cells.append({"text": text, "other": differ.get((row.key, column)), "number": column in NUMBERS})
            shown.append({"text": row.text, "at": row.at, "cells": cells})
        if members:
            groups.append({"name": name, "heads": [COLUMNS[c] for c in used], "rows": shown})
    return groups


def as_html(matrix: Matrix, other: Matrix | None = None, found: list[CellDifference] | None = None) -> str:
    """The page; with a second matrix, every cell that differs shows both."""
    import jinja2

    found = found or []
    facts = facts_of(matrix)
    if other is not None:
        facts += [(f"against: {name}", value) for name, value in facts_of(other)]
    loader = jinja2.FileSystemLoader(Path(__file__).parent)
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    title = f"Cause and effect: {name_of(matrix)}" + (f" against {name_of(other)}" if other else "")
    return environment.get_template("matrix.html").render(
        title=title, caution=CAUTION, method=METHOD, facts=facts, groups=_groups(matrix, found, other), one=name_of(matrix),
        other=name_of(other) if other else "", count=len(found),
    )  # fmt: skip


def as_csv(matrix: Matrix) -> str:
    """One line a cause."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["key", "group", "cause", "machine", *COLUMNS.values()])
    for row in matrix.rows:
        writer.writerow([row.key, row.group, row.text, row.at, *(row.cells.get(column, "") for column in COLUMNS)])
    return out.getvalue()


def differences_csv(matrix: Matrix, other: Matrix, found: list[CellDifference]) -> str:
    """One line a cell that differs."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["key", "cause", "effect", name_of(matrix), name_of(other)])
    for d in found:
        writer.writerow([d.key, d.text, COLUMNS[d.column], d.one, d.other])
    return out.getvalue()


def write_matrix(
    folder: Path, matrix: Matrix, other: Matrix | None = None, found: list[CellDifference] | None = None
) -> list[Path]:
    """Write matrix.html and matrix.csv, and differences.csv with a second matrix; each whole or not at all."""
    made = {"matrix.html": as_html(matrix, other, found), "matrix.csv": as_csv(matrix)}
    if other is not None:
        made["against.csv"] = as_csv(other)
        made["differences.csv"] = differences_csv(matrix, other, found or [])
    for name, text in made.items():
        write_whole(folder / name, text)
    return [folder / name for name in made]
