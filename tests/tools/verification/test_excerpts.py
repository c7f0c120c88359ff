"""What is kept round the moment of least margin: both sides in people's units, lanes of states, and the moment itself."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from controller.process_image import Mode, Trip
from scenarios.trace import Trace
from tests.tools.verification.bench import SETTINGS, trace
from tools.verification.excerpts import AFTER_MS, BEFORE_MS, LANES_AT_MOST, POINTS, Excerpt, excerpt
from tools.verification.findings import judge
from tools.verification.monitor import Monitor
from tools.verification.pack import Requirement, Severity
from tools.verification.terms import check_truth


def excerpt_of(text: str, run: Trace, when: str = "") -> Excerpt | None:
    requirement = Requirement(
        "X-1", "invented", Severity.SERVICE, check_truth(text, {}), text, check_truth(when, {}) if when else None, when, None
    )  # fmt: skip
    monitor = Monitor(run, SETTINGS)
    return excerpt(monitor, requirement, judge(monitor, requirement))


def kept(text: str, run: Trace, when: str = "") -> Excerpt:
    found = excerpt_of(text, run, when)
    assert found is not None
    return found


def dipping(rows: int, at: int, **more: Any) -> Trace:
    """300 kPa at every scan but one, which has 200 kPa."""
    return trace(rows, suction_pressure_pa=[200e3 if k == at else 300e3 for k in range(rows)], **more)


def test_both_sides_in_peoples_units_with_the_moment() -> None:
    found = kept("suction_pressure > 250 kPa", dipping(3000, 2000))
    assert (found.unit, found.clause, found.at_s) == ("kPa", "suction_pressure > 250 kPa", 200.0)
    assert found.time_s[0] == 200.0 - BEFORE_MS / 1000.0
    assert found.time_s[-1] == 200.0 + AFTER_MS / 1000.0
    assert found.left[found.time_s.index(200.0)] == 200.0
    assert set(found.right) == {250.0}
    assert len(found.left) == len(found.right) == len(found.time_s) <= POINTS + 2


@pytest.mark.parametrize("at", [57, 25_013, 35_871])
def test_a_single_scan_that_decides_is_never_thinned_out(at: int) -> None:
    """A window of an hour: what decides lies anywhere in it, and one scan in some 220 is drawn."""
    run = dipping(36_100, at, motor_run=np.arange(36_100) >= 50)
    found = kept("always[0 s, 3600 s] suction_pressure > 250 kPa", run, when="rise(motor_run)")
    assert found.at_s == 5.0
    assert 200.0 in found.left
    assert found.time_s[found.left.index(200.0)] == at / 10.0
    assert len(found.left) <= POINTS + 2
    assert found.time_s == sorted(set(found.time_s))


def test_what_lies_far_back_is_shown_too() -> None:
    run = dipping(9000, 1000, motor_run=np.arange(9000) >= 8000)
    found = kept("historically[0 s, 800 s] suction_pressure > 250 kPa", run, when="rise(motor_run)")
    assert found.at_s == 800.0
    assert 200.0 in found.left
    assert found.time_s[found.left.index(200.0)] == 100.0
    assert found.time_s[-1] > 800.0


def test_a_temperature_is_told_in_degrees() -> None:
    found = kept("discharge_temperature < 100 °C", trace(100, discharge_temperature_k=373.15 - 20.0))
    assert found.unit == "°C"
    assert (set(found.left), set(found.right)) == ({80.0}, {100.0})


def test_states_are_lanes_with_their_words() -> None:
    mode = [Mode.PRE_LUBRICATION] * 20 + [Mode.AUTOMATIC] * 20 + [Mode.TRIPPED] * 10
    word = (
        [0] * 40 + [1 << Trip.LOW_SUCTION_PRESSURE] * 5 + [1 << Trip.LOW_SUCTION_PRESSURE | 1 << Trip.SAFETY_CHAIN] * 5
    )
    run = trace(50, mode=mode, motor_run=[20 <= k < 40 for k in range(50)], trip_word=word)
    found = kept("motor_run implies mode == AUTOMATIC and not (SAFETY_CHAIN in trip_word)", run)
    assert (found.left, found.right, found.clause, found.unit) == ([], [], "", "")  # nothing here has a number
    assert found.lanes["mode"] == [(0.0, 2.0, "pre lubrication"), (2.0, 4.0, "automatic"), (4.0, 4.9, "tripped")]
    assert found.lanes["motor_run"] == [(0.0, 2.0, ""), (2.0, 4.0, "on"), (4.0, 4.9, "")]
    words = [lane[2].split(" + ") for lane in found.lanes["trip_word"]]
    assert words[:2] == [[""], ["low suction pressure"]]
    assert sorted(words[2]) == ["low suction pressure", "safety chain"]
    assert len(found.lanes) <= LANES_AT_MOST


def test_what_has_no_moment_has_no_excerpt() -> None:
    assert excerpt_of("motor_current < 1 A", trace(50), when="mode == TRIPPED") is None
