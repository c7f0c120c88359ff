"""Load response with exact dead time: identities of the field, closed forms, an independent integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tools.tuning.linear_process import LinearProcess, PiSettings, first_order, integrator, two_lags
from tools.tuning.load_response import iae_kpa_s, load_response
from tools.tuning.margins import margins
from tools.tuning.rules import ultimate_point


@pytest.mark.parametrize(
    ("process", "controller", "ie"),
    [(integrator(1.0, 1.0), PiSettings(0.5, 8.0), 16.0), (first_order(1.0, 10.0, 2.0), PiSettings(2.5, 10.0), 4.0)],
)
def test_integral_error_of_the_reference(process: LinearProcess, controller: PiSettings, ie: float) -> None:
    """Reference §5 (Åström & Hägglund, identity; values b): −16.000 and −4.000 with e = set point − measured, the
    other way round here; IAE is equal, there is no overshoot."""
    found = load_response(process, controller)
    assert found.settled
    assert found.ie_kpa_s == pytest.approx(ie, rel=1e-3)
    assert found.iae_kpa_s == pytest.approx(ie, rel=1e-3)


stretch = st.floats(0.2, 20.0)


@given(stretch, st.floats(0.1, 5.0), st.floats(0.05, 0.7), st.floats(2.0, 20.0), st.sampled_from([0, 1, 2]))
@settings(max_examples=60, deadline=None)
def test_integral_error_is_integral_time_over_gain(
    lag_s: float, dead_s: float, share: float, integral: float, kind: int
) -> None:
    process = LinearProcess(1.3, kind == 1, dead_s, (lag_s, 0.5 * lag_s) if kind == 2 else (lag_s,))
    controller = PiSettings(share * ultimate_point(process).gain_pct_kpa, integral * (dead_s + lag_s))
    assume(margins(process, controller).ms < 5.0)
    found = load_response(process, controller)
    assert found.settled
    assert found.ie_kpa_s == pytest.approx(controller.integral_s / controller.gain_pct_kpa, rel=1e-3)
    assert found.iae_kpa_s >= found.ie_kpa_s * (1.0 - 1e-6)


def test_before_the_loop_can_answer_it_is_the_open_step() -> None:
    """One lag, within the first dead time: K·(1 − e^(−t/T))."""
    found = load_response(first_order(2.0, 10.0, 3.0), PiSettings(1.0, 10.0))
    early = found.time_s <= 3.0
    assert found.error_kpa[early] == pytest.approx(-2.0 * np.expm1(-found.time_s[early] / 10.0), abs=1e-9)
    assert early.sum() > 10


def test_the_second_dead_time_of_an_integrator_has_its_closed_form() -> None:
    """kv = L = 1: e = t up to 1; then e' = 1 − Kp·((t−1) + (t−1)²/(2Ti)), integrated by hand."""
    gain, integral = 0.5, 8.0
    found = load_response(integrator(1.0, 1.0), PiSettings(gain, integral))
    part = (found.time_s > 1.0) & (found.time_s <= 2.0)
    x = found.time_s[part] - 1.0
    assert found.error_kpa[part] == pytest.approx(1.0 + x - gain * (x**2 / 2.0 + x**3 / (6.0 * integral)), abs=1e-9)


def test_without_dead_time_it_is_the_textbook_second_order() -> None:
    """K/(Ts + 1) with a PI: e = K/(T)·e^(−at)·sin(bt)/b, s² + (1 + K·Kp)/T·s + K·Kp/(T·Ti)."""
    k, lag, gain, integral = 2.0, 10.0, 3.0, 4.0
    found = load_response(first_order(k, lag, 0.0), PiSettings(gain, integral))
    a = 0.5 * (1.0 + k * gain) / lag
    b = math.sqrt(k * gain / (lag * integral) - a * a)
    expected = k / lag * np.exp(-a * found.time_s) * np.sin(b * found.time_s) / b
    assert found.error_kpa == pytest.approx(expected, abs=1e-7)
    dense = np.linspace(0.0, 60.0, 200_001)
    curve = np.abs(k / lag * np.exp(-a * dense) * np.sin(b * dense) / b)
    assert found.iae_kpa_s == pytest.approx(np.trapezoid(curve, dense), rel=1e-3)


@pytest.mark.parametrize("second_lag_s", [3.0, 0.05])
def test_two_lags_against_a_plain_integration(second_lag_s: float) -> None:
    """Euler with a buffer for the dead time, step 1 ms: agrees to its own error."""
    process, c = two_lags(1.0, 10.0, second_lag_s, 1.0), PiSettings(3.0, 6.0)
    dt, x1, x2, integral, iae, back = 1e-3, 0.0, 0.0, 0.0, 0.0, [0.0] * 1000
    for k in range(120_000):
        error, integral = x2, integral + x2 * dt
        delayed, back[k % 1000] = back[k % 1000], -c.gain_pct_kpa * (error + integral / c.integral_s)
        iae += abs(error) * dt
        x1, x2 = x1 + dt * (1.0 + delayed - x1) / 10.0, x2 + dt * (x1 - x2) / second_lag_s
    assert iae_kpa_s(process, c) == pytest.approx(iae, rel=3e-3)


def test_what_does_not_settle_has_no_finite_integral() -> None:
    ultimate = ultimate_point(integrator(1.0, 1.0)).gain_pct_kpa
    unstable = load_response(integrator(1.0, 1.0), PiSettings(1.3 * ultimate, 20.0))
    proportional = load_response(first_order(1.0, 10.0, 2.0), PiSettings(2.0, 0.0))
    for found in (unstable, proportional):
        assert not found.settled
        assert found.iae_kpa_s == found.ie_kpa_s == math.inf
    assert proportional.error_kpa[-1] == pytest.approx(1.0 / (1.0 + 2.0), rel=1e-6)  # the offset K/(1 + K·Kp)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="must be positive"):
        load_response(integrator(1.0, 1.0), PiSettings(-1.0, 8.0))
    with pytest.raises(ValueError, match="dead time alone"):
        load_response(LinearProcess(1.0, False, 1.0), PiSettings(0.3, 1.0))
