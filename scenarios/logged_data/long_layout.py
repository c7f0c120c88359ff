"""Long logs: a row is a time, a tag and a value, and each tag has its own clock ticks."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.blocks import Blocks, line_numbers, safe_table, skip_lines, text_issues
from scenarios.logged_data.clock import add_days, read_times, to_utc, zone_of
from scenarios.logged_data.columns import AS_WRITTEN, CELLS_AT_MOST, Column, file_of, order_rows
from scenarios.logged_data.dialect import DECIMALS, ColumnPlan, Dialect
from scenarios.logged_data.header_units import split_header
from scenarios.logged_data.numbers import Grammar, convert, evidence_of, grammar_of, looks_numeric
from scenarios.logged_data.records import NO_TIME, Issue, RawColumn, RawFile, Times
from scenarios.logged_data.text_source import TextSource

Progress = Callable[[float], None]


def read_long(
    source: TextSource, dialect: Dialect, settings: dict[str, str | int], given: Mapping[str, str | int],
    progress: Progress | None,
) -> RawFile:  # fmt: skip
    reader = Blocks(dialect)
    roles = dialect.roles
    grammar = dialect.columns[roles["value"]].grammar
    times: list[Times] = []
    cells: list[pl.DataFrame] = []
    rows = done = 0
    for first_line, raw in source.blocks():
        done += len(raw)
        block, line = skip_lines(raw, first_line, dialect.first_row)
        if not block.strip():
            continue
        block = reader.prepare(block)
        table = safe_table(reader, block, source.path, line)
        times.append(read_times(table, dialect.time))
        unit = table.to_series(roles["unit"]) if "unit" in roles else pl.Series([""] * table.height)
        part = pl.DataFrame({
            "tag": table.to_series(roles["tag"]).fill_null("").str.strip_chars().cast(pl.Categorical),
            "unit": unit.fill_null("").str.strip_chars().cast(pl.Categorical),
            "text": table.to_series(roles["value"]).fill_null("").str.strip_chars(),
            "line": pl.Series(line_numbers(line, table.height)),
        })  # fmt: skip
        cells.append(part)
        rows += table.height
        if rows * 4 > CELLS_AT_MOST:
            raise InputRefused(
                Problem(f"has more than {CELLS_AT_MOST // 4:,} rows", file=str(source.path), way_out="cut it")
            )
        if progress and source.size_bytes:
            progress(min(1.0, done / source.size_bytes))
    if not rows:
        raise InputRefused(Problem("holds a header and no rows", file=str(source.path)))
    table = pl.concat(cells, rechunk=True)
    file = file_of(source.path, source.sha256(), "trends", "long", settings)
    for role, k in roles.items():
        settings[f"{role}_column"] = dialect.columns[k].name
    long_columns(file, table, np.concatenate(times), grammar, dialect, given)
    file.issues += text_issues(source)
    return file


def long_columns(
    file: RawFile, table: pl.DataFrame, time_ms: Times, grammar: Grammar, dialect: Dialect | None,
    given: Mapping[str, str | int],
) -> None:  # fmt: skip
    """One column a tag, each with its own rows among the file's times."""
    order = _clock_long(file, time_ms, table["line"].to_numpy(), dialect, given)
    table = table[order]
    place = np.arange(table.height, dtype=np.int64)
    grouped = table.with_columns(pl.Series("place", place)).partition_by("tag", maintain_order=True)
    if len(grouped) > 4000:
        raise InputRefused(Problem(f"has {len(grouped):,} tags", file=str(file.path), limit="at most 4,000 are read"))
    for part in grouped:
        name = str(part["tag"][0])
        units = [str(u) for u in part["unit"].unique().to_list() if u]
        told = str(given.get("decimal", ""))
        own = _tag_grammar(part["text"], grammar) if told not in DECIMALS else grammar
        plan = ColumnPlan(name or "no tag", units[0] if len(units) == 1 else "", "", "number", own)
        if not plan.unit and not units:
            plan.name, plan.unit = split_header(name)
        column = Column(plan)
        some = part["text"].filter(part["text"] != "").head(400).to_list()
        if some and sum(looks_numeric(c) for c in some) * 2 < len(some):
            column.words(part["text"])
        else:
            values, empty, bad, words = convert(part["text"], plan.grammar)
            column.numbers(values, int(np.count_nonzero(empty)), bad if bad.any() else None, words)
        raw = column.finish(None)
        rows = part["place"].to_numpy().astype(np.int64)
        raw.rows = _without_doubles(file, raw, rows)
        if len(units) > 1:
            raw.unit_doubt = f"several units: {', '.join(sorted(units))[:60]}"
        file.columns.append(raw)


def _tag_grammar(text: pl.Series, whole: Grammar) -> Grammar:
    """A tag's own grammar: it may be written otherwise than its neighbours."""
    some = text.filter(text != "")
    evidence, units = evidence_of(some.gather_every(max(1, len(some) // 400)).to_list())
    found = grammar_of(evidence, units, [evidence])
    if not (evidence.comma or evidence.point or evidence.group_comma or evidence.group_point):
        return Grammar(
            whole.decimal, whole.group, found.unit, found.doubt if evidence.maybe_comma or evidence.maybe_point else ""
        )
    return found


def _without_doubles(file: RawFile, raw: RawColumn, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Of a tag's samples at one time the last counts."""
    times = file.time_ms[rows]
    last = np.concatenate([np.diff(times) != 0, [True]]) if len(times) else np.empty(0, dtype=bool)
    if last.all():
        return rows
    lost = int(np.count_nonzero(~last))
    file.issues.append(Issue("order", f"{raw.name[:40]}: {lost} samples have the time of the one before: the later counts",
                             int(file.line[rows[int(np.argmin(last))]]), lost))  # fmt: skip
    for name in ("values", "codes", "bad"):
        data = getattr(raw, name)
        if data is not None:
            setattr(raw, name, data[last])
    kept: NDArray[np.int64] = rows[last]
    return kept


def _clock_long(
    file: RawFile, time_ms: Times, line: NDArray[np.int64], dialect: Dialect | None, given: Mapping[str, str | int]
) -> NDArray[np.int64]:
    """As `order_rows`, where many rows share a time, each another tag's, and tags may follow each other in blocks."""
    if dialect is not None and dialect.time.kind == "clock":
        time_ms = add_days(time_ms)
        dialect = None
        file.issues.append(
            Issue("clock", "times of day without a date: the first day is taken as 1970-01-01", int(line[0]))
        )
    steps = np.diff(time_ms[time_ms != NO_TIME])
    blocks = int(np.count_nonzero(steps < 0))
    kept = np.flatnonzero(time_ms != NO_TIME)
    if len(kept) * 2 < len(time_ms):
        return order_rows(file, time_ms, line, dialect, given)  # which refuses it
    unique, inverse = np.unique(time_ms[kept], return_inverse=True)
    zone = str(given.get("time_zone", ""))
    needs_order = zone and zone not in ("?", AS_WRITTEN) and not (dialect is not None and dialect.time.aware)
    if needs_order and not blocks:
        return _clock_rows(file, time_ms, line, dialect, given)
    order_rows(file, unique, np.full(len(unique), int(line[0]), dtype=np.int64), dialect, given)
    stable = np.argsort(inverse, kind="stable")
    order = kept[stable]
    lost = len(time_ms) - len(kept)
    if lost:
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        file.issues.append(Issue("time", f"{lost} rows without a readable time are left out", first, lost))
    if blocks:
        file.issues.append(
            Issue("layout", f"times start again {blocks} times: read tag by tag, in time order", 0, blocks)
        )
    file.time_ms = file.time_ms[inverse[stable]] if len(file.time_ms) == len(unique) else time_ms[order]
    file.line = line[order]
    file.clock_flags = np.zeros(len(order), dtype=np.uint8)
    return order


def _clock_rows(
    file: RawFile, time_ms: Times, line: NDArray[np.int64], dialect: Dialect | None, given: Mapping[str, str | int]
) -> NDArray[np.int64]:
    """A long log in time order with a zone: the row order tells the repeated hour apart."""
    local = to_utc(time_ms, zone_of(str(given["time_zone"])))
    kept = np.flatnonzero(local.time_ms != NO_TIME)
    order = kept[np.argsort(local.time_ms[kept], kind="stable")]
    file.settings["time_zone"] = str(given["time_zone"])
    if local.twice:
        text = f"{local.twice} rows lie in the hour that the autumn change repeats: told apart by the row order"
        file.issues.append(Issue("clock", text, 0, local.twice))
    file.time_ms, file.line = local.time_ms[order], line[order]
    positive = np.diff(file.time_ms)
    positive = positive[positive > 0]
    file.step_ms = float(np.median(positive)) if len(positive) else 0.0
    file.clock_flags = np.zeros(len(order), dtype=np.uint8)
    return order
