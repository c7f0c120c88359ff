"""How far a condition stayed from coming about in a run: what leads the hunt to a requirement that nothing exercised.

A part that has no number (a state, a drive, a latch) lacks one; a comparison lacks its difference, brought to between 0
and 1, so that no number outweighs a part without one.  What must hold together adds up; of alternatives the nearer one
counts.  So a motor that runs 30 kPa below a limit is nearer to "it runs and the limit is reached" than one that stands.
"""

from __future__ import annotations

import numpy as np

from tools.verification.monitor import Monitor, NotApplicable
from tools.verification.pack import Requirement
from tools.verification.signals import Floats
from tools.verification.term import Term

_NOT_NOW = 0.1  # holds, and does not begin to hold in this scan
_AT_THE_LIMIT = 1e-6  # of a difference of nothing that is not enough: "above" at its own limit


def lack_of(monitor: Monitor, requirement: Requirement) -> float | None:
    """What a run lacks of exercising a requirement, at the scan in which it lacks least; 0 where it is exercised, None
    where the requirement does not apply."""
    try:
        only_if, when = requirement.only_if, requirement.when
        if only_if is not None and not monitor.truth(only_if).holds[0]:
            return None
        if when is None:
            return 0.0
        return float(np.min(_lack(monitor, when, True)))
    except NotApplicable:
        return None


def _lack(monitor: Monitor, term: Term, want: bool) -> Floats:
    """What each scan lacks of the term being as wanted."""
    holds = monitor.truth(term).holds
    if term.op == "not":
        return _lack(monitor, term.parts[0], not want)
    if term.op in ("defined", "previous"):
        return _lack(monitor, term.parts[0], want)
    if term.op in ("and", "or"):
        return _joined([_lack(monitor, part, want) for part in term.parts], (term.op == "and") == want)
    if term.op == "compare":
        return _of_comparison(monitor, term, want)
    if term.op in ("rise", "fall") and want:
        return np.where(holds, 0.0, _NOT_NOW + _lack(monitor, term.parts[0], term.op == "rise")[: len(holds)])
    return np.where(holds == want, 0.0, 1.0)


def _joined(lacks: list[Floats], together: bool) -> Floats:
    n = min(map(len, lacks))
    out = lacks[0][:n]
    for one in lacks[1:]:
        out = out + one[:n] if together else np.minimum(out, one[:n])
    return out


def _of_comparison(monitor: Monitor, term: Term, want: bool) -> Floats:
    truth = monitor.truth(term)
    apart = np.abs(truth.margins())
    # endless where something never happened: as far as a number can be
    share = np.where(
        np.isfinite(apart), (apart + _AT_THE_LIMIT) / (1.0 + np.where(np.isfinite(apart), apart, 0.0)), 1.0
    )
    found = np.where(truth.holds == want, 0.0, share)
    first = term.parts[0]
    if want and first.op == "duration" and term.value in (">", ">="):
        # a duration of nothing says nothing of how near its beginning was
        inner = _lack(monitor, first.parts[0], True)
        n = min(len(found), len(inner))
        found = found[:n] + np.where(found[:n] > 0.0, inner[:n], 0.0)
    return found
