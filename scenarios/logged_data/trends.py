"""Trend logs read into raw files: wide and long text in blocks, and Parquet.

Numbers are read by the table library where its reading is exact for the column's grammar, and cell by cell where it is
not; either way a cell that is no number is counted with its word.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from polars.exceptions import PolarsError

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.clock import add_days, looks_time, read_times, stamp_plan, to_utc, zone_of
from scenarios.logged_data.dialect import DECIMALS, DELIMITER_NAMES, ColumnPlan, Dialect, sniff
from scenarios.logged_data.header_units import split_header
from scenarios.logged_data.numbers import Grammar, convert, evidence_of, grammar_of, looks_numeric
from scenarios.logged_data.order import put_events_in_order, put_in_order
from scenarios.logged_data.records import NO_TIME, Floats, Issue, RawColumn, RawFile, Times
from scenarios.logged_data.text_source import TextSource, open_text

Progress = Callable[[float], None]

WORDS_AT_MOST = 5000  # distinct words of one column; more are free text, which no signal is
CELLS_AT_MOST = 150_000_000  # 1.2 GB of numbers
_AS_WRITTEN = "as written"
_FAST_PART = 60_000  # rows of a block read cell by cell at a time


class _Column:
    """Collects one column over the blocks."""

    def __init__(self, plan: ColumnPlan) -> None:
        self.plan = plan
        self.values: list[Floats] = []
        self.codes: list[NDArray[np.int32]] = []
        self.bad: list[NDArray[np.bool_] | int] = []
        self.any_bad = False
        self.vocabulary: dict[str, int] = {}
        self.empty = 0
        self.bad_words: Counter[str] = Counter()

    def numbers(self, values: Floats, empty: int, bad: NDArray[np.bool_] | None, words: Counter[str]) -> None:
        """A block of numbers."""
        self.values.append(values)
        self.empty += empty
        self.bad.append(len(values) if bad is None else bad)
        self.any_bad = self.any_bad or bad is not None
        self.bad_words += words

    def words(self, cells: pl.Series) -> None:
        """A block of words, kept as places in the column's vocabulary."""
        text = cells.fill_null("").str.strip_chars()
        unique = text.unique(maintain_order=True).to_list()
        for word in unique:
            if word and word not in self.vocabulary and len(self.vocabulary) < WORDS_AT_MOST:
                self.vocabulary[word] = len(self.vocabulary)
        places = [self.vocabulary.get(word, -1) for word in unique]
        codes = text.replace_strict(unique, places, return_dtype=pl.Int32).to_numpy().astype(np.int32)
        self.empty += int(np.count_nonzero(text.to_numpy() == ""))
        self.codes.append(codes)

    def finish(self, order: NDArray[np.int64] | None, name: str = "", unit: str = "") -> RawColumn:
        """The whole column in the order of the file's rows."""
        plan = self.plan
        raw = RawColumn(
            name or plan.name, unit or plan.unit or plan.grammar.unit, plan.description, doubt=plan.grammar.doubt,
            unit_doubt=plan.grammar.unit_doubt, empty=self.empty, bad_words=self.bad_words,
        )  # fmt: skip
        if self.codes:
            codes = np.concatenate(self.codes)
            self.codes = []
            words = tuple(self.vocabulary)
            numeric = sum(looks_numeric(word) for word in words)
            if words and numeric * 2 > len(words):  # nothing but "Bad" where the file was looked at, and numbers later
                values, _, bad, counted = convert(pl.Series([*words, ""]), plan.grammar)
                raw.values, raw.bad, raw.bad_words = values[codes], bad[codes], counted
            else:
                raw.codes, raw.words = codes, words
        else:
            raw.values = np.concatenate(self.values) if self.values else np.empty(0)
            self.values = []
            if self.any_bad:
                raw.bad = np.concatenate([np.zeros(b, dtype=bool) if isinstance(b, int) else b for b in self.bad])
        if order is not None:
            for part in ("values", "codes", "bad"):
                data = getattr(raw, part)
                if data is not None and not (len(order) == len(data) and order[0] == 0 and np.all(np.diff(order) == 1)):
                    setattr(raw, part, data[order])
        return raw


def _table(block: bytes, dialect: Dialect, kinds: list[Any], comma: bool, quotes: bool) -> pl.DataFrame:
    schema = {str(k): kind for k, kind in enumerate(kinds)}
    return pl.read_csv(
        io.BytesIO(block), separator=dialect.delimiter, has_header=False, schema=schema, ignore_errors=True,
        decimal_comma=comma, truncate_ragged_lines=True, quote_char='"' if quotes else None, null_values=[""],
    )  # fmt: skip


def _rows_of(block: bytes) -> int:
    return block.count(b"\n") + (not block.endswith(b"\n"))


class _Blocks:
    """Reads the blocks of one text file with its dialect."""

    def __init__(self, dialect: Dialect) -> None:
        self.dialect = dialect
        plans = dialect.columns
        self.numeric = [k for k, p in enumerate(plans) if p.kind == "number"]
        plain = [k for k in self.numeric if plans[k].grammar.plain]
        comma = [k for k in plain if plans[k].grammar.decimal == ","]
        self.comma = len(comma) * 2 > len(plain) and dialect.delimiter != ","
        self.fast = [k for k in plain if (plans[k].grammar.decimal == ",") == self.comma]
        if dialect.layout != "wide":
            self.fast = []

    def table(self, block: bytes) -> pl.DataFrame:
        """A block as a table: numbers where they are safe to read so, text elsewhere."""
        if self.dialect.delimiter == " ":
            block = b"\n".join(b"\t".join(line.split()) for line in block.split(b"\n"))
            self.dialect.delimiter = "\t"
        kinds: list[Any] = [pl.Float64 if k in self.fast else pl.String for k in range(len(self.dialect.columns))]
        quotes = b'"' in block
        try:
            table = _table(block, self.dialect, kinds, self.comma, quotes)
            if not quotes or table.height >= 0.95 * (_rows_of(block) - block.count(b"\n\n")):
                return table
        except PolarsError:
            if not quotes:
                raise
        return _table(block, self.dialect, kinds, self.comma, False)  # a quotation mark that nobody closes

    def text(self, block: bytes, columns: list[int]) -> pl.DataFrame:
        """The same block, some columns as text."""
        quotes = b'"' in block
        kinds: list[Any] = [pl.String] * len(self.dialect.columns)
        try:
            table = _table(block, self.dialect, kinds, self.comma, quotes)
        except PolarsError:
            table = _table(block, self.dialect, kinds, self.comma, False)
        return table.select([str(k) for k in columns])

    def points(self, table: pl.DataFrame) -> int:
        """Points that stand in the columns of text: dates, above all."""
        kept = [k for k in range(len(self.dialect.columns)) if k not in self.fast]
        total = 0
        for k in kept:
            total += int(table.to_series(k).fill_null("").str.count_matches(".", literal=True).sum() or 0)
        return total


def read_text(path: Path, given: Mapping[str, str | int], progress: Progress | None = None) -> RawFile:
    """A text log of any layout.  `given`: what the mapping file says of how to read it.  InputRefused if it is none."""
    source = open_text(path)
    lines = source.head()
    dialect = sniff(path, lines, _farther(source), given)
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
        from dataclasses import replace

        dialect.time = replace(dialect.time, form=dialect.time.choices[0])
    elif dialect.time.unit == "?":
        from dataclasses import replace

        dialect.time = replace(dialect.time, unit="s")
    if dialect.layout == "long":
        return _read_long(source, dialect, settings, given, progress)
    return _read_wide(source, dialect, settings, given, progress)


def _farther(source: TextSource) -> list[str]:
    """Some lines from the middle and the end: what a logger writes after its first hour."""
    if source.size_bytes < 2_000_000 or source.encoding.startswith("utf-16"):
        return []
    out: list[str] = []
    with source.path.open("rb") as file:
        for share in (0.3, 0.6, 0.95):
            file.seek(int(source.size_bytes * share))
            file.readline()
            raw = file.read(40_000)
            text = raw.decode("utf-8" if source.encoding == "utf-8" else "cp1252", "replace")
            out += text.replace("\r", "").split("\n")[:-1][:150]
    return out


def _read_wide(
    source: TextSource, dialect: Dialect, settings: dict[str, str | int], given: Mapping[str, str | int],
    progress: Progress | None,
) -> RawFile:  # fmt: skip
    plans = dialect.columns
    collected = [_Column(plan) for plan in plans]
    reader = _Blocks(dialect)
    times: list[Times] = []
    line_of: list[NDArray[np.int64]] = []
    rows = done = 0
    short = 0
    for first_line, raw in source.blocks():
        done += len(raw)
        block, line = _skip(raw, first_line, dialect.first_row)
        if not block.strip():
            continue
        table = _safe(reader, block, source.path, line)
        rows += table.height
        if rows * max(1, len(plans)) > CELLS_AT_MOST:
            problem = Problem(
                f"has more than {CELLS_AT_MOST // len(plans):,} rows of {len(plans)} columns", file=str(source.path),
                limit=f"{CELLS_AT_MOST:,} values are kept in memory", way_out="cut the log into shorter ones",
            )  # fmt: skip
            raise InputRefused(problem)
        times.append(read_times(table, dialect.time))
        line_of.append(_lines(block, line, table.height))
        guarded = reader.comma and bool(reader.fast) and block.count(b".") != reader.points(table)
        again: list[int] = []
        for k, column in enumerate(collected):
            kind = plans[k].kind
            if kind in ("time", "empty"):
                continue
            if kind == "words":
                column.words(table.to_series(k))
            elif k in reader.fast and not guarded and table.to_series(k).null_count() == 0:
                column.numbers(_finite(table.to_series(k)), 0, None, Counter())
            else:
                again.append(k)
        if again:
            text = reader.text(block, again)
            for name, k in zip(text.columns, again, strict=True):
                values, empty, bad, words = convert(text[name], plans[k].grammar)
                collected[k].numbers(values, int(np.count_nonzero(empty)), bad if bad.any() else None, words)
        if progress and source.size_bytes:
            progress(min(1.0, done / source.size_bytes))
    if not rows:
        raise InputRefused(Problem("holds a header and no rows", file=str(source.path)))
    time_ms, line_no = np.concatenate(times), np.concatenate(line_of)
    file = _file_of(source.path, source.sha256(), "events" if dialect.layout == "events" else "trends", dialect.layout, settings)
    order = _clock(file, time_ms, line_no, dialect, given)
    file.columns = [c.finish(order) for c in collected if c.plan.kind not in ("time", "empty")]
    file.issues += _text_issues(source, short)
    for column in (c for c in collected if c.plan.kind == "empty"):
        file.issues.append(Issue("layout", f'column "{column.plan.name[:40]}" is empty', dialect.header_line))
    if dialect.layout == "events":
        names = [p.name for p in plans if p.kind not in ("time", "empty")]
        for role, k in dialect.roles.items():
            if plans[k].kind not in ("time", "empty"):
                file.settings[f"{role}_column"] = names[[p for p, plan in enumerate(plans) if plan.kind not in ("time", "empty")].index(k)]
    return file


def _safe(reader: _Blocks, block: bytes, path: Path, line: int) -> pl.DataFrame:
    try:
        return reader.table(block)
    except PolarsError as error:
        words = str(error).splitlines()[0][:100] if str(error) else type(error).__name__
        raise InputRefused(Problem(f"cannot be split into columns ({words})").at(str(path), line)) from error


def _finite(series: pl.Series) -> Floats:
    values = series.to_numpy()
    if not np.isfinite(values).all():
        return np.where(np.isfinite(values), values, np.nan)
    return np.asarray(values, dtype=np.float64)


def _skip(raw: bytes, first_line: int, first_row: int) -> tuple[bytes, int]:
    """The block without the lines above the data, and the number of its first line."""
    line = first_line
    while line <= first_row:
        cut = raw.find(b"\n")
        if cut < 0:
            return b"", line
        raw, line = raw[cut + 1 :], line + 1
    return raw, line


def _lines(block: bytes, line: int, height: int) -> NDArray[np.int64]:
    """Line numbers of a block's rows; exact where no line is blank or holds a line end in quotes, else near."""
    return np.arange(line, line + height, dtype=np.int64)


def _file_of(path: Path, sha256: str, kind: str, layout: str, settings: dict[str, str | int]) -> RawFile:
    empty = np.empty(0, dtype=np.int64)
    return RawFile(path, sha256, kind, layout, empty, empty, [], [], settings)


def _clock(
    file: RawFile, time_ms: Times, line: NDArray[np.int64], dialect: Dialect | None, given: Mapping[str, str | int]
) -> NDArray[np.int64]:
    """Bring the rows on one rising clock; fills the file's times and gives the rows kept, in order."""
    if dialect is not None and dialect.time.kind == "clock":
        time_ms = add_days(time_ms)
        file.issues.append(Issue("clock", "times of day without a date: the first day is taken as 1970-01-01", int(line[0])))
    unreadable = int(np.count_nonzero(time_ms == NO_TIME))
    if unreadable * 2 > len(time_ms):
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        text = f"{unreadable} of {len(time_ms)} rows have no readable time, this is the first"
        raise InputRefused(Problem(text, way_out="wrong time_column or time_format?").at(str(file.path), first))
    aware = dialect is not None and dialect.time.aware
    zone = str(given.get("time_zone", ""))
    known = aware or bool(zone and zone not in ("?", _AS_WRITTEN))
    if aware:
        file.settings["time_zone"] = "UTC"
    elif zone and zone not in ("?", _AS_WRITTEN):
        newest_first = int(np.count_nonzero(np.diff(time_ms) < 0)) > int(np.count_nonzero(np.diff(time_ms) > 0))
        local = to_utc(time_ms[::-1] if newest_first else time_ms, zone_of(zone))
        time_ms = local.time_ms[::-1] if newest_first else local.time_ms
        file.settings["time_zone"] = zone
        if local.twice:
            text = f"{local.twice} rows lie in the hour that the autumn change repeats: told apart by the row order"
            file.issues.append(Issue("clock", text, 0, local.twice))
        if local.unsure:
            text = "the repeated hour of the autumn change is there once only: taken as summer time, it may be an hour later"
            file.issues.append(Issue("clock", text))
        if local.never:
            text = f"{local.never} rows lie in an hour that the spring change leaves out: is the zone right?"
            file.issues.append(Issue("clock", text, 0, local.never))
    else:
        file.settings["time_zone"] = zone or _AS_WRITTEN
    ordered = put_events_in_order(time_ms, line) if file.kind == "events" else put_in_order(time_ms, line, known)
    file.issues += ordered.issues
    if ordered.hour_back and zone != _AS_WRITTEN and not known:
        file.settings["time_zone"] = "?"
        text = "the clock goes back by one hour, as in autumn, and no zone is known: rows of one of the two hours are left out"
        file.issues.append(Issue("clock", text, ordered.hour_back))
    if not len(ordered.keep):
        raise InputRefused(Problem("holds no row with a readable time", file=str(file.path)))
    file.time_ms, file.line = ordered.time_ms, line[ordered.keep]
    file.step_ms, file.resolution_ms, file.clock_flags = ordered.step_ms, ordered.resolution_ms, ordered.flags
    return ordered.keep


def _text_issues(source: TextSource, short: int) -> list[Issue]:
    out = []
    if source.repaired:
        text = f"{source.repaired} lines are not in the file's encoding: read as Windows-1252"
        out.append(Issue("encoding", text, source.repaired_line, source.repaired))
    if source.cut_off:
        out.append(Issue("layout", "the last line has no end: the file may be cut off"))
    return out


def _read_long(
    source: TextSource, dialect: Dialect, settings: dict[str, str | int], given: Mapping[str, str | int],
    progress: Progress | None,
) -> RawFile:  # fmt: skip
    reader = _Blocks(dialect)
    roles = dialect.roles
    grammar = dialect.columns[roles["value"]].grammar
    times: list[Times] = []
    cells: list[pl.DataFrame] = []
    rows = done = 0
    for first_line, raw in source.blocks():
        done += len(raw)
        block, line = _skip(raw, first_line, dialect.first_row)
        if not block.strip():
            continue
        table = _safe(reader, block, source.path, line)
        times.append(read_times(table, dialect.time))
        unit = table.to_series(roles["unit"]) if "unit" in roles else pl.Series([""] * table.height)
        part = pl.DataFrame({
            "tag": table.to_series(roles["tag"]).fill_null("").str.strip_chars().cast(pl.Categorical),
            "unit": unit.fill_null("").str.strip_chars().cast(pl.Categorical),
            "text": table.to_series(roles["value"]).fill_null("").str.strip_chars(),
            "line": pl.Series(_lines(block, line, table.height)),
        })  # fmt: skip
        cells.append(part)
        rows += table.height
        if rows * 4 > CELLS_AT_MOST:
            raise InputRefused(Problem(f"has more than {CELLS_AT_MOST // 4:,} rows", file=str(source.path), way_out="cut it"))
        if progress and source.size_bytes:
            progress(min(1.0, done / source.size_bytes))
    if not rows:
        raise InputRefused(Problem("holds a header and no rows", file=str(source.path)))
    table = pl.concat(cells, rechunk=True)
    file = _file_of(source.path, source.sha256(), "trends", "long", settings)
    for role, k in roles.items():
        settings[f"{role}_column"] = dialect.columns[k].name
    _long_columns(file, table, np.concatenate(times), grammar, dialect, given)
    file.issues += _text_issues(source, 0)
    return file


def _long_columns(
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
        column = _Column(plan)
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
        return Grammar(whole.decimal, whole.group, found.unit, found.doubt if evidence.maybe_comma or evidence.maybe_point else "")
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
    return rows[last]


def _clock_long(
    file: RawFile, time_ms: Times, line: NDArray[np.int64], dialect: Dialect | None, given: Mapping[str, str | int]
) -> NDArray[np.int64]:
    """As `_clock`, where many rows share a time because each is another tag's, and tags may follow each other in blocks."""
    steps = np.diff(time_ms[time_ms != NO_TIME])
    blocks = int(np.count_nonzero(steps < 0))
    kept = np.flatnonzero(time_ms != NO_TIME)
    if len(kept) * 2 < len(time_ms):
        return _clock(file, time_ms, line, dialect, given)  # which refuses it
    unique, inverse = np.unique(time_ms[kept], return_inverse=True)
    zone = str(given.get("time_zone", ""))
    needs_order = zone and zone not in ("?", _AS_WRITTEN) and not (dialect is not None and dialect.time.aware)
    if needs_order and not blocks:
        return _clock_rows(file, time_ms, line, dialect, given)
    unique = unique if not (dialect is not None and dialect.time.kind == "clock") else unique
    _clock(file, unique, np.full(len(unique), int(line[0]), dtype=np.int64), dialect, given)
    stable = np.argsort(inverse, kind="stable")
    order = kept[stable]
    lost = len(time_ms) - len(kept)
    if lost:
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        file.issues.append(Issue("time", f"{lost} rows without a readable time are left out", first, lost))
    if blocks:
        file.issues.append(Issue("layout", f"times start again {blocks} times: read tag by tag, in time order", 0, blocks))
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


def read_parquet(path: Path, given: Mapping[str, str | int], progress: Progress | None = None) -> RawFile:
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
        raise InputRefused(Problem(f"has {table.height:,} rows of {table.width} columns", file=str(path), way_out="cut it"))
    with path.open("rb") as stream:
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    units = _metadata_units(metadata)
    time_name, time_ms, zone = _parquet_times(path, table, str(given.get("time_column", "")))
    settings: dict[str, str | int] = {"encoding": "parquet", "layout": "wide", "time_column": time_name}
    file = _file_of(path, sha256, "trends", "wide", settings)
    line = np.arange(1, table.height + 1, dtype=np.int64)
    if zone:
        given = {**given, "time_zone": "UTC"}
    others = [name for name in table.columns if name != time_name]
    tags = [n for n in others if table.schema[n] in (pl.String, pl.Categorical) and table[n].n_unique() * 2 < table.height]
    numbers = [n for n in others if table.schema[n].is_numeric()]
    if tags and len(numbers) == 1 and len(others) <= 4:
        settings["layout"] = file.layout = "long"
        unit = next((n for n in others if n not in (tags[0], numbers[0])), "")
        long = pl.DataFrame({
            "tag": table[tags[0]].cast(pl.String).fill_null(""),
            "unit": table[unit].cast(pl.String).fill_null("") if unit else pl.Series([""] * table.height),
            "text": table[numbers[0]].cast(pl.String).fill_null(""), "line": pl.Series(line),
        })  # fmt: skip
        _long_columns(file, long, time_ms, Grammar(), None, given)
        return file
    order = _clock(file, time_ms, line, None, given)
    for name in others:
        if name == "time_s" and time_name == "time_ms":
            continue
        short, unit = split_header(name)
        plan = ColumnPlan(short, units.get(name, unit), "", "number")
        column, data = _Column(plan), table[name]
        if data.dtype.is_numeric() or data.dtype == pl.Boolean:
            values = data.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
            column.numbers(_finite(pl.Series(values)), int(data.null_count()), None, Counter())
        elif data.dtype in (pl.String, pl.Categorical) or isinstance(data.dtype, pl.Enum):
            text = data.cast(pl.String).fill_null("")
            some = [c for c in text.head(400).to_list() if c]
            if some and sum(looks_numeric(c) for c in some) * 2 > len(some):
                evidence, cell_units = evidence_of(some)
                plan.grammar = grammar_of(evidence, cell_units, [evidence])
                values, empty, bad, words = convert(text, plan.grammar)
                column.numbers(values, int(np.count_nonzero(empty)), bad if bad.any() else None, words)
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
    from scenarios.logged_data.clock import TIME_WORDS

    if named and named not in table.columns:
        raise InputRefused(Problem(f'no column "{named}"', file=str(path), way_out=f"it has {', '.join(table.columns)[:200]}"))
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
            from scenarios.logged_data.clock import number_plan

            some = [f"{v!r}" for v in data.head(500).to_list() if v is not None]
            short, unit = split_header(name)
            plan = number_plan(some, 0, name, unit)
            if plan and plan.unit != "?":
                return name, read_times(pl.DataFrame({name: data.cast(pl.String)}), plan), plan.aware
        if data.dtype == pl.String and looks_time(str(data.head(1).to_list()[0] or "")):
            plan = stamp_plan([str(c or "") for c in data.head(500).to_list()], (0,))
            if plan and plan.form != "?":
                return name, read_times(pl.DataFrame({name: data}), plan), plan.aware
    way_out = 'write time_column = "…" in the mapping'
    raise InputRefused(Problem("no column of times is found in it", file=str(path), way_out=way_out))


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
