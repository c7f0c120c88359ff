"""How a setting is declared: its default, unit, permitted range and the reason for the default, all in the field.

The metadata keys are `unit` (a display string), `of` (absolute or difference, pressures and temperatures only), `low`,
`high` and `why`.  The edge that reads a settings sheet refuses a value outside `low`..`high` and quotes `why`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field, fields, is_dataclass
from enum import IntEnum
from typing import Any, NamedTuple


class Switch(IntEnum):
    """A function of the controller that may be left out."""

    OFF = 0
    ON = 1


def _setting(default: Any, unit: str, low: float, high: float, why: str, of: str = "") -> Any:
    metadata: dict[str, Any] = {"unit": unit, "low": low, "high": high, "why": why}
    if of:
        metadata["of"] = of
    return field(default=default, metadata=metadata)


def pressure(default: float, low: float, high: float, why: str) -> Any:
    """An absolute pressure in kPa."""
    return _setting(default, "kPa", low, high, why, "absolute")


def pressure_difference(default: float, low: float, high: float, why: str) -> Any:
    """A pressure difference in kPa."""
    return _setting(default, "kPa", low, high, why, "difference")


def temperature(default: float, low: float, high: float, why: str) -> Any:
    """A temperature in °C."""
    return _setting(default, "°C", low, high, why, "absolute")


def temperature_difference(default: float, low: float, high: float, why: str) -> Any:
    """A temperature difference in K."""
    return _setting(default, "K", low, high, why, "difference")


def percent(default: float, low: float, high: float, why: str) -> Any:
    """A share in %."""
    return _setting(default, "%", low, high, why)


def duration(default: int, low: int, high: int, why: str) -> Any:
    """A time in whole milliseconds."""
    return _setting(default, "ms", low, high, why)


def current(default: float, low: float, high: float, why: str) -> Any:
    """An electric current in A."""
    return _setting(default, "A", low, high, why)


def number(default: Any, low: float, high: float, why: str) -> Any:
    """A dimensionless number."""
    return _setting(default, "1", low, high, why)


def table(low: float, high: float, why: str) -> dict[str, Any]:
    """Metadata of a table of dimensionless numbers; the range holds for each element."""
    return {"unit": "1", "low": low, "high": high, "why": why}


def temperatures(low: float, high: float, why: str) -> dict[str, Any]:
    """Metadata of a table of temperatures in °C; the range holds for each element."""
    return {"unit": "°C", "of": "absolute", "low": low, "high": high, "why": why}


def choice(kind: type[IntEnum], why: str) -> dict[str, Any]:
    """Metadata of one member of an enum; the range is that of its numbers."""
    return {"unit": "1", "low": 0, "high": int(max(kind)), "why": why}


class SettingRow(NamedTuple):
    """What a table of settings says of one field: `default` and limits in `unit`; `choices` of an enum, else empty."""

    name: str
    unit: str
    of: str
    low: float
    high: float
    default: Any
    why: str
    choices: tuple[str, ...]


def rows(settings_type: type) -> Iterator[SettingRow]:
    """Every setting of a settings record, nested ones under a dotted name, in the order of the record.

    An enum shows its member's name as default; a table its values.  TypeError for a type that is no dataclass.

    >>> from controller.positioner import DriveSettings
    >>> next(rows(DriveSettings))[:5]
    ('stroke_up_ms', 'ms', '', 5000, 300000)
    """
    yield from _rows(settings_type(), "")


def _rows(record: Any, above: str) -> Iterator[SettingRow]:
    for f in fields(record):
        value = getattr(record, f.name)
        name = above + f.name
        if is_dataclass(value):
            yield from _rows(value, f"{name}.")
            continue
        m = f.metadata
        choices: tuple[str, ...] = ()
        if isinstance(value, IntEnum):
            choices = tuple(member.name.lower() for member in type(value))
            value = value.name.lower()
        yield SettingRow(name, m["unit"], m.get("of", ""), m["low"], m["high"], value, m["why"], choices)
