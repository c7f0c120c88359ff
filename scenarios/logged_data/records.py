"""What a log is once it is read: raw files in their own words, then series and events on one clock.

Times are int64 milliseconds since 1970-01-01 UTC.  A log without a zone keeps its times as they are written, which is
one clock as well; a log of elapsed times counts from 1970-01-01.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from enum import IntFlag
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Flags = NDArray[np.uint8]
Codes = NDArray[np.int32]

NO_TIME = np.iinfo(np.int64).min


class Quality(IntFlag):
    """What is known against a sample; GOOD is nothing."""

    GOOD = 0
    MISSING = 1  # an empty cell
    NOT_A_NUMBER = 2  # a word in a column of numbers: "Bad", "---"
    OUT_OF_RANGE = 4  # NE 43: at or beyond the current of a failed loop, or what no such signal can be
    STUCK = 8  # has not moved by one count while the plant did
    CLOCK = 16  # its time was repaired


@dataclass(frozen=True, slots=True)
class Issue:
    """One thing that is wrong with a file, and what was done about it.  line: of the first case, 0 if none."""

    kind: str  # "time", "order", "clock", "text", "encoding", "layout", "gap", "stuck", "range", "skew", "unit"
    text: str
    line: int = 0
    count: int = 1


@dataclass(slots=True)
class RawColumn:
    """One column (or one tag of a long log) as written: numbers or words, with what could not be read.

    values: NaN where there is no number; codes: place in `words`, −1 for an empty cell, of a column of words;
    rows: where its own samples stand among the file's times, None for all of them.
    """

    name: str
    unit: str = ""  # as the header or the unit column says, "" for none
    description: str = ""
    values: Floats | None = None
    codes: Codes | None = None
    words: tuple[str, ...] = ()
    empty: int = 0
    bad_words: Counter[str] = field(default_factory=Counter)
    bad: NDArray[np.bool_] | None = None  # where a word stood instead of a number; None for nowhere
    rows: NDArray[np.int64] | None = None
    doubt: str = ""  # why its numbers cannot be read with certainty: decimals or thousands
    unit_doubt: str = ""  # why its units cannot

    @property
    def label(self) -> str:
        """Name, description and unit as the file has them."""
        text = f"{self.name} {self.description}".strip()
        return f"{text} [{self.unit}]" if self.unit else text


@dataclass(slots=True)
class RawFile:
    """One file in its own words.  time_ms rises; `line` is where each row stands in the file (1 for the first)."""

    path: Path
    sha256: str
    kind: str  # "trends" or "events"
    layout: str  # "wide", "long", "events"
    time_ms: Times
    line: NDArray[np.int64]
    columns: list[RawColumn]
    issues: list[Issue]
    settings: dict[str, str | int]  # how it was read: encoding, delimiter, decimal, time_format …
    step_ms: float = 0.0  # usual distance of two rows
    resolution_ms: float = 0.0  # least distance that its time stamps can tell
    clock_flags: Flags | None = None


@dataclass(slots=True)
class Series:
    """One signal in cabinet units (or as its name says): rising times, values, quality flags of each sample.

    interval_ms: usual distance of samples, or 0 for change-of-value; uncertainty_ms: of the file's clock against the
    first file's.
    """

    name: str
    time_ms: Times
    values: Floats
    quality: Flags
    interval_ms: float
    change_of_value: bool
    source: str  # file and column
    uncertainty_ms: float = 0.0

    def good(self) -> tuple[Times, Floats]:
        """Times and values of the samples with nothing against them but a repaired clock."""
        keep = (self.quality & ~np.uint8(Quality.CLOCK)) == 0
        return self.time_ms[keep], self.values[keep]

    def held(self, at_ms: Times) -> tuple[Floats, Times]:
        """The last believable value at each time and how old it is; NaN and −1 before the first."""
        times, values = self.good()
        place = np.searchsorted(times, at_ms, side="right") - 1
        known = place >= 0
        out = np.full(len(at_ms), np.nan)
        age = np.full(len(at_ms), -1, dtype=np.int64)
        out[known] = values[place[known]]
        age[known] = at_ms[known] - times[place[known]]
        return out, age


@dataclass(frozen=True, slots=True)
class LoggedEvent:
    """A line of an event list, or a change seen in a trend.

    It happened in (earliest_ms, latest_ms]; kind: alarm, trip, inhibit, operator, setting, manual, start, stop, motor,
    mode, counter, contact, other; name: the cause or signal, "" if unknown; state: "on", "off", "ack" or "".
    """

    time_ms: int
    earliest_ms: int
    latest_ms: int
    kind: str
    name: str
    state: str
    text: str
    source: str
    line: int = 0


@dataclass(slots=True)
class LoggedData:
    """A whole log: series by signal name, events in time order, what was wrong, and where it came from."""

    series: dict[str, Series]
    events: list[LoggedEvent]
    issues: dict[str, list[Issue]]  # by file
    files: tuple[Path, ...]
    zone: str = ""  # name of the time zone for showing times, "" if unknown
    notes: list[str] = field(default_factory=list)
    states: dict[str, dict[int, str]] = field(default_factory=dict)  # words of a state column by its number

    @property
    def start_ms(self) -> int:
        """The first sample or event; 0 of an empty log."""
        starts = [int(s.time_ms[0]) for s in self.series.values() if len(s.time_ms)]
        return min(starts + [e.time_ms for e in self.events], default=0)

    @property
    def end_ms(self) -> int:
        """The last sample or event; 0 of an empty log."""
        ends = [int(s.time_ms[-1]) for s in self.series.values() if len(s.time_ms)]
        return max(ends + [e.time_ms for e in self.events], default=0)
