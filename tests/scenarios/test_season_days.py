"""Twelve days for a year: how they are chosen, and how a load record becomes days."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.load_log import LoadLog, load_log
from scenarios.season_days import DAY_MS, LoadDays, representative_days
from scenarios.weather_log import MONTH_DAYS, MONTH_STARTS, day_of_year, weather_log

PUBLIC = Path(pvlib.__file__).parent / "data"
DAY_FILE = Path(__file__).resolve().parents[2] / "scenarios/library/loads/fish_hall_whole_day.csv"
HOUR = 3_600_000


def log_of(times_ms: list[int], loads_w: list[float]) -> LoadLog:
    return LoadLog(tuple(times_ms), tuple(loads_w), (), Path("made.csv"), "")


def test_a_day_is_repeated_and_a_week_takes_its_turn() -> None:
    one = LoadDays(load_log(DAY_FILE))
    assert one.count == 1
    assert one.mean_w(0) == one.mean_w(200)
    week = LoadDays(log_of([k * 12 * HOUR for k in range(15)], [float(k // 2) for k in range(15)]))
    assert week.count == 7
    assert [week.mean_w(day) for day in (0, 1, 6, 7, 8, 364)] == [0.0, 1.0, 6.0, 0.0, 1.0, 0.0]


def test_the_mean_holds_each_row_until_the_next() -> None:
    days = LoadDays(log_of([0, 6 * HOUR, 18 * HOUR, 24 * HOUR], [100.0, 300.0, 200.0, 0.0]), 2.0)
    assert days.mean_w(0) == 2.0 * (6 * 100 + 12 * 300 + 6 * 200) / 24


def test_the_lead_is_the_end_of_the_day_before() -> None:
    hours = [0, 20, 23, 24, 30, 48]
    days = LoadDays(log_of([h * HOUR for h in hours], [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]))
    assert days.rows(1, 2 * HOUR) == [(0, 2.0), (HOUR, 3.0), (2 * HOUR, 4.0), (8 * HOUR, 5.0)]
    assert days.rows(0, 2 * HOUR)[0] == (0, 5.0)  # New Year's Eve: the last day of the record stands before the first


@given(
    st.lists(st.tuples(st.integers(1, 5 * HOUR), st.floats(0.0, 1e6)), min_size=12, max_size=60), st.integers(0, 364)
)
@settings(max_examples=60)
def test_a_day_of_rows_has_the_mean_that_is_said(steps: list[tuple[int, float]], day: int) -> None:
    times = np.cumsum([0, *(step for step, _ in steps)]).tolist()
    if times[-1] < DAY_MS:
        return
    days = LoadDays(log_of(times, [w for _, w in steps] + [5.0]))
    rows = days.rows(day, 2 * HOUR)
    assert rows[0][0] == 0
    assert all(a[0] < b[0] for a, b in pairwise(rows))
    ends = [*(t for t, _ in rows[1:]), DAY_MS + 2 * HOUR]
    energy = sum(w * (end - max(t, 2 * HOUR)) for (t, w), end in zip(rows, ends, strict=True) if end > 2 * HOUR)
    assert energy / DAY_MS == pytest.approx(days.mean_w(day), rel=1e-9, abs=1e-6)


def test_half_a_day_is_no_season() -> None:
    with pytest.raises(InputRefused, match=r"made.csv: the record spans 12.0 h; a season needs at least a whole day"):
        LoadDays(log_of([0, 12 * HOUR], [1.0, 2.0]))


@pytest.mark.parametrize("name", ["703165TY.csv", "723170TYA.CSV"])
def test_the_days_lie_near_their_months(name: str) -> None:
    weather = weather_log(PUBLIC / name)
    months = representative_days(weather, LoadDays(load_log(DAY_FILE)))
    assert [m.month for m in months] == list(range(1, 13))
    assert sum(m.days for m in months) == 365
    for m in months:
        assert MONTH_STARTS[m.month - 1] <= m.day < MONTH_STARTS[m.month - 1] + MONTH_DAYS[m.month - 1]
        own = [weather.day_mean_k(d) for d in range(MONTH_STARTS[m.month - 1], MONTH_STARTS[m.month - 1] + m.days)]
        assert m.month_wet_bulb_k == pytest.approx(np.mean(own))
        assert abs(m.day_wet_bulb_k - m.month_wet_bulb_k) == pytest.approx(min(abs(v - np.mean(own)) for v in own))
        assert m.day_load_w == pytest.approx(LoadDays(load_log(DAY_FILE)).mean_w(0))
        assert m.month_load_w == pytest.approx(m.day_load_w)


def test_the_load_counts_as_much_as_the_weather() -> None:
    """Of a year-long record in which one day in January has the mean load, that day, if its weather is not far off."""
    weather = weather_log(PUBLIC / "723170TYA.CSV")
    loads = [1000.0 if day % 2 else 3000.0 for day in range(365)]
    loads[9] = 2000.0
    months = representative_days(weather, LoadDays(log_of([d * DAY_MS for d in range(366)], [*loads, 0.0])))
    wet = np.array([weather.day_mean_k(d) for d in range(31)])
    score = ((wet - wet.mean()) / wet.std()) ** 2
    load = np.array(loads[:31])
    score += ((load - load.mean()) / load.std()) ** 2
    assert months[0].day == int(np.argmin(score))


def test_less_than_a_year_of_weather_is_refused() -> None:
    excerpt = weather_log(DAY_FILE.parent.parent / "weather" / "upland_town_may_tmy3.csv")
    with pytest.raises(InputRefused, match="is not a whole year; a season needs 8760 hours; it holds 49 hours"):
        representative_days(excerpt, LoadDays(load_log(DAY_FILE)))
    assert excerpt.day_mean_k(day_of_year("05-11")) > 273.15
