"""The groups' shares: what must add up, and what a slot without a group may not have."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from plant_model.derived import derive
from plant_model.evaporator_parameters import EvaporatorParameters, evaporator_violations
from plant_model.parameters import PlantParameters, cross_check

SPARE_USED = (0.5, 0.25, 0.15, 0.1)
FOURTH = (0.4, 0.3, 0.2, 0.1)


def test_the_demo_groups_make_the_whole() -> None:
    e = EvaporatorParameters()
    assert evaporator_violations(e) == []
    # three groups of the invented hall: 60 kW/K and 0.5 MJ/K in all, each room's own time constant 7–10 s
    for i in range(3):
        tau_s = e.room_capacity_j_k * e.room_capacity_share_frac[i] / (e.conductance_w_k * e.conductance_share_frac[i])
        assert 7.0 < tau_s <= 10.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"conductance_share_frac": (0.5, 0.25, 0.2, 0.0)}, "conductance_share_frac adds up to 95 %"),
        ({"load_share_frac": (0.6, 0.3, 0.2, 0.0)}, "load_share_frac adds up to 110 %"),
        ({"room_capacity_share_frac": SPARE_USED}, "group 4 has capacity or load and no conductance"),
        ({"load_share_frac": SPARE_USED}, "group 4 has capacity or load and no conductance"),
        ({"room_capacity_share_frac": (0.5, 0.5, 0.0, 0.0)}, "group 3 has conductance and no room capacity"),
    ],
)
def test_shares_that_do_not_fit_are_named(change: dict[str, Any], words: str) -> None:
    plant = PlantParameters()
    found = cross_check(replace(plant, evaporator=replace(plant.evaporator, **change)))
    assert len(found) == 1
    assert words in found[0]


def test_one_group_and_four_groups_are_plants() -> None:
    plant = PlantParameters()
    for shares, slots in (((1.0, 0.0, 0.0, 0.0), 1), (FOURTH, 4)):
        e = replace(
            plant.evaporator, conductance_share_frac=shares, room_capacity_share_frac=shares, load_share_frac=shares
        )
        changed = replace(plant, evaporator=e)
        assert cross_check(changed) == []
        assert derive(changed, "R717", 100).derived.groups == slots


def test_fan_stages_that_would_start_below_where_they_stop_are_named() -> None:
    plant = PlantParameters()
    side = replace(plant.discharge_side, fan_stages=2, fan_on_pa=1.0e6, fan_off_pa=1.1e6)
    found = cross_check(replace(plant, discharge_side=side))
    assert len(found) == 1
    assert "on must be above off" in found[0]
