"""The mapping file: what each column of a log is, in TOML, proposed by `twoslide inspect` and corrected by hand.

    refrigerant = "R717"
    [[file]]
    path = "night.csv"
    time_zone = "Europe/Berlin"
    [[file.column]]
    column = "Saugdruck"
    signal = "suction_pressure_kpa_abs"      # "-" for a column that is not used
    unit = "bar(g)"                          # "?" is a question: nothing is replayed until it is answered

A "?" anywhere is refused with the line and the choices.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import tomlkit

from scenarios.errors import InputRefused, Problem, shortened
from scenarios.logged_data.clock import zone_of
from scenarios.logged_data.event_words import KINDS
from scenarios.logged_data.header_units import GAUGE_PA, READINGS, dimension_of, spelled
from scenarios.logged_data.matching import dimension_fits, line_to
from scenarios.logged_data.signals import Signal, signals
from scenarios.quantities import Site, parse_quantity
from scenarios.record_tables import suggestion, unknown_keys
from scenarios.settings_sheet import write_whole
from scenarios.toml_source import KeyPath, TomlSource, read_toml

READING_KEYS = (
    "encoding", "delimiter", "decimal", "layout", "header_line", "time_column", "time_format", "time_unit",
    "time_zone", "tag_column",
    "value_column", "unit_column", "text_column", "state_column", "source_column",
)  # fmt: skip
_FILE_KEYS = (
    *READING_KEYS,
    "path",
    "kind",
    "sha256",
    "clock_offset",
    "clock_uncertainty",
    "why",
    "choices",
    "column",
    "event",
)
_COLUMN_KEYS = ("column", "signal", "unit", "scale", "at_4_ma", "at_20_ma", "confidence", "checked", "why", "choices")
_TOP_KEYS = ("title", "refrigerant", "barometric_pressure", "file")
AS_WRITTEN = "as written"


@dataclass(slots=True)
class ColumnMap:
    """One column's meaning.  span: values at 4 and 20 mA in the signal's unit, for a column in mA or for NE 43."""

    column: str
    signal: str
    unit: str = ""
    scale: float = 1.0
    span: tuple[float, float] | None = None
    confidence: float = 1.0
    checked: bool = False
    why: str = ""
    choices: str = ""
    line: int = 0


@dataclass(slots=True)
class EventMap:
    """What an event's text means where its words do not say it."""

    text: str
    kind: str
    cause: str = ""
    line: int = 0


@dataclass(slots=True)
class FileMap:
    """One file: how it is read, how far its clock is off, what its columns are."""

    path: Path
    kind: str
    reading: dict[str, str | int]
    sha256: str = ""
    clock_offset_ms: int = 0
    clock_uncertainty_ms: int = 0
    why: str = ""
    choices: str = ""
    columns: list[ColumnMap] = field(default_factory=list)
    events: list[EventMap] = field(default_factory=list)


@dataclass(slots=True)
class LogMapping:
    """A whole mapping."""

    path: Path
    refrigerant: str
    barometric_pa: float
    files: list[FileMap]
    title: str = ""

    def questions(self) -> int:
        """How many answers it waits for."""
        return sum(
            sum("?" in (c.signal, c.unit) for c in f.columns) + sum(v == "?" for v in f.reading.values())
            for f in self.files
        )


_HEAD = """\
What the columns of these logs are, as `twoslide inspect` proposes it.  Read it, correct it by hand, keep it beside the logs.
An engineering aid, not a safety system: hard-wired cut-outs come first.

signal:  a name of the process image (`twoslide describe image`) or a logged extra; "-" leaves the column out.
unit:    as logged, with its reference: bar(g), bar(a), psig, psia, kPa(a), kPa(g), °C, °F, K, °C sat, %, 1, A, kW, mA …
scale:   the raw number times scale is in the unit.   at_4_ma, at_20_ma: the transmitter's span, for mA and for NE 43.
checked: true says that somebody has looked at a value that is unusual.
A "?" is a question.  Nothing is replayed before each is answered: write one of the choices in its place."""


def write_mapping(mapping: LogMapping) -> None:
    """Write the mapping, whole or not at all.  StorageFailed if it cannot be written."""
    document = tomlkit.document()
    for line in _HEAD.splitlines():
        document.add(tomlkit.comment(line) if line else tomlkit.nl())
    if mapping.title:
        document.add("title", tomlkit.string(mapping.title))
    document.add("refrigerant", tomlkit.string(mapping.refrigerant))
    document.add("barometric_pressure", tomlkit.string(f"{mapping.barometric_pa / 1000.0:.6g} kPa"))
    files = tomlkit.aot()
    for one in mapping.files:
        files.append(_file_table(one))
    document.add("file", files)
    write_whole(mapping.path, tomlkit.dumps(document))


def _file_table(one: FileMap) -> Any:
    table = tomlkit.table()
    table.add("path", one.path.as_posix())
    table.add("kind", one.kind)
    if one.sha256:
        table.add("sha256", one.sha256)
    for key in READING_KEYS:
        if key in one.reading:
            table.add(key, one.reading[key])
    if one.choices:
        table.add("choices", one.choices)
    table.add("clock_offset", f"{one.clock_offset_ms / 1000.0:g} s")
    table["clock_offset"].comment("added to this file's times")
    table.add("clock_uncertainty", f"{one.clock_uncertainty_ms / 1000.0:g} s")
    if one.why:
        table.add("why", one.why)
    columns = tomlkit.aot()
    for column in one.columns:
        row = tomlkit.table()
        row.add("column", column.column)
        row.add("signal", column.signal)
        if column.unit or column.signal not in ("-", "?"):
            row.add("unit", column.unit or "1")
        if column.scale != 1.0:
            row.add("scale", column.scale)
        if column.choices:
            row.add("choices", column.choices)
        if column.signal != "-":
            row.add("confidence", round(column.confidence, 2))
        if column.why:
            row.add("why", column.why)
        columns.append(row)
    if one.columns:
        table.add("column", columns)
    events = tomlkit.aot()
    for event in one.events:
        row = tomlkit.table()
        row.add("text", event.text)
        row.add("kind", event.kind)
        row.add("cause", event.cause)
        events.append(row)
    if one.events:
        table.add("event", events)
    return table


class _Reader:
    """Reads a mapping with every problem placed."""

    def __init__(self, source: TomlSource) -> None:
        self.source = source
        self.problems: list[Problem] = []

    def bad(self, path: KeyPath, problem: Problem | str, of_value: bool = True) -> None:
        self.problems.append(self.source.problem(path, problem, of_value))

    def text(self, path: KeyPath, default: str = "", required: bool = False) -> str:
        value = self.source.get(path)
        if value is None:
            if required:
                self.bad(path[:-1], f'key "{path[-1]}" is missing', False)
            return default
        if not isinstance(value, str):
            self.bad(path, f'"{path[-1]}" must be a text in quotes')
            return default
        return value

    def number(self, path: KeyPath, default: float) -> float:
        value = self.source.get(path)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
            self.bad(path, f'"{path[-1]}" must be a number')
            return default
        return float(value)

    def quantity(self, path: KeyPath, unit: str, of: str, default: float, site: Site | None = None) -> float:
        text = self.text(path)
        if not text:
            return default
        try:
            return parse_quantity(text, unit, of, site)
        except InputRefused as error:
            self.bad(path, error.problems[0])
            return default

    def question(self, path: KeyPath, what: str, choices: str, why: str) -> None:
        limit = f"choices: {choices}" if choices else ""
        self.bad(path, Problem(f"{what} is not answered yet{f' ({why})' if why else ''}", value="?", limit=limit,
                               way_out='write the answer in place of "?"'))  # fmt: skip


def read_mapping(path: Path) -> LogMapping:
    """Read a mapping that answers every question.  InputRefused with all that is wrong, each with its line."""
    source = read_toml(path)
    reader = _Reader(source)
    unknown_keys(source, (), _TOP_KEYS, reader.problems)
    refrigerant = reader.text(("refrigerant",), "R717")
    barometric_pa = reader.quantity(("barometric_pressure",), "Pa", "absolute", GAUGE_PA)
    files = source.get(("file",))
    out: list[FileMap] = []
    if not isinstance(files, list) or not files:
        reader.bad(("file",), Problem("names no log", way_out='a mapping has at least one [[file]] with path = "…"'))
    else:
        for k, table in enumerate(files):
            if isinstance(table, dict):
                out.append(_read_file(reader, ("file", k), path, barometric_pa))
    _check_doubles(reader, out)
    if reader.problems:
        raise InputRefused(reader.problems)
    return LogMapping(path, refrigerant, barometric_pa, out, reader.text(("title",)))


def _read_file(reader: _Reader, at: KeyPath, mapping: Path, barometric_pa: float) -> FileMap:
    source = reader.source
    unknown_keys(source, at, _FILE_KEYS, reader.problems)
    name = reader.text((*at, "path"), required=True)
    kind = reader.text((*at, "kind"), "trends")
    if kind not in ("trends", "events"):
        reader.bad((*at, "kind"), Problem(f'"{shortened(kind, 20)}" is no kind of log', limit="trends or events"))
    why, choices = reader.text((*at, "why")), reader.text((*at, "choices"))
    reading: dict[str, str | int] = {}
    for key in READING_KEYS:
        value = source.get((*at, key))
        if value is None:
            continue
        if not isinstance(value, str | int) or isinstance(value, bool):
            reader.bad((*at, key), f'"{key}" must be a text or a whole number')
            continue
        if value == "?":
            reader.question((*at, key), key, choices, why)
        reading[key] = value
    if reading.get("decimal", "point") not in ("?", "comma", "point"):
        reader.bad(
            (*at, "decimal"),
            Problem(f'decimal = "{shortened(str(reading["decimal"]), 20)}"', limit='"comma" or "point"'),
        )
    zone = str(reading.get("time_zone", ""))
    if zone and zone not in ("?", AS_WRITTEN):
        try:
            zone_of(zone)
        except InputRefused as error:
            reader.bad((*at, "time_zone"), error.problems[0])
    one = FileMap(
        (mapping.parent / name) if not Path(name).is_absolute() else Path(name), kind, reading, reader.text((*at, "sha256")),
        round(reader.quantity((*at, "clock_offset"), "ms", "", 0.0)), round(reader.quantity((*at,
            "clock_uncertainty"), "ms", "", 0.0)),
        why, choices,
    )  # fmt: skip
    for k, table in enumerate(source.get((*at, "column")) or ()):
        if isinstance(table, dict):
            one.columns.append(_read_column(reader, (*at, "column", k), barometric_pa))
    for k, table in enumerate(source.get((*at, "event")) or ()):
        if isinstance(table, dict):
            place = (*at, "event", k)
            kind = reader.text((*place, "kind"), "other")
            if kind not in KINDS:
                reader.bad(
                    (*place, "kind"), Problem(f'"{shortened(kind, 20)}" is no kind of event', limit=", ".join(KINDS))
                )
            one.events.append(
                EventMap(reader.text((*place, "text")), kind, reader.text((*place, "cause")), source.place(place)[0])
            )
    return one


def _read_column(reader: _Reader, at: KeyPath, barometric_pa: float) -> ColumnMap:
    unknown_keys(reader.source, at, _COLUMN_KEYS, reader.problems)
    why, choices = reader.text((*at, "why")), reader.text((*at, "choices"))
    one = ColumnMap(
        reader.text((*at, "column"), required=True), reader.text((*at, "signal"), "-"), reader.text((*at, "unit")),
        reader.number((*at, "scale"), 1.0), None, reader.number((*at, "confidence"), 1.0),
        reader.source.get((*at, "checked")) is True, why, choices, reader.source.place(at)[0],
    )  # fmt: skip
    if one.signal == "?":
        reader.question((*at, "signal"), f'which signal the column "{shortened(one.column, 40)}" is', choices, why)
        return one
    if one.signal == "-":
        return one
    signal = signals().get(one.signal)
    if signal is None:
        problem = Problem(f'"{shortened(one.signal, 40)}" is no signal', way_out=suggestion(one.signal, signals()))
        reader.bad((*at, "signal"), problem)
        return one
    if one.unit == "?":
        reader.question((*at, "unit"), f'the unit of the column "{shortened(one.column, 40)}"', choices, why)
        return one
    if one.scale == 0.0:
        reader.bad((*at, "scale"), Problem("scale = 0 makes every value 0", way_out="write the factor, 1 for none"))
    _read_unit(reader, at, one, signal, barometric_pa)
    return one


def _read_unit(reader: _Reader, at: KeyPath, one: ColumnMap, signal: Signal, barometric_pa: float) -> None:
    given = reader.source.get((*at, "at_4_ma")), reader.source.get((*at, "at_20_ma"))
    site = Site(barometric_pa)
    if all(given):
        low = reader.quantity((*at, "at_4_ma"), signal.unit, signal.of, 0.0, site)
        high = reader.quantity((*at, "at_20_ma"), signal.unit, signal.of, 1.0, site)
        one.span = (low, high)
        if low == high:
            reader.bad((*at, "at_20_ma"), Problem("the span is zero", way_out="write the values at 4 and at 20 mA"))
    elif any(given):
        reader.bad(at, Problem("a span needs both at_4_ma and at_20_ma"), False)
    if signal.kind in ("contact", "state", "word"):
        return
    unit = spelled(one.unit) if one.unit not in ("°C sat", "°F sat") else one.unit
    if unit == "mA":
        if one.span is None:
            reader.bad(
                (*at, "unit"),
                Problem("mA need the transmitter's span", way_out='write at_4_ma = "…" and at_20_ma = "…"'),
            )
        one.unit = "mA"
        return
    if not unit or (signal.unit != "1" and dimension_fits(signal, unit) is False):
        kind = dimension_of(signal.unit) or signal.unit
        reader.bad(
            (*at, "unit"),
            Problem(f'"{shortened(one.unit, 20)}" is no unit of {one.signal} ({kind})', way_out=_examples(signal)),
        )
    elif signal.of == "absolute" and signal.unit == "kPa" and unit in READINGS and unit != "inHg":
        limit = f"write {' or '.join(READINGS[unit])}"
        reader.bad((*at, "unit"), Problem(f'"{one.unit}" does not say gauge or absolute', value=one.unit, limit=limit))
    elif signal.of == "absolute" and signal.unit == "kPa" and dimension_of(unit) == "temperature":
        reader.bad(
            (*at, "unit"),
            Problem(f'"{one.unit}" is a temperature', way_out=f'write "{unit} sat" for a saturation temperature'),
        )
    elif not unit.endswith(" sat") and signal.unit != "1" and line_to(signal, unit, barometric_pa) is None:
        reader.bad(
            (*at, "unit"),
            Problem(f'"{shortened(one.unit, 20)}" cannot be made {signal.unit}', way_out=_examples(signal)),
        )
    one.unit = unit


def _examples(signal: Signal) -> str:
    return {
        "kPa": "write for example bar(g), bar(a), psig, kPa(a) or °C sat", "°C": "write °C, °F or K", "%": "write % or 1",
        "A": "write A or mA", "kW": "write kW",
    }.get(signal.unit, f"write {signal.unit}")  # fmt: skip


def _check_doubles(reader: _Reader, files: list[FileMap]) -> None:
    """One signal of one file comes from one column; of several files the first that has it counts."""
    for k, one in enumerate(files):
        seen: dict[str, str] = {}
        for c, column in enumerate(one.columns):
            if column.signal in ("-", "?"):
                continue
            if column.signal in seen:
                text = f'"{column.column}" and "{seen[column.signal]}" are both {column.signal}'
                reader.bad(("file", k, "column", c, "signal"), Problem(text, way_out='write "-" for one of them'))
            seen[column.signal] = column.column
