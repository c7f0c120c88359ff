"""Margins of two sheets at a point: against the map's own margins, and against what the words promise."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from plant_model.properties import saturation_temperature_k
from scenarios.demo_sheets import demo_settings
from scenarios.plant_draws import value_at, with_value
from scenarios.sheet_differences import settings_differences
from tools.tuning import sheet_effects
from tools.tuning.gain_schedule import map_margins
from tools.tuning.known_directions import expected
from tools.tuning.operating_map import Grid, operating_map
from tools.tuning.sheet_effects import LoopChange, loop_changes, why_no_loop

BASE = demo_settings("scheduled_pi")


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


@pytest.mark.usefixtures("one_point")
def test_margins_are_those_of_the_map(p: Parameters) -> None:
    """The same points through `gain_schedule.map_margins`, which another path of the room computes."""
    stiff = replace(BASE, pi=replace(BASE.pi, proportional_band_kpa=35.0))
    found = loop_changes(p, BASE, stiff)
    evaporating_k = saturation_temperature_k(p.refrigerant, 1000.0 * BASE.common.capacity.suction_set_point_kpa_abs)
    grid = Grid((0.6,), (4.0,), (p.plant.suction_vessel.level_set_frac,), (evaporating_k,))
    exact = map_margins(operating_map(p, stiff.common.capacity, grid), stiff.pi)
    assert [c.after.ms for c in found] == pytest.approx([m.ms for m in exact], rel=5e-3)
    assert [c.after.ms_spread for c in found] == pytest.approx([m.ms_spread for m in exact], rel=1e-2)


@pytest.mark.usefixtures("one_point")
def test_the_model_based_law_has_margins_too(p: Parameters) -> None:
    base = demo_settings("model_based")
    slow = replace(base, model=replace(base.model, observer_time_ms=2 * base.model.observer_time_ms))
    (difference,) = settings_differences(base, slow)
    assert "more margin" in expected(difference)
    found = loop_changes(p, base, slow)
    assert max(c.after.ms_spread for c in found) < max(c.before.ms_spread for c in found)


def test_a_step_control_has_no_loop(p: Parameters) -> None:
    step = demo_settings("three_position")
    assert "no linear loop" in why_no_loop(step)
    with pytest.raises(ValueError, match="no linear loop"):
        loop_changes(p, step, step)
