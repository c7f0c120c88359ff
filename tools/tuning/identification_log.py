"""A logged step or relay test as CSV: time, capacity position, suction pressure; drives and demand where they are there.

Any of ; tab | , or spaces between columns; decimal comma or point; a header with units, in brackets, after a comma, as
`_kpa` or in a line of their own.  Pressure as kPa, bar(g), psig, °C sat and whatever else `scenarios.quantities` reads.
Unreadable, doubled and backward rows are left out, counted and reported; a log that cannot be trusted is refused.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from scenarios.quantities import Site, parse_quantity
from scenarios.record_fields import UNIT_SUFFIXES, suffix_of
from scenarios.toml_source import decode, read_bytes
from scenarios.units import find_unit, plain, tidy

if TYPE_CHECKING:
    import polars as pl

Float = NDArray[np.float64]
Switch = NDArray[np.bool_]

LOWEST_KPA, HIGHEST_KPA = 10.0, 3000.0  # absolute, of any suction side; common practice, no source
LOWEST_PCT, HIGHEST_PCT = -5.0, 105.0  # NE 43 lets a live loop read −1.25 to 103 % of its span
UNREADABLE_SHARE = 0.2  # more than this, and the wrong column is being read; common practice, no source
GAP_FACTOR = 8.0  # times the usual step: what happened in between is not known; common practice, no source
_LARGEST_BYTES = 50_000_000
_SATURATION_POINTS = 2000

_WORDS: dict[str, tuple[str, str]] = {  # role → (must hold, must not hold)
    "time": (r"time|date|stamp|^t$|^t[ _\[(]", r"dead|on.?time"),
    "pressure": (r"suction|pressure|^p_?s", r"discharge|oil|set.?point|demand|temperature|superheat|position|drop"),
    "position": (r"position|travel|slide", r"demand|set.?point|volume|ratio|opposite|pressure"),
    "load": (r"(?<!un)load", r"unload|_ms\b|kw|heat|position|demand|pressure|travel|ratio"),
    "unload": (r"unload", r"_ms\b|position|demand|pressure|travel|ratio"),
    "demand": (r"demand|request", r"volume|ratio|pressure|load"),
}
_PREFERRED = re.compile(r"measured|capacity|suction", re.IGNORECASE)
_BRACKETED = re.compile(r"\[(?P<a>[^\]]+)\]\s*$|\((?P<b>[^()]*(?:\([^()]*\))?[^()]*)\)\s*$")
_TRAILING = re.compile(
    r"(?:^|[\s,/])((?:[kMmh]?Pa|m?bar|psi|kgf/cm²)\s?\(?(?:abs|gauge|a|g)?\)?|°\s?[CF](?:\s?sat)?|%|ms|s|sec|min|h)\s*$"
)
_ON = {"1", "on", "true", "yes", "closed", "1.0", "high"}
_OFF = {"0", "off", "false", "no", "open", "0.0", "low", ""}
_DATES = tuple(
    f"{day}{between}%H:%M{rest}"
    for day in ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d")
    for between in (" ", "T")
    for rest in (":%S%.f", "")
)


@dataclass(frozen=True, slots=True)
class LoggedTest:
    """A test as logged: strictly rising times from 0; None for a column that the log does not have."""

    time_s: Float
    position_pct: Float
    pressure_kpa: Float  # absolute
    load_on: Switch | None
    unload_on: Switch | None
    demand_pct: Float | None
    step_s: float  # the usual distance of two rows
    line: NDArray[np.int64]  # of each row in the file
    notes: tuple[str, ...]
    path: Path

    def cut(self, from_s: float, to_s: float) -> LoggedTest:
        """The rows from from_s to to_s, times from 0 again.  InputRefused if fewer than two are left."""
        keep = (self.time_s >= from_s) & (self.time_s <= to_s)
        if np.count_nonzero(keep) < 2:
            text = f"no rows between {from_s:g} s and {to_s:g} s"
            limit = f"the log lasts {self.time_s[-1]:g} s"
            raise InputRefused(Problem(text, file=str(self.path), limit=limit))
        some = [None if v is None else v[keep] for v in (self.load_on, self.unload_on)]
        demand = None if self.demand_pct is None else self.demand_pct[keep]
        time_s = self.time_s[keep]
        return LoggedTest(
            time_s - time_s[0], self.position_pct[keep], self.pressure_kpa[keep], some[0], some[1], demand,
            self.step_s, self.line[keep], self.notes, self.path,
        )  # fmt: skip


def read_logged_test(path: Path, site: Site, columns: Mapping[str, str] | None = None) -> LoggedTest:
    """Read a log.

    site: for gauge pressures and "sat"; columns: role (time, pressure, position, load, unload, demand) → header, where
    the headers alone do not tell.  InputRefused, with the line, for a log that is none or cannot be trusted.
    """
    return _Reader(path, site, dict(columns or {})).read()


class _Reader:
    def __init__(self, path: Path, site: Site, named: dict[str, str]) -> None:
        self.path, self.site, self.named = path, site, named
        self.notes: list[str] = []
        text = decode(read_bytes(path, _LARGEST_BYTES), path)
        lines = [(n, s) for n, s in enumerate(text.splitlines(), 1) if s.strip(" ;,\t|")]
        lines = [(n, s) for n, s in lines if not s.lstrip(' "').startswith(("#", "//"))]
        if len(lines) < 2:
            self.refuse(0, "holds no rows", "three columns are expected: time, capacity position and suction pressure")
        self.delimiter = _delimiter([s for _, s in lines[:50]])
        if self.delimiter == ",":
            wide = next(
                (n for n, t in lines[1:50] if t.count(",") >= 2 * lines[0][1].count(",") + 1 and '"' not in t), 0
            )
            if wide:
                self.refuse(wide, "more columns than the header has", "with decimal commas, separate by semicolon")
        if self.delimiter == " ":
            lines = [(n, re.sub(r"\s+", "\t", s.strip())) for n, s in lines]
            self.delimiter = "\t"
        self.lines = np.array([n for n, _ in lines], dtype=np.int64)
        self.table = self.split([s for _, s in lines])
        self.header = [plain(str(v or "")) for v in self.table.row(0)]
        if not any(re.search(r"[A-Za-z]{3}", name) for name in self.header):
            self.refuse(int(self.lines[0]), "no header", 'write one, for example "time [s];position [%];suction [kPa]"')
        skip = 1
        second = [plain(str(v or "")) for v in self.table.row(1)]
        if not any(re.search(r"\d", cell) for cell in second):  # a line of units
            self.header = [f"{a} [{b}]" if b else a for a, b in zip(self.header, second, strict=True)]
            skip = 2
        self.table, self.lines = self.table[skip:], self.lines[skip:]
        if self.table.height < 2:
            self.refuse(0, "holds a header and no rows", "a log of a step test has hundreds")

    def refuse(self, line: int, message: str, way_out: str = "", limit: str = "") -> NoReturn:
        raise InputRefused(Problem(message, way_out=way_out, limit=limit).at(str(self.path), line))

    def split(self, lines: list[str]) -> pl.DataFrame:
        import polars as pl

        try:
            return pl.read_csv(
                io.BytesIO("\n".join(lines).encode()), separator=self.delimiter, has_header=False, infer_schema=False,
                truncate_ragged_lines=True,
            )  # fmt: skip
        except pl.exceptions.PolarsError as error:
            self.refuse(0, f"cannot be split into columns ({str(error).splitlines()[0][:80]})")

    def read(self) -> LoggedTest:
        roles = self.roles()
        time_s = self.times(roles["time"])
        position = self.numbers(roles["position"]) * self.position_factor(roles["position"])
        pressure = self.pressures(roles["pressure"])
        keep = np.isfinite(time_s) & np.isfinite(position) & np.isfinite(pressure)
        self.count(~keep, "no readable time, position or pressure")
        latest = np.maximum.accumulate(np.where(keep, time_s, -np.inf))
        backward = keep & (time_s <= np.concatenate([[-np.inf], latest[:-1]]))
        self.count(backward, "a time not after the row before")
        keep &= ~backward
        lost = int(np.count_nonzero(~keep))
        if lost > UNREADABLE_SHARE * len(keep) or np.count_nonzero(keep) < 2:
            first = int(self.lines[int(np.argmin(keep))])
            self.refuse(first, f"{lost} of {len(keep)} rows are unusable, this is the first", "wrong column?")
        time_s, line = time_s[keep] - time_s[keep][0], self.lines[keep]
        step_s = float(np.median(np.diff(time_s)))
        log = LoggedTest(
            time_s, position[keep], pressure[keep], self.switch(roles.get("load"), keep),
            self.switch(roles.get("unload"), keep), self.demand(roles.get("demand"), keep), step_s, line,
            tuple(self.notes), self.path,
        )  # fmt: skip
        self.check(log)
        return log

    def roles(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for role, (must, must_not) in _WORDS.items():
            if role in self.named:
                wanted = plain(self.named[role])
                exact = [
                    i
                    for i, name in enumerate(self.header)
                    if re.split(r"\s*[\[(]", name)[0] == wanted or name == wanted
                ]
                if not exact:
                    self.refuse(1, f'no column "{wanted}"', f"the header has: {', '.join(self.header)}")
                found[role] = exact[0]
                continue
            fits = [
                i
                for i, name in enumerate(self.header)
                if re.search(must, name, re.IGNORECASE) and not re.search(must_not, name, re.IGNORECASE)
            ]
            if len(fits) > 1:
                best = max(len(_PREFERRED.findall(self.header[i])) for i in fits)
                fits = [i for i in fits if len(_PREFERRED.findall(self.header[i])) == best]
            if len(fits) > 1 and role in ("time", "position", "pressure"):
                names = ", ".join(f'"{self.header[i]}"' for i in fits)
                self.refuse(1, f"cannot tell which column is the {role}: {names}", "name it, or leave only one")
            if len(fits) == 1 and fits[0] not in found.values():
                found[role] = fits[0]
            elif role in ("time", "position", "pressure"):
                what = {"position": "the capacity position", "pressure": "the suction pressure"}.get(role, "the time")
                self.refuse(1, f"no column for {what}", f"the header has: {', '.join(self.header)}")
        return found

    def unit_of(self, column: int) -> str:
        """The unit that the header gives, "" if none."""
        name = self.header[column]
        match = _BRACKETED.search(name)
        if match:
            return (match["a"] or match["b"]).strip()
        suffix = suffix_of(name)
        if suffix:
            unit = UNIT_SUFFIXES[suffix][0]
            return "°C" if suffix == "c" else unit
        match = _TRAILING.search(name)
        return match[1] if match else ""

    def texts(self, column: int) -> pl.Series:
        return self.table.to_series(column).fill_null("").str.strip_chars()

    def numbers(self, column: int) -> Float:
        import polars as pl

        texts = self.texts(column).str.replace_all("[\u2212\u2013]", "-").str.replace_all("[\u00a0\u202f ]", "")
        if texts.str.contains(",", literal=True).any():
            grouped = texts.str.replace_all(".", "", literal=True)
            both = texts.str.contains(r"\..*,")
            texts = pl.select(pl.when(both).then(grouped).otherwise(texts)).to_series()
            texts = texts.str.replace(",", ".", literal=True)
        values = texts.cast(pl.Float64, strict=False).to_numpy()
        return np.where(np.abs(values) < 1e15, values, np.nan)

    def times(self, column: int) -> Float:
        import polars as pl

        numbers = self.numbers(column)
        if np.count_nonzero(np.isfinite(numbers)) * 2 > len(numbers):
            unit = self.unit_of(column)
            if not unit:
                self.notes.append(f'no unit in the header "{self.header[column]}": s assumed')
            return numbers * self.factor(column, unit or "s", "time")
        texts = self.texts(column).str.replace(",", ".", literal=True)
        parts = texts.str.extract_groups(r"^(\d{1,3}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?$").struct.unnest()
        h, m, s = (parts.to_series(i).cast(pl.Float64, strict=False).to_numpy() for i in range(3))
        seconds = 3600.0 * h + 60.0 * m + np.where(np.isnan(s), 0.0, s)
        if np.count_nonzero(np.isfinite(seconds)) * 2 > len(seconds):
            known = np.where(np.isfinite(seconds))[0]
            past_midnight = np.zeros(len(seconds))
            past_midnight[known[1:]] = np.cumsum(np.diff(seconds[known]) < -43_200.0)
            return seconds + 86_400.0 * past_midnight
        texts = texts.str.replace(r"(Z|[+-]\d\d:?\d\d)$", "")
        best = max((texts.str.to_datetime(f, strict=False) for f in _DATES), key=lambda found: found.count())
        stamps = best.dt.epoch("ms").cast(pl.Float64).to_numpy()
        return np.asarray(stamps, dtype=np.float64) * 0.001

    def factor(self, column: int, unit: str, dimension: str) -> float:
        name = {"sec": "s", "seconds": "s"}.get(unit.lower(), unit)
        try:
            found = find_unit(name)
        except InputRefused:
            found = None
        if found is None or found.dimension != dimension:
            self.refuse(1, f'"{unit}" in the header "{self.header[column]}" is no unit of {dimension}')
        return found.factor

    def position_factor(self, column: int) -> float:
        unit, values = self.unit_of(column), self.numbers(column)
        values = values[np.isfinite(values)]
        widest = float(np.abs(values).max()) if len(values) else 0.0
        if not unit:
            if widest <= 1.5:
                self.refuse(1, f'"{self.header[column]}" has no unit and reads up to {widest:g}', "write [%] or [1]")
            self.notes.append(f'no unit in the header "{self.header[column]}": % assumed')
            return 1.0
        factor = 100.0 * self.factor(column, "1" if unit.lower() in ("frac", "share", "-") else unit, "number")
        if factor == 1.0 and 0.0 < widest <= 1.5:
            limit = "a slide reads 0 to 100 %"
            self.refuse(
                1, f"wrong unit? the position never exceeds {widest:g} %", "write [1] for a share of one", limit
            )
        return factor

    def pressures(self, column: int) -> Float:
        unit, values = self.unit_of(column), self.numbers(column)
        if not unit:
            self.refuse(1, f'"{self.header[column]}" has no unit', "write for example [kPa abs], [bar(g)] or [°C sat]")
        name = tidy(unit) if tidy(unit) in ("Pa", "kPa", "MPa", "hPa") else unit
        good = values[np.isfinite(values)]
        if not len(good):
            return values
        try:
            if re.search(r"[CFK]\)?\s*$|sat", name) and "Pa" not in name:
                name = name if "sat" in name.lower() else f"{name} sat"
                ends = np.linspace(good.min(), good.max() + 1e-9, _SATURATION_POINTS)
                return np.asarray(np.interp(values, ends, [self.kpa(x, name) for x in ends]), dtype=np.float64)
            at_1, at_2 = self.kpa(1e3, name), self.kpa(2e3, name)
        except InputRefused as error:
            problem = error.problems[0]
            self.refuse(1, f'"{self.header[column]}": {problem.message}', problem.way_out)
        return at_1 + (values - 1e3) * (at_2 - at_1) / 1e3

    def kpa(self, number: float, unit: str) -> float:
        return parse_quantity(f"{number:.12g} {unit}", "kPa", "absolute", self.site)

    def switch(self, column: int | None, keep: Switch) -> Switch | None:
        if column is None:
            return None
        words = [str(v).lower().strip() for v in self.texts(column).to_list()]
        if not all(w in _ON or w in _OFF for w in words):
            odd = next(w for w in words if w not in _ON and w not in _OFF)
            self.notes.append(f'column "{self.header[column]}" is not used: "{odd[:12]}" is neither on nor off')
            return None
        return np.array([w in _ON for w in words])[keep]

    def demand(self, column: int | None, keep: Switch) -> Float | None:
        if column is None:
            return None
        values = self.numbers(column)[keep]
        unit = self.unit_of(column)
        if tidy(unit) in ("1", "frac"):
            values = 100.0 * values
        if not np.isfinite(values).all():
            self.notes.append(f'column "{self.header[column]}" is not used: it has empty cells')
            return None
        return values

    def count(self, bad: Switch, reason: str) -> None:
        number = int(np.count_nonzero(bad))
        if number:
            first = int(self.lines[int(np.argmax(bad))])
            self.notes.append(f"{number} row{'s' if number > 1 else ''} left out, first in line {first}: {reason}")

    def check(self, log: LoggedTest) -> None:
        def at(bad: Any) -> int:
            return int(log.line[int(np.argmax(bad))])

        p, x = log.pressure_kpa, log.position_pct
        outside = (p < LOWEST_KPA) | (p > HIGHEST_KPA)
        if outside.any():
            text = f"wrong unit? suction pressure of {p[int(np.argmax(outside))]:.3g} kPa absolute"
            self.refuse(at(outside), text, "see the unit in the header", f"{LOWEST_KPA:g} to {HIGHEST_KPA:g} kPa")
        outside = (x < LOWEST_PCT) | (x > HIGHEST_PCT)
        if outside.any():
            text = f"wrong unit? position of {x[int(np.argmax(outside))]:.4g} %"
            self.refuse(at(outside), text, "see the unit in the header", f"{LOWEST_PCT:g} to {HIGHEST_PCT:g} %")
        steps = np.diff(log.time_s)
        wide = np.concatenate([[False], steps > GAP_FACTOR * log.step_s])
        if wide.any():
            longest = float(steps.max())
            text = f"{int(np.count_nonzero(wide))} gaps, the longest {longest:g} s, this is the first"
            limit = f"at most {GAP_FACTOR:g} usual steps of {log.step_s:g} s"
            self.refuse(at(wide), text, "cut the log to a stretch without a gap, or log once more", limit)


def _delimiter(sample: list[str]) -> str:
    for candidate in ";\t|":
        if sum(candidate in text for text in sample) * 2 > len(sample):
            return candidate
    if sum("," in text for text in sample) * 2 > len(sample) and "," in sample[0]:
        return ","
    return " "
