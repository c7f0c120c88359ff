"""Tables and their inverse."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.slide_curve import Curve, curve_at, curve_position_pct, rising

CURVE: Curve = (1.3, 1.41, 1.55, 1.73, 1.96, 2.27, 2.68, 3.22, 3.98, 5.0, 6.2)


@given(st.floats(0.0, 100.0))
def test_the_inverse_comes_back(position_pct: float) -> None:
    assert curve_position_pct(CURVE, curve_at(CURVE, position_pct)) == pytest.approx(position_pct, abs=1e-9)


@pytest.mark.parametrize(
    ("position_pct", "value"), [(-5.0, 1.3), (0.0, 1.3), (55.0, 2.475), (100.0, 6.2), (130.0, 6.2)]
)
def test_points_and_ends(position_pct: float, value: float) -> None:
    assert curve_at(CURVE, position_pct) == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(("value", "position_pct"), [(0.0, 0.0), (9.0, 100.0), (float("nan"), 0.0)])
def test_values_outside_the_table_stop_at_its_ends(value: float, position_pct: float) -> None:
    assert curve_position_pct(CURVE, value) == position_pct


def test_a_flat_piece_is_not_rising_and_does_not_divide_by_zero() -> None:
    flat: Curve = (1.0, 1.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0, 2.0, 3.0)
    assert rising(CURVE)
    assert not rising(flat)
    assert curve_position_pct(flat, 2.0) == 50.0
