"""Parquet logs, wide or long, also this project's own traces."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import polars as pl
from polars.exceptions import PolarsError

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.clock import TIME_WORDS, looks_time, number_plan, read_times, stamp_plan
from scenarios.logged_data.columns import CELLS_AT_MOST, Column, file_of, finite, order_rows
from scenarios.logged_data.dialect import ColumnPlan
from scenarios.logged_data.header_units import split_header
from scenarios.logged_data.long_layout import long_columns
from scenarios.logged_data.numbers import Grammar, convert, evidence_of, grammar_of, looks_numeric
from scenarios.logged_data.records import NO_TIME, Issue, RawFile, Times


def read_parquet(
    path: Path, given: Mapping[str, str | int], progress: Callable[[float], None] | None = None
) -> RawFile:
    """A wide or long Parquet file, also this project's own traces."""
    try:
        schema = pl.read_parquet_schema(path)
        metadata = pl.read_parquet_metadata(path)
        if len(schema) > 4000:
            raise InputRefused(Problem(f"has {len(schema):,} columns", file=str(path), limit="at most 4,000 are read"))
        table = pl.read_parquet(path)
    except (PolarsError, OSError) as error:
        words = str(error).splitlines()[0][:100] if str(error) else type(error).__name__
        raise InputRefused(Problem(f"cannot be read as Parquet ({words})", file=str(path))) from error
    if not table.height:
        raise InputRefused(Problem("holds no rows", file=str(path)))
    if table.height * table.width > CELLS_AT_MOST:
        raise InputRefused(
            Problem(f"has {table.height:,} rows of {table.width} columns", file=str(path), way_out="cut it")
        )
    with path.open("rb") as stream:
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    units = _metadata_units(metadata)
    time_name, time_ms, zone = _parquet_times(path, table, str(given.get("time_column", "")))
    settings: dict[str, str | int] = {"encoding": "parquet", "layout": "wide", "time_column": time_name}
    file = file_of(path, sha256, "trends", "wide", settings)
    line = np.arange(1, table.height + 1, dtype=np.int64)
    if zone:
        given = {**given, "time_zone": "UTC"}
    others = [name for name in table.columns if name != time_name]
    tags = [
        n for n in others if table.schema[n] in (pl.String, pl.Categorical) and table[n].n_unique() * 2 < table.height
    ]
    numbers = [n for n in others if table.schema[n].is_numeric()]
    if tags and len(numbers) == 1 and len(others) <= 4:
        settings["layout"] = file.layout = "long"
        unit = next((n for n in others if n not in (tags[0], numbers[0])), "")
        long = pl.DataFrame({
            "tag": table[tags[0]].cast(pl.String).fill_null(""),
            "unit": table[unit].cast(pl.String).fill_null("") if unit else pl.Series([""] * table.height),
            "text": table[numbers[0]].cast(pl.String).fill_null(""), "line": pl.Series(line),
        })  # fmt: skip
        long_columns(file, long, time_ms, Grammar(), None, given)
        return file
    order = order_rows(file, time_ms, line, None, given)
    for name in others:
        if name == "time_s" and time_name == "time_ms":
            continue
        short, unit = split_header(name)
        plan = ColumnPlan(short, units.get(name, unit), "", "number")
        column, data = Column(plan), table[name]
        if data.dtype.is_numeric() or data.dtype == pl.Boolean:
            values = data.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
            column.numbers(finite(pl.Series(values)), int(data.null_count()), None, Counter())
        elif data.dtype in (pl.String, pl.Categorical) or isinstance(data.dtype, pl.Enum):
            text = data.cast(pl.String).fill_null("")
            some = [c for c in text.head(400).to_list() if c]
            if some and sum(looks_numeric(c) for c in some) * 2 > len(some):
                evidence, cell_units = evidence_of(some)
                plan.grammar = grammar_of(evidence, cell_units, [evidence])
                values, empty, bad, found = convert(text, plan.grammar)
                column.numbers(values, int(np.count_nonzero(empty)), bad if bad.any() else None, found)
            else:
                column.words(text)
        else:
            file.issues.append(Issue("layout", f'column "{name[:40]}" of type {data.dtype} is not read'))
            continue
        raw = column.finish(order)
        if name in units:
            raw.name = name
        file.columns.append(raw)
    return file


def _metadata_units(metadata: Mapping[str, str]) -> dict[str, str]:
    """Units by column that the file itself carries, as this project's traces do."""
    try:
        found = json.loads(metadata.get("units", "{}"))
    except ValueError:
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}


def _parquet_times(path: Path, table: pl.DataFrame, named: str) -> tuple[str, Times, bool]:
    """(column, milliseconds, whether they are UTC)."""
    if named and named not in table.columns:
        raise InputRefused(
            Problem(f'no column "{named}"', file=str(path), way_out=f"it has {', '.join(table.columns)[:200]}")
        )
    names = [named] if named else list(table.columns)
    for name in names:
        kind = table.schema[name]
        if isinstance(kind, pl.Datetime) or kind == pl.Date:
            stamps = table[name].cast(pl.Datetime("ms")) if kind == pl.Date else table[name]
            ms = stamps.dt.epoch("ms").fill_null(NO_TIME).to_numpy().astype(np.int64)
            return name, ms, bool(isinstance(kind, pl.Datetime) and kind.time_zone)
    for name in sorted(names, key=lambda n: not TIME_WORDS.search(n)):
        data = table[name]
        if data.dtype.is_numeric() and (TIME_WORDS.search(name) or named):
            some = [f"{v!r}" for v in data.head(500).to_list() if v is not None]
            unit = split_header(name)[1]
            plan = number_plan(some, 0, name, unit)
            if plan and plan.unit != "?":
                return name, read_times(pl.DataFrame({name: data.cast(pl.String)}), plan), plan.aware
        if data.dtype == pl.String and looks_time(str(data.head(1).to_list()[0] or "")):
            plan = stamp_plan([str(c or "") for c in data.head(500).to_list()], (0,))
            if plan and plan.form != "?":
                return name, read_times(pl.DataFrame({name: data}), plan), plan.aware
    way_out = 'write time_column = "…" in the mapping'
    raise InputRefused(Problem("no column of times is found in it", file=str(path), way_out=way_out))
