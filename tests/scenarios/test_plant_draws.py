"""Draws of plants: reproducible, inside the fields, and as wide as the file says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.parameters import PlantParameters, cross_check
from scenarios.errors import InputRefused
from scenarios.known import Known
from scenarios.plant_draws import draw_plant, uncertain_values, value_at, with_value
from scenarios.plant_file import Plant, load_plant
from scenarios.preparation import known
from tests.tools.tuning.small_study import LIBRARY


def demo_plant(**uncertainty: float) -> Plant[PlantParameters]:
    k: Known = known()
    plant: Plant[PlantParameters] = load_plant(
        LIBRARY / "plants" / "harrow_ness.toml", PlantParameters, k.plant_cross_check, k.saturation_pressure_pa
    )
    return replace(plant, uncertainty=dict(uncertainty)) if uncertainty else plant


PLANT = demo_plant()


def test_the_demo_plants_uncertain_values() -> None:
    found = {v.key: (v.nominal, v.half_width) for v in uncertain_values(PLANT)}
    assert found["suction_vessel.volume"] == (5.0, pytest.approx(0.4))
    assert found["capacity_drive.load_stroke"] == (50_000.0, pytest.approx(5_000.0))
    assert len(found) == len(PLANT.uncertainty) == 4


@given(st.integers(0, 2**62), st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_a_draw_makes_sense_and_is_the_same_again(seed: int, number: int) -> None:
    drawn = draw_plant(PLANT, seed, number)
    assert cross_check(drawn) == []
    assert drawn == draw_plant(PLANT, seed, number)
    assert isinstance(drawn.capacity_drive.load_stroke_ms, int)
    for value in uncertain_values(PLANT):
        got = value_at(drawn, value.path)
        assert value.rule.low is None or got >= value.rule.low
        assert value.rule.high is None or got <= value.rule.high


def test_draw_0_is_the_files_own_plant() -> None:
    assert draw_plant(PLANT, 9, 0) == PLANT.parameters
    assert draw_plant(PLANT, 9, 1) != PLANT.parameters


def test_labels_and_seeds_are_streams_of_their_own() -> None:
    search, proof, other = draw_plant(PLANT, 1, 3), draw_plant(PLANT, 1, 3, "proof"), draw_plant(PLANT, 2, 3)
    assert len({d.suction_vessel.volume_m3 for d in (search, proof, other)}) == 3


def test_another_uncertain_value_shifts_no_other() -> None:
    one = demo_plant(**{"suction_vessel.volume": 0.4})
    two = demo_plant(**{"suction_vessel.volume": 0.4, "evaporator.conductance": 6000.0})
    for i in range(1, 5):
        a, b = draw_plant(one, 1, i), draw_plant(two, 1, i)
        assert a.suction_vessel.volume_m3 == b.suction_vessel.volume_m3
        assert a.evaporator != b.evaporator


def test_the_stated_half_width_holds_95_per_cent() -> None:
    """± is a 95 % half width: of 4000 draws 95 % ± 1.4 % (four standard errors, binomial) lie inside."""
    drawn = np.array([draw_plant(PLANT, 3, i).suction_vessel.volume_m3 for i in range(1, 4001)])
    share = float(np.mean(np.abs(drawn - 5.0) <= 0.4))
    assert share == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 4000))
    assert float(np.mean(drawn)) == pytest.approx(5.0, abs=4 * 0.4 / 1.96 / math.sqrt(4000))


def test_a_wide_one_is_held_at_the_fields_range() -> None:
    rule = next(v.rule for v in uncertain_values(PLANT) if v.key == "suction_vessel.volume")
    wide = demo_plant(**{"suction_vessel.volume": 500.0})
    drawn = [draw_plant(wide, 1, i).suction_vessel.volume_m3 for i in range(1, 30)]
    assert rule.low is not None
    assert rule.high is not None
    assert min(drawn) == rule.low
    assert max(drawn) <= rule.high


def test_contradictory_draws_are_drawn_again_and_hopeless_ones_refused() -> None:
    # feed band and high-high level contradict each other beyond about +0.2 of the band: draws there come again
    often = demo_plant(**{"suction_vessel.level_set": 0.6})
    for i in range(1, 20):
        assert cross_check(draw_plant(often, 1, i)) == []
    broken = with_value(PLANT.parameters, ("oil", "charge_kg"), 1e6)
    assert cross_check(broken)
    with pytest.raises(InputRefused, match="narrower"):
        draw_plant(replace(often, parameters=broken), 1, 1)
