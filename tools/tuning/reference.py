"""How far a search may go from where it begins, the same for the controller and its rival.

Left alone, a multi-objective search spends many of its trials on ends of the front that nobody would choose: a pressure
that is let go for the sake of a slide that never moves, or a slide that never rests.  So both searches are limited to
FACTOR times the pressure deviation and FACTOR times the wear of the two sheets that they begin with, whichever is the
worse of the two.  A candidate beyond is stopped as soon as that is certain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tools.tuning.cases import Bench, CaseSet
from tools.tuning.trials import contribution, objectives_of

FACTOR = 2.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class Limits:
    """Most that pressure RMS and wear may be; None where a sheet to begin with fails a case and says nothing."""

    most_rms_kpa: float | None = None
    most_wear_per_h: float | None = None


def base_objectives(cases: CaseSet) -> tuple[float, float] | None:
    """Pressure RMS, kPa, and wear, 1/h, of a set's own base settings on all of its cases; None where one fails."""
    bench = Bench(cases)
    figures = [bench.play(case, cases.base) for case in bench.cases]
    if any(f.failures for f in figures):
        return None
    pressure, wear, *_ = objectives_of(np.array([contribution(f) for f in figures]))
    return pressure, wear


def limits_of(found: Sequence[tuple[float, float] | None]) -> Limits:
    """The limits that `base_objectives` of every set give."""
    known = [pair for pair in found if pair is not None]
    if len(known) < len(found) or not known:
        return Limits()
    worst = np.max(known, axis=0)
    return Limits(*(float(f"{FACTOR * v:.3g}") if v > 0.0 else None for v in worst))
