"""The bump against the map, and the fit on records whose process is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.bump_test import apart, bump_test, fit_record, process_trace
from tools.tuning.linear_process import LinearProcess
from tools.tuning.linearisation import Direction, steady_point
from tools.tuning.operating_map import MapPoint, map_point

CAPACITY = demo_settings("scheduled_pi").common.capacity
TIME_S = np.arange(0.0, 60.0, 0.1)
RAMP_PCT = np.clip((TIME_S - 2.0) / 2.0, 0.0, 1.0) * 4.0


@pytest.fixture(scope="module")
def p() -> Parameters:
    return derive(PlantParameters(), "R717")


def the_point(p: Parameters, travel_frac: float, direction: Direction) -> MapPoint:
    return map_point(steady_point(p, travel_frac, 290.64e3, 1350.0e3), direction, CAPACITY)


@pytest.mark.parametrize("travel_frac", [0.05, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("direction", list(Direction))
def test_the_bump_agrees_with_the_straight_lines(p: Parameters, travel_frac: float, direction: Direction) -> None:
    """Gain, time constant, slope and response at −180° within 10 %; measured 7 % at most for a bump of 4 %."""
    found = bump_test(the_point(p, travel_frac, direction))
    assert found.agrees, found.against_linear
    assert found.trace_error_frac < 0.06
    assert abs(found.bump_pct) == pytest.approx(4.0, abs=0.3)
    assert np.sign(found.bump_pct) == (1.0 if direction is Direction.FALLING else -1.0)
    # a step and a frequency band fit a first order differently, where the plant is none; where the margin is they meet
    assert found.against_map.response_frac < 0.20


def test_a_large_bump_is_flagged_because_the_plant_is_curved(p: Parameters) -> None:
    found = bump_test(the_point(p, 0.9, Direction.RISING), bump_pct=40.0)
    assert not found.agrees
    assert found.trace_error_frac > 0.1


def test_noise_does_not_change_the_answer_much(p: Parameters) -> None:
    point = the_point(p, 0.3, Direction.RISING)
    quiet, noisy = bump_test(point), bump_test(point, seed=5)
    assert noisy.fit_rms_kpa > 2.0 * quiet.fit_rms_kpa
    w = np.array([point.band_rad_s[1]])
    assert abs(noisy.process.response(w)[0] / quiet.process.response(w)[0] - 1.0) < 0.25


def test_no_room_to_move_is_refused(p: Parameters) -> None:
    with pytest.raises(ValueError, match=r"only 0\.5 % left to move"):
        bump_test(the_point(p, 0.99, Direction.FALLING))


@settings(max_examples=15, deadline=None)
@given(st.floats(0.1, 2.0), st.floats(0.2, 5.0), st.floats(1.0, 30.0))
def test_the_fit_finds_what_made_the_record(gain: float, dead_s: float, lag_s: float) -> None:
    true = LinearProcess(gain, False, dead_s, (lag_s,))
    record = process_trace(true, TIME_S, RAMP_PCT)
    form = LinearProcess(0.7 * gain, False, 1.3 * dead_s + 1.0, (1.5 * lag_s,))
    found, rms = fit_record(TIME_S, RAMP_PCT, record, form, extra_dead_time_s=1.0)
    assert rms < 1.0e-3 * gain
    assert found.gain == pytest.approx(gain, rel=0.01)
    assert found.lags_s[0] == pytest.approx(lag_s, rel=0.01)
    assert found.dead_time_s == pytest.approx(dead_s + 1.0, abs=0.02)


@pytest.mark.parametrize("integrating", [False, True])
def test_the_process_trace_is_an_integrators(integrating: bool) -> None:
    """Against scipy's Radau on the delayed ramp."""
    process = LinearProcess(0.5, integrating, 1.7, (6.0,))

    def right_hand_side(t: float, y: np.ndarray) -> list[float]:
        u = float(np.clip((t - 1.7 - 2.0) / 2.0, 0.0, 1.0)) * 4.0
        return [(u - y[0]) / 6.0, y[0]]

    exact = solve_ivp(right_hand_side, (0.0, 60.0), [0.0, 0.0], "Radau", TIME_S, rtol=1e-9, atol=1e-11, max_step=0.1)
    expected = -0.5 * exact.y[1 if integrating else 0]
    assert np.abs(process_trace(process, TIME_S, RAMP_PCT) - expected).max() < 1.0e-4 * np.abs(expected).max()


def test_apart_names_what_is_apart() -> None:
    one, other = LinearProcess(1.0, False, 2.0, (10.0,)), LinearProcess(1.05, False, 2.1, (14.0,))
    found = apart(other, one, 0.8)
    assert found.gain_frac == pytest.approx(0.05)
    assert "gain_frac" not in found.flagged
    assert {"lag_frac", "slope_frac"} <= set(found.flagged)
    mixed = apart(LinearProcess(0.1, True, 2.0), one, 0.8)
    assert np.isnan(mixed.gain_frac)
    assert mixed.slope_frac == pytest.approx(0.0)
