"""Candidates held to what is allowed: no contradiction, Ms within its limits, and nothing changed that was allowed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.registry import SHIPPED, cross_check
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.held import MOST_SLOWER, Held, consistent, slower
from tools.tuning.map_loops import MapLoops
from tools.tuning.operating_map import Grid, operating_map
from tools.tuning.space import knobs_of, space_of

LOOPS: list[MapLoops] = []


def loops() -> MapLoops:
    if not LOOPS:
        capacity = demo_settings("scheduled_pi").common.capacity
        grid = Grid((0.05, 0.9), (3.7,), (0.4,), (263.15,))
        LOOPS.append(MapLoops.of(operating_map(derive(PlantParameters(), "R717"), capacity, grid).points))
    return LOOPS[0]


@pytest.mark.parametrize("name", sorted(SHIPPED))
@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_any_candidate_is_without_contradiction_and_holds_or_stays(name: str, data: Any) -> None:
    space = space_of(name, demo_settings(name))
    size = len(knobs_of(name))
    vector = data.draw(st.lists(st.floats(0.0, 1.0), min_size=size, max_size=size))
    bare = space.settings(vector)
    assert cross_check(consistent(bare)) == []
    held = Held(loops())
    made = held(bare)
    assert cross_check(made) == []
    assert held(made) == made, "what is allowed is left alone"
    if name == "three_position":
        assert made == consistent(bare)
        return
    nominal, spread = loops()(made)
    if not (nominal <= 1.75 and spread <= 2.0):
        assert made == consistent(bare), "what cannot be held stays as it is"
        worst = loops()(consistent(slower(bare, MOST_SLOWER, integral=True)))
        assert worst[0] > 1.74 or worst[1] > 1.99


def test_a_hot_loop_gives_way_and_no_more_than_it_must() -> None:
    hot = demo_settings("scheduled_pi")
    hot = replace(hot, pi=replace(hot.pi, proportional_band_kpa=25.0))
    made = Held(loops())(hot)
    assert replace(made, pi=hot.pi) == hot, "nothing but the law"
    assert 25.0 < made.pi.proportional_band_kpa < 25.0 * MOST_SLOWER
    nominal, spread = loops()(made)
    assert nominal <= 1.75
    assert 1.9 < spread <= 2.0
    law = demo_settings("model_based")
    quick = replace(law, model=replace(law.model, observer_time_ms=3000))
    held = Held(loops())(quick)
    assert held.model.observer_time_ms > 3000
    assert loops()(held)[1] <= 2.0


def test_a_space_shows_what_was_made_of_a_candidate() -> None:
    base = demo_settings("scheduled_pi")
    space = space_of("scheduled_pi", base, repair=Held(loops()))
    hot = replace(base, pi=replace(base.pi, proportional_band_kpa=10.0))
    vector = space.vector(hot)
    assert space.values(vector)["pi.proportional_band_kpa"] == space.settings(vector).pi.proportional_band_kpa > 10.0
    assert np.allclose(space.vector(hot), vector)
