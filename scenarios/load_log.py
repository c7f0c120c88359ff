"""A logged cooling load: CSV of time and kW, as data loggers really write it.

Delimiter `;`, tab or `,`; decimal comma or point; times as seconds, minutes, hours (header), HH:MM[:SS] or dates;
loads in kW, W, MW or TR (header).  Unreadable, doubled and backward rows are left out, counted and reported.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import NoReturn

from scenarios.errors import InputRefused, Problem
from scenarios.toml_source import decode, read_bytes
from scenarios.units import find_unit, plain

HIGHEST_LOAD_W = 1e8  # 100 MW: a wrong unit, not a plant (common practice, no source)
NEGATIVE_NOISE_SHARE = 0.05  # of the greatest load: a meter's zero error, taken as 0 (common practice, no source)
UNREADABLE_SHARE = 0.5  # more than this, and the wrong column is being read (common practice, no source)
GAP_FACTOR = 10.0  # times the median step: worth a note (common practice, no source)
_LARGEST_BYTES = 50_000_000
_DAY_MS = 86_400_000

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d+)?", re.ASCII)
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d)(?:[.,](\d{1,6}))?)?", re.ASCII)
_UNIT_IN_HEADER = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]|(?:^|[\s_,/])(ms|s|sec|min|h|kW|W|MW|TR)\s*$", re.IGNORECASE)
_TIME_WORD = re.compile(r"time|date|stamp", re.IGNORECASE)
_LOAD_WORD = re.compile(r"load|heat|cool|kw|power|duty", re.IGNORECASE)
_DATES = ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M")


@dataclass(frozen=True, slots=True)
class LoadLog:
    """A load record: strictly rising times from 0, loads not negative; notes say what was left out or assumed."""

    time_ms: tuple[int, ...]
    load_w: tuple[float, ...]
    notes: tuple[str, ...]
    path: Path
    sha256: str


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    time_text: str
    load_text: str


def load_log(path: Path) -> LoadLog:
    """Read a load CSV.  InputRefused (with the line) for text that is no such record at all."""
    raw = read_bytes(path, _LARGEST_BYTES)
    lines = [
        (number, line)
        for number, line in enumerate(decode(raw, path).splitlines(), 1)
        if line.strip() and not line.lstrip(' "').startswith(("#", "//"))
    ]
    if not lines:
        raise InputRefused(Problem("holds no rows", file=str(path), way_out="two columns are expected: time and kW"))
    reader = _Reader(path, lines)
    times, loads = reader.read()
    return LoadLog(tuple(times), tuple(loads), tuple(reader.notes), path, hashlib.sha256(raw).hexdigest())


class _Reader:
    def __init__(self, path: Path, lines: list[tuple[int, str]]) -> None:
        self.path = path
        self.notes: list[str] = []
        sample = lines[:50]
        self.delimiter = next((d for d in ";\t" if sum(d in text for _, text in sample) * 2 > len(sample)), ",")
        rows = [(number, self.cells(number, text)) for number, text in lines]
        self.time_column, self.load_column, self.time_unit, self.load_unit = 0, 1, "s", "kW"
        if not any(character.isdigit() for character in rows[0][1][0]):
            self.header(*rows.pop(0))
        else:
            self.notes.append("no header: first column taken as time in s, second as load in kW")
        width = max(self.time_column, self.load_column) + 1
        if not rows:
            self.refuse(lines[-1][0], "holds a header and no rows")
        if self.delimiter == "," and any(len(cells) == 4 for _, cells in rows) and width == 2:
            line = next(number for number, cells in rows if len(cells) == 4)
            self.refuse(
                line, "four values where time and load are expected", "with decimal commas, separate by semicolon"
            )
        self.rows = [
            _Row(number, cells[self.time_column], cells[self.load_column])
            if len(cells) >= width
            else _Row(number, "", "")
            for number, cells in rows
        ]
        self.comma = any("," in row.load_text for row in self.rows)

    def refuse(self, line: int, message: str, way_out: str = "") -> NoReturn:
        raise InputRefused(Problem(message, way_out=way_out).at(str(self.path), line))

    def cells(self, line: int, text: str) -> list[str]:
        try:
            return [plain(cell) for cell in next(csv.reader([text], delimiter=self.delimiter))]
        except csv.Error as error:
            self.refuse(line, f"cannot be split into columns ({error})")

    def header(self, line: int, cells: list[str]) -> None:
        if len(cells) < 2:
            self.refuse(line, "one column only", "two are expected, time and load, parted by ; or , or tab")
        if len(cells) > 2:
            times = [i for i, cell in enumerate(cells) if _TIME_WORD.search(cell)]
            loads = [i for i, cell in enumerate(cells) if _LOAD_WORD.search(cell) and i not in times]
            if len(times) != 1 or len(loads) != 1:
                self.refuse(line, "cannot tell which column is the time and which the load", "leave only those two")
            self.time_column, self.load_column = times[0], loads[0]
        self.time_unit = self.unit_in(line, cells[self.time_column], "s", "time")
        self.load_unit = self.unit_in(line, cells[self.load_column], "kW", "power")

    def unit_in(self, line: int, cell: str, usual: str, dimension: str) -> str:
        match = _UNIT_IN_HEADER.search(cell)
        name = (match[1] or match[2]) if match else ""
        if not name:
            if dimension == "power":
                self.notes.append(f'no unit in the header "{cell}": {usual} assumed')
            return usual
        usual_case = {"kw": "kW", "w": "W", "mw": "MW", "tr": "TR"}.get(name.lower(), name)
        if dimension == "time" and re.search(r"[:Yy]", name):  # a format such as hh:mm:ss, not a unit
            return usual
        try:
            unit = find_unit(usual_case)
        except InputRefused:
            unit = None
        if unit is None or unit.dimension != dimension:
            self.refuse(line, f'"{name}" in the header is no unit of {dimension}', f"write for example [{usual}]")
        return usual_case

    def read(self) -> tuple[list[int], list[float]]:
        skipped: Counter[str] = Counter()
        first_line: dict[str, int] = {}
        scale_w = find_unit(self.load_unit).factor
        times: list[int] = []
        loads: list[float] = []
        where: list[int] = []
        day_ms, last_clock_ms = 0, -1
        for row in self.rows:
            time_ms, is_clock = self.time(row)
            load = self.number(row.load_text)
            if is_clock and time_ms is not None:
                if time_ms < last_clock_ms - _DAY_MS // 2:
                    day_ms += _DAY_MS  # past midnight
                last_clock_ms = time_ms
                time_ms += day_ms
            reason = ""
            if time_ms is None:
                reason = "no readable time"
            elif load is None:
                reason = f'no number for the load ("{row.load_text[:12]}")' if row.load_text else "an empty load"
            elif times and time_ms == times[-1]:
                reason = "the same time as the row before"
            elif times and time_ms < times[-1]:
                reason = "a time before the row above"
            if reason or time_ms is None or load is None:
                skipped[reason] += 1
                first_line.setdefault(reason, row.line)
                continue
            times.append(time_ms)
            loads.append(load * scale_w)
            where.append(row.line)
        self.check(times, loads, where, skipped, first_line)
        start_ms = times[0]
        return [t - start_ms for t in times], [max(load, 0.0) for load in loads]

    def check(
        self, times: list[int], loads: list[float], where: list[int], skipped: Counter[str], first: dict[str, int]
    ) -> None:
        lost = sum(skipped.values())
        if len(times) < 2 or lost > UNREADABLE_SHARE * (lost + len(times)):
            reason, count = skipped.most_common(1)[0] if skipped else ("too few rows", 1)
            line = first.get(reason, self.rows[0].line)
            self.refuse(
                line, f"{lost} of {lost + len(times)} rows are unusable, {count} of them: {reason}", "wrong column?"
            )
        greatest = max(loads)
        for load, line in zip(loads, where, strict=True):
            if load < -NEGATIVE_NOISE_SHARE * max(greatest, 0.0):
                self.refuse(line, f"load {load / 1000.0:g} kW is negative", "a cooling load is positive")
            if load > HIGHEST_LOAD_W:
                self.refuse(
                    line, f"load {load / 1000.0:g} kW is more than {HIGHEST_LOAD_W / 1000.0:g} kW", "wrong unit?"
                )
        for reason, count in sorted(skipped.items(), key=lambda item: first[item[0]]):
            self.notes.append(
                f"{count} row{'s' if count > 1 else ''} left out, first in line {first[reason]}: {reason}"
            )
        below = sum(load < 0.0 for load in loads)
        if below:
            self.notes.append(f"{below} small negative loads taken as 0")
        steps = sorted(b - a for a, b in pairwise(times))
        usual = steps[len(steps) // 2]
        for index, (a, b) in enumerate(pairwise(times)):
            if b - a > GAP_FACTOR * usual:
                self.notes.append(
                    f"gap of {(b - a) / 1000.0:g} s before line {where[index + 1]}, usual step {usual / 1000.0:g} s"
                )

    def number(self, text: str) -> float | None:
        if self.comma:
            if "," not in text and "." in text and not _GROUPED.fullmatch(text):
                pass  # a decimal point in a file of decimal commas: read as such
            else:
                text = text.replace(".", "").replace(",", ".") if text.count(",") <= 1 else "?"
        value = float(text) if _NUMBER.fullmatch(text) else None
        return value if value is None or -1e300 < value < 1e300 else None

    def time(self, row: _Row) -> tuple[int | None, bool]:
        text = row.time_text
        clock = _CLOCK.fullmatch(text)
        if clock:
            thousandths = int((clock[4] or "").ljust(3, "0")[:3])
            return ((int(clock[1]) * 60 + int(clock[2])) * 60 + int(clock[3] or 0)) * 1000 + thousandths, True
        point = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
        if _NUMBER.fullmatch(point):
            value_ms = float(point) * find_unit(self.time_unit).factor * 1000.0
            return (round(value_ms), False) if abs(value_ms) < 2.0**53 else (None, False)
        stamp = self.date(text)
        if stamp is None:
            return None, False
        if stamp.tzinfo is None:
            stamp = stamp.replace(tzinfo=UTC)
        since = stamp - datetime(1970, 1, 1, tzinfo=UTC)
        return since.days * _DAY_MS + since.seconds * 1000 + since.microseconds // 1000, False

    @staticmethod
    def date(text: str) -> datetime | None:
        if not re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:|\d\d?\.\d\d?\.\d{4} ", text, re.ASCII):
            return None
        try:
            return datetime.fromisoformat(text)
        except ValueError:
            pass
        for form in _DATES:
            try:
                return datetime.strptime(text, form)
            except ValueError:
                continue
        return None
