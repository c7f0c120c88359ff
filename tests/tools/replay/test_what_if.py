"""The event in closed loop: the sanity run brings the trip back, and what would have held does so on the true plant too."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.process_image import Trip
from tests.tools.replay.nights import BY_NAME, night
from tests.tools.replay.truth import LIBRARY, play
from tools.replay.study import Alternative, study
from tools.replay.what_if import Variant, WhatIf, in_words, judge

SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"


def test_the_tight_limit_is_what_tripped_it(tmp_path: Path) -> None:
    one = night("tight discharge", 5004)
    common = one.settings.common
    wide = replace(one.settings, common=replace(common, protection=type(common.protection)()))
    made = study(
        one.record, one.parameters, one.settings, "scheduled_pi", PLANT, SHEET, tmp_path,
        [Alternative("With the limits of the sheet", wide)], ensemble=4,
    )  # fmt: skip
    assert made.what_if is not None
    assert made.what_if.reproduced
    assert made.what_if.original.trips[0] is Trip.HIGH_DISCHARGE_PRESSURE
    assert made.what_if.variants[0].verdict == "rides through"
    again = play(BY_NAME["tight discharge"], 5004, settings=wide)
    assert again.trip is Trip.NONE  # the true plant with the same settings
    assert (tmp_path / "scenario.toml").is_file()
    assert (tmp_path / "load.csv").is_file()
    assert any("4 of 4" in line for line in made.words)


def variant(trips: list[Trip], at_s: list[float]) -> Variant:
    return Variant("x", trips, at_s)


def test_a_trip_of_another_kind_or_time_is_not_the_logged_one() -> None:
    low, high = Trip.LOW_SUCTION_PRESSURE, Trip.HIGH_DISCHARGE_PRESSURE
    assert judge(variant([low, low], [100.0, 110.0]), low, 105.0)
    assert not judge(variant([high, high], [100.0, 110.0]), low, 105.0)
    assert not judge(variant([low, low], [100.0, 110.0]), low, 2000.0)
    assert not judge(variant([], []), low, 0.0)


def test_without_the_logged_trip_nothing_is_concluded() -> None:
    lost = WhatIf(variant([Trip.NONE] * 3, [float("nan")] * 3), False, [variant([Trip.NONE], [float("nan")])])
    lines = in_words(lost, Trip.LOW_SUCTION_PRESSURE)
    assert len(lines) == 1
    assert "nothing is said of other settings" in lines[0]


@pytest.mark.parametrize(("tripped", "verdict"), [(0, "rides through"), (3, "open"), (9, "trips")])
def test_verdicts(tripped: int, verdict: str) -> None:
    trips = [Trip.LOW_SUCTION_PRESSURE] * tripped + [Trip.NONE] * (10 - tripped)
    assert variant(trips, [0.0] * 10).verdict == verdict
