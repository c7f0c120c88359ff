"""Numbers as text: one minus sign, and none before a zero."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.score_records import fixed_text, number_text


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-2.345, 1, "−2.3"), (-0.04, 1, "0.0"), (0.04, 2, "0.04"), (-0.0, 0, "0"), (12.0, 2, "12.00"), (-10.0, 0, "−10")],
)
def test_fixed_decimals(value: float, decimals: int, text: str) -> None:
    assert fixed_text(value, decimals) == text


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_no_number_has_a_hyphen(value: float, decimals: int) -> None:
    for text in (fixed_text(value, decimals), number_text(value)):
        assert "-" not in text
        assert text.startswith("−") == (float(text.replace("−", "-")) < 0.0)
    assert float(fixed_text(value, decimals).replace("−", "-")) == pytest.approx(value, abs=0.501 * 10.0**-decimals)
