"""How a text log is laid out: delimiter, header with units and descriptions, wide, long or a list of events.

Found out from the head of the file; a mapping file may say otherwise, and then it is obeyed.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

from scenarios.errors import InputRefused, Problem, shortened
from scenarios.logged_data.clock import TIME_WORDS, TimePlan, looks_time, number_plan, stamp_plan
from scenarios.logged_data.header_units import is_unit, split_header
from scenarios.logged_data.numbers import Grammar, as_told, evidence_of, grammar_of, looks_numeric, tidy_cell

COLUMNS_AT_MOST = 4000
ROWS_LOOKED_AT = 150
DELIMITERS = (";", "\t", "|", ",")
_NAMED = {"semicolon": ";", "tab": "\t", "bar": "|", "comma": ",", "spaces": " "}
DECIMALS = {"comma": ",", "point": "."}
DELIMITER_NAMES = {sign: name for name, sign in _NAMED.items()}
_TAG = re.compile(
    r"^(tag|tags?name|name|variable|signal|point|channel|messstelle|kanal|id|punkt|variabele|etiqueta)\b", re.IGNORECASE
)
_VALUE = re.compile(r"value|wert|valeur|valor|waarde|verdi|v(ä|ae)rdi|reading|messwert|valore", re.IGNORECASE)
_UNIT_WORD = re.compile(r"unit|einheit|unit(é|e)|unidad|unit(à|a)|eenheid|enhed|enhet|^eu$", re.IGNORECASE)
_TEXT = re.compile(
    r"text|messag|meldung|alarm|descri|beschreib|event|ereignis|(é|e)v(é|e)nement|evento|h(æ|ae)ndelse|melding|libell|mensaje|"
    r"messaggio|omschrijving|kommentar|comment",
    re.IGNORECASE,
)  # fmt: skip
_STATE_CELLS = re.compile(
    r"^(act|rtn|ack|on|off|active|cleared|clear|inactive|kommt|geht|kam|ging|quittiert|k|g|q|in|out|apparu|disparu|set|reset|"
    r"alarm|normal|unack|raised|returned)$",
    re.IGNORECASE,
)


@dataclass(slots=True)
class ColumnPlan:
    """One column: its header's parts, "number", "words", "time" or "empty", and the grammar of its numbers."""

    name: str
    unit: str
    description: str
    kind: str
    grammar: Grammar = field(default_factory=Grammar)


@dataclass(slots=True)
class Dialect:
    """A file's layout.  first_row: index of the first data line, from 0; roles: of a long log or an event list."""

    delimiter: str
    header_line: int  # from 1; 0 for none
    first_row: int
    columns: list[ColumnPlan]
    time: TimePlan
    layout: str
    roles: dict[str, int] = field(default_factory=dict)
    has_header: bool = True


def _refuse(path: Path, message: str, line: int = 0, way_out: str = "", limit: str = "") -> NoReturn:
    raise InputRefused(Problem(message, way_out=way_out, limit=limit).at(str(path), line))


def split_line(line: str, delimiter: str) -> list[str]:
    """The cells of one line."""
    if delimiter == " ":
        return re.split(r"\s+", line.strip())
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except (csv.Error, StopIteration):
        return line.split(delimiter)


def _usual_count(lines: Sequence[str], delimiter: str) -> tuple[int, int]:
    """The most frequent number of cells, at least 2, and how many lines have it."""
    counts = Counter(len(split_line(line, delimiter)) for line in lines)
    counts.pop(1, None)
    counts.pop(0, None)
    return counts.most_common(1)[0] if counts else (0, 0)


def find_delimiter(path: Path, lines: Sequence[str], given: str = "") -> str:
    """The sign between the columns.  InputRefused if there is none."""
    if given:
        if given not in _NAMED:
            _refuse(
                path, f'delimiter "{shortened(given, 20)}" is not known', way_out=f"write one of {', '.join(_NAMED)}"
            )
        return _NAMED[given]
    some = [line for line in lines if line.strip()][-200:]
    best, most = "", 0.0
    for delimiter in DELIMITERS:
        count, fits = _usual_count(some, delimiter)
        weight = fits * (1.0 if delimiter != "," or _comma_parts(some) else 0.3)
        if count >= 2 and fits * 2 > len(some) and weight > most:
            best, most = delimiter, weight
    if best:
        return best
    count, fits = _usual_count(some, " ")
    if count >= 3 and fits * 10 > 8 * len(some) and any(looks_numeric(cell) for cell in split_line(some[-1], " ")):
        return " "
    _refuse(
        path, "no columns are found in it", 1, 'write delimiter = "semicolon", "comma", "tab", "bar" or "spaces" '
                                               'in the mapping',
        "a log has rows of a time and values, parted by ; , tab | or spaces",
    )  # fmt: skip


def _comma_parts(lines: Sequence[str]) -> bool:
    """Whether commas part columns rather than decimals: they stand beside something that is no digit, or quotes are used."""
    sample = lines[-20:]
    return any(re.search(r"[^\d,\s],|,[^\d,\s]|,,|, ", line) for line in sample)


def _is_data(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell.strip()]
    if not filled:
        return False
    if (len(filled) > 1 or len(cells) < 3) and any(re.match(r"\W*\d", c) and looks_time(c) for c in filled[:3]):
        return True
    numeric = sum(looks_numeric(cell) for cell in filled)
    return numeric * 2 >= len(filled) and numeric > 0


def sniff(path: Path, lines: Sequence[str], more: Sequence[str], given: Mapping[str, str | int]) -> Dialect:
    """Lay out a file.

    lines: its head; more: lines from farther on; given: what the mapping file says (delimiter, header_line, layout,
    time_format).  InputRefused for a file in which no rows with times are found.
    """
    delimiter = find_delimiter(path, lines, str(given.get("delimiter", "")))
    rows = [split_line(line, delimiter) for line in lines]
    width, _ = _usual_count([line for line in lines if line.strip()][-200:], delimiter)
    if width > COLUMNS_AT_MOST or max((len(row) for row in rows), default=0) > 4 * COLUMNS_AT_MOST:
        widest = max(width, *(len(row) for row in rows))
        _refuse(path, f"has {widest:,} columns", 1, "wrong delimiter? or cut it into files of fewer columns",
                f"at most {COLUMNS_AT_MOST:,} are read")  # fmt: skip
    first = next((k for k, row in enumerate(rows) if abs(len(row) - width) <= 1 and _is_data(row)), None)
    if first is None:
        _refuse(path, "no rows of values are found in it", 1, "is this a log?")
    header_line = int(given.get("header_line", 0))
    above = _heads(rows, first, width) if not header_line else list(range(header_line - 1, first))
    if header_line and not 1 <= header_line <= len(rows):
        _refuse(path, f"header_line = {header_line} is outside the file's first lines", way_out="count from 1")
    names, units, descriptions = _header(rows, above, width)
    width = max(width, len(names))
    body = [row for row in rows[first:] if any(cell.strip() for cell in row)]
    body = body[:ROWS_LOOKED_AT] + body[ROWS_LOOKED_AT :: max(1, len(body) // 60)]
    body += [split_line(line, delimiter) for line in more if line.strip()]
    if delimiter == "," and first:
        _check_decimal_commas(path, body, sum(bool(cell.strip()) for cell in rows[first - 1]), first)
    cells = [[row[k] if k < len(row) else "" for row in body] for k in range(width)]
    if above:
        _check_width(path, rows[above[0]], above[0], cells)
    plans = _plan_columns(names, units, descriptions, cells, str(given.get("decimal", "")))
    time = find_time(path, plans, cells, given, first)
    for k in time.columns:
        plans[k].kind = "time"
    layout, roles = _layout(plans, cells, time, str(given.get("layout", "")))
    line = above[0] + 1 if above else 0
    return Dialect(delimiter, line, first, plans, time, layout, roles, bool(above))


def _check_width(path: Path, header: Sequence[str], at: int, cells: Sequence[Sequence[str]]) -> None:
    """Refuses a header with fewer names than the rows have values: from there on each name may stand over a neighbour."""
    beyond = cells[len(header)] if len(header) < len(cells) else []
    if sum(bool(cell.strip()) for cell in beyond) * 2 > max(1, len(beyond)):
        _refuse(path, f"the header has {len(header)} columns and the rows have {len(cells)}", at + 1, "complete the header",
                "each column has its name")  # fmt: skip


def _check_decimal_commas(path: Path, body: Sequence[Sequence[str]], named: int, first: int) -> None:
    """Refuses columns parted by commas whose numbers have decimal commas too: nobody can tell which is which."""
    wide = [k for k, row in enumerate(body[:100]) if len(row) >= 2 * named - 2 and len(row) > named + 1]
    if named >= 3 and len(wide) * 2 > len(body[:100]):
        _refuse(
            path, f"{len(body[wide[0]])} values where the header has {named} columns", first + wide[0] + 1,
            "with decimal commas, separate by semicolon", "commas part the columns and the decimals as well",
        )  # fmt: skip


def _heads(rows: Sequence[Sequence[str]], first: int, width: int) -> list[int]:
    """The lines just above the data that look like a header: at most three, as wide as the data."""
    out: list[int] = []
    for k in range(first - 1, max(first - 5, -1), -1):
        row = rows[k]
        if not any(cell.strip() for cell in row) or set("".join(row).strip()) <= set("-=_ "):
            continue
        filled = sum(bool(cell.strip()) for cell in row)
        if abs(len(row) - width) > max(1, width // 10) or len(out) == 3 or filled * 10 < 4 * width:
            break
        out.insert(0, k)
    return out


def _header(rows: Sequence[Sequence[str]], above: Sequence[int], width: int) -> tuple[list[str], list[str], list[str]]:
    """Names, units and descriptions from the header lines; without any the columns are numbered."""
    names, units, descriptions = [""] * width, [""] * width, [""] * width
    named = False
    for k in above:
        cells = [tidy_cell(cell).strip('"') for cell in rows[k][:width]] + [""] * (width - len(rows[k]))
        filled = [cell for cell in cells if cell]
        if named and filled and sum(is_unit(cell) for cell in filled) * 2 > len(filled):
            units = [cell.strip("[]() ") for cell in cells]
        elif not named:
            named = True
            names = cells
        else:
            descriptions = [cell if cell != name else "" for cell, name in zip(cells, names, strict=True)]
    for k, name in enumerate(names):
        short, unit = split_header(name)
        if unit and not units[k]:
            names[k], units[k] = short, unit
        short, unit = split_header(descriptions[k])
        if unit and not units[k]:
            descriptions[k], units[k] = short, unit
        names[k] = names[k] or descriptions[k] or f"column {k + 1}"
    return names, units, descriptions


def _plan_columns(
    names: Sequence[str],
    units: Sequence[str],
    descriptions: Sequence[str],
    cells: Sequence[Sequence[str]],
    decimal: str,
) -> list[ColumnPlan]:
    found = [evidence_of(column) if not _timely(column) else evidence_of(()) for column in cells]
    whole = [evidence for evidence, _ in found]
    out = []
    for k, column in enumerate(cells):
        some = [cell for cell in column if cell.strip()]
        numeric = sum(looks_numeric(cell) for cell in some)
        kind = "empty" if not some else "number" if numeric * 2 >= len(some) else "words"
        if (
            kind == "words"
            and numeric
            and len({c for c in some if not looks_numeric(c)}) <= 3
            and numeric * 5 >= len(some)
        ):
            kind = "number"  # mostly "Bad", but numbers where it is not
        grammar = grammar_of(*found[k], whole)
        if decimal in DECIMALS:
            grammar = as_told(grammar, found[k][0], DECIMALS[decimal])
        out.append(ColumnPlan(names[k], units[k], descriptions[k], kind, grammar))
    return out


def _timely(column: Sequence[str]) -> bool:
    some = [cell for cell in column[:40] if cell.strip()]
    return bool(some) and sum(looks_time(cell) for cell in some) * 2 > len(some)


def find_time(
    path: Path, plans: Sequence[ColumnPlan], cells: Sequence[Sequence[str]], given: Mapping[str, str | int], first: int
) -> TimePlan:
    """The column or columns of the time.  InputRefused if there is none."""
    form = str(given.get("time_format", ""))
    named = str(given.get("time_column", ""))
    timely = [k for k, column in enumerate(cells) if _timely(column)]
    if named:
        wanted = [k for k, plan in enumerate(plans) if plan.name in named.split(" + ")]
        if not wanted:
            _refuse(path, f'no column "{shortened(named)}"', way_out=f"it has {', '.join(p.name for p in plans)[:200]}")
        timely = [k for k in wanted if k in timely] or []
        numeric = [] if timely else wanted
    else:
        numeric = [k for k, p in enumerate(plans) if p.kind == "number"]
        numeric.sort(key=lambda k: (not TIME_WORDS.search(plans[k].name), k))
    timely.sort(key=lambda k: (not TIME_WORDS.search(plans[k].name), k))
    clock: int | None = None
    for k in timely:
        plan = stamp_plan(cells[k], (k,))
        if plan:
            return _as_given(plan, form)
        only_clock = [c for c in cells[k] if c.strip()][:200]
        if sum(
            bool(re.fullmatch(r"\s*\d{1,3}:\d\d(:\d\d([.,]\d+)?)?\s*([AaPp]\.?[Mm]\.?)?\s*", c)) for c in only_clock
        ) * 2 > len(only_clock):
            clock = k if clock is None else clock
    if clock is not None:
        for k in timely:
            if k != clock:
                plan = stamp_plan(
                    [f"{a.strip()} {b.strip()}" for a, b in zip(cells[k], cells[clock], strict=True)], (k, clock)
                )
                if plan:
                    return _as_given(plan, form)
        return TimePlan("clock", (clock,))
    for k in numeric[:3] if not named else numeric:
        plan = number_plan(cells[k], k, plans[k].name, plans[k].unit)
        if plan:
            given_unit = str(given.get("time_unit", ""))
            if plan.kind == "elapsed" and given_unit in ("s", "ms", "min", "h"):
                return TimePlan("elapsed", plan.columns, unit=given_unit, grammar=plan.grammar)
            return plan
    _refuse(
        path, "no column of times is found in it", first + 1, 'write time_column = "…" in the mapping',
        "a log has a date and time, a time of day, or elapsed time under a header that says so",
    )  # fmt: skip


def _as_given(plan: TimePlan, form: str) -> TimePlan:
    """A plan with the format that the mapping file says."""
    if form and form != "?":
        return TimePlan(plan.kind, plan.columns, form)
    return plan


def _layout(
    plans: Sequence[ColumnPlan], cells: Sequence[Sequence[str]], time: TimePlan, given: str
) -> tuple[str, dict[str, int]]:
    """ "wide", "long" or "events", and the roles of the columns of the latter two."""
    rest = [k for k in range(len(plans)) if k not in time.columns and plans[k].kind != "empty"]
    words = [k for k in rest if plans[k].kind == "words"]
    numbers = [k for k in rest if plans[k].kind == "number"]
    text = [k for k in words if _TEXT.search(plans[k].name) or _sentences(cells[k])]
    states = [k for k in words if _states(cells[k])]
    tags = [k for k in words if _repeats(cells[k]) and k not in states]
    named_tag = [k for k in tags if _TAG.search(plans[k].name)]
    value = next((k for k in rest if _VALUE.search(plans[k].name)), numbers[0] if len(numbers) == 1 else None)
    roles: dict[str, int] = {}
    is_long = value is not None and value in numbers and tags and len(numbers) <= 3 and (named_tag or not text)
    if given == "long" or (not given and is_long):
        tag = (named_tag or tags or words)[0] if (named_tag or tags or words) else -1
        if tag >= 0 and value is not None and value != tag:
            roles = {"tag": tag, "value": value}
            unit = next((k for k in words if _UNIT_WORD.search(plans[k].name) and k != tag), None)
            if unit is not None:
                roles["unit"] = unit
            return "long", roles
    if (given == "events" and rest) or (not given and text and len(numbers) <= 3 and len(rest) <= 14):
        main = max(text or words or rest, key=lambda k: _letters(cells[k]))
        roles = {"text": main}
        if states:
            roles["state"] = states[0]
        source = next((k for k in words if k not in (main, *states) and _repeats(cells[k])), None)
        if source is not None:
            roles["source"] = source
        return "events", roles
    return "wide", {}


def _letters(column: Sequence[str]) -> float:
    some = [cell for cell in column[:200] if cell.strip()]
    return sum(len(cell) for cell in some) / max(1, len(some))


def _sentences(column: Sequence[str]) -> bool:
    some = [cell.strip() for cell in column[:200] if cell.strip()]
    return bool(some) and sum(" " in cell and len(cell) > 8 for cell in some) * 2 > len(some)


def _states(column: Sequence[str]) -> bool:
    some = [cell.strip() for cell in column[:200] if cell.strip()]
    return bool(some) and sum(bool(_STATE_CELLS.match(cell)) for cell in some) * 10 > 8 * len(some)


def _repeats(column: Sequence[str]) -> bool:
    some = [cell.strip() for cell in column if cell.strip()]
    return len(some) > 3 and len(set(some)) <= max(3, len(some) // 2) and not any(looks_time(c) for c in some[:5])
