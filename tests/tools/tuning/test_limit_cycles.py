"""Predicted limit cycles against reference §5: harmonic balance within its own error, exact forms exactly.

The exact and simulated values are the reference's (b); those with backlash are simulated here once more, independently.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tools.tuning.describing_functions import Backlash, Relay
from tools.tuning.limit_cycles import (
    dead_band_without_cycle,
    on_off_cycle,
    predicted_cycles,
    relay_cycle,
    settling_cycle,
)
from tools.tuning.linear_process import LinearProcess, PiSettings, first_order, integrator
from tools.tuning.rules import ultimate_point

UNIT = integrator(1.0, 1.0)
Step = Callable[[float, float], float]


def simulate(step: Step, seconds: float, dt: float = 0.002) -> tuple[float, float]:
    """(amplitude, period) of an integrator with dead time 1 s over the last half; period 0 where it stands still.

    step(pressure, dt) is the input; the loop starts 3 kPa off.
    """
    line, y, late = [0.0] * round(1.0 / dt), 3.0, []
    steps = round(seconds / dt)
    for k in range(steps):
        slot = k % len(line)
        y += dt * line[slot]
        line[slot] = step(y, dt)
        if 2 * k > steps:
            late.append(y)
    late_y = np.array(late)
    middle = late_y - 0.5 * (late_y.max() + late_y.min())
    up = np.flatnonzero((middle[:-1] <= 0.0) & (middle[1:] > 0.0))
    amplitude = 0.5 * float(late_y.max() - late_y.min())
    return (amplitude, float(np.diff(up).mean()) * dt) if len(up) > 1 and amplitude > 0.05 else (0.0, 0.0)


def backlash_loop(gain: float, integral_s: float) -> Step:
    place, integral = [0.0], [0.0]

    def step(y: float, dt: float) -> float:
        integral[0] += y * dt / integral_s if integral_s else 0.0
        u = -gain * (y + integral[0])
        place[0] = min(u + 1.0, max(u - 1.0, place[0]))
        return place[0]

    return step


def test_ideal_relay() -> None:
    (cycle,) = predicted_cycles(UNIT, None, Relay())
    assert cycle.stable
    assert (cycle.pressure_amplitude_kpa, cycle.period_s) == pytest.approx((0.8106, 4.000), rel=1e-3)
    exact = relay_cycle(UNIT, 1.0)
    assert (exact.high_kpa, exact.period_s) == (1.0, 4.0)
    assert cycle.pressure_amplitude_kpa == pytest.approx(exact.high_kpa, rel=0.20)


def test_relay_with_hysteresis() -> None:
    (cycle,) = predicted_cycles(UNIT, None, Relay(hysteresis=1.0))
    assert cycle.stable
    assert (cycle.pressure_amplitude_kpa, cycle.period_s) == pytest.approx((1.507, 7.435), rel=1e-3)
    exact = on_off_cycle(1.0, 1.0, 1.0, 1.0)
    assert (exact.high_kpa, exact.period_s) == (2.0, 8.0)
    assert cycle.pressure_amplitude_kpa == pytest.approx(exact.high_kpa, rel=0.25)
    assert cycle.period_s == pytest.approx(exact.period_s, rel=0.08)


def test_on_off_with_two_rates() -> None:
    found = on_off_cycle(0.5, 1.0, 2.0, 0.5)
    assert (found.high_kpa, found.low_kpa, found.period_s) == (1.0, -1.5, 3.75)


# L/T: errors in % of the ultimate gain and period that a relay test shows (reference §5, exact forms, b)
@pytest.mark.parametrize(
    ("ratio", "gain_pct", "period_pct"),
    [
        (0.05, -18.56, -0.44), (0.1, -18.17, -0.83), (0.2, -17.39, -1.47), (0.5, -15.00, -2.75), (1.0, -10.95, -3.79),
        (2.0, -3.11, -4.44), (5.0, 13.23, -3.88), (math.inf, -18.94, 0.0),
    ],
)  # fmt: skip
def test_bias_of_a_relay_test(ratio: float, gain_pct: float, period_pct: float) -> None:
    process = integrator(1.0, 1.0) if math.isinf(ratio) else first_order(1.0, 1.0, ratio)
    cycle, true = relay_cycle(process, 1.0), ultimate_point(process)
    assert 100.0 * (4.0 / (math.pi * cycle.high_kpa) / true.gain_pct_kpa - 1.0) == pytest.approx(gain_pct, abs=0.5)
    assert 100.0 * (cycle.period_s / true.period_s - 1.0) == pytest.approx(period_pct, abs=0.5)


def test_three_positions_exactly_and_where_harmonic_balance_is_unsafe() -> None:
    """Reference trap 5: 0.405 by harmonic balance, 0.5 in truth (simulated: 0.49 cycles, 0.51 stops)."""

    def three(dead_band: float) -> Step:
        return lambda y, dt: -float(np.sign(y)) * (abs(y) > dead_band)

    assert dead_band_without_cycle(1.0, 1.0, 1.0) == 0.5
    assert predicted_cycles(UNIT, None, Relay(dead_band=0.404))
    assert not predicted_cycles(UNIT, None, Relay(dead_band=0.4055))
    assert simulate(three(0.49), 60.0)[1] > 0.0
    assert simulate(three(0.51), 60.0)[1] == 0.0


def test_of_two_cycles_of_a_dead_band_relay_the_greater_is_the_stable_one() -> None:
    small, great = predicted_cycles(UNIT, None, Relay(dead_band=0.3))
    assert (small.stable, great.stable) == (False, True)
    assert settling_cycle([small, great]) == great
    assert settling_cycle([small]) is None


# gain, Ti, predicted period and pressure amplitude, simulated ones, tolerances of the two (reference §5)
BACKLASH = [
    (0.5, 8.0, 29.99, 2.431, 33.22, 2.484, 0.12, 0.05),
    (0.5, 4.0, 18.12, 3.073, 18.43, 3.190, 0.05, 0.05),
    (0.25, 16.0, 67.7, 4.421, 83.9, 4.434, 0.25, 0.05),
]


@pytest.mark.parametrize(
    ("gain", "ti", "period", "amplitude", "true_period", "true_amplitude", "p_tol", "a_tol"), BACKLASH
)
def test_backlash_with_a_pi(
    gain: float,
    ti: float,
    period: float,
    amplitude: float,
    true_period: float,
    true_amplitude: float,
    p_tol: float,
    a_tol: float,
) -> None:
    cycle = settling_cycle(predicted_cycles(UNIT, PiSettings(gain, ti), Backlash(1.0)))
    assert cycle is not None
    assert (cycle.period_s, cycle.pressure_amplitude_kpa) == pytest.approx((period, amplitude), rel=1e-3)
    assert cycle.period_s == pytest.approx(true_period, rel=p_tol)
    assert cycle.pressure_amplitude_kpa == pytest.approx(true_amplitude, rel=a_tol)
    seen_amplitude, seen_period = simulate(backlash_loop(gain, ti), 600.0, 0.005)
    assert (seen_period, seen_amplitude) == pytest.approx((true_period, true_amplitude), rel=0.02)


def test_backlash_without_an_integral_settles() -> None:
    assert predicted_cycles(UNIT, PiSettings(0.5, 0.0), Backlash(1.0)) == []
    assert simulate(backlash_loop(0.5, 0.0), 200.0)[1] == 0.0


@given(st.floats(0.05, 20.0), st.floats(0.1, 30.0))
@settings(max_examples=25, deadline=None)
def test_amplitude_grows_with_the_gap_and_period_with_the_dead_time(gap: float, scale: float) -> None:
    (one,) = predicted_cycles(UNIT, PiSettings(0.5, 8.0), Backlash(1.0))
    (other,) = predicted_cycles(integrator(1.0 / scale, scale), PiSettings(0.5, 8.0 * scale), Backlash(gap))
    assert other.pressure_amplitude_kpa == pytest.approx(gap * one.pressure_amplitude_kpa, rel=1e-6)
    assert other.period_s == pytest.approx(scale * one.period_s, rel=1e-6)


def test_what_is_not_known_exactly_is_refused() -> None:
    with pytest.raises(ValueError, match="known exactly"):
        relay_cycle(LinearProcess(1.0, True, 1.0, (2.0,)), 1.0)
