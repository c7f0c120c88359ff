"""Viscosity of the oil: Walther's line, and the table that kernels read."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.oil_parameters import OilParameters
from plant_model.oil_viscosity import viscosity_m2_s, viscosity_ratio, viscosity_table

OIL = OilParameters()
TABLE = viscosity_table(OIL)


def test_both_points_of_the_sheet_are_met() -> None:
    assert viscosity_m2_s(OIL, 313.15) == pytest.approx(68.0e-6, rel=1.0e-12)
    assert viscosity_m2_s(OIL, 373.15) == pytest.approx(8.7e-6, rel=1.0e-12)


def test_walthers_line_in_between() -> None:
    # source: ASTM D341 (recalled): log log (v + 0.7) is a straight line over log T
    def ordinate(t_k: float) -> float:
        return math.log10(math.log10(viscosity_m2_s(OIL, t_k) * 1.0e6 + 0.7))

    share = (math.log10(340.0) - math.log10(313.15)) / (math.log10(373.15) - math.log10(313.15))
    assert ordinate(340.0) == pytest.approx(ordinate(313.15) + share * (ordinate(373.15) - ordinate(313.15)))


def test_cold_oil_is_as_thick_as_sheets_say() -> None:
    # from memory: a grade 68 oil of index 98 has about 200 mm²/s at 20 °C and 700–1100 at 0 °C; order only
    assert 160.0e-6 < viscosity_m2_s(OIL, 293.15) < 240.0e-6
    assert 500.0e-6 < viscosity_m2_s(OIL, 273.15) < 1300.0e-6


def test_the_ratio_is_one_at_the_set_point() -> None:
    assert viscosity_ratio(TABLE, OIL.set_point_k) == pytest.approx(1.0, rel=1.0e-12)


@given(st.floats(275.0, 365.0))
def test_the_table_follows_the_line(t_k: float) -> None:
    exact = viscosity_m2_s(OIL, t_k) / viscosity_m2_s(OIL, OIL.set_point_k)
    assert viscosity_ratio(TABLE, t_k) == pytest.approx(exact, rel=0.02)


@given(st.floats(100.0, 900.0), st.floats(100.0, 900.0))
def test_warmer_is_never_thicker(a_k: float, b_k: float) -> None:
    cold_k, warm_k = sorted((a_k, b_k))
    assert 0.0 < viscosity_ratio(TABLE, warm_k) <= viscosity_ratio(TABLE, cold_k) < 1.0e4


def test_an_oil_that_does_not_thin_is_refused() -> None:
    with pytest.raises(ValueError, match="not below"):
        viscosity_m2_s(replace(OIL, viscosity_at_100c_m2_s=70.0e-6), 300.0)
