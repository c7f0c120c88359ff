"""Where a search begins: every start is allowed, and they differ."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.model_based import ModelBasedSettings
from controller.registry import cross_check
from scenarios.demo_sheets import demo_settings, tarn_moss_settings
from tools.tuning.held import consistent
from tools.tuning.search_stage import LEAST_ZONE_PCT, model_starts
from tools.tuning.space import space_of


@pytest.mark.parametrize(
    "base", [ModelBasedSettings(), demo_settings("model_based"), tarn_moss_settings("model_based")]
)
def test_the_starts_of_the_model_based_law_are_allowed_and_differ(base: ModelBasedSettings) -> None:
    starts = model_starts(base)
    assert len({start.name for start in starts}) == len(starts)
    space = space_of("model_based", base, [start.settings for start in starts])
    assert len({tuple(space.vector(start.settings)) for start in starts}) == len(starts)
    for start in starts:
        assert cross_check(start.settings) == [], start.name
        assert consistent(start.settings).model == start.settings.model, start.name
        assert start.settings.common.capacity.drive.neutral_zone_pct >= LEAST_ZONE_PCT


def test_a_start_that_turns_earlier_still_goes_on_more_easily_than_it_turns() -> None:
    base = ModelBasedSettings()
    wide = replace(base, model=replace(base.model, hold_zone_kpa=base.model.turn_zone_kpa))
    assert all(s.settings.model.turn_zone_kpa >= s.settings.model.hold_zone_kpa for s in model_starts(wide))
