"""The fit against CoolProp itself, on states that are not the fit's nodes."""

import math
from typing import Any

import numpy as np
import pytest

from plant_model.properties import (
    Saturation,
    Vapour,
    isentropic_exponent,
    pressure_coordinate,
    saturated,
    saturation_pressure_pa,
    saturation_temperature_k,
    vapour_at,
)
from plant_model.property_fit import fit_refrigerant
from plant_model.property_tables import FitError, UnknownRefrigerantError, load_refrigerant

FLUIDS = ("R717", "R134a", "R744", "R290")


@pytest.fixture(params=FLUIDS)
def fluid(request: Any) -> tuple[str, Any, Any, Any]:
    """Name, tables, CoolProp's state, and CoolProp's name space of input pairs."""
    from CoolProp import CoolProp

    name = request.param
    return name, load_refrigerant(name), CoolProp.AbstractState("HEOS", name), CoolProp


def _datum_j_kg(state: Any, pairs: Any) -> float:
    state.update(pairs.QT_INPUTS, 0.0, 273.15)
    return 200e3 - float(state.hmass())


def test_saturation_agrees_with_coolprop_to_1e_5(fluid: tuple[str, Any, Any, Any]) -> None:
    _, r, state, pairs = fluid
    offset = _datum_j_kg(state, pairs)
    out = Saturation()
    for t_k in np.linspace(r.temperature_low_k + 1e-6, r.temperature_high_k - 1e-6, 397):
        state.update(pairs.QT_INPUTS, 0.0, t_k)
        p_pa, v_l, h_l, u_l = state.p(), 1 / state.rhomass(), state.hmass() + offset, state.umass() + offset
        state.update(pairs.QT_INPUTS, 1.0, t_k)
        v_v, h_v, u_v = 1 / state.rhomass(), state.hmass() + offset, state.umass() + offset
        saturated(r, p_pa, out)
        latent = h_v - h_l
        assert out.t_k == pytest.approx(t_k, rel=1e-5)
        assert out.v_l_m3_kg == pytest.approx(v_l, rel=1e-5)
        assert out.v_v_m3_kg == pytest.approx(v_v, rel=1e-5)
        assert abs(out.h_l_j_kg - h_l) < 1e-5 * latent
        assert abs(out.h_v_j_kg - h_v) < 1e-5 * latent
        assert abs(out.u_l_j_kg - u_l) < 2e-5 * latent  # h and p v each have 1e-5
        assert abs(out.u_v_j_kg - u_v) < 2e-5 * latent
        assert saturation_pressure_pa(r, t_k) == pytest.approx(p_pa, rel=1e-5)
        assert saturation_temperature_k(r, p_pa) == pytest.approx(t_k, rel=1e-5)


def test_superheated_vapour_agrees_with_coolprop_to_1e_5(fluid: tuple[str, Any, Any, Any]) -> None:
    _, r, state, pairs = fluid
    offset = _datum_j_kg(state, pairs)
    state.update(pairs.QT_INPUTS, 1.0, r.temperature_high_k)
    latent = state.hmass()
    state.update(pairs.QT_INPUTS, 0.0, r.temperature_high_k)
    latent -= state.hmass()  # the smallest in the envelope, so the hardest
    out = Vapour()
    for log_p in np.linspace(math.log(r.pressure_low_pa) + 1e-9, math.log(r.pressure_high_pa) - 1e-9, 29):
        p_pa = math.exp(log_p)
        for superheat_k in np.geomspace(0.01, r.superheat_high_k, 23):
            state.update(pairs.PQ_INPUTS, p_pa, 1.0)
            t_k = state.T() + superheat_k
            state.update(pairs.PT_INPUTS, p_pa, t_k)
            vapour_at(r, p_pa, pressure_coordinate(r, p_pa), superheat_k, out)
            assert out.v_m3_kg == pytest.approx(1.0 / state.rhomass(), rel=1.2e-5), (p_pa, superheat_k)
            assert abs(out.h_j_kg - state.hmass() - offset) < 1.2e-5 * latent, (p_pa, superheat_k)
            assert out.t_k == pytest.approx(t_k, rel=1e-6)


def test_isentropic_exponent_agrees_with_coolprop_to_1e_4(fluid: tuple[str, Any, Any, Any]) -> None:
    _, r, state, pairs = fluid
    chance = np.random.default_rng(7)
    span = math.log(r.pressure_high_pa / r.pressure_low_pa)
    for _ in range(300):
        low, rise, superheat_k = chance.uniform(0, 0.95), chance.uniform(0, 1), chance.uniform(0.0, 60.0)
        p1_pa = r.pressure_low_pa * math.exp(span * low)
        ratio = max(1.02, math.exp(span * (1.0 - low) * rise))
        p2_pa = p1_pa * ratio
        state.update(pairs.PQ_INPUTS, p1_pa, 1.0)
        state.update(pairs.PT_INPUTS, p1_pa, state.T() + superheat_k + 1e-4)
        density, entropy = state.rhomass(), state.smass()
        state.update(pairs.PSmass_INPUTS, p2_pa, entropy)
        exact = math.log(ratio) / math.log(state.rhomass() / density)
        assert isentropic_exponent(r, p1_pa, p2_pa, superheat_k) == pytest.approx(exact, rel=1.5e-4)


def test_what_the_fit_says_of_itself_keeps_the_promise() -> None:
    for name in FLUIDS:
        r = load_refrigerant(name)
        assert 0.0 < r.saturation_error_frac <= 1e-5
        assert 0.0 < r.vapour_error_frac <= 1e-5
        assert 0.0 < r.exponent_error_frac <= 1e-4


def test_ammonia_covers_what_a_refrigeration_plant_needs() -> None:
    """Evaporating at −60 °C to condensing at 60 °C, discharge 130 K above saturation: common practice, no source."""
    r = load_refrigerant("R717")
    assert r.temperature_low_k <= 213.15
    assert r.temperature_high_k >= 333.15
    assert r.superheat_high_k >= 130.0


def test_the_datum_is_200_kj_kg_whatever_coolprop_uses() -> None:
    r = load_refrigerant("R717")
    out = Saturation()
    saturated(r, saturation_pressure_pa(r, 273.15), out)
    assert out.h_l_j_kg == pytest.approx(200e3, abs=2.0)


def test_fitting_twice_gives_the_same_numbers() -> None:
    assert fit_refrigerant("R717") == fit_refrigerant("R717")


def test_an_unknown_name_a_blend_with_glide_and_water_are_refused() -> None:
    with pytest.raises(UnknownRefrigerantError, match="'R999'"):
        fit_refrigerant("R999")
    with pytest.raises(FitError, match="glide"):
        fit_refrigerant("R407C")
    with pytest.raises(FitError, match="liquid at"):
        fit_refrigerant("Water")
