"""Collects the columns of a log block by block, and gives the order of its rows on one rising clock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.clock import add_days, to_utc, zone_of
from scenarios.logged_data.dialect import ColumnPlan, Dialect
from scenarios.logged_data.numbers import convert, looks_numeric
from scenarios.logged_data.order import put_events_in_order, put_in_order
from scenarios.logged_data.records import NO_TIME, Floats, Issue, RawColumn, RawFile, Times

WORDS_AT_MOST = 5000  # distinct words of one column; more are free text, which no signal is
CELLS_AT_MOST = 150_000_000  # 1.2 GB of numbers
AS_WRITTEN = "as written"


class Column:
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


def finite(series: pl.Series) -> Floats:
    values = series.to_numpy()
    if not np.isfinite(values).all():
        return np.where(np.isfinite(values), values, np.nan)
    return np.asarray(values, dtype=np.float64)


def file_of(path: Path, sha256: str, kind: str, layout: str, settings: dict[str, str | int]) -> RawFile:
    empty = np.empty(0, dtype=np.int64)
    return RawFile(path, sha256, kind, layout, empty, empty, [], [], settings)


def order_rows(
    file: RawFile, time_ms: Times, line: NDArray[np.int64], dialect: Dialect | None, given: Mapping[str, str | int]
) -> NDArray[np.int64]:
    """Bring the rows on one rising clock; fills the file's times and gives the rows kept, in order."""
    if dialect is not None and dialect.time.kind == "clock":
        time_ms = add_days(time_ms)
        file.issues.append(
            Issue("clock", "times of day without a date: the first day is taken as 1970-01-01", int(line[0]))
        )
    unreadable = int(np.count_nonzero(time_ms == NO_TIME))
    if unreadable * 2 > len(time_ms):
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        text = f"{unreadable} of {len(time_ms)} rows have no readable time, this is the first"
        raise InputRefused(Problem(text, way_out="wrong time_column or time_format?").at(str(file.path), first))
    aware = dialect is not None and dialect.time.aware
    zone = str(given.get("time_zone", ""))
    known = aware or bool(zone and zone not in ("?", AS_WRITTEN))
    if aware:
        file.settings["time_zone"] = "UTC"
    elif zone and zone not in ("?", AS_WRITTEN):
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
        file.settings["time_zone"] = zone or AS_WRITTEN
    ordered = put_events_in_order(time_ms, line) if file.kind == "events" else put_in_order(time_ms, line, known)
    file.issues += ordered.issues
    if ordered.hour_back and zone != AS_WRITTEN and not known:
        file.settings["time_zone"] = "?"
        text = (
            "the clock goes back by one hour, as in autumn, and no zone is known: rows of one of the two hours "
            "are left out"
        )
        file.issues.append(Issue("clock", text, ordered.hour_back))
    if not len(ordered.keep):
        raise InputRefused(Problem("holds no row with a readable time", file=str(file.path)))
    file.time_ms, file.line = ordered.time_ms, line[ordered.keep]
    file.step_ms, file.resolution_ms, file.clock_flags = ordered.step_ms, ordered.resolution_ms, ordered.flags
    return ordered.keep
