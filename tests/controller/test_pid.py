"""The velocity-form PI block against the textbook integral error."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.pid import PiState, pi_increment


@pytest.mark.parametrize(
    ("lag_s", "delay_s", "gain", "integral_ms", "expected"),
    [
        # published_checks.md §5: unit step at plant input, IE = −Ti/Kp (Åström & Hägglund); tolerance 0.1 %
        (None, 1.0, 0.5, 8_000, -16.0),  # integrating, Kp 0.5, Ti 8
        (10.0, 2.0, 2.5, 10_000, -4.0),  # first order T 10 with delay L 2, Kp 2.5, Ti 10
    ],
)
def test_integral_error_after_a_load_step_is_minus_ti_over_kp(
    lag_s: float | None, delay_s: float, gain: float, integral_ms: int, expected: float
) -> None:
    dt_ms, dt_s = 20, 0.02
    block = PiState()
    output, value, integral_error = 0.0, 0.0, 0.0
    line = [0.0] * round(delay_s / dt_s)
    for _ in range(round(400.0 / dt_s)):
        error = 0.0 - value
        integral_error += error * dt_s
        output += pi_increment(block, error, gain, integral_ms, dt_ms, 0.0)
        line.append(output + 1.0)  # unit step of load at the plant's input
        push = line.pop(0)
        value += dt_s * (push if lag_s is None else (push - value) / lag_s)
    assert abs(value) < 1e-6
    assert integral_error == pytest.approx(expected, rel=1e-3)


@given(st.lists(st.floats(-50.0, 50.0), min_size=2, max_size=40), st.floats(0.1, 5.0), st.integers(1_000, 60_000))
def test_increments_add_up_to_the_position_form(errors: list[float], gain: float, integral_ms: int) -> None:
    block = PiState()
    total = sum(pi_increment(block, e, gain, integral_ms, 100, 0.0) for e in errors)
    position = gain * (errors[-1] - errors[0]) + gain * sum(errors) * 100 / integral_ms
    assert total == pytest.approx(position, rel=1e-9, abs=1e-9)


def test_no_integral_time_means_no_integral_action() -> None:
    block = PiState()
    assert pi_increment(block, 5.0, 1.0, 0, 100, 0.0) == 0.0
    assert pi_increment(block, 7.0, 1.0, 0, 100, 0.0) == 2.0


def test_inside_the_rest_zone_the_block_rests_and_outside_only_the_excess_counts() -> None:
    block = PiState()
    assert pi_increment(block, 0.5, 2.0, 1_000, 100, 1.0) == 0.0
    assert pi_increment(block, 0.9, 2.0, 1_000, 100, 1.0) == 0.0
    assert pi_increment(block, 3.0, 2.0, 1_000, 100, 1.0) == pytest.approx(2.0 * (2.0 + 0.2))
    assert pi_increment(block, -3.0, 2.0, 1_000, 100, 1.0) == pytest.approx(2.0 * (-4.0 - 0.2))
