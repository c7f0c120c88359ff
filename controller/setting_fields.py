"""How a setting is declared: its default, unit, permitted range and the reason for the default, all in the field.

The metadata keys are `unit` (a display string), `of` (absolute or difference, pressures and temperatures only), `low`,
`high` and `why`.  The edge that reads a settings sheet refuses a value outside `low`..`high` and quotes `why`.
"""

from __future__ import annotations

from dataclasses import field
from typing import Any


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
