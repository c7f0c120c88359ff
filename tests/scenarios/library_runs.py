"""Runs of the library's scenarios, each made once: shared by the tests of its stories."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from controller.registry import SHIPPED
from scenarios.preparation import Prepared, prepare
from scenarios.runner import RunResult, execute
from scenarios.scenario import Scenario
from scenarios.steps import steps
from scenarios.trace import Floats, Trace

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
SCENARIOS = sorted(path.stem for path in LIBRARY.glob("*.toml"))
MINUTE_MS = 60_000
SEED_FACTORS = (1, 10)  # a story must hold for the file's seed and for ten times it

each_seed = pytest.mark.parametrize("factor", SEED_FACTORS)
each_controller = pytest.mark.parametrize("controller", SHIPPED)


@cache
def _own(name: str) -> Scenario:
    return prepare([LIBRARY / f"{name}.toml"])[0].scenario


@cache
def prepared_for(name: str, controller: str, seed_factor: int = 1) -> Prepared:
    """A scenario with the plant's own sheet for a shipped controller, its seed times a factor."""
    own = _own(name)
    assert own.sheet_path is not None
    sheet = own.sheet_path.with_name(own.sheet_path.name.replace(own.controller, controller))
    return prepare([own.path], controller=controller, settings=sheet, seed=own.seed * seed_factor)[0]


@cache
def run(name: str, controller: str, seed_factor: int = 1) -> RunResult:
    return execute(prepared_for(name, controller, seed_factor), None)


def changes(trace: Trace, column: str) -> list[tuple[int, int]]:
    """(time, new value) of each change after the first row."""
    found = steps(trace, column)
    return list(zip(found.times_ms.tolist()[1:], found.values.tolist()[1:], strict=True))


def between(trace: Trace, column: str, start_min: float, end_min: float = 1e9) -> Floats:
    """A column's rows between two minutes of the run."""
    times_min = trace["time_ms"] / MINUTE_MS
    chosen: Floats = trace[column][(times_min >= start_min) & (times_min <= end_min)]
    assert len(chosen)
    return chosen


def deviation_pa(trace: Trace, start_min: float, end_min: float = 1e9) -> Floats:
    """Suction pressure less the working set point, Pa."""
    return between(trace, "suction_pressure_pa", start_min, end_min) - between(
        trace, "suction_set_point_pa", start_min, end_min
    )


def reversals(trace: Trace, start_min: float = 0.0) -> int:
    """Turns of the capacity slide's drive from a minute on."""
    starts = [(int(t), +1) for t in steps(trace, "capacity_load").rises_ms()]
    starts += [(int(t), -1) for t in steps(trace, "capacity_unload").rises_ms()]
    way = [direction for time_ms, direction in sorted(starts) if time_ms >= start_min * MINUTE_MS]
    return int(np.count_nonzero(np.diff(way)))
