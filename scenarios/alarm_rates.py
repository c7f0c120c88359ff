"""How hard alarms press on the person who must answer them: rates, floods, chattering, the most frequent.

Conventions, because the texts leave them open: a window of ten minutes is half-open, (t − 10 min, t], so an alarm ten
minutes old no longer counts; a flood starts with the alarm that makes *more than* ten in ten minutes, and ends when
*fewer than* five are left in them; an alarm is a bit of the alarm word that comes, and one that stands from the start of
the record has no known beginning and is not counted.

The limits are those of ANSI/ISA-18.2 and EEMUA 191 as recalled (published checks, section 7; not re-read).  They are
meant for one operator over weeks; a run of hours is a hint, no verdict.  No safety system.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller.process_image import Trip
from scenarios.steps import steps

if TYPE_CHECKING:
    from scenarios.trace import Trace

WINDOW_MS = 600_000
FLOOD_STARTS_ABOVE = 10  # alarms in a window
FLOOD_ENDS_BELOW = 5
ACCEPTABLE_PER_WINDOW = 1.0  # 6 an hour; the standards' 150 (or 144) a day
MANAGEABLE_PER_WINDOW = 2.0  # 12 an hour, 300 a day
FLOOD_SHARE_MOST_FRAC = 0.01
CHATTER_COUNT = 3  # of one alarm within a minute; no firm number in the texts
CHATTER_MS = 60_000
DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm that came."""

    time_ms: int
    name: str


@dataclass(frozen=True, slots=True)
class AlarmRates:
    """What a record of alarms amounts to; a share is of the record's length."""

    count: int
    mean_per_window: float  # over the whole record; a record shorter than a window counts as it is, scaled up
    worst_window: int
    floods_ms: tuple[tuple[int, int], ...]  # (start, end)
    flood_frac: float
    chattering: tuple[str, ...]
    most_frequent: tuple[tuple[str, float], ...]  # name and share of all alarms, the ten greatest

    @property
    def per_h(self) -> float:
        """Mean rate, alarms an hour."""
        return self.mean_per_window * 3_600_000 / WINDOW_MS

    @property
    def per_day(self) -> float:
        """Mean rate, alarms a day."""
        return self.mean_per_window * DAY_MS / WINDOW_MS

    @property
    def verdict(self) -> str:
        """ "acceptable", "manageable" or "too many", by the mean rate, and whether there was a flood."""
        rate = "too many"
        if self.mean_per_window <= ACCEPTABLE_PER_WINDOW:
            rate = "acceptable"
        elif self.mean_per_window <= MANAGEABLE_PER_WINDOW:
            rate = "manageable"
        return f"{rate}, with floods" if self.floods_ms else rate


def alarms_of(trace: Trace) -> list[Alarm]:
    """Every bit of the alarm word that comes, at its own scan, in time order."""
    word = steps(trace, "alarm_word")
    names = {1 << int(cause): cause.name for cause in Trip if cause}
    out, before = [], int(word.values[0])
    for time_ms, value in zip(word.times_ms.tolist()[1:], word.values.tolist()[1:], strict=True):
        came = value & ~before
        for place in range(came.bit_length()):
            bit = 1 << place
            if came & bit:
                out.append(Alarm(time_ms, names.get(bit, f"bit {place}")))
        before = value
    return out


def worst_count(times_ms: Iterable[int], window_ms: int = WINDOW_MS) -> int:
    """The most alarms in any window (t − window, t]; times in ascending order.

    >>> worst_count([0, 1, 600_000])
    2
    """
    inside: deque[int] = deque()
    worst = 0
    for time_ms in times_ms:
        inside.append(time_ms)
        while inside[0] <= time_ms - window_ms:
            inside.popleft()
        worst = max(worst, len(inside))
    return worst


def floods(times_ms: Sequence[int], end_ms: int) -> tuple[tuple[int, int], ...]:
    """The (start, end) of each flood; one that lasts to the end of the record ends there."""
    # what comes and what turns ten minutes old, in time order; at the same moment the old one goes first
    changes = sorted([(t, 1) for t in times_ms] + [(t + WINDOW_MS, -1) for t in times_ms])
    out: list[tuple[int, int]] = []
    count, start = 0, None
    for time_ms, change in changes:
        if time_ms > end_ms:
            break
        count += change
        if start is None and count > FLOOD_STARTS_ABOVE:
            start = time_ms
        elif start is not None and count < FLOOD_ENDS_BELOW:
            out.append((start, time_ms))
            start = None
    if start is not None:
        out.append((start, end_ms))
    return tuple(out)


def chattering(alarms: Iterable[Alarm]) -> tuple[str, ...]:
    """Names of the alarms that came `CHATTER_COUNT` times or more within a minute, in alphabetical order."""
    by_name: dict[str, list[int]] = {}
    for alarm in alarms:
        by_name.setdefault(alarm.name, []).append(alarm.time_ms)
    return tuple(sorted(name for name, times in by_name.items() if worst_count(times, CHATTER_MS) >= CHATTER_COUNT))


def alarm_rates(alarms: Sequence[Alarm], start_ms: int, end_ms: int) -> AlarmRates:
    """Figures of the alarms between two times; ValueError if there is no time between them or the alarms lie outside."""
    if end_ms <= start_ms:
        raise ValueError(f"a record from {start_ms} to {end_ms} ms has no length: give an end after its start")
    ordered = sorted(alarms, key=lambda alarm: alarm.time_ms)
    for alarm in ordered[:1] + ordered[-1:]:
        if not start_ms <= alarm.time_ms <= end_ms:
            raise ValueError(f"alarm {alarm.name} at {alarm.time_ms} ms lies outside the record {start_ms}–{end_ms} ms")
    times_ms = [alarm.time_ms for alarm in ordered]
    found = floods(times_ms, end_ms)
    tally = Counter(alarm.name for alarm in ordered)
    return AlarmRates(
        count=len(ordered),
        mean_per_window=len(ordered) * WINDOW_MS / (end_ms - start_ms),
        worst_window=worst_count(times_ms),
        floods_ms=found,
        flood_frac=sum(end - start for start, end in found) / (end_ms - start_ms),
        chattering=chattering(ordered),
        most_frequent=tuple((name, n / len(ordered)) for name, n in tally.most_common(10)),
    )
