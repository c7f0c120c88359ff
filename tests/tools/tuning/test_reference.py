"""How far a search may go: twice what the worse of the two sheets does, and no limit where a sheet fails."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.tools.tuning.small_study import LIBRARY, small_cases
from tools.tuning.cases import Bench, CaseFigures, case_set
from tools.tuning.reference import FACTOR, Limits, base_objectives, limits_of
from tools.tuning.trials import contribution


def objectives(figures: list[CaseFigures]) -> tuple[float, float]:
    squares, wear = np.array([contribution(f)[:2] for f in figures]).mean(axis=0)
    return float(np.sqrt(squares)), float(wear)


def test_twice_the_worse_of_both(tmp_path: Path) -> None:
    sets = [small_cases(tmp_path, name) for name in ("scheduled_pi", "three_position")]
    found = limits_of([base_objectives(s) for s in sets])
    each = [objectives([Bench(s).play(case, s.base) for case in s.cases()]) for s in sets]
    assert found.most_rms_kpa == pytest.approx(FACTOR * max(e[0] for e in each), rel=0.01)
    assert found.most_wear_per_h == pytest.approx(FACTOR * max(e[1] for e in each), rel=0.01)


def test_a_sheet_that_trips_gives_no_limit(tmp_path: Path) -> None:
    base = small_cases(tmp_path).base
    cases = case_set([LIBRARY / "emergency_stop.toml"], "scheduled_pi", base, 1, 1)
    assert limits_of([base_objectives(cases)]) == Limits(None, None)
