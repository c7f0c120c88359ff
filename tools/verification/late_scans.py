"""Where scans that came late excuse a requirement.

A cabinet whose program is late answers late: that is its own fault, and no requirement on the logic can ask otherwise.
So a requirement is not asked in a scan that did not come, for a while after it, and where its window reaches one.  What
the lateness does to the logic afterwards (a delay counted in scans, a wait that forgets) is asked like everything else.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from tools.verification.signals import Bools

if TYPE_CHECKING:
    from scenarios.trace import Trace

SETTLES_MS = 5_000.0  # after a late scan: a trip's usual delay; common practice, no source
_SOURCE, _OVER = "late_scan", "scans come in time again"


def late_spells(trace: Trace) -> list[tuple[float, float]]:
    """Beginning and end of each spell without a scan, ms; endless where it lasts to the end of the run."""
    found: list[tuple[float, float]] = []
    begun: float | None = None
    for event in trace.events:
        if event.kind == "disturbance" and event.source == _SOURCE:
            if event.text == _OVER:
                found += [] if begun is None else [(begun, float(event.time_ms))]
                begun = None
            elif begun is None:
                begun = float(event.time_ms)
    return found if begun is None else [*found, (begun, math.inf)]


def excused(times_ms: np.ndarray, spells: list[tuple[float, float]], ahead_ms: float) -> Bools:
    """The scans in which a requirement that looks so far ahead is not asked."""
    out = np.zeros(len(times_ms), dtype=np.bool_)
    for begun_ms, over_ms in spells:
        out |= (times_ms + ahead_ms >= begun_ms) & (times_ms <= over_ms + SETTLES_MS)
    return out
