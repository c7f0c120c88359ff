"""Rows in an order that time can have: coarse stamps spread, single rows sorted in, steps of the clock found.

Nothing is hidden: each repair is an issue with its count, its first line and what was done.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.logged_data.records import NO_TIME, Flags, Issue, Quality, Times

HOUR_MS = 3_600_000
OUT_OF_ORDER_ROWS = 20  # rows that come late one by one; more of them are a clock that was set back
STEPS_SHOWN = 5


@dataclass(slots=True)
class Ordered:
    """keep: which rows to take, in order; time_ms: of those, never falling; flags: what was repaired of each."""

    keep: NDArray[np.int64]
    time_ms: Times
    flags: Flags
    step_ms: float
    resolution_ms: float
    issues: list[Issue]
    hour_back: int  # line of a step back by one hour, 0 for none: a change of the clocks, where no zone is known


def resolution_of(time_ms: Times) -> float:
    """The coarsest of 1 ms … 1 h that all stamps are multiples of, on a sample of them."""
    some = time_ms[:: max(1, len(time_ms) // 20_000)]
    for unit in (HOUR_MS, 60_000, 1000, 100, 10):
        if not np.any(some % unit):
            return float(unit)
    return 1.0


def put_events_in_order(time_ms: Times, line: NDArray[np.int64]) -> Ordered:
    """Order the lines of an event list: every line stays, lines of one time keep the list's order, oldest first."""
    issues: list[Issue] = []
    keep = np.flatnonzero(time_ms != NO_TIME)
    lost = len(time_ms) - len(keep)
    if lost:
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        issues.append(Issue("time", f"{lost} lines without a readable time are left out", first, lost))
    times = time_ms[keep]
    if len(times) > 1 and _reversed(times):
        issues.append(Issue("order", "newest line first: turned round", int(line[keep[0]])))
        keep, times = keep[::-1], times[::-1]
    late = int(np.count_nonzero(np.diff(times) < 0))
    if late:
        where = int(line[keep[int(np.argmax(np.diff(times) < 0)) + 1]])
        issues.append(Issue("order", f"{late} lines stand before an earlier one: sorted by time", where, late))
    order = np.argsort(times, kind="stable")
    times = times[order]
    steps = np.diff(times)
    step_ms = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 0.0
    flags = np.zeros(len(times), dtype=np.uint8)
    return Ordered(keep[order], times, flags, step_ms, resolution_of(times) if len(times) else 1.0, issues, 0)


def _spread(times: Times, resolution_ms: float) -> tuple[Times, int]:
    """Runs of equal stamps spread evenly over what the stamp can mean; and how many rows that moved."""
    starts = np.flatnonzero(np.concatenate([[True], times[1:] != times[:-1]]))
    lengths = np.diff(np.append(starts, len(times)))
    inner = lengths[1:-1] if len(lengths) > 2 else lengths
    if not len(inner) or float(np.median(inner)) < 2.0:
        return times, 0
    place = np.arange(len(times)) - np.repeat(starts, lengths)
    usual = np.repeat(np.maximum(lengths, int(np.median(inner))), lengths)
    return times + (place * resolution_ms / usual).astype(np.int64), int(np.count_nonzero(place))


def put_in_order(time_ms: Times, line: NDArray[np.int64], zone_known: bool, coarse: bool = True) -> Ordered:
    """Order the rows of one file, or of one tag of a long one.

    time_ms: as read, NO_TIME where there was no readable one; zone_known: the changes of the clocks are done with.
    """
    issues: list[Issue] = []
    keep = np.flatnonzero(time_ms != NO_TIME)
    lost = len(time_ms) - len(keep)
    if lost:
        first = int(line[int(np.argmax(time_ms == NO_TIME))])
        issues.append(Issue("time", f"{lost} rows without a readable time are left out", first, lost))
    times = time_ms[keep]
    flags = np.zeros(len(keep), dtype=np.uint8)
    if len(times) < 2:
        return Ordered(keep, times, flags, 0.0, 1.0, issues, 0)
    resolution_ms = resolution_of(times)
    if coarse and resolution_ms >= 1000.0:
        times, moved = _spread(times, resolution_ms)
        if moved:
            flags |= np.uint8(Quality.CLOCK)
            text = f"stamps tell whole {_span(resolution_ms)} only: {moved} rows spread evenly inside"
            issues.append(Issue("clock", text, int(line[keep[0]]), moved))
    steps = np.diff(times)
    positive = steps[steps > 0]
    step_ms = float(np.median(positive)) if len(positive) else 0.0
    keep, times, flags, hour_back = _backward(keep, times, flags, step_ms, line, issues, zone_known)
    same = np.concatenate([[False], np.diff(times) == 0])
    if same.any():
        count = int(np.count_nonzero(same))
        text = f"{count} rows have the time of the row before: the later one counts"
        issues.append(Issue("order", text, int(line[keep[int(np.argmax(same))]]), count))
        last = np.concatenate([np.diff(times) != 0, [True]])
        keep, times, flags = keep[last], times[last], flags[last]
    return Ordered(keep, times, flags, step_ms, resolution_ms, issues, hour_back)


def _backward(
    keep: NDArray[np.int64], times: Times, flags: Flags, step_ms: float, line: NDArray[np.int64], issues: list[Issue],
    zone_known: bool,
) -> tuple[NDArray[np.int64], Times, Flags, int]:  # fmt: skip
    """Sort single late rows in; at a clock set back, leave out the rows whose times come again."""
    back = np.flatnonzero(np.diff(times) < 0)
    if not len(back):
        return keep, times, flags, 0
    if _reversed(times):
        issues.append(Issue("order", "newest row first: turned round", int(line[keep[0]]), 1))
        order = np.arange(len(times))[::-1]
        keep, times, flags = keep[order], times[order], flags[order]
        back = np.flatnonzero(np.diff(times) < 0)
        if not len(back):
            return keep, times, flags, 0
    hour_back = 0
    drop = np.zeros(len(times), dtype=bool)
    highest = np.maximum.accumulate(times)
    below = times < highest  # rows whose time has been passed already
    edges = np.flatnonzero(np.diff(np.concatenate([[0], below.astype(np.int8), [0]])))
    late_rows, late_line, shown = 0, 0, 0
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        size_ms = int(highest[start] - times[start])
        if end - start <= OUT_OF_ORDER_ROWS and (end < len(times) or end - start <= 2):
            late_rows += end - start
            late_line = late_line or int(line[keep[start]])
            continue
        again = np.flatnonzero(times[:start] >= times[start])
        drop[again] = True
        where = int(line[keep[start]])
        if not hour_back and abs(size_ms - HOUR_MS) <= max(10.0 * step_ms, 60_000.0):
            hour_back = where
        if shown < STEPS_SHOWN:
            text = (
                f"the clock goes back by {_span(size_ms)}: {len(again)} rows before it, whose times come "
                f"again, are left out"
            )
            issues.append(Issue("clock", text, where, len(again)))
            shown += 1
    if late_rows:
        issues.append(Issue("order", f"{late_rows} late rows sorted in", late_line, late_rows))
    kept = np.flatnonzero(~drop)
    order = kept[np.argsort(times[kept], kind="stable")]
    moved = order != kept
    flags = flags[order]
    flags[moved] |= np.uint8(Quality.CLOCK)
    return keep[order], times[order], flags, 0 if zone_known else hour_back


def _reversed(times: Times) -> bool:
    steps = np.diff(times)
    return int(np.count_nonzero(steps < 0)) > 0.9 * max(1, int(np.count_nonzero(steps)))


def _span(ms: float) -> str:
    """A span in the unit that reads best.

    >>> _span(3_600_000.0), _span(60_000), _span(1500)
    ('1 h', '1 min', '1.5 s')
    """
    for unit, size in (("d", 86_400_000.0), ("h", 3_600_000.0), ("min", 60_000.0), ("s", 1000.0)):
        if ms >= size:
            return f"{ms / size:.4g} {unit}"
    return f"{ms:g} ms"


span_text = _span
