"""How a parameter states itself: unit, limits, and the reason for its default.

A file's reader, the tables of documentation and the tests read this from the field's metadata; nothing else knows limits.
"""

from __future__ import annotations

from dataclasses import field
from typing import Any

PRACTICE = "common practice, no source"


def value(default: float, unit: str, low: float, high: float, why: str, of: str = "") -> Any:
    """A number in `unit` within low..high; `of` says "absolute" or "difference" for pressures and temperatures."""
    metadata: dict[str, Any] = {"unit": unit, "low": low, "high": high, "why": why}
    if of:
        metadata["of"] = of
    return field(default=default, metadata=metadata)


def absolute(default: float, unit: str, low: float, high: float, why: str) -> Any:
    """An absolute pressure or a temperature."""
    return value(default, unit, low, high, why, "absolute")


def difference(default: float, unit: str, low: float, high: float, why: str) -> Any:
    """A difference of pressures or temperatures."""
    return value(default, unit, low, high, why, "difference")


def time_ms(default: int, low: int, high: int, why: str) -> Any:
    """A time in whole milliseconds."""
    return field(default=default, metadata={"unit": "ms", "low": low, "high": high, "why": why})


def switch(default: bool, why: str) -> Any:
    """Yes or no."""
    return field(default=default, metadata={"unit": "1", "why": why})


def row(default: tuple[float, ...], unit: str, low: float, high: float, why: str) -> Any:
    """A fixed-length row of numbers in `unit`, each within low..high."""
    return field(default=default, metadata={"unit": unit, "low": low, "high": high, "why": why})
