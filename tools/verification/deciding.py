"""Which comparison of a formula decides its margin at a scan: the path of min and max, followed down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tools.verification.monitor import Monitor
from tools.verification.term import Term


@dataclass(frozen=True, slots=True)
class Clause:
    """The comparison that decides a margin at a scan: its term, the scan at which it does, and the difference there."""

    term: Term
    place: int
    difference: float


def decides(monitor: Monitor, term: Term, place: int) -> Clause | None:
    """The comparison that sets the margin of `term` at a scan; None where that is a truth without a number."""
    op = term.op
    if op == "compare":
        return Clause(term, place, float(monitor.truth(term).margins()[place]) * term.parts[0].sort.scale)
    if op in ("not", "defined", "previous"):
        return decides(monitor, term.parts[0], max(0, place - 1) if op == "previous" else place)
    if op in ("and", "or"):
        margins = [monitor.truth(part).margins()[place] for part in term.parts]
        best = int(np.argmin(margins)) if op == "and" else int(np.argmax(margins))
        return decides(monitor, term.parts[best], place)
    if op in ("always", "eventually", "historically", "once"):
        low, high = monitor.window(term)
        inner = monitor.truth(term.parts[2]).margins()
        first, last = (place + low, place + high) if op in ("always", "eventually") else (place - high, place - low)
        first = max(first, 0)
        if last < first:
            return None
        part = inner[first : last + 1]
        k = int(np.argmin(part)) if op in ("always", "historically") else int(np.argmax(part))
        return decides(monitor, term.parts[2], first + k)
    if op == "until":
        return _until_decides(monitor, term, place)
    return None


def _until_decides(monitor: Monitor, term: Term, place: int) -> Clause | None:
    low, high = monitor.window(term)
    first = monitor.truth(term.parts[2]).margins()[place : place + high + 1]
    second = monitor.truth(term.parts[3]).margins()[place : place + high + 1]
    lasting = np.minimum.accumulate(first)
    k = low + int(np.argmax(np.minimum(second, lasting)[low:]))
    if second[k] <= lasting[k]:
        return decides(monitor, term.parts[3], place + k)
    return decides(monitor, term.parts[2], place + int(np.argmin(first[: k + 1])))
