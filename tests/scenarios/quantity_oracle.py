"""A second reader of quantities for the oracle of the damage tests: units by pint, saturation by CoolProp (b)."""

from __future__ import annotations

import dataclasses
import math
import re
from functools import cache
from typing import Any

import pint
from CoolProp.CoolProp import PropsSI

UREG: pint.UnitRegistry[float] = pint.UnitRegistry()


class Objection(Exception):
    """The file says something that must not be accepted."""


@dataclasses.dataclass(frozen=True)
class Place:
    """What quantities may depend on."""

    barometric_pa: float | None
    refrigerant: str


@cache
def unit_of(name: str) -> Any:
    """A unit by its usual spelling."""
    text = re.sub(r"(?<=m)2|²", "**2", re.sub(r"(?<=m)3|³", "**3", name.strip()))
    text = text.replace("·", "*").replace("°C", "degC").replace("°F", "degF").replace("deg C", "degC")
    text = {
        "": "dimensionless",
        "1": "dimensionless",
        "%": "percent",
        "TR": "ton_of_refrigeration",
        "C": "degC",
        "F": "degF",
        "°": "degree",
        "rpm": "1/min",
        "kw": "kW",
        "KW": "kW",
        "KPa": "kPa",
        "kpa": "kPa",
        "deg": "degree",
    }.get(text, text)
    return UREG.parse_units(text.replace("%", "percent"))


def reading(value: Any, unit: str, of: str, place: Place) -> float:
    """A quantity in `unit`, or Objection: written by another rule than scenarios/quantities.py."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise Objection(f"{value!r} is no quantity")
    if not isinstance(value, str):
        if unit != "1" or not math.isfinite(value):
            raise Objection(f"bare number {value!r} for {unit}")
        return float(value)
    pattern = r"\s*([+\-−–]?[0-9][0-9_]*\.?[0-9]*(?:[eE][+-]?[0-9]+)?|[+\-−–]?\.[0-9]+)(.*)\Z"
    match = re.match(pattern, value, re.DOTALL)
    if not match:
        raise Objection(f"{value!r} holds no number")
    number = float(match[1].replace("_", "").replace("−", "-").replace("–", "-"))
    name = match[2].replace("\u00a0", " ").replace("\u2009", " ").replace("\u202f", " ").replace("º", "°").strip()
    want = unit_of(unit)
    kind = UREG.get_dimensionality(want)
    shift = 0.0
    if kind == UREG.get_dimensionality(UREG.pascal) and of:
        sat = re.fullmatch(r"(.*?)\s*\(?sat(?:urated|\.)?\)?", name, re.IGNORECASE)
        if sat and of == "absolute":
            kelvin = float(UREG.Quantity(number, unit_of(sat[1])).to("kelvin").magnitude)
            pascal = float(PropsSI("P", "T", kelvin, "Q", 1.0, place.refrigerant))
            return float(UREG.Quantity(pascal, "pascal").to(want).magnitude)
        gauge = re.fullmatch(r"(bar|psi|kPa|MPa|mbar|kgf/cm²|[A-Za-z]+?)\s*(\(g\)|\(gauge\)|\s?gauge|g)", name)
        absolute = re.fullmatch(r"(bar|psi|kPa|MPa|mbar|kgf/cm²|[A-Za-z]+?)\s*(\(a\)|\(abs\)|\s?abs(olute)?|a)", name)
        if name not in ("Pa", "kPa", "MPa", "hPa") and (gauge or absolute):
            if of != "absolute":
                raise Objection(f"{value!r} for a pressure difference")
            name = (gauge or absolute)[1]  # type: ignore[index]
            if gauge:
                if place.barometric_pa is None:
                    raise Objection(f"{value!r} without a barometric pressure")
                shift = float(UREG.Quantity(place.barometric_pa, "pascal").to(want).magnitude)
        elif of == "absolute" and name in ("bar", "psi", "mbar"):
            raise Objection(f"{value!r} says neither gauge nor absolute")
    try:
        given = unit_of(name)
        if kind == UREG.get_dimensionality(UREG.kelvin) and of == "difference" and "deg" in str(given):
            raise Objection(f"{value!r} for a temperature difference")
        if name == "" and unit not in ("1",):
            raise Objection(f"{value!r} without unit for {unit}")
        found = float(UREG.Quantity(number, given).to(want).magnitude) + shift
    except (pint.errors.DimensionalityError, pint.errors.UndefinedUnitError) as error:
        raise Objection(f"{value!r} for {unit}: {error}") from error
    if not math.isfinite(found):
        raise Objection(f"{value!r} is not finite")
    return found


def within(value: float, low: float | None, high: float | None, rel: float = 1e-9) -> bool:
    """Inside the limits, but for rounding."""
    slack = rel * max(abs(value), abs(low or 0.0), abs(high or 0.0)) if abs(value) < math.inf else 0.0
    return (low is None or value >= low - slack) and (high is None or value <= high + slack)


def rel_of(text: Any) -> float:
    return 5e-5 if isinstance(text, str) and "sat" in text.lower() else 1e-9  # property fit: 1e-5


def same(a: float, b: float, text: Any = "") -> bool:
    """Equal but for rounding (and, for a saturation pressure, for the property fit)."""
    return abs(a - b) <= rel_of(text) * max(abs(a), abs(b), 1e-12) or abs(a - b) < 1e-9
