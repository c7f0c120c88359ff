"""Times as loggers write them: which format, which zone, and what the clock did.

A day and a month that cannot be told apart, and an hour that exists twice, are asked about and never guessed: the format
or the zone is then "?".
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import polars as pl

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.numbers import Grammar, convert, evidence_of, grammar_of, looks_numeric
from scenarios.logged_data.records import NO_TIME, Times

HOUR_MS = 3_600_000
STAMPS_LOOKED_AT = 200
DAY_MS = 24 * HOUR_MS
_FRACTION = "%.f"
_CLOCKS = (f"%H:%M:%S{_FRACTION}", "%H:%M", f"%I:%M:%S{_FRACTION} %p", "%I:%M %p")
_DAYS = {  # format of the date → what it may be mistaken for
    "%Y-%m-%d": "", "%Y/%m/%d": "", "%Y.%m.%d": "", "%Y%m%d": "",
    "%d.%m.%Y": "", "%d.%m.%y": "",  # points between day, month and year: the day is first (common practice, no source)
    "%d/%m/%Y": "%m/%d/%Y", "%m/%d/%Y": "%d/%m/%Y", "%d/%m/%y": "%m/%d/%y", "%m/%d/%y": "%d/%m/%y",
    "%d-%m-%Y": "%m-%d-%Y", "%m-%d-%Y": "%d-%m-%Y", "%d-%m-%y": "%m-%d-%y", "%m-%d-%y": "%d-%m-%y",
    "%d-%b-%Y": "", "%d-%b-%y": "", "%d %b %Y": "", "%b %d %Y": "", "%d. %b %Y": "",
}  # fmt: skip
TIME_WORDS = re.compile(
    r"time|date|stamp|zeit|datum|uhrzeit|heure|horodat|hora|fecha|ora\b|data\b|tid\b|dato|tijd|czas|^t$|^t[ _\[(]",
    re.IGNORECASE,
)
_LOOKS_TIME = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d{1,2}:\d\d|\d{1,2}[- ][A-Za-z]{3}[- ]\d{2,4}|^\d{14}$")
_LONGEST_MS = 200 * 366 * DAY_MS
_EPOCH_1990_S, _EPOCH_2100_S = 631_152_000.0, 4_102_444_800.0


@dataclass(frozen=True, slots=True)
class TimePlan:
    """How a file's times are read.

    kind: "stamp" (date and time), "clock" (time of day only), "epoch s", "epoch ms", "days" (since 1899-12-30), or
    "elapsed"; columns: one, or date and time; form: the format of a stamp; choices: formats that fit as well, where
    nothing decides; unit: of elapsed time.
    """

    kind: str
    columns: tuple[int, ...]
    form: str = ""
    choices: tuple[str, ...] = ()
    unit: str = "s"
    grammar: Grammar = field(default_factory=Grammar)

    @property
    def aware(self) -> bool:
        """Whether the stamps carry their own offset, so that they are UTC."""
        return self.form.endswith("%z") or self.kind.startswith("epoch")


def looks_time(text: str) -> bool:
    """Whether a cell is a date, a time of day or both.

    >>> looks_time("27.11.2026 02:13"), looks_time("292,4")
    (True, False)
    """
    return len(text) <= 48 and bool(_LOOKS_TIME.search(text))


def _normal(cells: pl.Series) -> pl.Series:
    text = cells.fill_null("").str.strip_chars(" \t\"'")
    text = text.str.replace(r"(\d\d),(\d+)", "${1}.${2}").str.replace(r"^(\d{4}-\d\d-\d\d)T", "${1} ")
    text = (
        text.str.replace(r"(?i)(\d)\s*a\.?m\.?$", "${1} AM")
        .str.replace(r"(?i)(\d)\s*p\.?m\.?$", "${1} PM")
        .str.replace(r"Z$", "+0000")
        .str.replace_all(r"  +", " ")
    )
    return text.str.replace(r"([+-]\d\d):?(\d\d)$", "${1}${2}")


def parse_stamps(cells: pl.Series, form: str) -> Times:
    """Milliseconds since 1970 of each stamp (UTC where it carries an offset), NO_TIME where it does not fit."""
    return _parse(_normal(cells), form)


def _parse(text: pl.Series, form: str) -> Times:
    parsed = text.str.to_datetime(form, strict=False, time_unit="ms")
    found = parsed.dt.epoch("ms").fill_null(NO_TIME).to_numpy().astype(np.int64)
    if form.endswith("%z"):
        has_offset = text.str.contains(r"[+-]\d{4}$").to_numpy()
        found = np.where(has_offset, found, NO_TIME)
    return np.where(np.abs(found) < _LONGEST_MS, found, NO_TIME)


_PART = {"%Y": r"\d{4}", "%y": r"\d{2}", "%m": r"\d{1,2}", "%d": r"\d{1,2}", "%b": r"[A-Za-z]{3}", "%H": r"\d{1,2}",
    "%I": r"\d{1,2}",
         "%M": r"\d{2}", "%S": r"\d{2}", "%.f": r"(?:\.\d+)?", "%p": "[AP]M", "%z": r"[+-]\d{4}"}  # fmt: skip


@cache
def _shape(form: str) -> re.Pattern[str]:
    """What a stamp of this format looks like: a quick look, before it is parsed."""
    out = re.escape(form).replace("\\ ", " ").replace("\\.f", ".f").replace("%\\", "%")
    for part, pattern in _PART.items():
        out = out.replace(part, pattern)
    return re.compile(out)


def _forms(text: Sequence[str]) -> list[str]:
    """Formats that one of these cells, made plain, has the shape of."""
    ends = ("%z",) if sum(bool(re.search(r"[+-]\d{4}$", c)) for c in text) * 2 > len(text) else ("",)
    out = [
        f"{day}{between}{clock}{end}" for day in _DAYS for between in (" ", ", ") for clock in _CLOCKS for end in ends
    ]
    out += ["%Y%m%d%H%M%S", "%Y%m%dT%H%M%S"]
    return [form for form in out if any(_shape(form).fullmatch(cell) for cell in text[:40])]


def _mistaken(form: str) -> str:
    """The format with day and month changed over, "" if nobody can take one for the other."""
    day = next((day for day in _DAYS if form.startswith(day)), "")
    other = _DAYS.get(day, "")
    return form.replace(day, other, 1) if other else ""


def stamp_plan(cells: Sequence[str], columns: tuple[int, ...]) -> TimePlan | None:
    """The format that most of the cells fit; None if less than half fit any."""
    text = [cell.strip(" \t\"'") for cell in cells if cell.strip()]
    text = text[:: max(1, len(text) // STAMPS_LOOKED_AT)]
    if not text or not sum(
        looks_time(cell) or bool(re.fullmatch(r"\d{14}|\d{8}T\d{6}", cell)) for cell in text
    ) * 2 > len(text):
        return None
    series = _normal(pl.Series(text))
    counts = {form: int(np.count_nonzero(_parse(series, form) != NO_TIME)) for form in _forms(series.to_list())}
    if not counts:
        return None
    best = max(counts, key=lambda form: counts[form])  # the first of equals
    if counts[best] * 2 < len(text):
        return None
    other = _mistaken(best)
    if not other or counts.get(other, 0) < counts[best]:
        return TimePlan("stamp", columns, best)
    first, second = _parse(series, best), _parse(series, other)
    spans = [_span_ms(times) for times in (first, second)]
    days = {cell.split(" ")[0] for cell in text}
    if len(days) > 1 and min(spans) * 5 < max(spans):  # one reading runs on from day to day, the other leaps by months
        return TimePlan("stamp", columns, best if spans[0] < spans[1] else other)
    return TimePlan("stamp", columns, "?", (best, other))


def _span_ms(times: Times) -> int:
    known = times[times != NO_TIME]
    return int(np.abs(np.diff(known)).sum()) if len(known) > 1 else 0


def clock_times(cells: pl.Series) -> Times:
    """Times of day, ms since midnight; NO_TIME where there is none."""
    text = _normal(cells)
    parts = text.str.extract_groups(r"^(\d{1,3}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?(?: ([AP])M)?$").struct.unnest()
    h, m, s = (parts.to_series(i).cast(pl.Float64, strict=False).to_numpy() for i in range(3))
    half = parts.to_series(3).fill_null("").to_numpy()
    h = np.where(half == "P", np.where(h < 12, h + 12, h), np.where((half == "A") & (h == 12), 0.0, h))
    seconds = 3600.0 * h + 60.0 * m + np.where(np.isnan(s), 0.0, s)
    return np.where(np.isfinite(seconds), np.round(np.nan_to_num(seconds) * 1000.0), NO_TIME).astype(np.int64)


def number_plan(cells: Sequence[str], column: int, header: str, unit: str) -> TimePlan | None:
    """Epoch seconds, milliseconds, spreadsheet days, or elapsed time; None if these are no numbers that could be one."""
    some = [cell for cell in cells if cell.strip()]
    if not some or sum(looks_numeric(cell) for cell in some) * 2 < len(some):
        return None
    evidence, units = evidence_of(some)
    grammar = grammar_of(evidence, units, [evidence])
    values = convert(pl.Series(some), replace(grammar, unit=""))[0]
    values = values[np.isfinite(values)]
    if len(values) < 2:
        return None
    middle = float(np.median(values))
    plan = TimePlan("elapsed", (column,), grammar=grammar)
    if _EPOCH_1990_S <= middle <= _EPOCH_2100_S:
        return replace(plan, kind="epoch s")
    if _EPOCH_1990_S * 1000.0 <= middle <= _EPOCH_2100_S * 1000.0:
        return replace(plan, kind="epoch ms")
    rising = np.count_nonzero(np.diff(values) >= 0) >= 0.9 * (len(values) - 1)
    if not TIME_WORDS.search(header) or not rising:
        return None
    if 32_000.0 < middle < 80_000.0 and np.any(values % 1.0) and not unit:
        return replace(plan, kind="days")
    name = (unit or _unit_in(header)).lower()
    known = {
        "s": "s", "sec": "s", "sek": "s", "seconds": "s", "ms": "ms", "msec": "ms", "min": "min", "minutes": "min",
        "h": "h", "hours": "h", "std": "h",
    }  # fmt: skip
    if name and name not in known:
        return None
    return replace(plan, unit=known[name] if name else "?", choices=() if name else ("s", "ms", "min", "h"))


def _unit_in(header: str) -> str:
    found = re.search(r"[_ ](ms|s|sec|min|h)$", header.strip(), re.IGNORECASE)
    return found[1] if found else ""


def read_times(table: pl.DataFrame, plan: TimePlan) -> Times:
    """Milliseconds of every row of a block, as written; NO_TIME where there is none.

    A "clock" plan gives the time of day; whoever has all rows adds the days.
    """
    cells = table.to_series(plan.columns[0])
    if plan.kind == "stamp":
        if len(plan.columns) == 2:
            cells = pl.select(
                cells.fill_null("").str.strip_chars() + " " + table.to_series(plan.columns[1]).fill_null("")
            ).to_series()
        return parse_stamps(cells, plan.form)
    if plan.kind == "clock":
        return clock_times(cells)
    values = convert(cells, plan.grammar)[0]
    factor = {"epoch s": 1000.0, "epoch ms": 1.0, "days": float(DAY_MS)}.get(
        plan.kind, {"s": 1000.0, "ms": 1.0, "min": 60_000.0, "h": 3.6e6}.get(plan.unit, 1000.0)
    )
    offset = -25_569.0 * DAY_MS if plan.kind == "days" else 0.0
    with np.errstate(invalid="ignore"):
        ms = np.round(values * factor + offset)
        good = np.isfinite(ms) & (np.abs(ms) < _LONGEST_MS)
    return np.where(good, np.nan_to_num(ms), NO_TIME).astype(np.int64)


def add_days(clock_ms: Times) -> Times:
    """Times of day made to run on past midnight; a step back of less than half a day stays one."""
    out = clock_ms.copy()
    known = np.flatnonzero(clock_ms != NO_TIME)
    if len(known):
        leaps = np.diff(clock_ms[known]) < -DAY_MS // 2
        out[known[1:]] += np.cumsum(leaps) * DAY_MS
    return out


@cache
def zone_of(name: str) -> ZoneInfo:
    """A time zone by its IANA name.  InputRefused if there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        way_out = 'write an IANA name, for example "Europe/Berlin", or "as written"'
        raise InputRefused(Problem(f'"{name}" is no time zone known here', value=name, way_out=way_out)) from error


def _offset_ms(zone: ZoneInfo, local_ms: int, fold: int) -> int:
    local = datetime(1970, 1, 1) + timedelta(milliseconds=local_ms)
    offset = local.replace(tzinfo=zone, fold=fold).utcoffset()
    return int((offset or timedelta()).total_seconds() * 1000)


@dataclass(frozen=True, slots=True)
class LocalClock:
    """Result of `to_utc`: UTC times, and what happened at the changes of the clocks in the log's span."""

    time_ms: Times
    twice: int  # rows in an hour that exists twice, told apart by the row order
    never: int  # rows in an hour that does not exist
    unsure: bool  # an hour that exists twice is there once: which one cannot be told


def to_utc(local_ms: Times, zone: ZoneInfo) -> LocalClock:
    """Local times in row order → UTC.

    In the autumn hour the first pass is summer time, and what comes after the clock fell back is winter time: the row
    order tells them apart, where a table library's "earliest" would make the clock run backwards.
    """
    out = np.full(len(local_ms), NO_TIME, dtype=np.int64)
    known = np.flatnonzero(local_ms != NO_TIME)
    times = local_ms[known]
    if not len(times):
        return LocalClock(out, 0, 0, False)
    offsets = np.empty(len(times), dtype=np.int64)
    days, day_of = np.unique(times // DAY_MS, return_inverse=True)
    twice = never = 0
    unsure = False
    for k, day in enumerate(days.tolist()):
        here = np.flatnonzero(day_of == k)
        start = _offset_ms(zone, day * DAY_MS, 0)
        if _offset_ms(zone, (day + 1) * DAY_MS, 0) == start:
            offsets[here] = start
            continue
        minutes, minute_of = np.unique(times[here] // 60_000, return_inverse=True)
        first = np.array([_offset_ms(zone, m * 60_000, 0) for m in minutes.tolist()])[minute_of]
        second = np.array([_offset_ms(zone, m * 60_000, 1) for m in minutes.tolist()])[minute_of]
        ambiguous, gap = first > second, first < second
        never += int(np.count_nonzero(gap))
        offsets[here] = first
        doubled = here[ambiguous]
        if len(doubled):
            size_ms = int((first - second).max())
            back = np.flatnonzero(np.diff(times[doubled]) < -size_ms // 2)
            twice += len(doubled)
            if len(back):
                late = doubled[back[0] + 1 :]
                offsets[late] = second[ambiguous][back[0] + 1 :]
            else:
                reach = times[doubled]
                unsure = unsure or int(reach[-1] - reach[0]) > 0
    out[known] = times - offsets
    return LocalClock(out, twice, never, unsure)


def written(time_ms: int, zone: str = "", milliseconds: bool = False) -> str:
    """A time as a person reads it, in the zone if one is known.

    >>> written(1_795_745_587_000)
    '2026-11-27 02:13:07'
    """
    stamp = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms)
    if zone:
        stamp = stamp.astimezone(zone_of(zone))
    text = stamp.strftime("%Y-%m-%d %H:%M:%S")
    return f"{text}.{time_ms % 1000:03d}" if milliseconds and time_ms % 1000 else text
