"""Which point of the front is taken, by a rule that is the same for every controller and is stated in the report.

The rule is compromise programming (Zeleny 1973, recalled): the front's best value of each objective makes the ideal point,
which no candidate reaches; the candidate nearest to it is taken.  Distances are relative changes (differences of
logarithms), each times its weight, and Euclidean.  Starts are counted as they are, because none an hour is common and has
no logarithm.  Weights belong to the user: the table says what others would choose.

The rival, a step control tuned with the same budget, is chosen by this rule from its own front; neither looks at the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tools.tuning.trials import OBJECTIVES, Outcome
from tools.tuning.tuning_result import WeightRow

ENERGY_WEIGHT = 10.0  # 1 % of energy counts as 10 % of pressure or wear; common practice, no source
EQUAL = (1.0, 1.0, 1.0, ENERGY_WEIGHT)
WEIGHTS: dict[str, tuple[float, float, float, float]] = {
    "pressure, wear and starts alike": EQUAL,
    "pressure twice": (2.0, 1.0, 1.0, ENERGY_WEIGHT),
    "pressure four times": (4.0, 1.0, 1.0, ENERGY_WEIGHT),
    "wear twice": (1.0, 2.0, 1.0, ENERGY_WEIGHT),
    "wear four times": (1.0, 4.0, 1.0, ENERGY_WEIGHT),
    "energy five times": (1.0, 1.0, 1.0, 5.0 * ENERGY_WEIGHT),
    "pressure alone": (1.0, 0.0, 0.0, 0.0),
    "wear alone": (0.0, 1.0, 0.0, 0.0),
}
LEAST_WEAR_PER_H = 0.05  # a wear of nothing has no logarithm


@dataclass(frozen=True, slots=True)
class Choice:
    """The chosen trial, why, and what other weights would choose."""

    outcome: Outcome
    reason: str
    weights: tuple[WeightRow, ...]


def choose(front: Sequence[Outcome], weights: Sequence[float] = EQUAL) -> Choice:
    """Choose from a front.  ValueError for an empty one."""
    if not front:
        raise ValueError("nothing to choose from: no candidate is feasible")
    picked = nearest(front, weights)
    rows = tuple(
        WeightRow(name, tuple(w), (best := nearest(front, w)).number, best.objectives) for name, w in WEIGHTS.items()
    )
    return Choice(picked, _reason(front, picked), rows)


def nearest(front: Sequence[Outcome], weights: Sequence[float]) -> Outcome:
    """The candidate nearest to the front's ideal point; the lower number of equals."""
    places = np.array([_place(o) for o in front])
    far = (np.asarray(weights) * (places - places.min(axis=0))) ** 2
    return front[int(np.argmin(np.round(far.sum(axis=1), 12)))]


def _place(outcome: Outcome) -> tuple[float, float, float, float]:
    pressure, wear, starts, energy = outcome.objectives
    return (
        math.log(max(pressure, 1e-6)),
        math.log(max(wear, LEAST_WEAR_PER_H)),
        starts,
        math.log(max(energy, 1e-9)),
    )


def _reason(front: Sequence[Outcome], picked: Outcome) -> str:
    p, w, s, e = picked.objectives
    if len(front) == 1:
        return f"the only candidate that no other beats: pressure RMS {p:.3g} kPa, wear {w:.3g}/h"
    best = [min(o.objectives[k] for o in front) for k in range(len(OBJECTIVES))]
    return (
        f"nearest to the ideal point of {len(front)} on the front, relative changes counted alike (1 % of energy as "
        f"{ENERGY_WEIGHT:g} % of the others): pressure RMS {p:.3g} kPa (best {best[0]:.3g}), wear {w:.3g}/h (best "
        f"{best[1]:.3g}), starts {s:.2g}/h (best {best[2]:.2g}), energy {e:.5g} kWh/kWh (best {best[3]:.5g})"
    )
