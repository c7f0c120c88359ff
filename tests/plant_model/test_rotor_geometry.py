"""Rotor and slide geometry.  *Trial* values were computed in a design trial of the same equations by other code."""

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit
from scipy.integrate import quad

from plant_model.rotor_geometry import (
    EVENTS_PER_REVOLUTION,
    FLUTES,
    GATE_TEETH,
    GRID,
    RotorGeometry,
    edge_m,
    edge_overlap_m,
    flute_volume_m3,
    full_load_volume_ratio,
    measured_slide_curves,
    slide_curves,
    swept_rate_m3_rad,
    trapped_fraction_frac,
    volume_frac_at,
)
from scenarios.records import to_array

WIDEST = RotorGeometry(
    delivered_minimum_frac=0.10,
    volume_ratio_low=1.2,
    volume_ratio_high=7.0,
    closing_angle_rad=math.radians(-40.0),
)
GEOMETRIES = st.builds(
    RotorGeometry,
    main_radius_m=st.floats(0.05, 0.3),
    gate_radius_ratio=st.floats(0.9, 1.1),
    centre_distance_ratio=st.floats(1.5, 1.7),
    closing_angle_rad=st.floats(-0.66, -0.5),
    delivered_minimum_frac=st.floats(0.08, 0.3),
    volume_ratio_low=st.floats(1.1, 2.0),
    volume_ratio_high=st.floats(3.0, 8.0),
)


def test_six_flutes_eleven_teeth_twelve_events() -> None:
    """Published checks, section 3 (Zimmern & Patel 1972, recalled): gate speed 6/11, 12 events, 710/s at 3550 1/min."""
    assert (FLUTES, GATE_TEETH, EVENTS_PER_REVOLUTION) == (6, 11, 12)
    assert EVENTS_PER_REVOLUTION * 3550 / 60 == 710
    assert WIDEST.displacement_m3 == 12 * flute_volume_m3(WIDEST, WIDEST.closing_angle_rad)


@given(GEOMETRIES, st.floats(-0.5, 0.8))
def test_the_closed_volume_is_the_integral_of_the_swept_rate(geometry: RotorGeometry, angle_rad: float) -> None:
    """theta = (11/6) phi: the gate rotor turns at 6/11 of the main rotor; scipy's quadrature is the other side."""
    swept, _ = quad(
        lambda a: swept_rate_m3_rad(geometry, a) * 11.0 / 6.0, angle_rad, geometry.end_angle_rad, epsabs=0, epsrel=1e-11
    )
    unit_m3 = geometry.main_radius_m**2 * geometry.tooth_width_m
    assert abs(flute_volume_m3(geometry, angle_rad) - swept) < 1e-10 * unit_m3


def test_the_trials_capacity_curve() -> None:
    """Trial, phi_close −40°, A = 1.6 R1, R2 = R1, equal steps of travel; c from 0.10, no leakage."""
    curves = slide_curves(WIDEST, 0.0)
    trial = [0.10, 0.165, 0.249, 0.349, 0.46, 0.576, 0.689, 0.792, 0.879, 0.949, 1.0]
    found = [trapped_fraction_frac(curves, i / 10) for i in range(11)]
    assert found == pytest.approx(trial, abs=6e-4)
    steps = np.diff(found)
    assert max(steps) / min(steps) == pytest.approx(2.3, abs=0.05)


def test_the_trials_volume_ratio_curve() -> None:
    """Trial, as above; to the digits given."""
    curves = slide_curves(WIDEST, 0.0)
    trial = [1.2, 1.3, 1.43, 1.6, 1.83, 2.14, 2.56, 3.14, 3.96, 5.17, 7.0]
    assert [full_load_volume_ratio(curves, i / 10) for i in range(11)] == pytest.approx(trial, abs=6e-3)


def test_the_trials_share_of_open_path() -> None:
    """Trial: the port opens before the flute is sealed in 33–40 % of the travel square; c_min there 0.14–0.17."""
    curves = slide_curves(WIDEST, 0.06)
    assert 0.14 < curves.trapped_frac[0] < 0.17
    travel = np.linspace(0.0, 1.0, 61)
    share = np.mean([edge_overlap_m(curves, float(a), float(b)) > 0.0 for a in travel for b in travel])
    assert 0.33 < share < 0.40


@settings(max_examples=40, deadline=None)
@given(GEOMETRIES, st.floats(0.0, 0.1))
def test_curves_rise_reach_their_ends_and_follow_the_geometry(geometry: RotorGeometry, leakage_frac: float) -> None:
    curves = slide_curves(geometry, leakage_frac)
    smallest = geometry.delivered_minimum_frac + leakage_frac * (1.0 - geometry.delivered_minimum_frac)
    travel = np.linspace(0.0, 1.0, 257)
    trapped = [trapped_fraction_frac(curves, float(t)) for t in travel]
    ratio = [full_load_volume_ratio(curves, float(t)) for t in travel]
    assert trapped[0] == pytest.approx(smallest, rel=1e-9)
    assert trapped[-1] == pytest.approx(1.0, rel=1e-12)
    assert ratio[0] == pytest.approx(geometry.volume_ratio_low, rel=1e-9)
    assert ratio[-1] == pytest.approx(geometry.volume_ratio_high, rel=1e-9)
    assert np.all(np.diff(trapped) > 0.0)
    assert np.all(np.diff(ratio) > 0.0)
    low_m, high_m = edge_m(geometry, smallest), edge_m(geometry, 1.0)
    exact = [volume_frac_at(geometry, low_m + (high_m - low_m) * float(t)) for t in travel]
    assert trapped == pytest.approx(exact, abs=2e-6)
    low_m, high_m = edge_m(geometry, 1 / geometry.volume_ratio_low), edge_m(geometry, 1 / geometry.volume_ratio_high)
    exact = [1.0 / volume_frac_at(geometry, low_m + (high_m - low_m) * float(t)) for t in travel]
    assert ratio == pytest.approx(exact, rel=2e-5)


@settings(max_examples=60, deadline=None)
@given(st.floats(-0.5, 1.5), st.floats(-0.5, 1.5))
def test_edges_overlap_exactly_where_the_volume_ratio_is_below_one(capacity: float, ratio: float) -> None:
    curves = slide_curves(WIDEST, 0.05)
    seen = trapped_fraction_frac(curves, capacity) * full_load_volume_ratio(curves, ratio)
    if abs(seen - 1.0) > 1e-4:
        assert (edge_overlap_m(curves, capacity, ratio) > 0.0) == (seen < 1.0)
    assert curves.trapped_frac[0] <= trapped_fraction_frac(curves, capacity) <= 1.0
    assert 1.2 - 1e-9 <= full_load_volume_ratio(curves, ratio) <= 7.0 + 1e-9


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"centre_distance_ratio": 2.2}, "centre_distance_ratio 2.2"),
        ({"closing_angle_rad": -1.2}, "closing_angle_rad -1.2"),
        ({"volume_ratio_low": 6.5}, "need 1 < low < high"),
    ],
)
def test_impossible_rotors_are_refused(change: dict[str, float], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        RotorGeometry(**change)


def test_measured_tables_are_followed() -> None:
    trapped = [(0.0, 0.15), (0.3, 0.42), (0.6, 0.71), (1.0, 1.0)]
    ratio = [(0.0, 1.4), (0.5, 2.2), (1.0, 5.0)]
    curves = measured_slide_curves(WIDEST, trapped, ratio)
    for travel, value in trapped:
        assert trapped_fraction_frac(curves, travel) == pytest.approx(value, abs=2e-4)
    for travel, value in ratio:
        assert full_load_volume_ratio(curves, travel) == pytest.approx(value, abs=2e-3)
    fine = [trapped_fraction_frac(curves, i / 500) for i in range(501)]
    assert np.all(np.diff(fine) > 0.0)
    assert (curves.volume_ratio_low, curves.volume_ratio_high) == pytest.approx((1.4, 5.0))
    assert edge_overlap_m(curves, 0.0, 0.0) > 0.0
    assert edge_overlap_m(curves, 1.0, 0.0) == 0.0


GOOD = [(0.0, 0.2), (0.5, 0.6), (1.0, 1.0)]


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ([(0.0, 0.2), (0.5, 0.6), (0.4, 0.7), (1.0, 1.0)], r"row 2: travel 0\.4 does not rise above 0\.5"),
        ([(0.0, 0.2), (0.5, 0.6), (0.7, 0.55), (1.0, 1.0)], r"row 2: 0\.55 does not rise above 0\.6"),
        ([(0.1, 0.2), (0.5, 0.6), (1.0, 1.0)], r"row 0: travel 0\.1; the table must run from 0 to 1"),
        ([(0.0, 0.2), (0.5, 0.6), (0.9, 1.0)], r"row 2: travel 0\.9"),
        ([(0.0, 0.2), (0.5, math.nan), (1.0, 1.0)], r"row 1: .*not a pair of finite"),
        ([(0.0, 0.2), (0.5, 1.6), (1.0, 1.7)], r"row 1: 1\.6 is outside"),
        ([(0.0, 0.2), (0.5, 0.6), (1.0, 0.9)], r"row 2: 0\.9; full travel must trap 1"),
        ([(0.0, 0.2), (1.0, 1.0)], r"2 rows; at least 3"),
    ],
)
def test_bad_measured_tables_name_row_and_value(rows: list[tuple[float, float]], text: str) -> None:
    with pytest.raises(ValueError, match="trapped fraction.*" + text):
        measured_slide_curves(WIDEST, rows, [(0.0, 1.3), (0.5, 2.0), (1.0, 5.0)])
    with pytest.raises(ValueError, match=r"volume ratio, row 1: 1 does not rise"):
        measured_slide_curves(WIDEST, GOOD, [(0.0, 1.3), (0.5, 1.0), (1.0, 5.0)])


def test_compiled_equals_interpreted_bit_for_bit() -> None:
    @njit
    def compiled(c: Any, a: float, b: float, o: Any) -> None:
        o[0] = trapped_fraction_frac(c, a)
        o[1] = full_load_volume_ratio(c, b)
        o[2] = edge_overlap_m(c, a, b)

    curves = slide_curves(RotorGeometry())
    assert {len(v) for v in dataclasses.astuple(curves) if isinstance(v, tuple)} == {GRID}
    record, out = to_array(curves)[0], np.zeros(3)
    for a, b in np.random.default_rng(5).uniform(-0.1, 1.1, (500, 2)).tolist():
        compiled(record, a, b, out)
        assert out.tolist() == [
            trapped_fraction_frac(curves, a),
            full_load_volume_ratio(curves, b),
            edge_overlap_m(curves, a, b),
        ]
