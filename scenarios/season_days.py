"""A year in twelve days: for each month the day whose weather and load are nearest the month's own.

Method: a day's mean wet bulb and mean load, each as a distance from the month's mean in standard deviations of the
month's daily means; the day with the least sum of squares stands for the month, the earlier of two that are equal.  What
does not vary within a month does not count.  A day's course within its 24 hours is its own, not smoothed.  What is lost
is the spread from day to day: tests/scenarios/test_season.py compares a month in one day with all its days.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.load_log import LoadLog
from scenarios.weather_log import MONTH_DAYS, MONTH_STARTS, WeatherLog

Floats = NDArray[np.float64]
DAY_MS = 86_400_000
YEAR_DAYS = 365
_SHORT_OF_A_DAY = 0.05  # a logger's day ends with its last row, not at midnight; common practice, no source


@dataclass(frozen=True, slots=True)
class MonthDay:
    """A month (1 to 12), the day of the year (from 0) that stands for it, and how well."""

    month: int
    day: int
    days: int
    month_wet_bulb_k: float
    day_wet_bulb_k: float
    month_load_w: float
    day_load_w: float


class LoadDays:
    """A load record cut into whole days from its first row on, and repeated over the year.

    One day stands for every day of the year, seven for a week again and again, 365 for themselves.  The first is
    1 January.  InputRefused for a record of less than a day.
    """

    def __init__(self, log: LoadLog, scale: float = 1.0) -> None:
        span = log.time_ms[-1] / DAY_MS
        self.count = min(YEAR_DAYS, int(span + _SHORT_OF_A_DAY))
        if self.count < 1:
            raise InputRefused(
                Problem(
                    f"the record spans {24.0 * span:.1f} h",
                    file=str(log.path),
                    limit="a season needs at least a whole day, 24 h",
                    way_out="take a longer record",
                )
            )
        self.time_ms = np.array(log.time_ms, dtype=np.int64)
        self.load_w = scale * np.array(log.load_w, dtype=np.float64)

    def rows(self, day: int, lead_ms: int) -> list[tuple[int, float]]:
        """(time in ms, load in W) of a day of the year, held between rows, with the end of the day before it in front."""
        before, this = (day - 1) % self.count, day % self.count
        lead = self._day(before)
        tail = [(t - DAY_MS + lead_ms, w) for t, w in lead if t >= DAY_MS - lead_ms]
        at_start_w = [w for t, w in lead if t <= DAY_MS - lead_ms][-1]
        return [(0, at_start_w), *((t, w) for t, w in tail if t > 0), *((lead_ms + t, w) for t, w in self._day(this))]

    def mean_w(self, day: int) -> float:
        """Mean load of a day of the year, W."""
        rows = self._day(day % self.count)
        ends = [*(t for t, _ in rows[1:]), DAY_MS]
        return sum(w * (end - t) for (t, w), end in zip(rows, ends, strict=True)) / DAY_MS

    def _day(self, k: int) -> list[tuple[int, float]]:
        start = k * DAY_MS
        first = int(np.searchsorted(self.time_ms, start, side="right")) - 1
        last = int(np.searchsorted(self.time_ms, start + DAY_MS, side="left"))
        rows = [
            (int(t) - start, float(w)) for t, w in zip(self.time_ms[first:last], self.load_w[first:last], strict=True)
        ]
        return [(max(0, t), w) for t, w in rows]


def representative_days(weather: WeatherLog, load: LoadDays) -> list[MonthDay]:
    """Twelve days for a year.  InputRefused for weather of less than a year."""
    if not weather.whole_year:
        raise InputRefused(
            Problem(
                "is not a whole year",
                file=str(weather.path),
                limit=f"a season needs 8760 hours; it holds {weather.span_text()}",
                way_out="take the whole TMY3 or EPW file of a site",
            )
        )
    wet_k = np.array([weather.day_mean_k(day) for day in range(YEAR_DAYS)])
    load_w = np.array([load.mean_w(day) for day in range(YEAR_DAYS)])
    found = []
    for month, (start, days) in enumerate(zip(MONTH_STARTS, MONTH_DAYS, strict=True), 1):
        own = slice(start, start + days)
        distance = _distance(wet_k[own]) + _distance(load_w[own])
        day = start + int(np.argmin(distance))
        means = float(wet_k[own].mean()), float(wet_k[day]), float(load_w[own].mean()), float(load_w[day])
        found.append(MonthDay(month, day, days, *means))
    return found


def _distance(values: Floats) -> Floats:
    spread = float(values.std())
    if spread <= 1e-9 * abs(float(values.mean())):
        return np.zeros_like(values)
    return np.asarray(np.square((values - values.mean()) / spread))
