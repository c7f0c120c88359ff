"""What a part of a formula is: a truth, a number with its unit, or a state; and where columns and settings stand.

Numbers are kept in the units of the trace (Pa, K, ms, 1, A, W); people's units are for what is shown.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from functools import cache
from typing import Any

from controller.settings import CommonSettings
from scenarios.as_written import in_unit
from scenarios.known import column_unit
from scenarios.record_fields import FieldRule, field_rules, suffix_of
from scenarios.row import COLUMNS, FORMS, UNITS
from scenarios.units import find_unit

# dimension → unit of the trace, unit for people, and the scale that makes margins of different units comparable:
# the span of a usual transmitter (controller/process_image.py), a minute for times; common practice, no source
_DIMENSIONS: dict[str, tuple[str, str, float]] = {
    "pressure": ("Pa", "kPa", 1e6),
    "temperature": ("K", "K", 100.0),
    "time": ("ms", "s", 60_000.0),
    "number": ("1", "%", 1.0),
    "current": ("A", "A", 1000.0),
    "power": ("W", "kW", 1e6),
    "rate": ("1/s", "1/s", 100.0),
    "mass flow": ("kg/s", "kg/s", 10.0),
    "energy": ("J", "kWh", 3.6e9),
    "mass": ("kg", "kg", 1000.0),
}


@dataclass(frozen=True, slots=True)
class Sort:
    """kind: truth, number or state.  A number has its dimension and `of`: "absolute" or "difference" for pressure and
    temperature, "" elsewhere or where a bare quantity leaves it open.  A state has the enumeration it comes from."""

    kind: str
    dimension: str = ""
    of: str = ""
    form: Any = None

    @property
    def unit(self) -> str:
        """Unit in the trace."""
        return _DIMENSIONS[self.dimension][0]

    @property
    def scale(self) -> float:
        """What a margin of this dimension is divided by to be compared with others."""
        return _DIMENSIONS[self.dimension][2]

    def shown(self, value: float) -> tuple[float, str]:
        """A difference of two such numbers in people's unit."""
        unit = _DIMENSIONS[self.dimension][1]
        return value * find_unit(self.unit).factor / find_unit(unit).factor, unit

    def __str__(self) -> str:
        if self.kind != "number":
            return f"a {self.kind}"
        if self.dimension in ("pressure", "temperature") and self.of == "difference":
            return f"a {self.dimension} difference"
        return f"a {self.dimension}"


TRUTH = Sort("truth")
TIME = Sort("number", "time")
PURE = Sort("number", "number")


def of_unit(unit: str, of: str) -> Sort | None:
    """The sort of a number in `unit`; None for a dimension that formulas do not know."""
    dimension = find_unit(unit).dimension
    if dimension not in _DIMENSIONS:
        return None
    return Sort("number", dimension, of if dimension in ("pressure", "temperature") else "")


@cache
def columns() -> dict[str, str]:
    """What a formula may call a column → the column: its name, or its name without the unit."""
    short = {name.removesuffix(f"_{suffix_of(name)}"): name for name in COLUMNS if suffix_of(name)}
    return {**short, **{name: name for name in COLUMNS}}


def column_sort(column: str) -> Sort:
    """What a trace column is."""
    form = FORMS[column]
    if form is bool:
        return TRUTH
    if issubclass(form, IntEnum):
        return Sort("state", form=form)
    unit, of = column_unit(column)
    found = of_unit(UNITS[column] if unit == "1" else unit, of)
    assert found is not None, column
    return found


@dataclass(frozen=True, slots=True)
class Setting:
    """A shipped controller's setting: the attributes that lead to it from its settings record, and its sort."""

    path: tuple[str, ...]
    rule: FieldRule
    sort: Sort

    def value(self, settings: Any) -> float:
        """Its value in the trace's unit; a state's number."""
        node = settings
        for name in self.path:
            node = getattr(node, name)
        if self.sort.kind == "state":
            return float(int(node))
        return in_unit(float(node), self.rule.unit, self.sort.unit)


def find_setting(text: str) -> Setting:
    """The setting that a path names as sheets write it, for example common.sequence.run_up.

    KeyError with words for a path that names none, or one that is no single number, switch or choice.
    """
    first, *rest = text.split(".")
    if first != "common":
        raise KeyError(f'"{text}" is no setting that every shipped controller has: they begin with common.')
    cls: Any = CommonSettings
    path = ["common"]
    for k, key in enumerate(rest):
        rules = {rule.key: rule for rule in field_rules(cls)}
        rule = rules.get(key) or next((rule for rule in rules.values() if rule.name == key), None)
        if rule is None:
            raise KeyError(f'"{text}": there is no "{key}" in {".".join(["common", *rest[:k]])}{close(key, rules)}')
        path.append(rule.name)
        if rule.is_record:
            cls = rule.kind
            continue
        if k < len(rest) - 1 or rule.length:
            raise KeyError(f'"{text}" names no single value')
        sort = Sort("state", form=rule.kind) if rule.is_enum else of_unit(rule.unit, rule.of)
        if sort is None:
            raise KeyError(f'"{text}" is in {rule.unit}, which formulas do not know')
        return Setting(tuple(path), rule, sort)
    raise KeyError(f'"{text}" names a group of settings, not a value')


def close(word: str, known: Iterable[str]) -> str:
    """A hint for a word that nobody knows."""
    found = difflib.get_close_matches(word, list(known), 1)
    return f'; did you mean "{found[0]}"?' if found else ""
