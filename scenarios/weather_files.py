"""Two public formats of hourly weather, as text: TMY3 (CSV) and EPW.  What is said here is only what the files say.

TMY3: line 1 station, line 2 column names, then an hour a line; −9900 is missing.  EPW: eight header lines, then an hour
a line in fixed columns; 99.9 (°C), 999 (%) and 999999 (Pa) are missing.  Both count hours 1 to 24, local standard time.
Layouts and codes from memory of the NREL TMY3 manual (TP-581-43156) and the EPW data dictionary; pvlib reads the same.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

from scenarios.errors import InputRefused, Problem

Lines = Sequence[tuple[int, str]]  # line numbers from 1, and texts

# Ranges of the EPW data dictionary (from memory): what is outside is no reading.
_RANGES: dict[str, tuple[float, float, str]] = {
    "dry bulb": (-70.0, 70.0, "°C"),
    "dew point": (-70.0, 70.0, "°C"),
    "relative humidity": (0.0, 110.0, "%"),
    "pressure": (31_000.0, 120_000.0, "Pa"),
}
_TMY3_COLUMNS = ("Date (MM/DD/YYYY)", "Time (HH:MM)", "Dry-bulb (C)", "Dew-point (C)", "RHum (%)", "Pressure (mbar)")
_TMY3_MISSING = -9900.0
_EPW_HEADERS = (
    "LOCATION", "DESIGN CONDITIONS", "TYPICAL/EXTREME PERIODS", "GROUND TEMPERATURES", "HOLIDAYS/DAYLIGHT SAVINGS",
    "COMMENTS 1", "COMMENTS 2", "DATA PERIODS",
)  # fmt: skip
_EPW_MISSING = (99.9, 99.9, 999.0, 999_999.0)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?")
_EPW_FIRST = 6  # dry bulb, dew point, humidity and pressure stand from this column on


@dataclass(frozen=True, slots=True)
class RawHour:
    """One line; a value that the file calls missing is None."""

    line: int
    month: int
    day: int
    hour: int  # 1 to 24, the hour that ends
    dry_bulb_c: float | None
    dew_point_c: float | None
    humidity_pct: float | None
    pressure_pa: float | None


@dataclass(frozen=True, slots=True)
class RawWeather:
    """A file as it says it."""

    station: str
    utc_offset_h: float
    altitude_m: float
    hours: list[RawHour]
    notes: list[str] = field(default_factory=list)


def read_weather_text(text: str, path: Path) -> RawWeather:
    """Read a TMY3 or an EPW file, told apart by the first line.  InputRefused names file, line, value and limit."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    # an excerpt may say above its first line where it comes from
    lines = [(number, line) for number, line in lines if not line.startswith("#")]
    if len(lines) < 3:
        raise InputRefused(Problem("holds no weather", file=str(path), way_out="TMY3 (CSV) and EPW are read"))
    reader = _Reader(path, lines)
    return reader.epw() if lines[0][1].upper().startswith("LOCATION,") else reader.tmy3()


class _Reader:
    def __init__(self, path: Path, lines: Lines) -> None:
        self.path, self.lines = path, lines

    def refuse(self, line: int, message: str, value: str = "", limit: str = "", way_out: str = "") -> NoReturn:
        problem = Problem(message, value=value, limit=limit, way_out=way_out)
        raise InputRefused(problem.at(str(self.path), line))

    def cells(self, line: int, text: str) -> list[str]:
        try:
            return [cell.strip() for cell in next(csv.reader([text]))]
        except csv.Error as error:
            self.refuse(line, f"cannot be split into columns ({error})")

    def number(self, line: int, name: str, text: str, low: float, high: float, unit: str) -> float:
        if not _NUMBER.fullmatch(text):
            self.refuse(line, f'{name}: "{text[:20]}" is no number', text)
        value = float(text)
        if not low <= value <= high:
            self.refuse(line, f"{name} {value:g} {unit} is out of range", text, f"allowed: {low:g} to {high:g} {unit}")
        return value

    def reading(self, line: int, name: str, text: str, missing: float, factor: float = 1.0) -> float | None:
        low, high, unit = _RANGES[name]
        if text == "" or (_NUMBER.fullmatch(text) and float(text) == missing):
            return None
        return self.number(line, name, text, low / factor, high / factor, unit if factor == 1.0 else "mbar") * factor

    def whole(self, line: int, name: str, text: str, low: int, high: int) -> int:
        if not re.fullmatch(r"\d{1,4}", text) or not low <= int(text) <= high:
            self.refuse(line, f'{name}: "{text[:20]}"', text, f"allowed: {low} to {high}")
        return int(text)

    def tmy3(self) -> RawWeather:
        (first, station_text), (second, names_text), *rows = self.lines
        station = self.cells(first, station_text)
        names = self.cells(second, names_text)
        absent = [name for name in _TMY3_COLUMNS if name not in names]
        if absent or len(station) != 7:
            what = f'no column "{absent[0]}"' if absent else f"{len(station)} values where a station has seven"
            self.refuse(
                second if absent else first,
                f"neither EPW nor TMY3: {what}",
                way_out="TMY3 has the station in line 1 and its column names in line 2, EPW begins with LOCATION",
            )
        at = {name: names.index(name) for name in _TMY3_COLUMNS}
        hours = []
        for line, text in rows:
            cells = self.cells(line, text)
            if len(cells) <= max(at.values()):
                self.refuse(line, f"{len(cells)} values where at least {max(at.values()) + 1} are expected")
            date = re.fullmatch(r"(\d\d?)/(\d\d?)/\d{4}", cells[at["Date (MM/DD/YYYY)"]])
            clock = re.fullmatch(r"(\d\d?):00", cells[at["Time (HH:MM)"]])
            if not date or not clock:
                given = f"{cells[at['Date (MM/DD/YYYY)']]} {cells[at['Time (HH:MM)']]}"
                self.refuse(line, f'"{given[:30]}" is no hour', given, "written as 07/14/1990 and 01:00 to 24:00")
            hours.append(
                RawHour(
                    line,
                    self.whole(line, "month", date[1], 1, 12),
                    self.whole(line, "day", date[2], 1, 31),
                    self.whole(line, "hour", clock[1], 1, 24),
                    self.reading(line, "dry bulb", cells[at["Dry-bulb (C)"]], _TMY3_MISSING),
                    self.reading(line, "dew point", cells[at["Dew-point (C)"]], _TMY3_MISSING),
                    self.reading(line, "relative humidity", cells[at["RHum (%)"]], _TMY3_MISSING),
                    self.reading(line, "pressure", cells[at["Pressure (mbar)"]], _TMY3_MISSING, 100.0),
                )
            )
        return RawWeather(
            f"{station[1]}, {station[2]}",
            self.number(first, "time zone", station[3], -12.0, 14.0, "h"),
            self.number(first, "altitude", station[6], -500.0, 6000.0, "m"),
            hours,
        )

    def epw(self) -> RawWeather:
        heads = self.lines[: len(_EPW_HEADERS)]
        for (line, text), name in zip(heads, _EPW_HEADERS, strict=False):
            if not text.upper().startswith(name):
                self.refuse(line, f'EPW: "{text[:20]}" where the header line {name} is expected', text[:40])
        if len(self.lines) <= len(_EPW_HEADERS):
            self.refuse(self.lines[-1][0], "EPW: a header and no hours")
        first, last = heads[0][0], heads[-1][0]
        place, periods = self.cells(first, heads[0][1]), self.cells(last, heads[-1][1])
        if len(place) < 10:
            self.refuse(first, f"EPW: LOCATION has {len(place)} values", limit="ten are expected")
        if len(periods) < 3 or periods[1:3] != ["1", "1"]:
            given = ",".join(periods[1:3])
            self.refuse(last, f"EPW: {given} (periods, records an hour)", given, "one period, one record an hour")
        notes = []
        daylight = self.cells(heads[4][0], heads[4][1])
        if len(daylight) > 3 and daylight[2] not in ("", "0"):
            notes.append("a summer time is named in the header; the hours are standard time all the same")
        hours = []
        for line, text in self.lines[len(_EPW_HEADERS) :]:
            cells = self.cells(line, text)
            if len(cells) < _EPW_FIRST + 4:
                self.refuse(line, f"{len(cells)} values where at least {_EPW_FIRST + 4} are expected")
            dry, dew, humidity, pressure = cells[_EPW_FIRST : _EPW_FIRST + 4]
            hours.append(
                RawHour(
                    line,
                    self.whole(line, "month", cells[1], 1, 12),
                    self.whole(line, "day", cells[2], 1, 31),
                    self.whole(line, "hour", cells[3], 1, 24),
                    self.reading(line, "dry bulb", dry, _EPW_MISSING[0]),
                    self.reading(line, "dew point", dew, _EPW_MISSING[1]),
                    self.reading(line, "relative humidity", humidity, _EPW_MISSING[2]),
                    self.reading(line, "pressure", pressure, _EPW_MISSING[3]),
                )
            )
        return RawWeather(
            ", ".join(part for part in place[1:4] if part and part != "-"),
            self.number(first, "time zone", place[8], -12.0, 14.0, "h"),
            self.number(first, "altitude", place[9], -1000.0, 9999.9, "m"),
            hours,
            notes,
        )
