"""Between which gains a scheduled PI holds its limits on Ms at each travel, with the integral time that it has.

For the picture of the schedule: what the chosen settings could have taken at each travel of the map, over its pressure
ratios, fills, suction temperatures and both ways of the pressure.  The law's gain is scaled as a whole, in steps of 6 %,
and every point is judged by itself; bounds are the outermost gains tried that hold.  There is a least gain too, because
behind an integral a slow plant swings slowly when the proportional part is small; of several ranges the highest is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from controller.scheduled_pi import ScheduledPiSettings
from tools.tuning.gain_schedule import MS_NOMINAL, MS_SPREAD, scheduled_gain_pct_kpa
from tools.tuning.map_loops import MapLoops

FACTORS = tuple(float(f) for f in np.geomspace(0.05, 6.0, 81))  # of the law's own gain


def gain_bounds(
    loops: MapLoops, settings: ScheduledPiSettings, ms_nominal: float = MS_NOMINAL, ms_spread: float = MS_SPREAD
) -> tuple[tuple[float, float, float], ...]:
    """(travel %, least and greatest gain in % per kPa) by rising travel; nan twice where no gain holds the limits.

    A range that goes on below the least gain tried begins at 0.
    """
    travels = sorted({round(float(t)) for t in loops.travel_pct})
    here = [np.round(loops.travel_pct) == t for t in travels]
    holds = np.zeros((len(travels), len(FACTORS)), dtype=bool)
    for n, factor in enumerate(FACTORS):
        law = replace(settings.pi, proportional_band_kpa=settings.pi.proportional_band_kpa / factor)
        ms, spread = loops.peaks(replace(settings, pi=law))
        good = (ms <= ms_nominal) & (spread <= ms_spread)
        holds[:, n] = [bool(good[points].all()) for points in here]
    out = []
    for k, points in enumerate(here):
        place_pct = float(loops.travel_pct[points].mean())
        least, most = highest_run(holds[k].tolist())
        gain = scheduled_gain_pct_kpa(settings.pi, place_pct)
        out.append((place_pct, gain * least, gain * most))
    return tuple(out)


def highest_run(holds: Sequence[bool]) -> tuple[float, float]:
    """The ends of the highest run of True as factors; 0 for one that begins with the first, nan without any.

    >>> [round(f / FACTORS[0], 2) for f in highest_run([True, False, True, True, False] + [False] * 76)]
    [1.13, 1.2]
    """
    top = max((n for n, good in enumerate(holds) if good), default=None)
    if top is None:
        return float("nan"), float("nan")
    bottom = top
    while bottom > 0 and holds[bottom - 1]:
        bottom -= 1
    return (0.0 if bottom == 0 else FACTORS[bottom]), FACTORS[top]
