"""Scaling and loop health against NAMUR NE 43."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Health
from controller.scaling import clamp, loop_health, to_engineering, to_milliampere


@pytest.mark.parametrize(
    ("current_ma", "health"),
    [
        (0.0, Health.UNDER),
        (3.6, Health.UNDER),
        (3.61, Health.GOOD),
        (3.8, Health.GOOD),
        (20.5, Health.GOOD),
        (20.99, Health.GOOD),
        (21.0, Health.OVER),
        (float("nan"), Health.UNDER),
    ],
)
def test_loop_health_has_the_limits_of_ne_43(current_ma: float, health: Health) -> None:
    assert loop_health(current_ma) == health  # published_checks.md §7: failure at <= 3.6 mA or >= 21 mA


@pytest.mark.parametrize(("current_ma", "share_pct"), [(3.6, -2.5), (3.8, -1.25), (20.5, 103.125), (21.0, 106.25)])
def test_ne_43_limits_in_percent(current_ma: float, share_pct: float) -> None:
    assert to_engineering(current_ma, 0.0, 100.0) == pytest.approx(share_pct, abs=1e-12)  # published_checks.md §7


@given(st.floats(3.6, 21.0), st.floats(-100.0, 500.0), st.floats(1.0, 3000.0))
def test_scaling_comes_back(current_ma: float, low: float, span: float) -> None:
    assert to_milliampere(to_engineering(current_ma, low, low + span), low, low + span) == pytest.approx(current_ma)


def test_a_span_of_zero_does_not_divide() -> None:
    assert to_milliampere(5.0, 5.0, 5.0) == 4.0


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_clamp_always_gives_a_value_in_range(value: float) -> None:
    assert 0.0 <= clamp(value, 0.0, 100.0) <= 100.0
