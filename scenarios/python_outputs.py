"""What a controller in plain Python may put into its outputs: checked after every scan, before anything acts on it.

Packing alone would take any truth for a bool, so that `outputs.motor_run = "off"` starts a motor.  One generated
expression tests the usual types; only when it fails are the fields looked at one by one, because this runs each scan.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import IntEnum
from functools import cache
from typing import Any

import numpy as np

from scenarios.errors import shortened
from scenarios.records import layout


class WrongOutput(TypeError):
    """An output that is of no use: its field, what stood there and what is expected."""


@cache
def output_check(cls: Any) -> Callable[[Any], WrongOutput | None]:
    """`check(record)` for a flat record class: None, or what is wrong with the first value that its field cannot have.

    Returned, not raised, because no line of anybody's code is to blame for it.  A bool takes True, False, 0, 1 and numpy's
    bool; a float any finite real number; a whole number 64 bits, and a state too: one that is no member is kept as a gap,
    and found by the contract suite's `ranges`.
    """
    slots = [(slot.name, slot.kind) for slot in layout(cls)]
    tests = []
    for name, kind in slots:
        if kind is bool:
            tests.append(f"type(r.{name}) is bool")
        elif kind is float:
            tests.append(f"type(r.{name}) is float and -inf < r.{name} < inf")
        else:
            whole = f"type(r.{name}) is int and {-(2**63)} <= r.{name} < {2**63}"
            # by type, because 0j and 0.0 equal the member 0
            tests.append(f"(type(r.{name}) is kinds[{name!r}] or {whole})" if issubclass(kind, IntEnum) else whole)
    kinds = dict(slots)
    scope: dict[str, Any] = {"inf": math.inf, "kinds": kinds}
    exec(f"def usual(r):\n    return {' and '.join(tests)}\n", scope)
    usual: Callable[[Any], bool] = scope["usual"]

    def check(record: Any) -> WrongOutput | None:
        if usual(record):
            return None
        for name, kind in slots:
            value = getattr(record, name)
            fault = _fault(value, kind)
            if fault:
                return WrongOutput(f"outputs.{name} = {shortened(repr(value))} is {fault}")
        return None

    return check


def _fault(value: Any, kind: Any) -> str:
    """What a value is instead of what its field takes; "" for one that will do."""
    whole = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
    if kind is bool:
        return "" if isinstance(value, (bool, np.bool_)) or (whole and value in (0, 1)) else "neither True nor False"
    if kind is float:
        real = whole or isinstance(value, (float, np.floating))
        return "" if real and math.isfinite(value) else "no finite number"
    if whole and -(2**63) <= value < 2**63:
        return ""
    return f"no {kind.__name__}" if issubclass(kind, IntEnum) else "no whole number of 64 bits"
