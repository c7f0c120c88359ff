"""The contract that every controller keeps, whoever wrote it.

A controller is three things: a settings record, a state record, and

    scan(settings, state, inputs, outputs, now_ms) -> int

called once a scan.  `now_ms` is a 32-bit millisecond counter that wraps; time passed is
`(now_ms - last_ms) & 0xFFFFFFFF`.  The scan reads settings and inputs, changes state and outputs, and returns 0; any
other value ends the run.  It reads no clock, does no I/O, draws no random number: the same records give the same answer.
State is the record and nothing else, so that a copy of it is a snapshot and a fresh one is a reset.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

TIME_MASK = 0xFFFFFFFF

Scan = Callable[[Any, Any, Any, Any, int], int]


@dataclass(frozen=True, slots=True)
class Controller:
    """A controller in the kernel subset: it runs compiled, and interpreted with the same result.

    settings_type, state_type: record dataclasses whose defaults are a usable start; scan: the kernel.
    """

    name: str
    settings_type: type
    state_type: type
    scan: Scan
    purpose: str
