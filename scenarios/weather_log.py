"""Hourly weather at a site, as wet-bulb temperature: of a whole year, or of the days that a file has.

The hour of a row is the one its file gives, 1 to 24, local standard time all year (no summer time).  Temperatures are
those at that hour, which is the end of the row's interval (NREL TMY3 manual and EPW data dictionary, from memory).  So
24:00 is the midnight after, and 0:00 of a day is 24:00 of the day before.  Between two hours weather is a straight line.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import accumulate, pairwise
from pathlib import Path

from scenarios.errors import InputRefused, Problem
from scenarios.psychrometrics import FREEZING_K, wet_bulb_of_dew_point_k, wet_bulb_of_humidity_k
from scenarios.quantities import standard_atmosphere_pa
from scenarios.toml_source import read_bytes
from scenarios.weather_files import RawHour, RawWeather, read_weather_text

HOUR_MS = 3_600_000
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)  # a typical year has no 29 February
MONTH_STARTS = (0, *accumulate(MONTH_DAYS))[:12]  # day of the year, from 0, with which each month begins
YEAR_HOURS = 8760
LONGEST_BRIDGE_H = 3  # missing hours in a row that a straight line may stand for; common practice, no source
DEW_ABOVE_DRY_K = 1.0  # two readings rounded to whole degrees; more is a faulty reading; common practice, no source
_LARGEST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class WeatherLog:
    """Weather by hour of the year: hour h, 1 to 8760, is h hours after 0:00 of 1 January; the year goes round.

    dry_bulb_k, wet_bulb_k: the hours that the file has; notes: what was left out or assumed.
    """

    station: str
    utc_offset_h: float
    altitude_m: float
    dry_bulb_k: Mapping[int, float]
    wet_bulb_k: Mapping[int, float]
    notes: tuple[str, ...]
    path: Path
    sha256: str

    @property
    def whole_year(self) -> bool:
        """Whether every hour of the year is there."""
        return len(self.wet_bulb_k) == YEAR_HOURS

    def first_missing(self, start_h: float, hours: float) -> int | None:
        """The first hour of the year that is needed for this stretch and not there; None if all are."""
        needed = range(math.floor(start_h), max(math.ceil(start_h + hours), math.floor(start_h) + 1) + 1)
        return next((_wrapped(h) for h in needed if _wrapped(h) not in self.wet_bulb_k), None)

    def knots(self, start_h: float, hours: float) -> tuple[tuple[int, float], ...]:
        """(time since the start in ms, wet bulb in K): at the start, and at each whole hour until the end is covered.

        start_h: hour of the year, may be a fraction.  InputRefused where an hour that is needed is not there.
        """
        missing = self.first_missing(start_h, hours)
        if missing is not None:
            raise InputRefused(
                Problem(
                    f"the weather at {hour_text(missing)} is needed and not there",
                    file=str(self.path),
                    limit=f"the file holds {self.span_text()}",
                    way_out="take a day that is in the file, or a shorter run",
                )
            )
        first = math.floor(start_h)
        low_k, high_k = self.wet_bulb_k[_wrapped(first)], self.wet_bulb_k[_wrapped(first + 1)]
        later = range(first + 1, max(math.ceil(start_h + hours), first + 1) + 1)
        start = (0, low_k + (start_h - first) * (high_k - low_k))
        return start, *((round((h - start_h) * HOUR_MS), self.wet_bulb_k[_wrapped(h)]) for h in later)

    def day_mean_k(self, day: int) -> float:
        """Mean wet bulb, K, over the 24 hours of a day of the year (0 to 364); KeyError where one is not there."""
        return sum(self.wet_bulb_k[24 * day + h] for h in range(1, 25)) / 24.0

    def span_text(self) -> str:
        """What the file holds, in words."""
        hours = sorted(self.wet_bulb_k)
        return f"{len(hours)} hours from {hour_text(hours[0])} to {hour_text(hours[-1])}"


def weather_log(path: Path) -> WeatherLog:
    """Read a TMY3 or EPW file.  InputRefused, with line, value and limit, for text that is neither, or is damaged."""
    raw = read_bytes(path, _LARGEST_BYTES)
    try:
        text, notes = raw.decode("utf-8-sig"), []
    except UnicodeDecodeError:  # names of places in older files; the numbers are the same in either
        text, notes = raw.decode("latin-1"), ["not UTF-8, read as Latin-1"]
    weather = read_weather_text(text, path)
    dry, wet, more = _by_hour(weather, path)
    notes += weather.notes + more
    return WeatherLog(
        weather.station, weather.utc_offset_h, weather.altitude_m, dry, wet, tuple(notes), path,
        hashlib.sha256(raw).hexdigest(),
    )  # fmt: skip


def day_of_year(text: str) -> int:
    """Day of the year, from 0, of "07-14" (month, day).  ValueError for anything else, 29 February included.

    >>> day_of_year("01-01"), day_of_year("12-31")
    (0, 364)
    """
    parts = text.split("-")
    if len(parts) == 2 and all(part.isascii() and part.isdigit() and len(part) <= 2 for part in parts):
        month, day = int(parts[0]), int(parts[1])
        if 1 <= month <= 12 and 1 <= day <= MONTH_DAYS[month - 1]:
            return MONTH_STARTS[month - 1] + day - 1
    raise ValueError(f'"{text}" is no day of a typical year; write month and day, for example "07-14"')


def day_text(day: int) -> str:
    """A day of the year, from 0, as month and day.

    >>> day_text(31)
    '02-01'
    """
    month = max(m for m, start in enumerate(MONTH_STARTS) if start <= day)
    return f"{month + 1:02d}-{day - MONTH_STARTS[month] + 1:02d}"


def hour_text(hour: int) -> str:
    """An hour of the year, 1 to 8760, as its file writes it.

    >>> hour_text(24), hour_text(25)
    ('01-01 24:00', '01-02 01:00')
    """
    return f"{day_text((hour - 1) // 24)} {(hour - 1) % 24 + 1:02d}:00"


def _wrapped(hour: int) -> int:
    return (hour - 1) % YEAR_HOURS + 1


def _by_hour(weather: RawWeather, path: Path) -> tuple[dict[int, float], dict[int, float], list[str]]:
    dry: dict[int, float] = {}
    wet: dict[int, float] = {}
    lines: dict[int, int] = {}
    notes: list[str] = []
    standard_pa = standard_atmosphere_pa(weather.altitude_m)
    no_pressure = leap = 0
    for row in weather.hours:
        if (row.month, row.day) == (2, 29):
            leap += 1
            continue
        if row.day > MONTH_DAYS[row.month - 1]:
            problem = Problem(f"day {row.day} of month {row.month}", limit=f"it has {MONTH_DAYS[row.month - 1]}")
            raise InputRefused(problem.at(str(path), row.line))
        hour = 24 * (MONTH_STARTS[row.month - 1] + row.day - 1) + row.hour
        if hour in lines:
            problem = Problem(f"{hour_text(hour)} stands here and in line {lines[hour]}", limit="an hour is there once")
            raise InputRefused(problem.at(str(path), row.line))
        lines[hour] = row.line
        if row.dry_bulb_c is None or (row.dew_point_c is None and row.humidity_pct is None):
            continue
        no_pressure += row.pressure_pa is None
        dry[hour] = row.dry_bulb_c + FREEZING_K
        try:
            wet[hour] = _wet_bulb_k(row, dry[hour], row.pressure_pa or standard_pa, path)
        except ValueError as error:  # steam, not air: each value is within its range, but not together
            raise InputRefused(Problem(str(error)).at(str(path), row.line)) from error
    if not wet:
        raise InputRefused(Problem("no hour has both a dry bulb and a humidity", file=str(path)))
    if leap:
        notes.append(f"{leap} hours of 29 February left out")
    if no_pressure:
        notes.append(f"{no_pressure} hours without a pressure: standard atmosphere at {weather.altitude_m:g} m taken")
    notes += _bridge(dry, wet, lines, path)
    return dry, wet, notes


def _wet_bulb_k(row: RawHour, dry_k: float, pressure_pa: float, path: Path) -> float:
    """From the dew point, which is given finer than the humidity, or from the humidity where there is none."""
    if row.dew_point_c is None:
        assert row.humidity_pct is not None
        return wet_bulb_of_humidity_k(dry_k, row.humidity_pct / 100.0, pressure_pa)
    dew_k = row.dew_point_c + FREEZING_K
    if dew_k > dry_k + DEW_ABOVE_DRY_K:
        problem = Problem(
            f"dew point {row.dew_point_c:g} °C is above the dry bulb of {dry_k - FREEZING_K:g} °C",
            value=f"{row.dew_point_c:g}",
            limit=f"at most {DEW_ABOVE_DRY_K:g} K, for rounding",
        )
        raise InputRefused(problem.at(str(path), row.line))
    return wet_bulb_of_dew_point_k(dry_k, min(dew_k, dry_k), pressure_pa)


def _bridge(dry: dict[int, float], wet: dict[int, float], lines: dict[int, int], path: Path) -> list[str]:
    """Straight lines over a few missing hours; more are refused if the file says they are missing.

    Hours that have no line at all, as in an excerpt of some days, are bridged if they are few and else are not there.
    """
    bridged = 0
    known = sorted(wet)
    first_line = 0
    for before, after in pairwise(known):
        gap = after - before - 1
        if not gap:
            continue
        said = [hour for hour in range(before + 1, after) if hour in lines]
        if gap > LONGEST_BRIDGE_H:
            _refuse_long_gap(said, lines, path)
            continue
        bridged += gap
        first_line = first_line or lines[before]
        for hour in range(before + 1, after):
            share = (hour - before) / (after - before)
            for values in (dry, wet):
                values[hour] = values[before] + share * (values[after] - values[before])
    outside = [hour for hour in lines if hour < known[0] or hour > known[-1]]
    _refuse_long_gap(outside, lines, path)
    if bridged:
        return [f"{bridged} missing hours bridged by straight lines, the first after line {first_line}"]
    return []


def _refuse_long_gap(hours: list[int], lines: dict[int, int], path: Path) -> None:
    """A long gap, or one at the end of the file, that lines with missing values make is no weather."""
    if not hours:
        return
    problem = Problem(
        f"dry bulb or humidity missing at {hour_text(hours[0])} and {len(hours) - 1} more hours in a row",
        limit=f"at most {LONGEST_BRIDGE_H} in a row, with readings on both sides, are bridged by a straight line",
        way_out="mend the file, or take another year",
    )
    raise InputRefused(problem.at(str(path), lines[hours[0]]))
