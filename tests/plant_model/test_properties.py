"""Property kernels against published values, against each other, and compiled against interpreted."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numba import njit

from plant_model import properties as pr
from plant_model.properties import Refrigerant, Saturation, SaturationSlopes, Vapour, load_refrigerant
from scenarios.records import from_record, to_array

R717 = load_refrigerant("R717")

# Published checks, section 1: CoolProp 8.0.0, Gao et al. 2020 equation of state (°C, kPa, h_f, h_g, h_fg kJ/kg, rho_l,
# rho_v kg/m³, v_g m³/kg); the last two columns are handbook values recalled there (kPa, m³/kg), None where absent.
AMMONIA = [
    (-40, 71.633, 18.94, 1408.14, 1389.19, 689.78, 0.6436, 1.55376, 71.69, 1.5526),
    (-30, 119.376, 63.57, 1423.32, 1359.75, 677.54, 1.0374, 0.96391, 119.43, 0.96396),
    (-20, 190.026, 108.60, 1437.41, 1328.80, 664.97, 1.6035, 0.62364, 190.08, 0.62373),
    (-15, 236.108, 131.28, 1444.00, 1312.73, 658.54, 1.9661, 0.50862, None, None),
    (-10, 290.640, 154.06, 1450.27, 1296.21, 652.01, 2.3907, 0.41829, 290.71, 0.41830),
    (0, 429.248, 200.00, 1461.77, 1261.77, 638.64, 3.4560, 0.28935, 429.38, 0.28930),
    (20, 857.040, 293.64, 1479.94, 1186.30, 610.39, 6.6980, 0.14930, 857.48, 0.14922),
    (30, 1166.536, 341.57, 1486.16, 1144.59, 595.36, 9.0460, 0.11055, 1167.2, 0.11046),
    (35, 1349.992, 365.88, 1488.44, 1122.55, 587.59, 10.4480, 0.09571, None, None),
    (40, 1554.533, 390.45, 1490.10, 1099.65, 579.61, 12.0238, 0.08317, 1554.9, 0.08310),
]


@pytest.mark.parametrize("row", AMMONIA, ids=lambda row: f"{row[0]} °C")
def test_saturated_ammonia(row: tuple[Any, ...]) -> None:
    """Published checks, section 1; tolerances: table digits, and p 0.2 %, v_g 0.3 % against the handbook."""
    t_c, p_kpa, h_f, h_g, h_fg, rho_l, rho_v, v_g, handbook_p, handbook_v = row
    p_pa = pr.saturation_pressure_pa(R717, t_c + 273.15)
    out = Saturation()
    pr.saturated(R717, p_pa, out)
    assert p_pa / 1e3 == pytest.approx(p_kpa, rel=2e-5)
    assert out.h_l_j_kg / 1e3 == pytest.approx(h_f, abs=0.02)
    assert out.h_v_j_kg / 1e3 == pytest.approx(h_g, abs=0.02)
    assert (out.h_v_j_kg - out.h_l_j_kg) / 1e3 == pytest.approx(h_fg, abs=0.03)
    assert 1.0 / out.v_l_m3_kg == pytest.approx(rho_l, rel=2e-5)
    assert 1.0 / out.v_v_m3_kg == pytest.approx(rho_v, rel=1e-4)
    assert out.v_v_m3_kg == pytest.approx(v_g, rel=6e-5)
    if handbook_p is not None:
        assert p_pa / 1e3 == pytest.approx(handbook_p, rel=2e-3)
        assert out.v_v_m3_kg == pytest.approx(handbook_v, rel=3e-3)


def test_normal_boiling_point_of_ammonia() -> None:
    """−33.33 °C, handbook value recalled in the published checks, section 1; tolerance 0.05 K."""
    assert pr.saturation_temperature_k(R717, 101325.0) - 273.15 == pytest.approx(-33.33, abs=0.05)


# Published checks, section 1 (agrees there with handbook values within 0.004 % and 0.007 %); °C: kPa.
R134A_P = {-30: 84.378, -20: 132.733, -10: 200.603, 0: 292.803, 20: 571.707, 30: 770.196, 40: 1016.593}
R744_P = {-50: 682.34, -40: 1004.50, -30: 1427.76, -20: 1969.63, -10: 2648.68, 0: 3485.14}
LATENT = [
    ("R134a", -10, 205.97),
    ("R134a", 0, 198.60),
    ("R134a", 30, 173.10),
    ("R744", -40, 322.42),
    ("R744", -10, 258.61),
    ("R744", 0, 230.89),
]


@pytest.mark.parametrize(("name", "table"), [("R134a", R134A_P), ("R744", R744_P)])
def test_saturation_pressure_of_other_refrigerants(name: str, table: dict[int, float]) -> None:
    """Published checks, section 1; the table's digits (its tolerance is 0.1 %)."""
    r = load_refrigerant(name)
    for t_c, p_kpa in table.items():
        assert pr.saturation_pressure_pa(r, t_c + 273.15) / 1e3 == pytest.approx(p_kpa, rel=2e-5)


@pytest.mark.parametrize(("name", "t_c", "latent_kj_kg"), LATENT)
def test_latent_heat_of_other_refrigerants(name: str, t_c: float, latent_kj_kg: float) -> None:
    """Published checks, section 1; the table's digits (its tolerance is 0.2 %)."""
    r = load_refrigerant(name)
    out = Saturation()
    pr.saturated(r, pr.saturation_pressure_pa(r, t_c + 273.15), out)
    assert (out.h_v_j_kg - out.h_l_j_kg) / 1e3 == pytest.approx(latent_kj_kg, abs=0.02)


def _isentropic_discharge(r: Refrigerant, p1_pa: float, p2_pa: float) -> tuple[float, float]:
    """Temperature K and enthalpy J/kg after isentropic compression of saturated vapour, by the kernels alone."""
    kappa = pr.isentropic_exponent(r, p1_pa, p2_pa, 0.0)
    v2 = pr.vapour_volume_m3_kg(r, p1_pa, 0.0) * (p1_pa / p2_pa) ** (1.0 / kappa)
    low, high = 0.0, r.superheat_high_k
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if pr.vapour_volume_m3_kg(r, p2_pa, middle) < v2 else (low, middle)
    return pr.saturation_temperature_k(r, p2_pa) + low, pr.vapour_enthalpy_j_kg(r, p2_pa, low)


CYCLES = [  # published checks, section 1: PR, NRE kJ/kg, w kJ/kg, COP, T2s °C, g/s per kW, v1, L/s per kW
    ("R717", -15, 30, 4.941, 1102.43, 231.20, 4.768, 98.75, 0.9071, 0.5086, 0.4614),
    ("R717", -10, 35, 4.645, 1084.39, 223.02, 4.862, 100.36, 0.9222, 0.4183, 0.3857),
    ("R717", -30, 35, 11.309, 1057.44, 373.10, 2.834, 149.22, 0.9457, 0.9639, 0.9115),
    ("R134a", -15, 30, 4.698, 147.91, 32.12, 4.605, 36.60, 6.761, 0.1207, 0.8159),
    ("R22", -15, 30, 4.024, 162.54, 34.85, 4.664, 52.93, 6.152, 0.0775, 0.4769),
]


@pytest.mark.parametrize("row", CYCLES, ids=lambda row: f"{row[0]} {row[1]}/{row[2]}")
def test_cycle_rows(row: tuple[Any, ...]) -> None:
    """Saturated suction, no subcooling, isentropic.  Published checks, section 1: pressures and NRE 0.3 %, COP 0.5 %,
    T2 1 K are asked of published tables; the rows there come from CoolProp, so 0.05 %, 0.1 %, 0.1 K are asked here."""
    name, t_e, t_c, ratio, nre, work, cop, t2_c, flow, v1, displacement = row
    r = load_refrigerant(name)
    p1_pa, p2_pa = (pr.saturation_pressure_pa(r, t + 273.15) for t in (t_e, t_c))
    suction, liquid = Saturation(), Saturation()
    pr.saturated(r, p1_pa, suction)
    pr.saturated(r, p2_pa, liquid)
    t2_k, h2 = _isentropic_discharge(r, p1_pa, p2_pa)
    nre_j, work_j = suction.h_v_j_kg - liquid.h_l_j_kg, h2 - suction.h_v_j_kg
    assert p2_pa / p1_pa == pytest.approx(ratio, rel=5e-4)
    assert nre_j / 1e3 == pytest.approx(nre, rel=5e-4)
    assert work_j / 1e3 == pytest.approx(work, rel=1e-3)
    assert nre_j / work_j == pytest.approx(cop, rel=1e-3)
    assert t2_k - 273.15 == pytest.approx(t2_c, abs=0.1)
    assert 1e6 / nre_j == pytest.approx(flow, rel=1e-3)
    assert suction.v_v_m3_kg == pytest.approx(v1, rel=1e-3)
    assert 1e6 / nre_j * suction.v_v_m3_kg == pytest.approx(displacement, rel=1e-3)


def test_ammonia_cycle_agrees_with_the_recalled_handbook_row() -> None:
    """ASHRAE Fundamentals, comparative performance, −15/30 °C, recalled in the published checks: COP 4.76–4.77."""
    p1_pa, p2_pa = (pr.saturation_pressure_pa(R717, t + 273.15) for t in (-15.0, 30.0))
    suction, liquid = Saturation(), Saturation()
    pr.saturated(R717, p1_pa, suction)
    pr.saturated(R717, p2_pa, liquid)
    t2_k, h2 = _isentropic_discharge(R717, p1_pa, p2_pa)
    assert (suction.h_v_j_kg - liquid.h_l_j_kg) / (h2 - suction.h_v_j_kg) == pytest.approx(4.765, rel=5e-3)
    assert t2_k == pytest.approx(372.0, abs=1.0)


@pytest.mark.parametrize(("t_e", "t_c", "kappa"), [(-10, 35, 1.286), (-15, 30, 1.289), (-30, 35, 1.289)])
def test_effective_isentropic_exponent_of_ammonia(t_e: float, t_c: float, kappa: float) -> None:
    """Published checks, section 1, to the digits given there."""
    p1_pa, p2_pa = (pr.saturation_pressure_pa(R717, t + 273.15) for t in (t_e, t_c))
    assert pr.isentropic_exponent(R717, p1_pa, p2_pa, 0.0) == pytest.approx(kappa, abs=6e-4)
    assert pr.isentropic_exponent(R717, p1_pa, p2_pa, 0.0) == pytest.approx(1.30, rel=0.015)


@given(st.floats(9.0e3, 3.4e6), st.floats(0.0, 60.0))
def test_the_exponent_of_no_compression_is_its_own_limit(p_pa: float, superheat_k: float) -> None:
    at_rest = pr.isentropic_exponent(R717, p_pa, p_pa, superheat_k)
    assert pr.isentropic_exponent(R717, p_pa, 0.5 * p_pa, superheat_k) == at_rest
    assert pr.isentropic_exponent(R717, p_pa, p_pa * 1.001, superheat_k) == pytest.approx(at_rest, rel=1e-3)
    assert 1.2 < at_rest < 1.35


@given(st.floats(200.0, 345.0))
def test_saturation_temperature_and_pressure_are_inverses(t_k: float) -> None:
    assert pr.saturation_temperature_k(R717, pr.saturation_pressure_pa(R717, t_k)) == pytest.approx(t_k, abs=1e-7)


@given(st.floats(9.0e3, 3.4e6))
def test_slopes_are_the_derivatives(p_pa: float) -> None:
    step_pa = 1e-4 * p_pa
    out, slopes, below, above, alone = Saturation(), SaturationSlopes(), Saturation(), Saturation(), Saturation()
    pr.saturated_slopes(R717, p_pa, out, slopes)
    pr.saturated(R717, p_pa, alone)
    assert out == alone
    pr.saturated(R717, p_pa - step_pa, below)
    pr.saturated(R717, p_pa + step_pa, above)
    for name in Saturation.__slots__:
        slope = (getattr(above, name) - getattr(below, name)) / (2.0 * step_pa)
        scale = abs(out.u_v_j_kg / p_pa) * 1e-6 if name.startswith(("u", "h")) else 0.0
        assert getattr(slopes, name + "_pa") == pytest.approx(slope, rel=3e-5, abs=scale), name


@given(st.floats(9.0e3, 3.4e6), st.floats(0.0, 149.0))
def test_superheating_swells_and_heats_the_vapour(p_pa: float, superheat_k: float) -> None:
    more = superheat_k + 0.5
    assert pr.vapour_volume_m3_kg(R717, p_pa, more) > pr.vapour_volume_m3_kg(R717, p_pa, superheat_k)
    assert pr.vapour_enthalpy_j_kg(R717, p_pa, more) > pr.vapour_enthalpy_j_kg(R717, p_pa, superheat_k)
    out, vapour = Saturation(), Vapour()
    pr.saturated(R717, p_pa, out)
    assert pr.vapour_volume_m3_kg(R717, p_pa, -5.0) == pytest.approx(out.v_v_m3_kg, rel=1e-12)
    assert pr.vapour_enthalpy_j_kg(R717, p_pa, 0.0) == out.h_v_j_kg
    pr.vapour_at(R717, p_pa, pr.pressure_coordinate(R717, p_pa), superheat_k, vapour)
    assert vapour.v_m3_kg == pr.vapour_volume_m3_kg(R717, p_pa, superheat_k)
    assert vapour.h_j_kg == pr.vapour_enthalpy_j_kg(R717, p_pa, superheat_k)


def test_envelope() -> None:
    assert pr.in_envelope(R717, 290e3)
    for p_pa in (8.0e3, 3.5e6, math.nan, -1.0, math.inf):
        assert not pr.in_envelope(R717, p_pa)


@given(st.floats(allow_nan=False, allow_infinity=False), st.floats(-1e3, 1e4))
def test_any_pressure_gives_finite_numbers(p_pa: float, t_k: float) -> None:
    """An iteration may stray; it must come back rather than raise."""
    assert 190.0 < pr.saturation_temperature_k(R717, p_pa) < 350.0
    assert 5e3 < pr.saturation_pressure_pa(R717, t_k) < 4e6
    assert math.isfinite(pr.isentropic_exponent(R717, p_pa, 1e6, t_k))


def test_compiled_equals_interpreted_bit_for_bit() -> None:
    @njit
    def compiled(r: Any, s: Any, d: Any, v: Any, p_pa: float, theta_k: float, t_k: float, o: Any) -> None:
        pr.saturated_slopes(r, p_pa, s, d)
        x = pr.pressure_coordinate(r, p_pa)
        pr.vapour_at(r, p_pa, x, theta_k, v)
        o[0] = pr.saturation_pressure_pa(r, t_k)
        o[1] = pr.isentropic_exponent(r, p_pa, 3.0 * p_pa, theta_k)
        o[2] = pr.saturation_temperature_k(r, p_pa)
        o[3] = pr.vapour_volume_m3_kg(r, p_pa, theta_k)
        o[4] = pr.vapour_enthalpy_j_kg(r, p_pa, theta_k)

    chance = np.random.default_rng(3)
    table = to_array(R717)[0]
    for _ in range(400):
        p_pa, theta_k = float(np.exp(chance.uniform(np.log(9e3), np.log(3.4e6)))), float(chance.uniform(-5, 160))
        t_k = float(chance.uniform(200, 345))
        records = [Saturation(), SaturationSlopes(), Vapour()]
        arrays = [to_array(v)[0] for v in records]
        scalars = np.zeros(5)
        compiled(table, *arrays, p_pa, theta_k, t_k, scalars)
        pr.saturated_slopes(R717, p_pa, records[0], records[1])  # type: ignore[arg-type]
        pr.vapour_at(R717, p_pa, pr.pressure_coordinate(R717, p_pa), theta_k, records[2])  # type: ignore[arg-type]
        assert [from_record(type(a), b) for a, b in zip(records, arrays, strict=True)] == records
        assert scalars.tolist() == [
            pr.saturation_pressure_pa(R717, t_k),
            pr.isentropic_exponent(R717, p_pa, 3.0 * p_pa, theta_k),
            pr.saturation_temperature_k(R717, p_pa),
            pr.vapour_volume_m3_kg(R717, p_pa, theta_k),
            pr.vapour_enthalpy_j_kg(R717, p_pa, theta_k),
        ]
