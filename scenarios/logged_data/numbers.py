"""Numbers as loggers write them: which sign parts the decimals, which the thousands, and what is no number.

One column keeps one grammar.  A cell of another grammar is no number and is counted; it is never read as something a
thousand times as large.  Where nothing in the file shows what "1,234" is, the column is in doubt and says so.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from scenarios.logged_data.records import Floats

Mask = NDArray[np.bool_]

_MINUS = "[\u2212\u2013\u2012]"
_SPACES = "[\u00a0\u202f\u2009\u2007]"
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,'\u00a0\u202f ]\d+)*|[.,]\d+)(?:[.,])?(?:[eE][+-]?\d{1,3})?")
_WITH_UNIT = re.compile(r"([+-]?[\d.,]*\d(?:[eE][+-]?\d{1,3})?)\s*([A-Za-zµ°º%][\w°º%()/²³µ. ]{0,11})")
_GROUPED_DOT = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+")
_STRAY_SHARE = 0.02  # of cells in another grammar: a slip, not a column of two grammars; common practice, no source
_LARGEST = 1e15  # more than that is a counter or a mistake, and no signal


@dataclass(frozen=True, slots=True)
class Grammar:
    """decimal and group sign of one column; unit: written in each cell.

    doubt: why its numbers cannot be read for certain; unit_doubt: why its units cannot.
    """

    decimal: str = "."
    group: str = ""
    unit: str = ""
    doubt: str = ""
    unit_doubt: str = ""

    @property
    def plain(self) -> bool:
        """Whether a CSV reader's own number reading will do."""
        return not self.group and not self.unit


def tidy_cell(text: str) -> str:
    """A cell without the spaces and long minus signs that typesetting brings.

    >>> tidy_cell(" \u22122,5\u00a0")
    '-2,5'
    """
    return text.strip() if text.isascii() else re.sub(_SPACES, " ", re.sub(_MINUS, "-", text)).strip()


def looks_numeric(text: str) -> bool:
    """Whether a cell is a number in any grammar, its unit aside."""
    cell = tidy_cell(text)
    if not cell or len(cell) > 40:
        return False
    if _NUMBER.fullmatch(cell) and not re.search(r"[.,].*[.,].*[.,]", cell.replace(" ", "")):
        return True
    if re.fullmatch(r"[+-]?\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d+)?", cell):
        return True
    return bool(_WITH_UNIT.fullmatch(cell))


@dataclass(slots=True)
class Evidence:
    """What a column's cells say of their decimal sign: how many show it for certain, how many might be thousands."""

    comma: int = 0
    point: int = 0
    maybe_comma: int = 0  # 1,234: three digits after one comma
    maybe_point: int = 0
    group_point: int = 0  # 1.234,5 or 1.234.567
    group_comma: int = 0
    group_space: int = 0
    group_apostrophe: int = 0
    whole_below_1000: int = 0

    def add(self, text: str) -> None:
        """Count one cell."""
        cell = text.lstrip("+-")
        if " " in cell or "'" in cell:
            if re.fullmatch(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?", cell):
                self.group_space += " " in cell
                self.group_apostrophe += "'" in cell
                cell = re.sub("[ ']", "", cell)
            else:
                return
        cell = re.split("[eE]", cell)[0]
        dots, commas = cell.count("."), cell.count(",")
        if dots and commas:
            last = max(cell.rfind("."), cell.rfind(","))
            if cell[last] == ",":
                self.comma += 1
                self.group_point += 1
            else:
                self.point += 1
                self.group_comma += 1
        elif dots > 1 and _GROUPED_DOT.fullmatch(cell):
            self.group_point += 1
        elif commas > 1 and _GROUPED_COMMA.fullmatch(cell):
            self.group_comma += 1
        elif dots == 1 or commas == 1:
            sign = "." if dots else ","
            whole, _, part = cell.partition(sign)
            sure = len(part) != 3 or not whole or whole.startswith("0") or len(whole) > 3
            name = {(".", True): "point", (".", False): "maybe_point", (",", True): "comma"}.get(
                (sign, sure), "maybe_comma"
            )
            setattr(self, name, getattr(self, name) + 1)
        elif cell.isdigit() and len(cell) <= 3:
            self.whole_below_1000 += 1


def evidence_of(cells: Iterable[str]) -> tuple[Evidence, Counter[str]]:
    """Evidence over a column's cells, and the units written in them."""
    found, units = Evidence(), Counter[str]()
    for raw in cells:
        cell = tidy_cell(raw)
        with_unit = _WITH_UNIT.fullmatch(cell)
        if with_unit and not re.fullmatch(r"[eE]\d+", with_unit[2]):
            units[with_unit[2].strip()] += 1
            cell = with_unit[1]
        elif cell and looks_numeric(cell):
            units[""] += 1
        if looks_numeric(cell):
            found.add(cell)
    return found, units


def grammar_of(column: Evidence, units: Counter[str], whole_file: Sequence[Evidence]) -> Grammar:
    """The grammar of one column, given the evidence of all columns of its file."""
    named = {unit: n for unit, n in units.items() if unit}
    unit, doubt, unit_doubt = "", "", ""
    if len(named) > 1:
        unit_doubt = f"several units in one column: {', '.join(sorted(named))[:60]}"
    elif named and units[""] > 0.1 * sum(units.values()):
        unit_doubt = f'some cells have the unit "{next(iter(named))[:12]}" and others none'
    if len(named) == 1:
        unit = next(iter(named))
    decimal = "."
    stray = _STRAY_SHARE * (column.comma + column.point + column.maybe_comma + column.maybe_point)
    if min(column.comma, column.point) > stray:
        doubt = doubt or "decimal commas and decimal points in one column"
    elif column.comma or column.point:
        decimal = "," if column.comma > column.point else "."
        other = column.maybe_point if decimal == "," else column.maybe_comma
        grouped = column.group_point if decimal == "," else column.group_comma
        if other > stray and not grouped:  # fewer are left out as no numbers
            doubt = doubt or f'"1{"." if decimal == "," else ","}234" in a column of decimal {_name(decimal)}s'
    else:
        decimal, why = _undecided(column, whole_file)
        doubt = doubt or why
    group = ""
    if column.group_space or column.group_apostrophe:
        group = " " if column.group_space else "'"
    elif column.group_point and decimal == ",":
        group = "."
    elif column.group_comma and decimal == ".":
        group = ","
    elif (column.group_point and decimal == ".") or (column.group_comma and decimal == ","):
        doubt = doubt or "the same sign parts decimals and thousands"
    return Grammar(decimal, group, unit, doubt, unit_doubt)


def as_told(grammar: Grammar, column: Evidence, decimal: str) -> Grammar:
    """The grammar with the decimal sign that the mapping says; the other sign then parts thousands where it appears."""
    other = "." if decimal == "," else ","
    seen = column.maybe_point + column.group_point if other == "." else column.maybe_comma + column.group_comma
    group = grammar.group if grammar.group in (" ", "'") else other if seen else ""
    return replace(grammar, decimal=decimal, group=group, doubt="")


def _name(sign: str) -> str:
    return "comma" if sign == "," else "point"


def _undecided(column: Evidence, whole_file: Sequence[Evidence]) -> tuple[str, str]:
    """Decimal sign where no cell of the column shows it, and what is in doubt."""
    commas = sum(e.comma for e in whole_file)
    points = sum(e.point for e in whole_file)
    if column.group_point:
        return ",", ""
    if column.group_comma:
        return ".", ""
    if not column.maybe_comma and not column.maybe_point:
        return ("," if commas > points else "."), ""
    sign = "," if column.maybe_comma else "."
    if column.maybe_comma and column.maybe_point:
        return sign, '"1,234" and "1.234" in one column'
    for_it, against = (commas, points) if sign == "," else (points, commas)
    if for_it and not against:
        return sign, ""
    if against or column.whole_below_1000:  # thousands leave small numbers bare, a fixed number of decimals does not
        return sign, f'"1{sign}234" may be a thousand or a decimal {_name(sign)}'
    return sign, ""


def convert(cells: pl.Series, grammar: Grammar) -> tuple[Floats, Mask, Mask, Counter[str]]:
    """(values, empty, bad, words): NaN where a cell holds no number of this grammar; words counts the bad ones."""
    text = cells.fill_null("").str.replace_all(_MINUS, "-").str.replace_all(_SPACES, " ").str.strip_chars()
    empty = (text == "").to_numpy()
    number = text
    if grammar.unit:
        number = number.str.strip_suffix(grammar.unit).str.strip_chars()
    if grammar.group:
        sign = re.escape(grammar.group)
        decimals = re.escape(grammar.decimal)
        shape = rf"^[+-]?(?:\d{{1,3}}(?:{sign}\d{{3}})+|\d+)(?:{decimals}\d*)?(?:[eE][+-]?\d+)?$"
        fits = number.str.contains(shape)
        number = pl.select(
            pl.when(fits).then(number.str.replace_all(grammar.group, "", literal=True)).otherwise(pl.lit("?"))
        ).to_series()
    if grammar.decimal == ",":
        strange = number.str.contains(".", literal=True)
        number = pl.select(pl.when(strange).then(pl.lit("?")).otherwise(number)).to_series()
        number = number.str.replace(",", ".", literal=True)
    values = number.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
    with np.errstate(invalid="ignore"):
        values = np.where(np.abs(values) < _LARGEST, values, np.nan)
    bad = np.isnan(values) & ~empty
    words: Counter[str] = Counter()
    if bad.any():
        counts = text.filter(pl.Series(bad)).value_counts(sort=True).head(20)
        words.update({str(word)[:40]: int(n) for word, n in counts.iter_rows()})
    return values, empty, bad, words
