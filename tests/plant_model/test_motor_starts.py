"""Starts an hour: the rows of NEMA MG 10 as reproduced, and the worked check (published checks, section 6)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.motor_starts import KG_M2_PER_LB_FT2, ROWS, W_PER_HP, NoStartsRowError, starts_per_hour_limit


# source: NEMA MG 10 starts table, published checks section 6: starts/h, starts/h × lb ft², rest in s; exact
@pytest.mark.parametrize(
    ("hp", "rows"),
    [
        (100, {2: (2.6, 92, 220), 4: (5.2, 441, 110), 6: (5.9, 1181, 97)}),
        (150, {2: (2.2, 133, 320), 4: (4.5, 640, 160), 6: (5.1, 1719, 140)}),
        (200, {2: (2.0, 172, 600), 4: (4.0, 831, 300), 6: (4.5, 2238, 265)}),
        (250, {2: (1.8, 210, 1000), 4: (3.7, 1017, 500), 6: (4.2, 2744, 440)}),
    ],
)
def test_rows_of_the_table(hp: int, rows: dict[int, tuple[float, float, float]]) -> None:
    for poles, (most, product, rest) in rows.items():
        light = starts_per_hour_limit(hp * W_PER_HP, poles, 0.0)
        assert (light.starts_1_h, light.rest_s, light.row_hp) == (most, rest, hp)
        heavy = starts_per_hour_limit(hp * W_PER_HP, poles, 2000.0 * KG_M2_PER_LB_FT2)
        assert heavy.starts_1_h == pytest.approx(product / 2000.0, rel=1.0e-12)


def test_worked_check() -> None:
    # source: the same page: 25 hp, 4 poles, Wk² = 50 lb ft²: A 8.8, B 122 → 2.44 starts/h
    limit = starts_per_hour_limit(25.0 * W_PER_HP, 4, 50.0 * KG_M2_PER_LB_FT2)
    assert limit.starts_1_h == pytest.approx(2.44, rel=1.0e-12)
    assert limit.rest_s is None  # its C was not visible in the page


def test_between_rows_the_larger_motor_holds() -> None:
    assert starts_per_hour_limit(120.0 * W_PER_HP, 2, 0.0).row_hp == 150.0
    assert starts_per_hour_limit(75.0e3, 4, 0.0).row_hp == 100.0  # 75 kW is the metric 100 hp


@given(st.sampled_from(sorted(ROWS)), st.floats(0.0, 500.0), st.floats(0.0, 500.0))
def test_a_heavier_load_never_allows_more(row: tuple[float, int], a_kg_m2: float, b_kg_m2: float) -> None:
    hp, poles = row
    light, heavy = (starts_per_hour_limit(hp * W_PER_HP, poles, x).starts_1_h for x in sorted((a_kg_m2, b_kg_m2)))
    assert heavy <= light <= ROWS[row][0]


def test_motors_beyond_the_table_are_refused_in_words() -> None:
    with pytest.raises(NoStartsRowError, match="ends at 250 hp"):
        starts_per_hour_limit(220.0e3, 2, 1.0)
    with pytest.raises(NoStartsRowError, match="2, 4 and 6 poles"):
        starts_per_hour_limit(75.0e3, 8, 1.0)
    for power_w, inertia_kg_m2 in ((0.0, 1.0), (float("nan"), 1.0), (75.0e3, -1.0), (75.0e3, float("inf"))):
        with pytest.raises(ValueError, match=r"rated power|load inertia"):
            starts_per_hour_limit(power_w, 2, inertia_kg_m2)
