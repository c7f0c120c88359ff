"""Margins of two sheets at a point: against the exact margins of the same process, and against what the words promise."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from scenarios.sheet_differences import settings_differences
from tools.tuning import sheet_effects
from tools.tuning.known_directions import expected
from tools.tuning.linear_process import LinearProcess, PiSettings
from tools.tuning.margins import margins
from tools.tuning.plant_draws import value_at, with_value
from tools.tuning.sheet_effects import LoopChange, gain_margin, loop_changes, why_no_loop

BASE = demo_settings("scheduled_pi")


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 5.0), st.floats(0.5, 10.0), st.floats(0.3, 60.0), st.floats(2.0, 60.0), st.floats(0.05, 0.6))
def test_gain_margin_is_that_of_the_exact_margins(
    gain: float, dead_s: float, lag_s: float, integral_s: float, share: float
) -> None:
    process = LinearProcess(gain, False, dead_s, (lag_s,))
    pi = PiSettings(share * lag_s / (gain * dead_s), integral_s)
    exact = margins(process, pi)
    w = np.geomspace(1.0e-4 / dead_s, 20.0 / dead_s, 3000)
    found = gain_margin(process.response(w) * pi.gain_pct_kpa * (1.0 + 1.0 / (1j * pi.integral_s * w)))
    if exact.stable and found < 40.0:  # beyond 50 the exact ones stop looking
        assert found == pytest.approx(exact.gain_margin, rel=2.0e-3)


@pytest.fixture(scope="module")
def p() -> Parameters:
    return derive(PlantParameters(), "R717")


@pytest.fixture
def one_point(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_effects, "TRAVELS_FRAC", (0.6,))
    monkeypatch.setattr(sheet_effects, "PRESSURE_RATIOS", (4.0,))


@pytest.mark.usefixtures("one_point")
@pytest.mark.parametrize(
    ("path", "factor"),
    [
        ("pi.proportional_band_kpa", 0.7),
        ("pi.integral_time_ms", 0.4),
        ("common.capacity.drive.pause_ms", 3.0),
        ("common.capacity.measurement_filter_ms", 6.0),
    ],
)
def test_words_on_margin_agree_with_the_margins(p: Parameters, path: str, factor: float) -> None:
    keys = tuple(path.split("."))
    value = value_at(BASE, keys)
    other: Any = with_value(BASE, keys, type(value)(factor * value))
    (difference,) = settings_differences(BASE, other)
    assert "less margin" in expected(difference)
    found = loop_changes(p, BASE, other)
    assert [c.direction for c in found] == ["falling", "rising"]
    worst = [max(getattr(c, side).ms for c in found) for side in ("before", "after")]
    assert worst[1] > worst[0]


@pytest.mark.usefixtures("one_point")
def test_an_unstable_sheet_says_so_and_equal_ones_are_equal(p: Parameters) -> None:
    wild = replace(BASE, pi=replace(BASE.pi, proportional_band_kpa=5.0))
    found = loop_changes(p, BASE, wild)
    assert all(c.after.ms == np.inf and c.after.gain_margin == 0.0 for c in found)
    assert all(1.0 < c.before.ms < 2.0 < c.before.gain_margin for c in found)
    same: list[LoopChange] = loop_changes(p, BASE, BASE)
    assert all(c.before == c.after for c in same)


def test_a_step_control_has_no_loop(p: Parameters) -> None:
    step = demo_settings("three_position")
    assert "step control" in why_no_loop(step)
    with pytest.raises(ValueError, match="no linear loop"):
        loop_changes(p, step, step)
