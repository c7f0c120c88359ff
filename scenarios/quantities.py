"""Quantities as people write them, converted once, at the edge.

"290 kPa", "22 psig", "1.9 bar(g)", "-10 °C sat", "+120 kW", "45 s", "1.5 h", "12 %", "0.8", "62.5 kW/K".
A pressure is absolute or a difference, and so is a temperature: the field says which, and what does not fit is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NoReturn

from scenarios.errors import InputRefused, Problem, shortened
from scenarios.units import Unit, find_unit, plain, tidy


@dataclass(frozen=True, slots=True)
class Site:
    """What a quantity may depend on: the barometric pressure for gauge readings, the refrigerant for "sat".

    saturation_pressure_pa: temperature in K → pressure in Pa, raising ValueError outside its range; None if unknown.
    """

    barometric_pressure_pa: float | None = None
    saturation_pressure_pa: Callable[[float], float] | None = None
    refrigerant: str = ""


def standard_atmosphere_pa(altitude_m: float) -> float:
    """Pressure of the ISO 2533 standard atmosphere, Pa, at a geopotential altitude in m.

    Troposphere formula with T0 = 288.15 K, lapse 6.5 K/km, g = 9.80665 m/s², R = 287.05287 J/(kg·K).
    ValueError outside -1000..11000 m, where the formula ends.
    """
    if not -1000.0 <= altitude_m <= 11000.0:
        raise ValueError(f"altitude {altitude_m:g} m is outside -1000 m to 11000 m, where the formula holds")
    exponent = 9.80665 / (287.05287 * 0.0065)
    ratio = 1.0 - 0.0065 * altitude_m / 288.15
    return 101325.0 * math.exp(exponent * math.log(ratio))


# [0-9] and not \d, which is any script's digit
_NUMBER = r"[+-]?(?:[0-9]+(?:_[0-9]+)*(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_QUANTITY = re.compile(rf"({_NUMBER})\s*(.*)", re.DOTALL)
_DECIMAL_COMMA = re.compile(r"([+-]?\d+),(\d+)\s*([^\d].*)?", re.DOTALL)
_SAT = re.compile(r"(.*?)\s*(?:\(sat\.?\)|sat\.?|saturated)", re.IGNORECASE)
_REFERENCE = re.compile(
    r"(?P<unit>[A-Za-z]+?|kgf/cm²)\s*"
    r"(?:(?P<gauge>\(g\)|\(gauge\)|\s?gauge|g)|(?P<absolute>\(a\)|\(abs\)|\s?abs(?:olute)?|a))"
)
_EXAMPLES = {
    ("pressure", "absolute"): ('"290 kPa", "1.9 bar(g)", "22 psig" or "-10 °C sat"', "kPa"),
    ("pressure", "difference"): ('"15 kPa" or "0.15 bar"', "kPa"),
    ("temperature", "absolute"): ('"-10 °C", "14 °F" or "263.15 K"', "°C"),
    ("temperature", "difference"): ('"5 K"', "K"),
    ("time", ""): ('"45 s", "1.5 h" or "200 ms"', "s"),
    ("power", ""): ('"120 kW"', "kW"),
    ("volume", ""): ('"3 m³" or "5.2 L"', "m³"),
    ("heat conductance", ""): ('"62.5 kW/K"', "kW/K"),
}


def example_of(unit: str, of: str = "") -> str:
    """What one may write for a field of this unit, for an error message or an editor."""
    kind = find_unit(unit).dimension
    if kind == "number":
        return '"12 %"' if unit == "%" else '0.8 or "80 %"'
    found = _EXAMPLES.get((kind, of if kind in ("pressure", "temperature") else ""))
    return found[0] if found else f'"1.5 {unit}"'


def parse_quantity(text: str, unit: str, of: str = "", site: Site | None = None) -> float:
    """The number, in `unit`, of the quantity in `text`.

    unit: of the result, as in a field's metadata; of: "absolute" or "difference" for pressure and temperature;
    site: needed for gauge pressure and "sat".  InputRefused, without a place, if the text does not fit.

    >>> parse_quantity("1.5 h", "ms")
    5400000.0
    >>> round(parse_quantity("1.9 bar(g)", "kPa", "absolute", Site(101325.0)), 3)
    291.325
    """
    target = find_unit(unit)
    given = plain(text)
    match = _QUANTITY.fullmatch(given)
    if match is None or match[2].startswith(","):
        _refuse_unreadable(text, given, unit, of)
    number = float(match[1].replace("_", ""))
    if not math.isfinite(number):
        _refuse(text, "is not a finite number", unit, of)
    name = match[2].strip()
    if not name and target.dimension != "number":
        _refuse(text, f"has no unit; {_a_kind(_kind(target, of))} is expected", unit, of)
    if not name and unit == "%":
        _refuse(text, "has no unit: a share of one, or per cent?", unit, of)
    if target.dimension == "pressure":
        value = _pressure(text, number, name, unit, of, site or Site())
    elif target.dimension == "temperature":
        value = _temperature(text, number, name, unit, of)
    else:
        value = _convert(text, number, name, unit, of)
    if not math.isfinite(value):
        _refuse(text, "is too large", unit, of)
    return value


def number_and_unit(text: str) -> tuple[float, str] | None:
    """The number and the unit's name in `text`; None if it is no quantity.

    >>> number_and_unit("1.9 bar(g)")
    (1.9, 'bar(g)')
    """
    match = _QUANTITY.fullmatch(plain(text))
    return (float(match[1].replace("_", "")), match[2].strip()) if match else None


def format_quantity(value: float, unit: str) -> str:
    """`value` in `unit` as text that parse_quantity reads back exactly; milliseconds in whole seconds become s.

    >>> format_quantity(290.0, "kPa"), format_quantity(45000, "ms"), format_quantity(0.8, "1")
    ('290 kPa', '45 s', '0.8')
    """
    if unit == "ms" and value != 0 and value % 1000 == 0 and abs(value) < 2**53:
        return f"{int(value) // 1000} s"
    number = repr(value).removesuffix(".0")
    return number if unit in ("", "1") else f"{number} {unit}"


def _kind(target: Unit, of: str) -> str:
    if target.dimension == "pressure" and of == "absolute":
        return "pressure"
    if target.dimension in ("pressure", "temperature") and of == "difference":
        return f"{target.dimension} difference"
    return "dimensionless number" if target.dimension == "number" else target.dimension


def _a_kind(kind: str) -> str:
    return f"{'an' if kind[:1] in 'aeio' else 'a'} {kind}"


def _refuse(text: str, why: str, unit: str, of: str, hint: str = "") -> NoReturn:
    way_out = hint or f"write for example {example_of(unit, of)}"
    raise InputRefused(Problem(f'"{shortened(text)}" {why}', value=text, way_out=way_out))


def _refuse_unreadable(text: str, given: str, unit: str, of: str) -> NoReturn:
    comma = _DECIMAL_COMMA.fullmatch(given)
    if comma is not None:
        fixed = f"{comma[1]}.{comma[2]} {(comma[3] or '').strip()}".strip()
        _refuse(
            text,
            "has a comma in its number",
            unit,
            of,
            f'write "{shortened(fixed)}" with a decimal point, and no thousands sign',
        )
    if re.fullmatch(r"[+-]?(inf(inity)?|nan)\b.*", given, re.IGNORECASE):
        _refuse(text, "is not a finite number", unit, of)
    _refuse(text, f"is not a quantity; {_a_kind(_kind(find_unit(unit), of))} is expected", unit, of)


def _convert(text: str, number: float, name: str, unit: str, of: str) -> float:
    target = find_unit(unit)
    source = _source(text, name, unit, of)
    if source.dimension != target.dimension:
        _refuse(text, f"is {_a_kind(_kind(source, ''))}, but {_a_kind(_kind(target, of))} is expected", unit, of)
    if source == target:
        return number
    ratio = source.factor / target.factor
    inverse = target.factor / source.factor
    # dividing by a whole number rounds once where multiplying by its inverse rounds twice
    return number / inverse if ratio < 1.0 and inverse == round(inverse) else number * ratio


def _source(text: str, name: str, unit: str, of: str) -> Unit:
    try:
        return find_unit(name)
    except InputRefused:
        pass
    _refuse(text, f"has a unit that is not known here ({tidy(name)[:40]!r})", unit, of)


def _pressure(text: str, number: float, name: str, unit: str, of: str, site: Site) -> float:
    saturated = _SAT.fullmatch(name)
    if saturated is not None:
        if of != "absolute":
            _refuse(text, "is a saturation pressure, but a pressure difference is expected", unit, of)
        return _saturation(text, number, saturated[1], unit, site)
    reference = None if tidy(name) in ("Pa", "kPa", "MPa", "hPa") else _REFERENCE.fullmatch(name)
    if reference is not None and _dimension(reference["unit"]) != "pressure":  # "kg" is no gauge reading in k
        reference = None
    if reference is None:
        known = tidy(name)
        if of == "absolute" and known in ("bar", "psi", "mbar"):
            gauge, absolute = ("psig", "psia") if known == "psi" else (f"{known}(g)", f"{known}(a)")
            hint = f'write "{number:g} {gauge}" or "{number:g} {absolute}"'
            _refuse(text, "does not say gauge or absolute", unit, of, hint)
        value = _convert(text, number, name, unit, of)
        return value if of != "absolute" else _above_vacuum(text, value, unit)
    if of != "absolute":
        kind = "gauge" if reference["gauge"] else "absolute"
        hint = f'write "{number:g} {reference["unit"]}"'
        _refuse(text, f"is a {kind} pressure, but a pressure difference is expected", unit, of, hint)
    value = _convert(text, number, reference["unit"], unit, of)
    if reference["absolute"]:
        return _above_vacuum(text, value, unit)
    if site.barometric_pressure_pa is None:
        hint = "give barometric_pressure or altitude in [site] of the plant file, or write the pressure absolute"
        _refuse(text, "is a gauge pressure and the site's barometric pressure is not known", unit, of, hint)
    return _above_vacuum(text, value + site.barometric_pressure_pa / find_unit(unit).factor, unit)


def _above_vacuum(text: str, value: float, unit: str) -> float:
    if value < 0.0:
        _refuse(text, "is below vacuum", unit, "absolute")
    return value


def _dimension(name: str) -> str:
    try:
        return find_unit(name).dimension
    except InputRefused:
        return ""


def _saturation(text: str, number: float, name: str, unit: str, site: Site) -> float:
    temperature_k = _temperature(text, number, name, "K", "absolute")
    if site.saturation_pressure_pa is None:
        _refuse(text, "is a saturation temperature and no refrigerant is known here", unit, "absolute")
    limits = ""
    try:
        pressure_pa = site.saturation_pressure_pa(temperature_k)
    except (ValueError, ArithmeticError) as error:
        pressure_pa, limits = math.nan, f" ({error})"
    if not (math.isfinite(pressure_pa) and pressure_pa > 0.0):
        what = site.refrigerant or "the refrigerant"
        _refuse(text, f"is outside the saturation range of {what}{limits}", unit, "absolute")
    return pressure_pa / find_unit(unit).factor


def _temperature(text: str, number: float, name: str, unit: str, of: str) -> float:
    if _SAT.fullmatch(name):
        _refuse(text, "says sat, which turns a temperature into a pressure; a temperature is expected", unit, of)
    target, source = find_unit(unit), _source(text, name, unit, of)
    if source.dimension != "temperature":
        _refuse(text, f"is {_a_kind(_kind(source, ''))}, but {_a_kind(_kind(target, of))} is expected", unit, of)
    if of == "difference":
        if source.offset:
            hint = f'write "{number * source.factor:g} K"'
            _refuse(text, "is a temperature, but a temperature difference is expected", unit, of, hint)
        return number if source.factor == target.factor else number * source.factor / target.factor
    value_k = (number + source.offset) * source.factor
    if value_k < 0.0:
        _refuse(text, "is below absolute zero", unit, of)
    return number if source == target else value_k / target.factor - target.offset
