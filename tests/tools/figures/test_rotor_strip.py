"""The rotor strip: to scale, and the same edges as the plant model's."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.rotor_geometry import (
    RotorGeometry,
    edge_overlap_m,
    full_load_volume_ratio,
    slide_curves,
    trapped_fraction_frac,
    volume_frac_at,
)
from tools.figures.rotor_strip import edges_at, rotor_angle_deg, strip_of

ROTOR = RotorGeometry()
CURVES = slide_curves(ROTOR, 0.06)
TRAVEL = st.floats(0.0, 1.0)


def test_the_strip_is_to_scale() -> None:
    strip = strip_of(ROTOR, CURVES)
    assert strip.pitch_mm * 6 == pytest.approx(math.pi * 250.0)  # the rotor's circumference
    # √(R2² − (A − R1)²) with a gate rotor of 125 mm and its axis 75 mm from the main rotor's surface
    assert (strip.start_mm, strip.end_mm) == (pytest.approx(-100.0), pytest.approx(100.0))
    # a tooth turns the rotor 11/6 as far as itself
    assert strip.flute_mm[-1][1] == pytest.approx(125.0 * 11 / 6 * math.acos(0.6))
    assert strip.closing_mm == pytest.approx(75.0 * math.tan(math.radians(-40.0)), abs=1e-2)
    assert strip.capacity_mm[1] == pytest.approx(strip.closing_mm)  # full load: nothing is cut off
    assert strip.capacity_mm[0] > strip.capacity_mm[1]
    assert strip.volume_ratio_mm[1] > strip.volume_ratio_mm[0]  # a higher ratio opens later
    assert strip.end_mm > strip.volume_ratio_mm[1]


@given(TRAVEL, TRAVEL)
def test_the_edges_are_those_of_the_plant_model(capacity: float, ratio: float) -> None:
    edges = edges_at(ROTOR, CURVES, capacity, ratio)
    assert edges.overlap_mm == pytest.approx(1000.0 * edge_overlap_m(CURVES, capacity, ratio), abs=1e-9)
    assert volume_frac_at(ROTOR, edges.capacity_mm / 1000.0) == pytest.approx(
        trapped_fraction_frac(CURVES, capacity), abs=1e-4
    )
    assert 1.0 / volume_frac_at(ROTOR, edges.volume_ratio_mm / 1000.0) == pytest.approx(
        full_load_volume_ratio(CURVES, ratio), rel=1e-3
    )
    assert (edges.opens_deg < edges.sealed_deg) == (edges.overlap_mm > 0.0)


@given(st.floats(-0.1, 0.1))
def test_an_angle_leads_back_to_its_place(z_m: float) -> None:
    gate_rad = math.radians(rotor_angle_deg(ROTOR, z_m)) * 6 / 11
    assert 0.075 * math.tan(gate_rad) == pytest.approx(z_m, abs=1e-12)


def test_words_and_data() -> None:
    assert "the edges overlap by" in edges_at(ROTOR, CURVES, 0.0, 0.0).in_words()
    assert "is sealed at -73°" in edges_at(ROTOR, CURVES, 1.0, 1.0).in_words()  # 11/6 of −40°
    assert edges_at(ROTOR, CURVES, 2.0, -1.0) == edges_at(ROTOR, CURVES, 1.0, 0.0)
    assert set(strip_of(ROTOR, CURVES).as_data()) > {"flute_mm", "closing_mm", "pitch_mm"}
    assert set(edges_at(ROTOR, CURVES, 0.5, 0.5).as_data()) > {"sealed_deg", "overlap_mm"}
