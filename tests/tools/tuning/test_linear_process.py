"""The process record: exact dead time, reductions, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.tuning.linear_process import LinearProcess, first_order, from_slope, half_rule, integrator, same_high_end

positive = st.floats(0.01, 100.0)


@given(positive, positive, positive, positive)
def test_the_response_of_one_lag_has_the_closed_form(gain: float, lag_s: float, dead_s: float, w_rad_s: float) -> None:
    value = first_order(gain, lag_s, dead_s).response(np.array([w_rad_s]))[0]
    assert abs(value) == pytest.approx(gain / np.hypot(1.0, lag_s * w_rad_s), rel=1e-12)
    rotated = value * np.exp(1j * (dead_s * w_rad_s + np.arctan(lag_s * w_rad_s)))
    assert rotated.imag == pytest.approx(0.0, abs=1e-9 * gain)
    assert rotated.real > 0.0


def test_an_integrator_turns_a_quarter_and_its_dead_time_the_rest() -> None:
    """At w = π/(2L) the phase is −180° and the gain kv·2L/π."""
    value = integrator(0.02, 5.0).response(np.array([np.pi / 10.0]))[0]
    assert value == pytest.approx(-0.02 * 10.0 / np.pi, abs=1e-12)


@given(positive, positive, positive)
def test_taking_the_lag_for_an_integrator_keeps_the_high_end(gain: float, lag_s: float, dead_s: float) -> None:
    process = first_order(gain, lag_s, dead_s)
    w = np.array([1e4 / lag_s])
    assert abs(same_high_end(process).response(w)[0]) == pytest.approx(abs(process.response(w)[0]), rel=1e-6)


def test_half_rule_of_an_integrator_takes_half_of_the_first_lag() -> None:
    """Neglected lags 4, 2, 1 s beside an integrator: the dead time gains 4 + 2 + 1 s for the lags below the integrator
    (Skogestad 2003: half of the largest neglected lag goes to the lag kept, which an integrator does not have room for).
    """
    simple = half_rule(LinearProcess(1.0, True, 0.5, (2.0, 4.0, 1.0)))
    assert simple.integrating
    assert simple.dead_time_s == pytest.approx(0.5 + 4.0 + 2.0 + 1.0)


def test_spread_touches_gain_dead_time_and_lags_alone() -> None:
    other = LinearProcess(2.0, False, 3.0, (4.0, 1.0)).spread(1.5, 2.0, 0.5)
    assert other == LinearProcess(3.0, False, 6.0, (2.0, 0.5))


def test_what_is_no_process_is_refused() -> None:
    with pytest.raises(ValueError, match="must be positive"):
        LinearProcess(0.0, False, 1.0, (1.0,))
    with pytest.raises(ValueError, match="dead time"):
        LinearProcess(1.0, False, -1.0, (1.0,))
    with pytest.raises(ValueError, match="lags"):
        LinearProcess(1.0, False, 1.0, (float("nan"),))
    with pytest.raises(ValueError, match="reversed"):
        from_slope(0.5, True, 1.0)
    assert from_slope(-0.5, True, 1.0) == integrator(0.5, 1.0)
