"""Units of the trade: what each name means in SI.

Common names are looked up in a table, because reading a file must not wait for a unit library; any other name goes to
pint, imported only then.  A test compares every row of the table with pint.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from scenarios.errors import InputRefused, Problem


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: SI value = factor · (number + offset); `dimension` is a plain-word kind such as "pressure"."""

    dimension: str
    factor: float
    offset: float = 0.0


_PSI_PA = 0.45359237 * 9.80665 / 0.0254**2  # lbf/in², exact by definition of pound and inch
_TR_W = 12000.0 * 1055.05585262 / 3600.0  # 12 000 Btu(IT)/h, definition of the ton of refrigeration

_TABLE: dict[str, tuple[str, float]] = {
    "": ("number", 1.0), "1": ("number", 1.0), "%": ("number", 0.01),
    "Pa": ("pressure", 1.0), "hPa": ("pressure", 100.0), "kPa": ("pressure", 1e3), "MPa": ("pressure", 1e6),
    "mbar": ("pressure", 100.0), "bar": ("pressure", 1e5), "atm": ("pressure", 101325.0), "psi": ("pressure", _PSI_PA),
    "K": ("temperature", 1.0), "mK": ("temperature", 1e-3),
    "ms": ("time", 1e-3), "s": ("time", 1.0), "min": ("time", 60.0), "h": ("time", 3600.0), "d": ("time", 86400.0),
    "rad": ("angle", 1.0), "°": ("angle", math.pi / 180.0),
    "W": ("power", 1.0), "kW": ("power", 1e3), "MW": ("power", 1e6), "TR": ("power", _TR_W),
    "A": ("current", 1.0), "mA": ("current", 1e-3), "V": ("voltage", 1.0),
    "J": ("energy", 1.0), "kJ": ("energy", 1e3), "MJ": ("energy", 1e6), "kWh": ("energy", 3.6e6),
    "m": ("length", 1.0), "mm": ("length", 1e-3),
    "cm": ("length", 1e-2), "km": ("length", 1e3), "ft": ("length", 0.3048),
    "A²·s": ("thermal load", 1.0),
    "m²": ("area", 1.0), "m³": ("volume", 1.0), "L": ("volume", 1e-3), "l": ("volume", 1e-3),
    "kg": ("mass", 1.0), "g": ("mass", 1e-3), "t": ("mass", 1e3),
    "kg/s": ("mass flow", 1.0), "kg/h": ("mass flow", 1.0 / 3600.0),
    "m³/s": ("volume flow", 1.0), "m³/h": ("volume flow", 1.0 / 3600.0),
    "W/K": ("heat conductance", 1.0), "kW/K": ("heat conductance", 1e3),
    "J/K": ("heat capacity", 1.0), "kJ/K": ("heat capacity", 1e3), "MJ/K": ("heat capacity", 1e6),
    "J/kg": ("specific enthalpy", 1.0), "kJ/kg": ("specific enthalpy", 1e3),
    "J/(kg·K)": ("specific heat", 1.0), "kJ/(kg·K)": ("specific heat", 1e3),
    "kg/m³": ("density", 1.0), "1/s": ("rate", 1.0), "1/min": ("rate", 1.0 / 60.0),
    "rpm": ("rate", 1.0 / 60.0), "Hz": ("rate", 1.0), "Pa/s": ("pressure rate", 1.0), "kPa/s": ("pressure rate", 1e3),
    "K/s": ("temperature rate", 1.0), "W/s": ("power rate", 1.0), "kW/s": ("power rate", 1e3),
    "m/s": ("speed", 1.0), "N·m": ("torque", 1.0), "m²/s": ("kinematic viscosity", 1.0),
    "kg·m²": ("moment of inertia", 1.0), "m³/kg": ("specific volume", 1.0),
}  # fmt: skip

_UNITS: dict[str, Unit] = {name: Unit(kind, factor) for name, (kind, factor) in _TABLE.items()} | {
    "°C": Unit("temperature", 1.0, 273.15),
    "°F": Unit("temperature", 5.0 / 9.0, 459.67),
}
_OTHER_SPELLINGS = {
    "degC": "°C", "deg C": "°C", "° C": "°C", "C": "°C", "celsius": "°C", "degF": "°F", "deg F": "°F", "° F": "°F",
    "F": "°F", "fahrenheit": "°F", "kelvin": "K", "sec": "s", "second": "s", "seconds": "s", "minute": "min",
    "minutes": "min", "hr": "h", "hour": "h", "hours": "h", "day": "d", "days": "d", "litre": "L", "liter": "L",
    "litres": "L", "liters": "L", "percent": "%",
    "deg": "°", "J/kg/K": "J/(kg·K)", "kJ/kg/K": "kJ/(kg·K)", "pct": "%",
    "kw": "kW", "kpa": "kPa", "KW": "kW", "KPa": "kPa",
}  # fmt: skip
_LOOK_ALIKES = str.maketrans(
    {"º": "°", "˚": "°", "−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "⋅": "·", "μ": "µ"}
)
# What may go to pint: bounded, because its parser would happily raise a unit to the 9**9**9th power.
_SAFE_UNIT = re.compile(r"[A-Za-zµ°%Ω²³·*/^()\-_1-9 ]{1,40}")
_SAFE_POWER = re.compile(r"(\*\*|\^)-?[1-4](?!\d|\*\*|\^)")


def plain(text: str) -> str:
    """`text` with typographic look-alikes (ordinal sign for degree, long minus, narrow spaces) made ordinary."""
    return text.replace("℃", "°C").replace("℉", "°F").translate(_LOOK_ALIKES).strip()


def tidy(name: str) -> str:
    """The usual spelling of a unit: "deg C" → "°C", "m3" → "m³", "kg/m^3" → "kg/m³"."""
    name = plain(name)
    name = _OTHER_SPELLINGS.get(name, name)
    name = re.sub(r"(?<!\*)\*(?!\*)", "·", name)
    return re.sub(r"(?<=m)(?:\^|\*\*)?([23])(?!\d)", lambda m: "²" if m[1] == "2" else "³", name)


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@cache
def _kind_by_dimension() -> dict[Any, str]:
    registry = _registry()
    # reversed, so that of kinds with one dimension (number and angle) the first in the table wins
    named = [(name, unit.dimension) for name, unit in reversed(_UNITS.items()) if name]
    return {registry.parse_units(pint_spelling(name)).dimensionality: kind for name, kind in named}


def pint_spelling(name: str) -> str:
    """A unit name as pint understands it."""
    name = {"TR": "ton_of_refrigeration", "1": "dimensionless", "%": "percent", "°": "degree"}.get(name, name)
    return name.replace("°C", "delta_degC").replace("°F", "delta_degF").replace("%", "percent")


@cache
def find_unit(name: str) -> Unit:
    """The unit called `name`.  InputRefused if nobody knows it."""
    known = _UNITS.get(tidy(name))
    if known is not None:
        return known
    refused = InputRefused(Problem(f'"{name}" is no unit known here', value=name))
    if not _SAFE_UNIT.fullmatch(name) or re.search(r"\*\*|\^", _SAFE_POWER.sub("", name)):
        raise refused
    try:
        quantity = _registry().Quantity(1.0, _registry().parse_units(pint_spelling(tidy(name)))).to_base_units()
        si = quantity.to(_si_units(quantity.dimensionality))
        factor = float(si.magnitude)
        kind = _kind_by_dimension().get(quantity.dimensionality, str(quantity.dimensionality))
    except Exception as error:  # pint lets out parser errors of many kinds; all mean the same to the user
        raise refused from error
    return Unit(kind, factor)


def _si_units(dimensionality: Any) -> Any:
    base = {"[length]": "m", "[mass]": "kg", "[time]": "s", "[temperature]": "K", "[current]": "A"}
    unit = _registry().dimensionless
    for name, power in dimensionality.items():
        unit = unit * _registry().parse_units(base[name]) ** power
    return unit
