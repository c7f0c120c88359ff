"""Exact step functions of a trace: what the logged rows may miss, the events still know.

Rows may be a second apart, but every change of a drive, a state or a word is in the events at its own scan.  `steps`
puts the two together: the first row says where a column starts, its events say when it changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Trip
from scenarios.row import FORMS

if TYPE_CHECKING:
    from scenarios.trace import Trace

Longs = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Steps:
    """A column that holds `values[k]` from `times_ms[k]` until the next; `end_ms` is the time of the last row."""

    times_ms: Longs
    values: Longs
    end_ms: int

    def at(self, times_ms: Longs) -> Longs:
        """The value in force at each time; before the first step, the first value."""
        place = np.searchsorted(self.times_ms, times_ms, side="right") - 1
        return self.values[np.maximum(place, 0)]

    def rises_ms(self) -> Longs:
        """Times at which the value leaves zero.  A value that is set from the start has no known rise."""
        rises: Longs = self.times_ms[1:][(self.values[1:] != 0) & (self.values[:-1] == 0)]
        return rises

    def falls_ms(self) -> Longs:
        """Times at which the value returns to zero."""
        falls: Longs = self.times_ms[1:][(self.values[1:] == 0) & (self.values[:-1] != 0)]
        return falls

    def spans_ms(self) -> list[tuple[int, int]]:
        """The (start, end) of each stretch in which the value is not zero; an open one ends with the trace."""
        out: list[tuple[int, int]] = []
        start: int | None = None
        for time_ms, value in zip(self.times_ms.tolist(), self.values.tolist(), strict=True):
            if value and start is None:
                start = time_ms
            elif not value and start is not None:
                out.append((start, time_ms))
                start = None
        if start is not None and self.end_ms > start:
            out.append((start, self.end_ms))
        return out

    def where(self, wanted: Longs) -> Steps:
        """The same steps as a yes or no: 1 where the value is one of `wanted`."""
        return Steps(self.times_ms, np.isin(self.values, wanted).astype(np.int64), self.end_ms)

    def on_ms(self, start_ms: int, end_ms: int) -> int:
        """How long the value is not zero between two times."""
        return sum(max(0, min(end, end_ms) - max(start, start_ms)) for start, end in self.spans_ms())


def number_of(column: str, text: str) -> int:
    """The number behind an event's text: "on", "OFF → WAITING", "none → HIGH_DISCHARGE_PRESSURE + bits 0x40000".

    >>> number_of("mode", "RUN_UP → AUTOMATIC"), number_of("motor_run", "off")
    (5, 0)
    """
    word = text.rsplit(" → ", 1)[-1].strip()
    form = FORMS[column]
    if form is bool:
        return int(word == "on")
    if word.startswith("unknown "):
        return int(word.split()[1])
    if issubclass(form, IntEnum):
        return int(form[word])
    bits = 0
    for part in word.split(" + "):
        if part.startswith("bits "):
            bits |= int(part[5:], 16)
        elif part != "none":
            bits |= 1 << int(Trip[part])
    return bits


def steps(trace: Trace, column: str) -> Steps:
    """The exact steps of an edge column; a column without events is read from the rows."""
    rows_ms = trace["time_ms"].astype(np.int64)
    values = trace[column].astype(np.int64)
    first_ms, end_ms = int(rows_ms[0]), int(rows_ms[-1])
    noted = [(e.time_ms, number_of(column, e.text)) for e in trace.events if e.source == column]
    if noted:
        # row 0 already holds what was issued at its own scan
        later = [pair for pair in noted if pair[0] > first_ms]
        times = np.array([first_ms, *(t for t, _ in later)], dtype=np.int64)
        held = np.array([int(values[0]), *(v for _, v in later)], dtype=np.int64)
        if len(later) < len(noted):  # it changed in the very first scan: before it, it was zero
            times, held = np.append(first_ms - 1, times), np.append(0, held)
    else:
        change = np.flatnonzero(np.diff(values)) + 1
        times = np.concatenate((rows_ms[:1], rows_ms[change]))
        held = np.concatenate((values[:1], values[change]))
    return Steps(times, held, end_ms)


def both(first: Steps, second: Steps) -> Steps:
    """1 where both are set."""
    times = np.union1d(first.times_ms, second.times_ms)
    on = (first.at(times) != 0) & (second.at(times) != 0)
    return Steps(times, on.astype(np.int64), first.end_ms)
