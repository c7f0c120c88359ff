"""The optimiser behind a study: NSGA-II of pymoo, asked and told generation by generation.

Deb, Pratap, Agarwal & Meyarivan, IEEE Trans. Evol. Comput. 6, 2002.  Everything it does follows from (seed, outcomes of
earlier generations), so it is never stored: it is asked again and told again from the stored trials.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import numpy as np

from scenarios.chance import generator
from scenarios.errors import InternalError
from tools.tuning.space import Vector
from tools.tuning.trials import ENERGY_RESOLUTION, OBJECTIVES, Outcome

FAR = 1e6  # objectives of an infeasible trial: constraints decide before they are looked at
POPULATION = 20
NEIGHBOUR = 0.12  # standard deviation, of a knob's range


def first_population(starts: Sequence[Vector], size: int, knobs: int, seed: int) -> Vector:
    """The starts (the first `size` of them), then neighbours of them and a Latin hypercube, half and half: (size, knobs)."""
    chosen = [np.asarray(s, dtype=np.float64) for s in starts[:size]]
    rng = generator(seed, "first population")
    near = (size - len(chosen)) // 2 if chosen else 0
    for k in range(near):
        neighbour = chosen[k % len(starts)] + NEIGHBOUR * rng.standard_normal(knobs)
        chosen.append(np.clip(neighbour, 0.0, 1.0))
    missing = size - len(chosen)
    sample = np.empty((missing, knobs))
    for k in range(knobs):
        sample[:, k] = (rng.permutation(missing) + rng.random(missing)) / max(missing, 1)
    return np.vstack([*chosen, sample]) if chosen else sample


def ranked(outcome: Outcome) -> tuple[float, ...]:
    """Objectives as the optimiser compares them: energy in steps of its resolution, a wear of nothing as it is."""
    if not outcome.objectives:
        return (FAR,) * len(OBJECTIVES)
    pressure, wear, starts, energy = outcome.objectives
    return pressure, wear, starts, round(math.log(max(energy, 1e-9)) / ENERGY_RESOLUTION) * ENERGY_RESOLUTION


class Optimiser:
    """Ask for a generation's vectors, tell their outcomes, in turn."""

    def __init__(self, population: Vector, seed: int) -> None:
        # untyped, and 0.4 s to import: only a search waits
        nsga2: Any = import_module("pymoo.algorithms.moo.nsga2")
        problems: Any = import_module("pymoo.core.problem")
        terminations: Any = import_module("pymoo.core.termination")
        knobs = population.shape[1]
        self._algorithm: Any = nsga2.NSGA2(pop_size=len(population), sampling=population, seed=seed % 2**32)
        problem = problems.Problem(n_var=knobs, n_obj=len(OBJECTIVES), n_ieq_constr=1, xl=0.0, xu=1.0)
        self._algorithm.setup(problem, termination=terminations.NoTermination())
        self._asked: Any = None

    def ask(self) -> list[tuple[float, ...]]:
        """The next generation's vectors; empty when nothing new can be made."""
        self._asked = self._algorithm.ask()
        return [] if self._asked is None else [tuple(float(v) for v in x) for x in self._asked.get("X")]

    def tell(self, outcomes: Sequence[Outcome]) -> None:
        """The outcomes of what was last asked for, in its order."""
        asked = self._asked.get("X")
        if any(tuple(map(float, x)) != o.vector for x, o in zip(asked, outcomes, strict=True)):
            raise InternalError("the stored trials are not those that this version would ask for")
        self._asked.set("F", np.array([ranked(o) for o in outcomes]))
        self._asked.set("G", np.array([[o.violation] for o in outcomes]))
        for individual in self._asked:
            individual.evaluated.update({"F", "G"})
        self._algorithm.tell(infills=self._asked)
