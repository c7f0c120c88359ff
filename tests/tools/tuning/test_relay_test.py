"""The exact cycle against reference §5's table, an independent simulation of the relay, and the plant."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.linear_process import LinearProcess, first_order, integrator
from tools.tuning.linearisation import Direction, steady_point
from tools.tuning.operating_map import MapPoint, map_point, phase_crossover_rad_s
from tools.tuning.relay_test import LimitCycle, RelayError, analyse, fourier, process_of_cycle, read_cycle, relay_test
from tools.tuning.rules import ultimate_point

CAPACITY = demo_settings("scheduled_pi").common.capacity

# reference §5, "Relay test Ku = 4d/(pi a), FOPDT exact limit cycle", computed there with exact delay; 0.5 points
TABLE = {
    0.05: (-18.56, -0.44),
    0.1: (-18.17, -0.83),
    0.2: (-17.39, -1.47),
    0.5: (-15.00, -2.75),
    1.0: (-10.95, -3.79),
    2.0: (-3.11, -4.44),
    5.0: (13.23, -3.88),
}


def simulated_cycle(process: LinearProcess, d: float, eps: float) -> LimitCycle:
    """The relay round a lag or integrator with dead time, in exact steps of a 400th of the shorter; read as a log is."""
    dead_s = process.dead_time_s
    lag_s = math.inf if process.integrating else process.lags_s[0]
    delay = max(400, round(400.0 * dead_s / lag_s))
    step_s = dead_s / delay
    decay = math.exp(-step_s / lag_s)
    y, state = 0.0, 1.0
    states = [state] * (delay + 1)
    pressures = [0.0] * (delay + 1)
    turns = 0
    while turns < 16:
        u = -states[-delay - 1] * d  # more travel, less pressure
        y = y + process.gain * u * step_s if process.integrating else y * decay + process.gain * u * (1.0 - decay)
        if y * state < -eps:
            state = -state
            turns += 1
        states.append(state)
        pressures.append(y)
    time_s = step_s * np.arange(len(states))
    return read_cycle(time_s, np.array(states), np.array(pressures), d, eps)


@pytest.mark.parametrize("ratio", sorted(TABLE))
def test_reference_table_of_the_biased_reading(ratio: float) -> None:
    """The plain reading has the table's error; the exact solution has next to none."""
    true = first_order(1.3, 10.0, 10.0 * ratio)
    cycle = simulated_cycle(true, 2.0, 0.0)
    exact = ultimate_point(true)
    plain = cycle.describing_function
    assert 100.0 * (plain.gain_pct_kpa / exact.gain_pct_kpa - 1.0) == pytest.approx(TABLE[ratio][0], abs=0.5)
    assert 100.0 * (plain.period_s / exact.period_s - 1.0) == pytest.approx(TABLE[ratio][1], abs=0.5)
    corrected = analyse(cycle)
    assert corrected.ultimate.gain_pct_kpa == pytest.approx(exact.gain_pct_kpa, rel=0.02)
    assert corrected.ultimate.period_s == pytest.approx(exact.period_s, rel=0.01)


def test_reference_value_of_an_integrator() -> None:
    """Reference §5: the plain reading is 8/π² − 1 = −18.94 % off, the period is right; the exact solution is not off."""
    true = integrator(0.02, 5.0)
    cycle = simulated_cycle(true, 2.0, 0.0)
    exact = ultimate_point(true)
    assert cycle.describing_function.gain_pct_kpa / exact.gain_pct_kpa == pytest.approx(8.0 / math.pi**2, abs=0.005)
    assert cycle.period_s == pytest.approx(exact.period_s, rel=0.005)
    found = analyse(cycle)
    assert found.process.integrating
    assert found.ultimate.gain_pct_kpa == pytest.approx(exact.gain_pct_kpa, rel=0.01)


def test_reference_value_of_an_integrator_with_hysteresis() -> None:
    """Reference §5: kv = L = d = 1, eps = 1 has A 2.000 and P 8.000 exactly."""
    cycle = simulated_cycle(integrator(1.0, 1.0), 1.0, 1.0)
    assert (cycle.amplitude_kpa, cycle.period_s) == pytest.approx((2.0, 8.0), rel=0.01)
    found = process_of_cycle(cycle)
    assert (found.gain, found.dead_time_s) == pytest.approx((1.0, 1.0), rel=0.02)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 5.0), st.floats(1.0, 60.0), st.floats(0.05, 4.0), st.floats(0.0, 0.5))
def test_the_exact_cycle_is_solved_back(gain: float, lag_s: float, ratio: float, hysteresis: float) -> None:
    """From the closed form of the cycle (derived independently of the solver: peak, then the way to the next turn)."""
    dead_s, d = ratio * lag_s, 2.0
    eps = hysteresis * gain * d
    peak = gain * d - (gain * d - eps) * math.exp(-dead_s / lag_s)
    half_s = dead_s + lag_s * math.log((gain * d + peak) / (gain * d - eps))
    found = process_of_cycle(LimitCycle(d, eps, peak, 2.0 * half_s, dead_s, 8))
    if found.integrating:
        assert ratio < 0.15
    else:
        assert found.gain == pytest.approx(gain, rel=1.0e-4)
        assert found.lags_s[0] == pytest.approx(lag_s, rel=1.0e-4)


def test_fourier_of_whole_cycles_with_a_drift() -> None:
    time_s = np.arange(0.0, 100.0, 0.1)
    w = np.array([2.0 * np.pi / 10.0, 6.0 * np.pi / 10.0])
    signal = 3.0 + 0.02 * time_s + 2.0 * np.cos(w[0] * time_s) + 0.5 * np.sin(w[1] * time_s)
    found = fourier(time_s, signal, w, 10)
    assert found == pytest.approx(np.array([1.0, -0.25j]), abs=0.02)


@pytest.fixture(scope="module")
def p() -> Parameters:
    return derive(PlantParameters(), "R717")


def the_point(p: Parameters, travel_frac: float) -> MapPoint:
    return map_point(steady_point(p, travel_frac, 290.64e3, 1350.0e3), Direction.RISING, CAPACITY)


@pytest.mark.parametrize("travel_frac", [0.1, 0.3, 0.6, 0.9])
def test_the_plants_cycle_has_the_maps_response(p: Parameters, travel_frac: float) -> None:
    """Fundamental of the recorded travel and pressure against the linearised plant of the rising direction.

    Measured within 13 %: a cycle goes both ways, so its bulk is never quite that of one direction.
    """
    point = the_point(p, travel_frac)
    found = relay_test(point)
    mapped = point.loop_response(np.array(found.w_rad_s))
    assert abs(found.response[0] / mapped[0] - 1.0) < 0.15
    w = np.geomspace(0.01, 10.0, 1000)
    w180 = phase_crossover_rad_s(w, point.loop_response(w))
    exact_gain = 1.0 / abs(point.loop_response(np.array([w180]))[0])
    assert found.ultimate.gain_pct_kpa == pytest.approx(exact_gain, rel=0.25)
    assert found.ultimate.period_s == pytest.approx(2.0 * np.pi / w180, rel=0.15)


def test_noise_and_seeds(p: Parameters) -> None:
    point = the_point(p, 0.3)
    first, again, other = relay_test(point, seed=3), relay_test(point, seed=3), relay_test(point, seed=4)
    assert first == again
    assert first.cycle != other.cycle
    assert first.response_error_frac[1] > first.response_error_frac[0] > 0.0
    quiet = relay_test(point)
    assert first.ultimate.gain_pct_kpa == pytest.approx(quiet.ultimate.gain_pct_kpa, rel=0.25)


def test_what_cannot_be_read_is_refused(p: Parameters) -> None:
    point = the_point(p, 0.1)
    with pytest.raises(RelayError, match="meets an end stop"):
        relay_test(point, relay_pct=20.0)
    with pytest.raises(RelayError, match="whole cycles"):
        relay_test(point, hysteresis_kpa=50.0, duration_ms=60_000)
    with pytest.raises(RelayError, match="give the relay more travel"):
        process_of_cycle(LimitCycle(2.0, 0.5, 0.4, 10.0, 1.0, 8))
