"""What a search may move: inside the fields, there and back, and never a protection."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.demo_sheets import demo_settings
from scenarios.errors import InputRefused
from scenarios.plant_draws import value_at
from tools.tuning import space as space_module
from tools.tuning.space import FIGURES, KNOBS, SET_POINT, knobs_of, rule_at, space_of

NAMES = sorted(SHIPPED)
SHARES = st.lists(st.floats(0.0, 1.0), min_size=40, max_size=40)


@pytest.mark.parametrize("name", NAMES)
def test_every_knob_is_a_number_inside_its_field(name: str) -> None:
    knobs = knobs_of(name)
    assert len({k.name for k in knobs}) == len(knobs)
    for knob in knobs:
        rule = rule_at(SHIPPED[name].settings_type, knob.path)
        assert rule.is_number
        assert rule.low is not None
        assert rule.high is not None
        assert rule.low <= knob.low < knob.high <= rule.high, knob.name
        assert not knob.log or knob.low > 0.0
        assert knob.why


@pytest.mark.parametrize("name", NAMES)
def test_no_knob_protects_the_machine(name: str) -> None:
    for knob in knobs_of(name):
        assert not any(part in knob.path for part in ("protection", "inhibit", "sequence", "calibration", "motor"))


@pytest.mark.parametrize("name", NAMES)
@given(shares=SHARES)
@settings(max_examples=40, deadline=None)
def test_vector_to_settings_and_back(name: str, shares: list[float]) -> None:
    space = space_of(name, demo_settings(name))
    vector = shares[: len(space.knobs)]
    made = space.settings(vector)
    again = space.settings(space.vector(made))
    for knob in space.knobs:
        rule = rule_at(type(made), knob.path)
        value, other = float(value_at(made, knob.path)), float(value_at(again, knob.path))
        assert value == pytest.approx(other, rel=1e-12)
        assert rule.low is not None
        assert rule.high is not None
        assert rule.low <= value <= rule.high
        assert float(f"{value:.{FIGURES}g}") == pytest.approx(value, rel=1e-9) or value in (rule.low, rule.high)
        exact = knob.value(vector[space.knobs.index(knob)])
        # three figures are half of 1 % at worst; whole milliseconds half of one
        assert value == pytest.approx(exact, rel=0.0051, abs=0.51 if rule.kind is int else 1e-9)
    assert space.contradictions(made) == CROSS_CHECKS[type(made)](made)


@pytest.mark.parametrize("name", NAMES)
def test_only_knobs_move(name: str) -> None:
    base = demo_settings(name)
    space = space_of(name, base)
    made = space.settings([0.3] * len(space.knobs))
    for knob in space.knobs:
        made = space_module.with_value(made, knob.path, value_at(base, knob.path))
    assert made == base


@pytest.mark.parametrize("name", NAMES)
def test_the_base_sheet_itself_can_be_reached(name: str) -> None:
    base = demo_settings(name)
    space = space_of(name, base)
    values = space.values(space.vector(base))
    for knob in space.knobs:
        assert values[knob.name] == pytest.approx(float(value_at(base, knob.path)), rel=0.005)


def test_a_contradiction_is_told() -> None:
    base = demo_settings("three_position")
    space = space_of("three_position", base)
    wrong = replace(base, step=replace(base.step, minimum_pulse_ms=5000, maximum_pulse_ms=500))
    assert "minimum_pulse" in space.contradictions(wrong)[0]
    assert space.contradictions(base) == []


def test_ranges_widen_to_hold_base_and_starts() -> None:
    base = demo_settings("scheduled_pi")
    slow = replace(base, pi=replace(base.pi, integral_time_ms=2_000_000))
    knob = {k.name: k for k in space_of("scheduled_pi", base, [slow]).knobs}["pi.integral_time_ms"]
    assert knob.high == 2_000_000
    narrow = {k.name: k for k in KNOBS["scheduled_pi"]}["pi.integral_time_ms"]
    assert knob.low == narrow.low


def test_the_set_point_moves_only_when_asked() -> None:
    base = demo_settings("scheduled_pi")
    assert SET_POINT not in {k.name for k in space_of("scheduled_pi", base).knobs}
    knob = {k.name: k for k in space_of("scheduled_pi", base, set_point_kpa=3.0).knobs}[SET_POINT]
    assert (knob.low, knob.high) == pytest.approx((289.2, 295.2))


def test_what_cannot_be_tuned_is_refused() -> None:
    with pytest.raises(InputRefused, match="cannot be tuned"):
        knobs_of("mine.py:Mine")
    with pytest.raises(InputRefused, match="not those of"):
        space_of("three_position", demo_settings("scheduled_pi"))


def test_a_controller_without_an_entry_gets_its_own_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(KNOBS, "scheduled_pi")
    names = {k.name for k in knobs_of("scheduled_pi")}
    assert {"pi.proportional_band_kpa", "pi.feed_forward_gain"} <= names
    assert not any(n.startswith("pi.gain_multiplier") for n in names), "a table is no knob"
    space = space_of("scheduled_pi", demo_settings("scheduled_pi"))
    rng = np.random.default_rng(1)
    assert any(not space.contradictions(space.settings(rng.random(len(space.knobs)))) for _ in range(20))
