"""Any log read into a raw file in its own words: text of every layout, and Parquet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.blocks import (
    Blocks,
    farther_lines,
    line_numbers,
    odd_rows,
    safe_table,
    skip_lines,
    text_issues,
)
from scenarios.logged_data.clock import read_times
from scenarios.logged_data.columns import CELLS_AT_MOST, Column, file_of, finite, order_rows
from scenarios.logged_data.dialect import DELIMITER_NAMES, Dialect, sniff
from scenarios.logged_data.long_layout import read_long
from scenarios.logged_data.numbers import convert
from scenarios.logged_data.parquet import read_parquet
from scenarios.logged_data.records import Issue, RawFile, Times
from scenarios.logged_data.text_source import TextSource, open_text

FEW_ROWS = 20  # own choice, no source
Progress = Callable[[float], None]


def read_text(path: Path, given: Mapping[str, str | int], progress: Progress | None = None) -> RawFile:
    """A text log of any layout.  `given`: what the mapping file says of how to read it.  InputRefused if it is none."""
    source = open_text(path)
    lines = source.head()
    dialect = sniff(path, lines, farther_lines(source), given)
    settings: dict[str, str | int] = {
        "encoding": source.encoding, "delimiter": DELIMITER_NAMES[dialect.delimiter], "layout": dialect.layout,
        "header_line": dialect.header_line, "time_column": " + ".join(dialect.columns[k].name for k in dialect.time.columns),
    }  # fmt: skip
    if dialect.time.kind == "stamp":
        settings["time_format"] = dialect.time.form
    elif dialect.time.kind == "elapsed":
        settings["time_unit"] = dialect.time.unit
    if dialect.time.choices:
        settings["choices"] = " or ".join(dialect.time.choices)
    if dialect.time.form == "?":  # read as the first of the choices, so that the rest can be looked at
        dialect.time = replace(dialect.time, form=dialect.time.choices[0])
    elif dialect.time.unit == "?":
        dialect.time = replace(dialect.time, unit="s")
    if dialect.layout == "long":
        return read_long(source, dialect, settings, given, progress)
    return _read_wide(source, dialect, settings, given, progress)


def _read_wide(
    source: TextSource, dialect: Dialect, settings: dict[str, str | int], given: Mapping[str, str | int],
    progress: Progress | None,
) -> RawFile:  # fmt: skip
    plans = dialect.columns
    collected = [Column(plan) for plan in plans]
    reader = Blocks(dialect)
    times: list[Times] = []
    line_of: list[NDArray[np.int64]] = []
    rows = done = odd = first_odd = 0
    for first_line, raw in source.blocks():
        done += len(raw)
        block, line = skip_lines(raw, first_line, dialect.first_row)
        if not block.strip():
            continue
        block = reader.prepare(block)
        table = safe_table(reader, block, source.path, line)
        guarded = reader.comma and bool(reader.fast) and block.count(b".") != reader.points(table)
        fast = [] if guarded else [k for k in reader.fast if table.to_series(k).null_count() == 0]
        text = safe_table(reader, block, source.path, line, True) if len(fast) < len(reader.numeric) else table
        if text.height != table.height:  # the two readings part where quotation marks are broken
            table, fast = text, []
        count, first = odd_rows(reader, block, line) if dialect.layout == "wide" else (0, 0)
        odd, first_odd = odd + count, first_odd or first
        rows += table.height
        if rows * max(1, len(plans)) > CELLS_AT_MOST:
            problem = Problem(
                f"has more than {CELLS_AT_MOST // len(plans):,} rows of {len(plans)} columns", file=str(source.path),
                limit=f"{CELLS_AT_MOST:,} values are kept in memory", way_out="cut the log into shorter ones",
            )  # fmt: skip
            raise InputRefused(problem)
        times.append(read_times(table, dialect.time))
        line_of.append(line_numbers(line, table.height))
        for k, column in enumerate(collected):
            if plans[k].kind == "words":
                column.words(table.to_series(k))
            elif k in fast:
                column.numbers(finite(table.to_series(k)), 0, None, Counter())
            elif plans[k].kind == "number":
                values, empty, bad, words = convert(text.to_series(k), plans[k].grammar)
                column.numbers(values, int(np.count_nonzero(empty)), bad if bad.any() else None, words)
        if progress and source.size_bytes:
            progress(min(1.0, done / source.size_bytes))
    if not rows:
        raise InputRefused(Problem("holds a header and no rows", file=str(source.path)))
    time_ms, line_no = np.concatenate(times), np.concatenate(line_of)
    file = file_of(
        source.path, source.sha256(), "events" if dialect.layout == "events" else "trends", dialect.layout, settings
    )
    order = order_rows(file, time_ms, line_no, dialect, given)
    file.columns = [c.finish(order) for c in collected if c.plan.kind not in ("time", "empty")]
    file.issues += text_issues(source)
    if odd:
        tell = (
            f"rows with fewer or more than the header's {reader.width} cells: {odd}; what lacks is empty, what is too "
            f"much is left out, and a cell may stand under its neighbour's name"
        )
        file.issues.append(Issue("layout", tell, first_odd, odd))
    if rows < FEW_ROWS and dialect.layout == "wide":
        file.issues.append(Issue("layout", f"{rows} rows only: too few to know a step, a gap or a unit by its values"))
    if not dialect.has_header:
        file.issues.append(
            Issue("layout", "no header line is found: the columns have numbers, and no names to know them by")
        )
    for column in (c for c in collected if c.plan.kind == "empty"):
        file.issues.append(Issue("layout", f'column "{column.plan.name[:40]}" is empty', dialect.header_line))
    if dialect.layout == "events":
        names = [p.name for p in plans if p.kind not in ("time", "empty")]
        for role, k in dialect.roles.items():
            if plans[k].kind not in ("time", "empty"):
                file.settings[f"{role}_column"] = names[
                    [p for p, plan in enumerate(plans) if plan.kind not in ("time", "empty")].index(k)
                ]
    return file


def read_raw(path: Path, given: Mapping[str, str | int] | None = None, progress: Progress | None = None) -> RawFile:
    """Read one log of any kind in its own words.  InputRefused, with line and way out, for what is no log."""
    given = given or {}
    try:
        with path.open("rb") as stream:
            magic = stream.read(4)
    except (OSError, ValueError):
        magic = b""  # open_text says what is wrong
    if magic == b"PAR1":
        return read_parquet(path, given, progress)
    return read_text(path, given, progress)
