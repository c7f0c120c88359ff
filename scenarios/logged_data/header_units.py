"""Units in a header, as loggers write them, and which quantity each can stand for.

A spelling that says less than it must (bar without gauge or absolute, kPa in a log) has several readings; the mapping
asks which.  Plain Pa, as in this project's own traces, is absolute.
"""

from __future__ import annotations

import re
from functools import cache

from scenarios.errors import InputRefused
from scenarios.logged_data.signals import is_own_column
from scenarios.units import find_unit, plain, tidy

_BRACKETED = re.compile(r"^(.*?)\s*(?:\[\s*([^\[\]]{1,24})\s*\]|\(\s*([^()]{1,24}(?:\([^()]{1,6}\))?)\s*\))\s*$")
_BEHIND = re.compile(
    r"^(.*?)[\s,;/_]+((?:[kKMmh]?[Pp]a|m?bar|psi|kgf?/cm[²2])\s?[_(]?(?:abs|gauge|a|g|ü|ue)?\)?|psi[ga]|bar[ag]|[°ºø˚]\s?[CFK](?:\s?sat)?|%|"
    r"k[Ww]|mA|A|Amps?|Hz|rpm|1/min|U/min|tr/min|ms)\s*$"
)
_SPELLINGS = {
    "barg": "bar(g)", "bar g": "bar(g)", "bar(g)": "bar(g)", "bar_g": "bar(g)", "barü": "bar(g)", "bar ü": "bar(g)",
    "bar(ü)": "bar(g)", "barue": "bar(g)", "bar(gauge)": "bar(g)", "bar gauge": "bar(g)", "bar eff": "bar(g)",
    "bar rel": "bar(g)",
    "bara": "bar(a)", "bar a": "bar(a)", "bar(a)": "bar(a)", "bar_a": "bar(a)", "bar abs": "bar(a)", "bar(abs)": "bar(a)",
    "barabs": "bar(a)", "psig": "psig", "psi g": "psig", "psi(g)": "psig", "psia": "psia", "psi a": "psia", "psi(a)": "psia",
    "kpa abs": "kPa(a)", "kpa(a)": "kPa(a)", "kpaa": "kPa(a)", "kpa a": "kPa(a)", "kpa_abs": "kPa(a)", "kpa(abs)": "kPa(a)",
    "kpag": "kPa(g)", "kpa g": "kPa(g)", "kpa(g)": "kPa(g)", "kpa gauge": "kPa(g)", "kpa(gauge)": "kPa(g)",
    "mpa(g)": "MPa(g)", "mpag": "MPa(g)", "mpa(a)": "MPa(a)", "mpa abs": "MPa(a)",
    "kg/cm2": "kgf/cm²", "kg/cm²": "kgf/cm²", "kgf/cm2": "kgf/cm²", "kgf/cm²": "kgf/cm²",
    "kg/cm2 g": "kgf/cm²(g)", "kg/cm²(g)": "kgf/cm²(g)", "kg/cm2(g)": "kgf/cm²(g)", "kgf/cm²(g)": "kgf/cm²(g)",
    "inhg": "inHg", "%": "%", "prozent": "%", "percent": "%", "pct": "%", "degc": "°C", "deg c": "°C", "c": "°C",
    "celsius": "°C",
    "degf": "°F", "deg f": "°F", "f": "°F", "k": "K", "kelvin": "K", "grad c": "°C", "gradc": "°C", "°c": "°C", "°f": "°F",
    "°c sat": "°C sat", "°csat": "°C sat", "°c(sat)": "°C sat", "°f sat": "°F sat", "c sat": "°C sat",
    "amp": "A", "amps": "A", "ampere": "A", "kw": "kW", "w": "W", "mw": "MW", "hp": "hp", "ma": "mA",
    "kpa": "kPa", "mpa": "MPa", "bar": "bar", "mbar": "mbar", "psi": "psi", "pa": "Pa", "hpa": "hPa",
    "rpm": "1/min", "u/min": "1/min", "tr/min": "1/min", "1/min": "1/min", "min-1": "1/min", "hz": "Hz", "h": "h",
    "std": "h",
    "hours": "h", "s": "s", "sec": "s", "ms": "ms", "min": "min", "kg/s": "kg/s", "kg/h": "kg/h", "v": "V",
    "1": "1", "-": "1",
    "a": "A", "on/off": "1", "ein/aus": "1", "0/1": "1", "bool": "1", "count": "1", "%fla": "%FLA", "% fla": "%FLA",
    "%flc": "%FLA",
    "tr": "TR", "kcal/h": "kcal/h",
}  # fmt: skip
GAUGE_PA = 101_325.0
_PER_PA = {"bar": 1e5, "mbar": 100.0, "kPa": 1e3, "MPa": 1e6, "Pa": 1.0, "hPa": 100.0, "psi": 6894.757293168,
    "kgf/cm²": 98066.5,
           "inHg": 3386.389}  # fmt: skip
PRESSURES = ("kPa(a)", "kPa(g)", "bar(a)", "bar(g)", "psia", "psig", "MPa(a)", "MPa(g)", "kgf/cm²(g)", "Pa")
READINGS = {  # a spelling that says too little → what it may mean
    "bar": ("bar(g)", "bar(a)"), "kPa": ("kPa(a)", "kPa(g)"), "MPa": ("MPa(g)", "MPa(a)"), "psi": ("psig", "psia"),
    "kgf/cm²": ("kgf/cm²(g)", "kgf/cm²(a)"), "mbar": ("mbar(g)", "mbar(a)"), "hPa": ("hPa(a)", "hPa(g)"), "inHg": ("inHg",),
}  # fmt: skip


def spelled(text: str) -> str:
    """The usual spelling of a unit in a header, "" if it is none.

    >>> spelled("barü"), spelled("deg C"), spelled("Werkstatt")
    ('bar(g)', '°C', '')
    """
    name = (
        re.sub(r"^[ø¡˚º]\s?(?=[CFK])", "°", plain(text)).strip("[]() ")
        if not text.endswith(("(g)", "(a)", "(ü)"))
        else plain(text)
    )
    found = _SPELLINGS.get(name.lower()) or _SPELLINGS.get(re.sub(r"\s+", " ", name.lower().replace("deg.", "deg")))
    if found:
        return found
    known = tidy(name)
    return known if _dimension(known) and known not in ("", "t", "g", "d", "m", "l", "L") else ""


@cache
def _dimension(name: str) -> str:
    if len(name) > 12 or not re.search(r"[A-Za-z%°]", name) or not re.fullmatch(r"[\w°%/²³µ·()]+", name):
        return ""
    try:
        return find_unit(name).dimension if name in _TABLE_NAMES else ""
    except InputRefused:
        return ""


_TABLE_NAMES = ("kJ/kg", "m³/h", "m³/s", "kWh", "J", "kJ", "MJ", "J/kg", "m/s", "mm", "kg/m³", "L", "°", "N·m", "mK")


def is_unit(text: str) -> bool:
    """Whether a header cell is a unit and nothing else."""
    return bool(spelled(text)) or text.strip() in ("-", "–", "", "[]", "[-]")


def split_header(text: str) -> tuple[str, str]:
    """(name, unit as written) of a header cell; the unit is "" if there is none.

    >>> split_header("Saugdruck [bar(g)]"), split_header("Oil temp °C"), split_header("Run (feedback)")
    (('Saugdruck', 'bar(g)'), ('Oil temp', '°C'), ('Run (feedback)', ''))
    """
    if is_own_column(text.strip()):
        return text.strip(), ""  # its name says the unit
    bracket = _BRACKETED.match(text)
    if bracket:
        unit = (bracket[2] or bracket[3] or "").strip()
        if spelled(unit):
            return bracket[1].strip(), unit
    behind = _BEHIND.match(text)
    if behind and behind[1].strip() and spelled(behind[2]):
        return behind[1].strip(), behind[2].strip()
    return text, ""


def dimension_of(unit: str) -> str:
    """pressure, temperature, saturation, share, current, milliamp, power, time, speed, flow, voltage or "" of a spelling."""
    base = re.sub(r"\([ag]\)$|(?<=psi)[ag]$", "", unit)
    if base in _PER_PA:
        return "pressure"
    if unit.endswith(" sat"):
        return "saturation"
    return {
        "°C": "temperature", "°F": "temperature", "K": "temperature", "%": "share", "1": "share", "A": "current",
        "mA": "milliamp",
        "%FLA": "share of full "
                "load", "kW": "power", "W": "power", "MW": "power", "hp": "power", "TR": "power", "kcal/h": "power",
        "h": "time", "s": "time", "ms": "time", "min": "time", "1/min": "speed", "Hz": "speed", "kg/s": "flow",
        "kg/h": "flow",
        "V": "voltage",
    }.get(unit, "other" if unit else "")  # fmt: skip


def pressure_line(unit: str, barometric_pa: float = GAUGE_PA) -> tuple[float, float]:
    """(factor, offset) to kPa absolute from a unit that says its reference; KeyError for one that does not."""
    base = re.sub(r"\([ag]\)$|(?<=psi)[ag]$", "", unit)
    gauge = unit.endswith(("(g)", "psig"))
    if not gauge and unit not in ("Pa", "inHg") and not unit.endswith(("(a)", "psia")):
        raise KeyError(unit)
    return _PER_PA[base] / 1e3, barometric_pa / 1e3 if gauge else 0.0


def difference_line(unit: str) -> tuple[float, float]:
    """(factor, 0) that make kPa of a pressure difference, for which the reference does not matter."""
    base = re.sub(r"\([ag]\)$|(?<=psi)[ag]$", "", unit)
    return _PER_PA[base] / 1e3, 0.0


def plain_line(unit: str, target: str) -> tuple[float, float] | None:
    """(factor, offset) from a unit to the target's; None if they are of different kinds."""
    if unit == target:
        return 1.0, 0.0
    special = {
        ("°F", "°C"): (5.0 / 9.0, -160.0 / 9.0), ("K", "°C"): (1.0, -273.15), ("1", "%"): (100.0, 0.0), ("%",
        "1"): (0.01, 0.0),
        ("hp", "kW"): (0.745699872, 0.0), ("kcal/h", "kW"): (1.163e-3, 0.0), ("Hz", "1/min"): (60.0, 0.0),
        ("min", "h"): (1 / 60.0, 0.0), ("s", "h"): (1 / 3600.0, 0.0), ("°F", "K"): (5.0 / 9.0, 459.67 * 5.0 / 9.0),
        ("°C", "K"): (1.0, 273.15),
    }  # fmt: skip
    if (unit, target) in special:
        return special[unit, target]
    try:
        a, b = find_unit(unit), find_unit(target)
    except InputRefused:
        return None
    if a.dimension != b.dimension or a.offset or b.offset:
        return None
    return a.factor / b.factor, 0.0
