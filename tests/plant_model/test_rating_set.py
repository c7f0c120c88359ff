"""Rating sets: the published arithmetic, and a plant that follows a set at full load and its slides below it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numba import njit

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state
from plant_model.parameters import PlantParameters
from plant_model.plant import step
from plant_model.properties import load_refrigerant, saturation_pressure_pa
from plant_model.rating_set import (
    RatingScale,
    RatingSetParameters,
    RatingState,
    RatingUnits,
    full_load,
    rated_mass_flow_kg_s,
    rated_power_w,
    rating_factors,
    rating_polynomial,
    rating_scale,
)
from plant_model.state import Actuators, Disturbances
from scenarios.records import to_array

# source: published checks section 8, a public academic code example (°F, lb/h and W)
M = (217.3163128, 5.094492028, -0.593170311, 4.38e-2, -2.14e-2, 1.04e-2, 7.90e-5, -5.73e-5, 1.79e-4, -8.08e-5)
W = (
    -561.3615705, -15.62601841, 46.92506685, -0.217949552, 0.435062616, -0.442400826, 2.25e-4, 2.37e-3, -3.32e-3,
    2.50e-3,
)  # fmt: skip
EXAMPLE = RatingSetParameters(units=RatingUnits.FAHRENHEIT_LB_H, mass_flow=M, power=W)


def _kelvin(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8 + 273.15


def test_order_of_the_terms() -> None:
    # source: published checks section 8, order probe at S = 2, D = 3
    expected = (1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 8.0, 12.0, 18.0, 27.0)
    for i, term in enumerate(expected):
        assert rating_polynomial([1.0 if k == i else 0.0 for k in range(10)], 2.0, 3.0) == term


@pytest.mark.parametrize(("s", "d", "lb_h", "w"), [(45, 130, 459.44786, 3074.9664), (20, 105, 288.32207, 2265.5751)])
def test_worked_values(s: float, d: float, lb_h: float, w: float) -> None:
    """Published checks section 8, relative tolerance 1e-6 (the values carry eight digits)."""
    assert rating_polynomial(M, s, d) == pytest.approx(lb_h, rel=1.0e-6)
    assert rating_polynomial(W, s, d) == pytest.approx(w, rel=1.0e-6)
    assert rated_mass_flow_kg_s(EXAMPLE, _kelvin(s), _kelvin(d)) == pytest.approx(lb_h * 0.45359237 / 3600.0, rel=1e-6)
    assert rated_power_w(EXAMPLE, _kelvin(s), _kelvin(d)) == pytest.approx(w, rel=1.0e-6)


def test_worked_mass_flow_in_si() -> None:
    # source: as above, 0.0578895 kg/s at 45/130 °F
    assert rated_mass_flow_kg_s(EXAMPLE, _kelvin(45.0), _kelvin(130.0)) == pytest.approx(0.0578895, rel=1.0e-6)


def _set_for_the_demo_machine(share: float = 1.06) -> RatingSetParameters:
    """An invented sheet: the computed machine 6 % larger, fitted with ten terms in °C, kg/h and W."""
    plant = PlantParameters()
    bare = RatingSetParameters()
    r717 = load_refrigerant("R717")
    curves = derive(plant, "R717", 100).curves
    rows, flows, powers = [], [], []
    for s_c in np.linspace(-30.0, 5.0, 8):
        for d_c in np.linspace(20.0, 45.0, 8):
            c = full_load(plant.machine, r717, curves, bare, s_c + 273.15, d_c + 273.15)
            rows.append([1, s_c, d_c, s_c**2, s_c * d_c, d_c**2, s_c**3, d_c * s_c**2, s_c * d_c**2, d_c**3])
            flows.append(share * c.mass_flow_kg_s * 3600.0)
            powers.append(share * c.shaft_power_w)
    m, w = (np.linalg.lstsq(np.array(rows), np.array(y), rcond=None)[0] for y in (flows, powers))
    return replace(bare, use=True, mass_flow=tuple(map(float, m)), power=tuple(map(float, w)))


@pytest.fixture(scope="module")
def rated() -> Parameters:
    return derive(replace(PlantParameters(), rating=_set_for_the_demo_machine()), "R717", 100)


@given(s_c=st.floats(-30.0, 5.0), d_c=st.floats(20.0, 45.0))
def test_full_load_is_the_sets(rated: Parameters, s_c: float, d_c: float) -> None:
    """Within 0.1 %: what the grid's interpolation costs; exact on its points, below."""
    r = rated.plant.rating
    out = RatingState()
    rating_factors(rated.rating, s_c + 273.15, d_c + 273.15, out)
    computed = full_load(rated.plant.machine, rated.refrigerant, rated.curves, r, s_c + 273.15, d_c + 273.15)
    flow_kg_s = out.mass_flow_factor * computed.mass_flow_kg_s
    assert flow_kg_s == pytest.approx(rated_mass_flow_kg_s(r, s_c + 273.15, d_c + 273.15), rel=1.0e-3)
    power_w = out.power_factor * computed.shaft_power_w
    assert power_w == pytest.approx(rated_power_w(r, s_c + 273.15, d_c + 273.15), rel=1.0e-3)


def test_on_the_grid_the_set_is_met_exactly(rated: Parameters) -> None:
    r, out = rated.plant.rating, RatingState()
    s_k, d_k = r.suction_low_k + 5 * (r.suction_high_k - r.suction_low_k) / 16, r.discharge_high_k
    rating_factors(rated.rating, s_k, d_k, out)
    computed = full_load(rated.plant.machine, rated.refrigerant, rated.curves, r, s_k, d_k)
    assert out.mass_flow_factor * computed.mass_flow_kg_s == pytest.approx(rated_mass_flow_kg_s(r, s_k, d_k), rel=1e-9)
    assert out.power_factor * computed.shaft_power_w == pytest.approx(rated_power_w(r, s_k, d_k), rel=1e-9)


def test_a_running_plant_follows_the_set_and_its_slides(rated: Parameters, p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3)
    suction_pa, discharge_pa = (saturation_pressure_pa(p.refrigerant, t) for t in (263.15, 308.15))
    for travel in (1.0, 0.5):
        own = running_state(p, d, suction_pa, discharge_pa, travel, 0.6).compression
        set_ = running_state(rated, d, suction_pa, discharge_pa, travel, 0.6).compression
        assert set_.mass_flow_kg_s == pytest.approx(1.06 * own.mass_flow_kg_s, rel=0.01)
        assert set_.shaft_power_w == pytest.approx(1.06 * own.shaft_power_w, rel=0.02)
        assert set_.volume_ratio == own.volume_ratio


def test_it_runs_and_says_when_it_is_out_of_its_range(rated: Parameters) -> None:
    d, a = Disturbances(load_heat_w=300.0e3), Actuators(motor_run=True, oil_pump=True)
    s = running_state(rated, d, 290.64e3)
    for _ in range(50):
        assert step(rated, s, d, a, 100) == 0
    assert s.rating.outside is False
    cold = running_state(rated, Disturbances(load_heat_w=150.0e3), 100.0e3, 1.2e6)
    assert cold.rating.outside is True


def test_outside_its_range_the_border_holds(rated: Parameters) -> None:
    r, at, beyond = rated.plant.rating, RatingState(), RatingState()
    rating_factors(rated.rating, r.suction_low_k, r.discharge_high_k, at)
    rating_factors(rated.rating, r.suction_low_k - 20.0, r.discharge_high_k + 20.0, beyond)
    assert (beyond.mass_flow_factor, beyond.power_factor) == (at.mass_flow_factor, at.power_factor)
    assert beyond.outside is True
    assert at.outside is False


def test_off_it_changes_nothing(p: Parameters) -> None:
    assert set(p.rating.mass_flow) == set(p.rating.power) == {1.0}
    assert running_state(p, Disturbances(), 290.64e3).rating == RatingState()


def test_sets_that_cannot_be_are_refused_in_words(p: Parameters) -> None:
    with pytest.raises(ValueError, match="low end"):
        RatingSetParameters(suction_low_k=280.0)
    with pytest.raises(ValueError, match="above suction"):
        RatingSetParameters(discharge_low_k=240.0)
    beyond = replace(_set_for_the_demo_machine(), suction_low_k=160.0)
    with pytest.raises(ValueError, match=r"border of the rating set|check coefficients"):
        rating_scale(beyond, p.plant.machine, p.refrigerant, p.curves)
    with pytest.raises(ValueError, match="check coefficients"):
        rating_scale(RatingSetParameters(use=True), p.plant.machine, p.refrigerant, p.curves)


@njit  # type: ignore[untyped-decorator]
def _compiled(scale: Any, s_k: Any, d_k: Any, out: Any) -> None:
    rating_factors(scale[0], s_k, d_k, out[0])


def test_compiled_equals_interpreted(rated: Parameters) -> None:
    scale, out = to_array(rated.rating), to_array(RatingState())
    assert isinstance(rated.rating, RatingScale)
    for s_k, d_k in ((250.3, 301.7), (200.0, 400.0), (278.15, 318.15)):
        own = RatingState()
        rating_factors(rated.rating, s_k, d_k, own)
        _compiled(scale, s_k, d_k, out)
        assert (out[0]["mass_flow_factor"], out[0]["power_factor"]) == (own.mass_flow_factor, own.power_factor)
