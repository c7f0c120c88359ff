"""Alarm rates: the arithmetic of published checks, section 7 (ISA-18.2, EEMUA 191, recalled), and its conventions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Trip
from scenarios.alarm_rates import Alarm, alarm_rates, alarms_of, chattering, floods, worst_count
from scenarios.row import COLUMNS, INDEX
from scenarios.trace import Trace, edge_events

MINUTE_MS = 60_000
TEN_MS = 10 * MINUTE_MS


def at(*minutes: float) -> list[Alarm]:
    return [Alarm(round(m * MINUTE_MS), "HIGH_OIL_TEMPERATURE") for m in minutes]


def test_a_window_is_half_open() -> None:
    assert worst_count([0, TEN_MS]) == 1
    assert worst_count([0, TEN_MS - 1]) == 2
    assert worst_count([]) == 0


def test_ten_alarms_in_ten_minutes_are_no_flood_and_eleven_are() -> None:
    ten = [k * MINUTE_MS // 2 for k in range(10)]
    assert floods(ten, 60 * MINUTE_MS) == ()
    # the eleventh, at 5 min, starts it; those of 0, 0.5 … 3 min are gone at 13 min, when four are left
    assert floods([*ten, 5 * MINUTE_MS], 60 * MINUTE_MS) == ((5 * MINUTE_MS, 13 * MINUTE_MS),)
    assert floods([*ten, 5 * MINUTE_MS], 8 * MINUTE_MS) == ((5 * MINUTE_MS, 8 * MINUTE_MS),)
    # eleven within exactly ten minutes from the first: the first has just gone
    assert floods([0, *(TEN_MS - 9 + k for k in range(10))], 60 * MINUTE_MS) == ()


def test_rates_of_a_day_of_one_alarm_every_ten_minutes() -> None:
    # 1 per 10 min, 6/h, 144/day: the standards' "about 150"
    rates = alarm_rates(at(*range(5, 1440, 10)), 0, 1440 * MINUTE_MS)
    assert (rates.mean_per_window, rates.per_h, rates.per_day, rates.count) == (1.0, 6.0, 144.0, 144)
    assert (rates.verdict, rates.worst_window, rates.flood_frac) == ("acceptable", 1, 0.0)
    twice = alarm_rates(at(*range(0, 1440, 5)), 0, 1440 * MINUTE_MS)
    assert (twice.per_h, twice.per_day, twice.verdict) == (12.0, 288.0, "manageable")
    assert alarm_rates(at(*range(0, 1440, 4)), 0, 1440 * MINUTE_MS).verdict == "too many"


def test_floods_and_the_share_of_time_in_them() -> None:
    rates = alarm_rates(at(*(30 + k / 10 for k in range(12))), 0, 100 * MINUTE_MS)
    assert rates.floods_ms == ((31 * MINUTE_MS, round(40.7 * MINUTE_MS)),)
    assert rates.flood_frac == pytest.approx(0.097)
    assert rates.verdict == "manageable, with floods"


def test_chattering_is_three_of_one_alarm_in_a_minute() -> None:
    assert chattering(at(1.0, 1.5, 2.0)) == ()  # the first is a minute old
    assert chattering(at(1.0, 1.5, 1.9)) == ("HIGH_OIL_TEMPERATURE",)
    mixed = [Alarm(0, "A"), Alarm(1, "B"), Alarm(2, "A"), Alarm(3, "B")]
    assert chattering(mixed) == ()
    assert dict(alarm_rates(mixed[:3], 0, 10).most_frequent) == {"A": 2 / 3, "B": 1 / 3}


def test_alarms_of_a_trace_are_the_bits_that_come() -> None:
    hot, hot_and_high = 1 << Trip.HIGH_OIL_TEMPERATURE, 1 << Trip.HIGH_OIL_TEMPERATURE | 1 << Trip.VESSEL_HIGH_LEVEL
    time_ms = np.arange(0, 10_001, 1000, dtype=np.float64)
    values = {name: np.zeros(len(time_ms)) for name in COLUMNS} | {"time_ms": time_ms}
    edges = [(1200, 0, hot), (2300, hot, hot_and_high), (4000, hot_and_high, 0), (5100, 0, hot)]
    trace = Trace(values, edge_events(np.array([(t, INDEX["alarm_word"], a, b) for t, a, b in edges], dtype=float)))
    assert alarms_of(trace) == [
        Alarm(1200, "HIGH_OIL_TEMPERATURE"),
        Alarm(2300, "VESSEL_HIGH_LEVEL"),
        Alarm(5100, "HIGH_OIL_TEMPERATURE"),
    ]


def test_a_record_without_length_or_with_strangers_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="no length"):
        alarm_rates([], 5, 5)
    with pytest.raises(ValueError, match="outside the record"):
        alarm_rates(at(3.0), 0, MINUTE_MS)


@given(st.lists(st.integers(0, 40 * MINUTE_MS), max_size=60).map(sorted))
def test_sliding_counts_agree_with_counting_at_every_alarm(times_ms: list[int]) -> None:
    counts = [sum(t - TEN_MS < other <= t for other in times_ms) for t in times_ms]
    assert worst_count(times_ms) == max(counts, default=0)
    found = floods(times_ms, 60 * MINUTE_MS)
    assert bool(found) == (max(counts, default=0) > 10)
    for start, end in found:
        assert sum(start - TEN_MS < t <= start for t in times_ms) > 10
        assert sum(end - TEN_MS < t <= end for t in times_ms) < 5
        inside = [sum(m - TEN_MS < t <= m for t in times_ms) for m in times_ms if start < m < end]
        assert min(inside, default=5) >= 5
