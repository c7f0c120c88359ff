"""A small trace for the monitor's tests: any columns, rows at any even spacing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from controller.registry import SHIPPED
from scenarios.row import COLUMNS
from scenarios.trace import Event, Trace
from tools.verification.findings import Finding, judge
from tools.verification.monitor import Monitor, Truth
from tools.verification.pack import Requirement, Severity
from tools.verification.terms import check_truth

SETTINGS = SHIPPED["scheduled_pi"].settings_type()


def trace(rows: int, scan_ms: float = 100.0, events: Sequence[Event] = (), **columns: Any) -> Trace:
    """A trace of zeros with these columns."""
    values = {name: np.zeros(rows) for name in COLUMNS}
    values["time_ms"] = np.arange(rows) * scan_ms
    for name, data in columns.items():
        assert name in values, name
        values[name] = np.broadcast_to(np.asarray(data, dtype=np.float64), rows).copy()
    return Trace(values, list(events), {"refrigerant": "R717"})


def truth(text: str, run: Trace, settings: Any = SETTINGS) -> Truth:
    """Where a formula holds on a trace."""
    return Monitor(run, settings).truth(check_truth(text, {}))


def finding(text: str, run: Trace, when: str = "", only_if: str = "", settings: Any = SETTINGS) -> Finding:
    """What a trace says about one requirement."""
    requirement = Requirement(
        "X-1", "invented", Severity.SERVICE, check_truth(text, {}), text,
        check_truth(when, {}) if when else None, when, check_truth(only_if, {}) if only_if else None,
    )  # fmt: skip
    return judge(Monitor(run, settings), requirement)
