"""A small invented log with a known truth, and damage of every kind done to it, by seed."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from damaged_bytes import AFTER_BYTES

START = datetime(2026, 5, 13, 1, 0, tzinfo=UTC)
ROWS = 240
TRUTH = {  # signal: (median, swing) in the signal's unit
    "suction_pressure_kpa_abs": (292.0, 6.0), "discharge_pressure_kpa_abs": (1210.0, 25.0),
    "suction_temperature_c": (-6.5, 0.8),
    "discharge_temperature_c": (71.0, 2.0), "oil_pressure_before_filter_kpa_abs": (1430.0, 20.0),
    "oil_pressure_kpa_abs": (1400.0, 20.0),
    "oil_temperature_c": (48.0, 1.0), "oil_level_pct": (62.0, 1.0), "motor_current_a": (205.0, 15.0),
    "motor_power_kw": (112.0, 8.0),
    "capacity_position_pct": (55.0, 15.0), "volume_ratio_position_pct": (80.0, 8.0), "process_temperature_c": (-2.0, 0.6),
}  # fmt: skip
NAMES = {
    "suction_pressure_kpa_abs": ("Suction pressure", "Saugdruck"), "discharge_pressure_kpa_abs": ("Discharge "
        "pressure", "Druckgasdruck"),
    "suction_temperature_c": ("Suction temp", "Saugtemperatur"), "discharge_temperature_c": ("Discharge "
        "temp", "Druckgastemperatur"),
    "oil_pressure_before_filter_kpa_abs": ("Oil pressure before filter", "Öldruck vor Filter"),
    "oil_pressure_kpa_abs": ("Oil "
                             "pressure", "Öldruck"), "oil_temperature_c": ("Oil temp", "Öltemperatur"),
                             "oil_level_pct": ("Oil level", "Ölstand"),
    "motor_current_a": ("Motor current", "Motorstrom"), "motor_power_kw": ("Motor power", "Motorleistung"),
    "capacity_position_pct": ("Capacity slide position", "Leistungsschieber Stellung"),
    "volume_ratio_position_pct": ("Volume ratio slide "
                                  "position", "Vi-Schieber "
                                              "Stellung"), "process_temperature_c": ("Room temp", "Raumtemperatur"),
}  # fmt: skip
LINES: dict[str, tuple[float, float]] = {  # unit as labelled: (factor, offset) from the signal's unit
    "kPa(a)": (1.0, 0.0), "bar(a)": (0.01, 0.0), "bar(g)": (0.01, -1.01325), "psig": (1 / 6.894757, -14.6959),
    "psia": (1 / 6.894757, 0.0),
    "MPa(g)": (0.001, -0.101325), "°C": (1.0, 0.0), "°F": (1.8, 32.0), "K": (1.0, 273.15), "%": (1.0, 0.0),
    "1": (0.01, 0.0), "A": (1.0, 0.0),
    "kW": (1.0, 0.0), "W": (1000.0, 0.0),
}  # fmt: skip
USUAL = {
    "kpa_abs": ("kPa(a)", "bar(a)", "bar(g)", "psig", "psia", "MPa(g)"),
    "_c": ("°C", "°F", "K"),
    "pct": ("%", "1"),
    "_a": ("A",),
    "kw": ("kW", "W"),
}
DIGITS = {
    "kPa(a)": 1, "bar(a)": 3, "bar(g)": 3, "psig": 2, "psia": 2, "MPa(g)": 4, "°C": 1,
    "°F": 1, "K": 2, "%": 1, "1": 3, "A": 1, "kW": 1, "W": 0,
}  # fmt: skip


@dataclass
class Log:
    """A log before it is written: damage changes its parts."""

    seed: int
    delimiter: str = ";"
    decimal: str = ","
    encoding: str = "utf-8"
    time_form: str = "%d.%m.%Y %H:%M:%S"
    names: dict[str, str] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)  # what the header says
    units: dict[str, str] = field(default_factory=dict)  # what the values are in
    scale: dict[str, float] = field(default_factory=dict)
    cells: list[list[str]] = field(default_factory=list)
    head: list[str] = field(default_factory=list)
    raw: bytes | None = None
    liar: bool = False  # the header says what is not so
    swapped: tuple[str, str] = ("", "")

    def build(self) -> None:
        draw = np.random.default_rng([self.seed, 1])
        wave = np.sin(np.arange(ROWS) / 17.0)
        columns = []
        for signal, (middle, swing) in TRUTH.items():
            factor, offset = LINES[self.units[signal]]
            values = (middle + swing * wave + 0.1 * swing * draw.standard_normal(ROWS)) * factor + offset
            values = values * self.scale.get(signal, 1.0)
            digits = DIGITS[self.units[signal]] + (1 if self.scale.get(signal, 1.0) < 1.0 else 0)
            columns.append([f"{v:.{digits}f}".replace(".", self.decimal) for v in values])
        stamps = [(START + timedelta(seconds=5 * k)).strftime(self.time_form) for k in range(ROWS)]
        self.cells = [list(row) for row in zip(stamps, *columns, strict=True)]
        self.head = [
            "Time",
            *(f"{self.names[s]} [{self.labels[s]}]" if self.labels[s] else self.names[s] for s in TRUTH),
        ]

    def write(self, path: Path) -> None:
        if self.raw is None:
            self.raw = self.text().encode(self.encoding, "replace")
        path.write_bytes(self.raw)

    def text(self) -> str:
        def quoted(cell: str) -> str:
            return f'"{cell}"' if self.delimiter in cell else cell

        lines = [
            self.delimiter.join(map(quoted, self.head)),
            *(self.delimiter.join(map(quoted, row)) for row in self.cells),
        ]
        return "\n".join(lines) + "\n"


def fresh(seed: int) -> Log:
    """A sound log in a style of its own."""
    draw = np.random.default_rng([seed, 2])
    log = Log(seed)
    log.delimiter = [";", "\t", "|", ";"][int(draw.integers(4))]
    log.decimal = [",", "."][int(draw.integers(2))]
    if draw.random() < 0.25:
        log.delimiter, log.decimal = ",", "."
    log.encoding = ["utf-8", "utf-8-sig", "cp1252", "utf-16"][int(draw.integers(4))]
    log.time_form = [
        "%d.%m.%Y %H:%M:%S",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M:%SZ",
        "%d/%m/%Y %H:%M:%S",
        "%m/%d/%Y %I:%M:%S %p",
    ][int(draw.integers(5))]
    language = int(draw.integers(2))
    reference = ["g", "a"][int(draw.integers(2))]
    pressure = [u for u in USUAL["kpa_abs"] if (u.endswith(("(g)", "psig"))) == (reference == "g")]
    unit = pressure[int(draw.integers(len(pressure)))]
    for signal in TRUTH:
        log.names[signal] = NAMES[signal][language]
        kind = next(k for k in USUAL if signal.endswith(k))
        log.units[signal] = (
            unit
            if kind == "kpa_abs"
            else USUAL[kind][int(draw.integers(len(USUAL[kind])))]
            if draw.random() < 0.3
            else USUAL[kind][0]
        )
        log.labels[signal] = log.units[signal]
    return log


def _pick(log: Log, draw: np.random.Generator) -> str:
    return list(TRUTH)[int(draw.integers(len(TRUTH)))]


def no_unit(log: Log, draw: np.random.Generator) -> None:
    log.labels[_pick(log, draw)] = ""


def no_units_at_all(log: Log, draw: np.random.Generator) -> None:
    log.labels = dict.fromkeys(TRUTH, "")


def wrong_label(log: Log, draw: np.random.Generator) -> None:
    signal = _pick(log, draw)
    kind = next(k for k in USUAL if signal.endswith(k))
    others = [u for u in USUAL[kind] if u != log.units[signal]]
    if others:
        log.labels[signal], log.liar = others[int(draw.integers(len(others)))], True


def all_wrong_labels(log: Log, draw: np.random.Generator) -> None:
    unit = log.units["suction_pressure_kpa_abs"]
    swap = {
        "bar(g)": "bar(a)",
        "bar(a)": "bar(g)",
        "psig": "psia",
        "psia": "psig",
        "kPa(a)": "bar(a)",
        "MPa(g)": "bar(g)",
    }[unit]
    for signal in TRUTH:
        if signal.endswith("kpa_abs"):
            log.labels[signal] = swap
    log.liar = True


def no_reference(log: Log, draw: np.random.Generator) -> None:
    for signal in TRUTH:
        if signal.endswith("kpa_abs"):
            log.labels[signal] = (
                log.labels[signal].replace("(a)", "").replace("(g)", "").replace("psig", "psi").replace("psia", "psi")
            )


def scaled(log: Log, draw: np.random.Generator) -> None:
    log.scale[_pick(log, draw)] = [10.0, 0.1, 100.0, 0.01, 1000.0, 0.001][int(draw.integers(6))]
    log.liar = True


def nonsense_label(log: Log, draw: np.random.Generator) -> None:
    log.labels[_pick(log, draw)] = ["furlong", "XYZ", "??", "m/s", "kWh", "Ω", "bar/°C", "%%"][int(draw.integers(8))]


def _all_of(log: Log, kind: str, was: str, says: str) -> None:
    """Every column of a kind has one unit, and its header says another."""
    for signal in TRUTH:
        if signal.endswith(kind):
            log.units[signal], log.labels[signal], log.liar = was, says, True


def fahrenheit_under_celsius(log: Log, draw: np.random.Generator) -> None:
    _all_of(log, "_c", "°F", "°C")


def bar_under_kilopascal(log: Log, draw: np.random.Generator) -> None:
    _all_of(log, "kpa_abs", ["bar(a)", "bar(g)"][int(draw.integers(2))], "kPa(a)")


def psi_under_bar(log: Log, draw: np.random.Generator) -> None:
    _all_of(log, "kpa_abs", "psig", "bar(g)")


def swapped_columns(log: Log, draw: np.random.Generator) -> None:
    """Two columns stand under each other's header."""
    a, b = (list(TRUTH)[k] for k in draw.choice(len(TRUTH), 2, replace=False).tolist())
    for part in (log.names, log.labels):
        part[a], part[b] = part[b], part[a]
    log.liar, log.swapped = True, (a, b)


BEFORE: list[Callable[[Log, np.random.Generator], None]] = [
    no_unit, no_units_at_all, wrong_label, all_wrong_labels, no_reference,
    scaled, nonsense_label, fahrenheit_under_celsius, bar_under_kilopascal, psi_under_bar, swapped_columns,
]  # fmt: skip


def lost_decimals(log: Log, draw: np.random.Generator) -> None:
    k = 1 + int(draw.integers(len(TRUTH)))
    for row in log.cells:
        row[k] = row[k].replace(log.decimal, "")
    log.liar = True


def mixed_decimals(log: Log, draw: np.random.Generator) -> None:
    k = 1 + int(draw.integers(len(TRUTH)))
    for row in log.cells[:: int(draw.integers(2, 5))]:
        row[k] = row[k].replace(",", "§").replace(".", ",").replace("§", ".")


def thousands(log: Log, draw: np.random.Generator) -> None:
    sign = "." if log.decimal == "," else ","
    for row in log.cells:
        for k in range(1, len(row)):
            whole, dot, part = row[k].partition(log.decimal)
            if len(whole) > 3:
                row[k] = f"{whole[:-3]}{sign}{whole[-3:]}{dot}{part}"


def words(log: Log, draw: np.random.Generator) -> None:
    for _ in range(60):
        row = log.cells[int(draw.integers(ROWS))]
        row[1 + int(draw.integers(len(TRUTH)))] = [
            "Bad",
            "---",
            "",
            "#N/A",
            "NaN",
            "inf",
            "I/O Timeout",
            "1e999",
            "<0.1",
            "\x00",
            "𝟗",
        ][int(draw.integers(11))]


def all_words(log: Log, draw: np.random.Generator) -> None:
    k = 1 + int(draw.integers(len(TRUTH)))
    for row in log.cells:
        row[k] = "Bad"


def double_times(log: Log, draw: np.random.Generator) -> None:
    for k in draw.integers(1, ROWS, 20).tolist():
        log.cells[k][0] = log.cells[k - 1][0]


def backward(log: Log, draw: np.random.Generator) -> None:
    a = int(draw.integers(20, ROWS - 40))
    log.cells = log.cells[:a] + log.cells[a - int(draw.integers(1, 19)) :]


def shuffled(log: Log, draw: np.random.Generator) -> None:
    log.cells = [log.cells[k] for k in draw.permutation(len(log.cells)).tolist()]


def newest_first(log: Log, draw: np.random.Generator) -> None:
    log.cells.reverse()


def bad_times(log: Log, draw: np.random.Generator) -> None:
    share = draw.random()
    for row in log.cells:
        if draw.random() < share:
            row[0] = ["", "32.13.2026 25:61:00", "yesterday", "0", "99999999999999999999", "12:xx"][
                int(draw.integers(6))
            ]


def gap(log: Log, draw: np.random.Generator) -> None:
    a = int(draw.integers(10, ROWS - 100))
    del log.cells[a : a + int(draw.integers(5, 90))]


def stuck(log: Log, draw: np.random.Generator) -> None:
    k, a = 1 + int(draw.integers(len(TRUTH))), int(draw.integers(10, 100))
    for row in log.cells[a : a + 100]:
        row[k] = log.cells[a][k]


def ragged(log: Log, draw: np.random.Generator) -> None:
    for k in draw.integers(0, ROWS, 30).tolist():
        row = log.cells[k]
        log.cells[k] = row[: int(draw.integers(1, max(2, len(row))))] if draw.random() < 0.5 else [*row, "x", "y"]


def lost_cells(log: Log, draw: np.random.Generator) -> None:
    """Somewhere in the row a cell is missing with its delimiter: what follows moves to the left."""
    for k in draw.integers(0, ROWS, 25).tolist():
        row = log.cells[k]
        log.cells[k] = [*row[:4], *row[5:]]


def no_header(log: Log, draw: np.random.Generator) -> None:
    log.head = log.cells.pop(0)


def twin_header(log: Log, draw: np.random.Generator) -> None:
    log.head[2] = log.head[1]


def empty_header(log: Log, draw: np.random.Generator) -> None:
    for k in draw.integers(1, len(log.head), 4).tolist():
        log.head[k] = ""


def header_again(log: Log, draw: np.random.Generator) -> None:
    for k in (50, 120):
        log.cells.insert(k, list(log.head))


def preamble(log: Log, draw: np.random.Generator) -> None:
    log.raw = ("Plant: north\nExported: 13.05.2026\n\n" + log.text()).encode(log.encoding, "replace")


def few_rows(log: Log, draw: np.random.Generator) -> None:
    del log.cells[int(draw.integers(0, 4)) :]


def quotes(log: Log, draw: np.random.Generator) -> None:
    log.cells[int(draw.integers(ROWS))][2] = '"unclosed'
    log.cells[int(draw.integers(ROWS))][3] = 'a""b"'


AFTER_CELLS = [
    lost_decimals, mixed_decimals, thousands, words, all_words, double_times, backward, shuffled, newest_first,
        bad_times, gap, stuck, ragged, lost_cells,
    no_header, twin_header, empty_header, header_again, preamble, few_rows, quotes,
]  # fmt: skip


def damaged(seed: int) -> tuple[Log, str]:
    """A damaged log and the names of what was done to it."""
    draw = np.random.default_rng([seed, 3])
    log = fresh(seed)
    done = []
    if draw.random() < 0.5:
        change = BEFORE[int(draw.integers(len(BEFORE)))]
        change(log, draw)
        done.append(change.__name__)
    log.build()
    for _ in range(int(draw.integers(0, 3))):
        harm = AFTER_CELLS[int(draw.integers(len(AFTER_CELLS)))]
        if len(log.cells) > 120 or harm is few_rows:
            if len(log.cells) < ROWS and harm in (double_times, backward, words, quotes, ragged, lost_cells):
                continue
            if any(len(row) != len(log.cells[0]) for row in log.cells):
                continue  # ragged already: the others need whole rows
            harm(log, draw)
            done.append(harm.__name__)
    if log.raw is None:
        log.raw = log.text().encode(log.encoding, "replace")
    if draw.random() < 0.35 or not done:
        break_up = AFTER_BYTES[int(draw.integers(len(AFTER_BYTES)))]
        log.raw = break_up(log.raw, draw)
        done.append(break_up.__name__)
    return log, ", ".join(done)
