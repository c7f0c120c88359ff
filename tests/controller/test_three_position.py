"""The step law: silent inside the zone, one pulse per period outside, longer farther out, equal travel both ways."""

from __future__ import annotations

import pytest

from controller.three_position import ThreePositionSettings, ThreePositionState, step_law

SETTINGS = ThreePositionSettings()


def on_times(error_kpa: float, seconds: float = 30.0) -> tuple[float, float]:
    """Load and unload request time in ms over the seconds, at a constant error."""
    state = ThreePositionState()
    capacity = state.common.capacity
    capacity.error_kpa = error_kpa
    load = unload = 0.0
    for _ in range(round(seconds * 10)):
        step_law(SETTINGS, state, 100)
        load += 100.0 * (capacity.request > 0)
        unload += 100.0 * (capacity.request < 0)
    return load, unload


@pytest.mark.parametrize("error_kpa", [0.0, 3.9, -3.9])
def test_inside_the_zone_nothing_moves(error_kpa: float) -> None:
    assert on_times(error_kpa) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("error_kpa", "pulse_ms"), [(4.1, 800.0), (4.0 + 10.0, 2_400.0), (4.0 + 20.0, 4_000.0), (80.0, 4_000.0)]
)
def test_pulses_grow_with_the_excess_and_unloading_moves_the_same_travel(error_kpa: float, pulse_ms: float) -> None:
    load, unload = on_times(error_kpa)
    assert load == pytest.approx(2 * pulse_ms, abs=200)  # two periods
    assert unload == 0.0
    load, unload = on_times(-error_kpa)
    assert unload == pytest.approx(2 * max(pulse_ms * 25.0 / 50.0, 300.0), abs=200)
    assert load == 0.0


def test_a_pulse_ends_when_suction_has_crossed_to_the_far_side() -> None:
    state = ThreePositionState()
    capacity = state.common.capacity
    capacity.error_kpa = 40.0
    step_law(SETTINGS, state, 100)
    assert capacity.request == 1
    capacity.error_kpa = -10.0
    step_law(SETTINGS, state, 100)
    assert capacity.request == 0
