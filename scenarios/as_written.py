"""Numbers in the unit that a person would write, for guides and error messages.

Inside, a plant is in SI and a time in ms; a file says "-10 °C", "60 kW/K", "4 h".  What is shown here can be copied into
a file: `parse_quantity` reads it back, to six significant digits.
"""

from __future__ import annotations

import re
from typing import Any

from scenarios.errors import InputRefused
from scenarios.quantities import number_and_unit
from scenarios.units import find_unit, tidy

# unit inside → units to choose from, largest first: the first that leaves at least 1, else the last
_TIMES = ("d", "h", "min", "s")
_LADDERS: dict[str, tuple[str, ...]] = {
    "ms": _TIMES, "s": _TIMES,
    "Pa": ("kPa",), "W": ("kW",), "W/K": ("kW/K",), "J/K": ("MJ/K", "kJ/K"), "J/kg": ("kJ/kg",),
    "J/(kg·K)": ("kJ/(kg·K)",), "m³/s": ("m³/h",), "rad": ("°",), "m": ("m", "mm"),
}  # fmt: skip
_OTHER_SIGNS = str.maketrans({"*": "·"})
ROTATION = ("speed",)  # what a rate is a rate of, where people say it in turns a minute


def _spelled(unit: str) -> str:
    """ "kg/m**3" as people write it."""
    return tidy(unit).translate(_OTHER_SIGNS)


def _digits(value: float) -> str:
    number = round(value) if abs(value - round(value)) < 1e-9 * max(1.0, abs(value)) else value
    text = f"{number:.6g}"
    if "e" not in text or not 1e-9 < abs(value) < 1e15:
        return text
    return f"{number:.0f}" if abs(value) >= 1.0 else f"{number:.12f}".rstrip("0")


def unit_to_write(value: float, unit: str, of: str = "", name: str = "") -> str:
    """The unit in which a person would write `value`, which is in `unit`.

    of: "absolute" turns K into °C; name: the field's own name, where a share is told from a plain number and a speed
    from another rate.
    """
    if unit == "K" and of == "absolute":
        return "°C"
    if unit in ("", "1"):
        return "%" if name.endswith("_frac") else ""
    if unit == "1/s" and any(word in name for word in ROTATION):
        return "1/min"
    ladder = _LADDERS.get(_spelled(unit))
    if ladder is None:
        return _spelled(unit)
    size = abs(value) * find_unit(unit).factor
    if ladder is _TIMES:
        return "s" if size == 0.0 else next((u for u in ladder if _suits_time(size / find_unit(u).factor, u)), "ms")
    return next((u for u in ladder if size >= find_unit(u).factor * (1.0 - 1e-9)), ladder[-1])


def unit_shown(value: float, unit: str, of: str = "", name: str = "") -> str:
    """The unit column of a guide: as `unit_to_write`, but times are told in whatever fits."""
    return "s, min, h" if _LADDERS.get(unit) is _TIMES else unit_to_write(value, unit, of, name) or "1"


def _suits_time(number: float, unit: str) -> bool:
    """Whether a time is well told with this number: 90 s stays 90 s, and 36 h is not 1.5 d."""
    tenths = 10.0 if unit == "s" else 1.0
    return number >= 1.0 and abs(number * tenths - round(number * tenths)) < 1e-6


def in_unit(value: float, unit: str, to: str) -> float:
    """`value` in `unit`, as a number in the unit `to`."""
    source, target = find_unit(unit), find_unit(to)
    if source == target:
        return value
    si = source.factor * (value + source.offset)
    return si / target.factor - target.offset


def in_words(value: float, unit: str, to: str) -> str:
    """`value`, in `unit`, with its number and unit as text in the unit `to`."""
    number = _digits(in_unit(value, unit, to))
    return number if to in ("", "1") else f"{number} {to}"


def as_written(value: float, unit: str, of: str = "", name: str = "") -> str:
    """`value`, in `unit`, as a person would write it.

    >>> as_written(263.15, "K", "absolute"), as_written(60e3, "W/K"), as_written(14_400_000, "ms")
    ('-10 °C', '60 kW/K', '4 h')
    >>> as_written(0.4, "1", name="level_set_frac"), as_written(90_000, "ms"), as_written(0, "ms")
    ('40 %', '90 s', '0 s')
    """
    return in_words(value, unit, unit_to_write(value, unit, of, name))


def beside(value: float, unit: str, written: str) -> str:
    """A limit, told beside a value that was given in the unit `written`: in that unit, unless a time is crooked in it.

    >>> beside(600_000, "ms", "h"), beside(7_200_000, "ms", "h")
    ('10 min', '2 h')
    """
    if find_unit(unit).dimension == "time" and value and not _suits_time(abs(in_unit(value, unit, written)), written):
        return as_written(value, unit)
    return in_words(value, unit, written)


def range_as_written(low: float, high: float, unit: str, of: str = "", name: str = "") -> str:
    """ "0 kW to 15 kW": both ends; a zero takes the other end's unit."""
    units = [unit_to_write(end, unit, of, name) for end in (low, high)]
    if low == 0.0:
        units[0] = units[1]
    return f"{in_words(low, unit, units[0])} to {in_words(high, unit, units[1])}"


def writers_unit(given: Any, unit: str) -> str | None:
    """The unit in which `given` was written, if numbers in `unit` can be told in it.

    None for a gauge pressure and a saturation temperature, which are read with the site.
    """
    if isinstance(given, bool):
        return None
    if isinstance(given, int | float):
        return ""
    parts = number_and_unit(given) if isinstance(given, str) else None
    if parts is None or re.search(r"sat", parts[1], re.IGNORECASE):
        return None
    name = parts[1]
    try:
        return _spelled(name) if find_unit(name).dimension == find_unit(unit).dimension else None
    except InputRefused:  # "bar(g)": a unit with its reference
        return None
