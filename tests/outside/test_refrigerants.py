"""Refrigerant properties and cycles: the worst deviation of the rows that `tests/plant_model` checks one by one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from plant_model.compression import indicated_work
from plant_model.properties import (
    Saturation,
    isentropic_exponent,
    load_refrigerant,
    saturated,
    saturation_pressure_pa,
    saturation_temperature_k,
    vapour_enthalpy_j_kg,
    vapour_volume_m3_kg,
)
from plant_model.property_tables import EnvelopeError, require_saturation_temperature
from tests.plant_model.test_properties import AMMONIA, CYCLES, LATENT, R134A_P, R744_P

COOLPROP = "CoolProp 8 (Gao 2020 for ammonia), published checks §1"
HANDBOOK = "ASHRAE Fundamentals / NIST tables (Tillner-Roth 1993)"


def state(name: str, t_c: float) -> tuple[float, Saturation]:
    r, out = load_refrigerant(name), Saturation()
    p_pa = saturation_pressure_pa(r, t_c + 273.15)
    saturated(r, p_pa, out)
    return p_pa, out


def test_saturated_ammonia(outside: Callable[..., Any]) -> None:
    own = outside("saturated ammonia, −40…40 °C: p, h_fg, ρ", COOLPROP, "b", 1e-4)
    pressure = outside("saturated ammonia: pressure", HANDBOOK, "c", 2e-3)
    volume = outside("saturated ammonia: vapour volume", HANDBOOK, "c", 3e-3)
    for t_c, p_kpa, _, _, h_fg, rho_l, rho_v, _, handbook_p, handbook_v in AMMONIA:
        p_pa, out = state("R717", t_c)
        own.relative(p_pa / 1e3, p_kpa, f"p at {t_c}")
        own.relative((out.h_v_j_kg - out.h_l_j_kg) / 1e3, h_fg, f"h_fg at {t_c}")
        own.relative(1.0 / out.v_l_m3_kg, rho_l, f"ρ_l at {t_c}")
        own.relative(1.0 / out.v_v_m3_kg, rho_v, f"ρ_v at {t_c}")
        if handbook_p is not None:
            pressure.relative(p_pa / 1e3, handbook_p, f"at {t_c}")
            volume.relative(out.v_v_m3_kg, handbook_v, f"at {t_c}")
    boiling = outside("normal boiling point of ammonia −33.33 °C", HANDBOOK, "c", 0.05, "K")
    boiling.absolute(saturation_temperature_k(load_refrigerant("R717"), 101_325.0) - 273.15, -33.33)
    critical = outside("critical temperatures of R717, R744: 132.41, 30.98 °C", COOLPROP, "b", 0.006, "K")
    critical.absolute(load_refrigerant("R717").critical_temperature_k - 273.15, 132.41, "R717")
    critical.absolute(load_refrigerant("R744").critical_temperature_k - 273.15, 30.98, "R744")


def test_other_refrigerants(outside: Callable[..., Any]) -> None:
    pressure = outside("saturation pressure of R134a, R744 (to 0 °C)", COOLPROP + ", handbook", "b, c", 1e-3)
    for name, table in (("R134a", R134A_P), ("R744", R744_P)):
        for t_c, p_kpa in table.items():
            pressure.relative(state(name, t_c)[0] / 1e3, p_kpa, f"{name} at {t_c}")
    latent = outside("latent heat of R134a, R744", COOLPROP + ", handbook", "b, c", 2e-3)
    for name, t_c, latent_kj_kg in LATENT:
        _, out = state(name, t_c)
        latent.relative((out.h_v_j_kg - out.h_l_j_kg) / 1e3, latent_kj_kg, f"{name} at {t_c}")
    volume = outside("vapour volume of R134a at −10, 0 °C", COOLPROP, "b", 1e-4)
    for t_c, v_m3_kg in ((-10, 0.099590), (0, 0.069309)):
        volume.relative(state("R134a", t_c)[1].v_v_m3_kg, v_m3_kg, f"at {t_c}")


def test_no_saturated_state_above_the_critical_point(outside: Callable[..., Any]) -> None:
    refused = outside("R744 above 30.98 °C has no saturated state: refused", COOLPROP, "b", 0.0, "")
    message = ""
    try:
        require_saturation_temperature("R744", load_refrigerant("R744"), 273.15 + 31.0, "a test")
    except EnvelopeError as error:
        message = str(error)
    refused.holds("outside the envelope of R744" in message, message)


def test_cycles(outside: Callable[..., Any]) -> None:
    """Saturated suction, isentropic, no subcooling; the enthalpy after compression from the ideal volume ratio."""
    pressures = outside("cycle rows R717, R134a, R22: pressure ratio", COOLPROP, "b", 3e-3)
    effect = outside("cycle rows: net refrigerating effect", COOLPROP, "b", 3e-3)
    cop = outside("cycle rows: COP", COOLPROP, "b", 5e-3)
    t2 = outside("cycle rows: discharge temperature", COOLPROP, "b", 1.0, "K")
    recalled = outside("−15/30 °C: COP R717 4.765, R22 4.66, R134a 4.60", "ASHRAE Fundamentals ch. 29", "c", 5e-3)
    for name, t_e, t_c, ratio, nre, _, row_cop, t2_c, *_ in CYCLES:
        r = load_refrigerant(name)
        p1_pa, suction = state(name, t_e)
        p2_pa, condensed = state(name, t_c)
        v2 = suction.v_v_m3_kg * (p1_pa / p2_pa) ** (1.0 / isentropic_exponent(r, p1_pa, p2_pa, 0.0))
        low, high = 0.0, r.superheat_high_k
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if vapour_volume_m3_kg(r, p2_pa, middle) < v2 else (low, middle)
        effect_j_kg = suction.h_v_j_kg - condensed.h_l_j_kg
        found_cop = effect_j_kg / (vapour_enthalpy_j_kg(r, p2_pa, low) - suction.h_v_j_kg)
        at = f"{name} {t_e}/{t_c}"
        pressures.relative(p2_pa / p1_pa, ratio, at)
        effect.relative(effect_j_kg / 1e3, nre, at)
        cop.relative(found_cop, row_cop, at)
        t2.absolute(saturation_temperature_k(r, p2_pa) + low - 273.15, t2_c, at)
        if (t_e, t_c) == (-15, 30):
            recalled.relative(found_cop, {"R717": 4.765, "R22": 4.66, "R134a": 4.60}[name], at)


def test_effective_exponents_and_built_in_pressure_ratios(outside: Callable[..., Any]) -> None:
    exponent = outside("effective isentropic exponent of ammonia", COOLPROP, "b", 6e-4, "1")
    r = load_refrigerant("R717")
    for t_e, t_c, kappa in ((-10, 35, 1.286), (-15, 30, 1.289), (-30, 35, 1.289)):
        p1_pa, p2_pa = state("R717", t_e)[0], state("R717", t_c)[0]
        exponent.absolute(isentropic_exponent(r, p1_pa, p2_pa, 0.0), kappa, f"{t_e}/{t_c}")
        # trap 3: c_p/c_v of the saturated vapour, 1.35–1.38, is not the exponent
        args = ("T", t_e + 273.15, "Q", 1, "R717")
        assert 1.35 < PropsSI("CPMASS", *args) / PropsSI("CVMASS", *args) < 1.40
    ratio = outside("built-in pressure ratio Vi^1.3: no loss there", "closed form, published checks §2", "b", 4e-4)
    for vi, built_in in ((1.2, 1.2675), (2.2, 2.787), (2.6, 3.463), (3.0, 4.171), (4.0, 6.063), (5.0, 8.103)):
        lossless = 1.3 / 0.3 * (built_in ** (0.3 / 1.3) - 1.0)
        ratio.relative(indicated_work(1.3, built_in, vi), lossless, f"Vi {vi:g}")
        assert vi**1.3 == pytest.approx(built_in, rel=4e-4)
