"""Settings of the published rules against reference §5, through the code that the command uses.

Rule constants are from memory (c): Ziegler & Nichols 1942; Åström & Hägglund, AMIGO, 2004/2006; Tyreus & Luyben 1992;
Skogestad 2003; lambda (IMC).  The values were computed from them independently (b) in the reference.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.tuning import rules
from tools.tuning.linear_process import (
    LinearProcess,
    PidSettings,
    PiSettings,
    first_order,
    half_rule,
    integrator,
    two_lags,
)

A, B = first_order(1.0, 10.0, 2.0), integrator(0.02, 5.0)
SETTINGS_TOLERANCE = 1e-4
Rule = Callable[[LinearProcess], PiSettings]

PI_ROWS = [
    (rules.ziegler_nichols_ultimate_pi, A, 3.8261, 6.2013),
    (rules.ziegler_nichols_ultimate_pi, B, 7.0686, 16.667),
    (rules.ziegler_nichols_step_pi, A, 4.5, 6.6667),
    (rules.ziegler_nichols_step_pi, B, 9.0, 16.667),
    (rules.amigo_pi, A, 1.2056, 7.7652),
    (rules.amigo_pi, B, 3.5, 67.0),
    (rules.simc_pi, A, 2.5, 10.0),
    (rules.simc_pi, B, 5.0, 40.0),
    (rules.lambda_pi, A, 1.25, 10.0),
    (rules.lambda_pi, B, 4.375, 35.0),
]
PID_ROWS = [
    (rules.ziegler_nichols_ultimate_pid, 5.1015, 3.7208, 0.9302),
    (rules.ziegler_nichols_step_pid, 6.0, 4.0, 1.0),
    (rules.tyreus_luyben_pid, 3.8299, 16.371, 1.1812),
    (rules.amigo_pid, 2.45, 5.8667, 0.9434),
]


@pytest.mark.parametrize(("rule", "process", "gain", "integral_s"), PI_ROWS)
def test_pi_rows_of_the_reference(rule: Rule, process: LinearProcess, gain: float, integral_s: float) -> None:
    found = rule(process)
    assert found.gain_pct_kpa == pytest.approx(gain, rel=SETTINGS_TOLERANCE)
    assert found.integral_s == pytest.approx(integral_s, rel=SETTINGS_TOLERANCE)


@pytest.mark.parametrize(("rule", "gain", "integral_s", "derivative_s"), PID_ROWS)
def test_pid_rows_of_the_reference(
    rule: Callable[[LinearProcess], PidSettings], gain: float, integral_s: float, derivative_s: float
) -> None:
    found = rule(A)
    assert found.gain_pct_kpa == pytest.approx(gain, rel=SETTINGS_TOLERANCE)
    assert found.integral_s == pytest.approx(integral_s, rel=SETTINGS_TOLERANCE)
    assert found.derivative_s == pytest.approx(derivative_s, rel=SETTINGS_TOLERANCE)


@pytest.mark.parametrize(("process", "gain", "period_s"), [(A, 8.5024, 7.4415), (B, 15.708, 20.0)])
def test_ultimate_points_of_the_reference(process: LinearProcess, gain: float, period_s: float) -> None:
    found = rules.ultimate_point(process)
    assert found.gain_pct_kpa == pytest.approx(gain, rel=SETTINGS_TOLERANCE)
    assert found.period_s == pytest.approx(period_s, rel=SETTINGS_TOLERANCE)


def test_tyreus_luyben_pi_of_the_ultimate_point() -> None:
    """Ku/3.22 and 2.2 Pu (Tyreus & Luyben 1992, c) of B: 15.708/3.22 and 44."""
    found = rules.tyreus_luyben_pi(B)
    assert found.gain_pct_kpa == pytest.approx(5.0 * np.pi / 3.22, rel=1e-9)
    assert found.integral_s == pytest.approx(44.0, rel=1e-9)


positive = st.floats(0.05, 50.0)


@given(positive, positive, positive, st.booleans())
def test_at_the_ultimate_point_the_response_is_minus_one(
    gain: float, lag_s: float, dead_s: float, rising: bool
) -> None:
    process = LinearProcess(gain, rising, dead_s, (lag_s, 0.3 * lag_s))
    found = rules.ultimate_point(process)
    value = found.gain_pct_kpa * process.response(np.array([2.0 * np.pi / found.period_s]))[0]
    assert value == pytest.approx(-1.0, abs=1e-7)


@given(positive, positive, positive, st.sampled_from(sorted(rules.PI_RULES)))
def test_rules_scale_with_gain_and_time(gain: float, lag_s: float, dead_s: float, name: str) -> None:
    """Twice the process gain, half the controller's; all times doubled, the integral time doubled."""
    rule = rules.PI_RULES[name]
    one = rule(first_order(gain, lag_s, dead_s))
    other = rule(first_order(2.0 * gain, 3.0 * lag_s, 3.0 * dead_s))
    assert other.gain_pct_kpa == pytest.approx(0.5 * one.gain_pct_kpa, rel=1e-9)
    assert other.integral_s == pytest.approx(3.0 * one.integral_s, rel=1e-9)


def test_half_rule_of_the_published_example() -> None:
    """1/((s + 1)(0.2 s + 1)): T = 1.1, L = 0.1 (Skogestad 2003, section 2, from memory)."""
    simple = half_rule(two_lags(1.0, 1.0, 0.2, 0.0))
    assert simple.lags_s == pytest.approx((1.1,))
    assert simple.dead_time_s == pytest.approx(0.1)
    assert rules.simc_pi(two_lags(1.0, 1.0, 0.2, 0.0)).gain_pct_kpa == pytest.approx(5.5)


def test_what_no_rule_can_answer_is_refused() -> None:
    with pytest.raises(ValueError, match="no ultimate point"):
        rules.ultimate_point(first_order(1.0, 10.0, 0.0))
    with pytest.raises(ValueError, match="dead time above 0"):
        rules.simc_pi(first_order(1.0, 10.0, 0.0))
    with pytest.raises(ValueError, match="dead time alone"):
        rules.amigo_pi(LinearProcess(1.0, False, 3.0))
