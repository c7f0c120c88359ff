"""The vectorised windows and timers against their definitions (brute.py), on any signals and windows."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tests.tools.verification import brute
from tools.verification import signals

FLOATS = st.lists(st.integers(-5, 5).map(float) | st.sampled_from([np.inf, -np.inf]), min_size=1, max_size=30)
BOOLS = st.lists(st.booleans(), min_size=1, max_size=40)


@st.composite
def windowed(draw: st.DrawFn, of: st.SearchStrategy[list[float]] = FLOATS) -> tuple[list[float], int, int]:
    values = draw(of)
    high = draw(st.integers(0, len(values) - 1))
    return values, draw(st.integers(0, high)), high


@given(windowed(), st.booleans())
def test_future_windows(case: tuple[list[float], int, int], any_of: bool) -> None:
    values, low, high = case
    expected = brute.future(values, low, high, any_of)
    assert signals.future_margin(np.array(values), low, high, any_of).tolist() == expected
    holds = np.array(values) > 0
    truth = signals.future(holds, low, high, any_of)
    assert truth.tolist() == [v > 0 for v in brute.future([1.0 if h else -1.0 for h in holds], low, high, any_of)]


@given(FLOATS, st.integers(0, 60), st.integers(0, 60), st.booleans())
def test_past_windows_also_longer_than_the_run(values: list[float], low: int, more: int, any_of: bool) -> None:
    high = low + more
    assert signals.past_margin(np.array(values), low, high, any_of).tolist() == brute.past(values, low, high, any_of)
    holds = np.array(values) > 0
    expected = [v > 0 for v in brute.past([1.0 if h else -1.0 for h in holds], low, high, any_of)]
    assert signals.past(holds, low, high, any_of).tolist() == expected


@given(windowed(), st.data())
def test_until(case: tuple[list[float], int, int], data: st.DataObject) -> None:
    first, low, high = case
    second = data.draw(st.lists(st.integers(-5, 5).map(float), min_size=len(first), max_size=len(first)))
    expected = brute.until(first, second, low, high)
    assert signals.until_margin(np.array(first), np.array(second), low, high).tolist() == expected
    a, b = np.array(first) > 0, np.array(second) > 0
    truth = brute.until([1.0 if x else -1.0 for x in a], [1.0 if x else -1.0 for x in b], low, high)
    assert signals.until(a, b, low, high).tolist() == [v > 0 for v in truth]


@given(BOOLS, st.data())
def test_timers_counters_and_latches(holds: list[bool], data: st.DataObject) -> None:
    data_holds = np.array(holds)
    assert signals.duration(data_holds).tolist() == brute.duration(holds)
    assert signals.age(data_holds).tolist() == brute.age(holds)
    most = data.draw(st.integers(0, len(holds) - 1))
    assert signals.wait(data_holds, most).tolist() == brute.wait(holds, most)
    scans = data.draw(st.integers(1, 60))
    assert signals.count(data_holds, scans).tolist() == brute.count(holds, scans)
    other = data.draw(st.lists(st.booleans(), min_size=len(holds), max_size=len(holds)))
    assert signals.latched(data_holds, np.array(other)).tolist() == brute.latched(holds, other)
    values = [float(k) for k in range(len(holds))]
    assert signals.sampled(np.array(values), data_holds).tolist() == brute.sampled(values, holds)


@given(BOOLS)
def test_a_rise_needs_a_scan_before_it(holds: list[bool]) -> None:
    found = signals.rises(np.array(holds)).tolist()
    assert found == [k > 0 and now and not holds[k - 1] for k, now in enumerate(holds)]
