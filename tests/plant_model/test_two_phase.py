"""The closure, against the published vessel numbers and against the tables it inverts."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.properties import Saturation, SaturationSlopes, load_refrigerant, saturated, saturated_slopes
from plant_model.properties import saturation_pressure_pa as p_sat
from plant_model.state import TwoPhase
from plant_model.two_phase import close_volume, equilibrium_capacitance_j_pa

R717 = load_refrigerant("R717")
VOLUME_M3 = 5.0


def filled(pressure_pa: float, liquid_frac: float) -> tuple[float, float, float, float]:
    """Liquid kg, vapour kg, energy J, and volume m³ of a vessel filled so far by volume."""
    sat = Saturation()
    saturated(R717, pressure_pa, sat)
    liquid_kg = liquid_frac * VOLUME_M3 / sat.v_l_m3_kg
    vapour_kg = (1.0 - liquid_frac) * VOLUME_M3 / sat.v_v_m3_kg
    return liquid_kg, vapour_kg, liquid_kg * sat.u_l_j_kg + vapour_kg * sat.u_v_j_kg, VOLUME_M3


def capacitance(temperature_c: float, liquid_frac: float) -> float:
    pressure_pa = p_sat(R717, temperature_c + 273.15)
    liquid_kg, vapour_kg, _, volume_m3 = filled(pressure_pa, liquid_frac)
    sat, slopes = Saturation(), SaturationSlopes()
    saturated_slopes(R717, pressure_pa, sat, slopes)
    return equilibrium_capacitance_j_pa(volume_m3, liquid_kg, vapour_kg, sat, slopes)


# source: published_checks.md section 4, table of C in J/Pa for V = 5 m³ (direct integration with CoolProp flashes)
@pytest.mark.parametrize(
    ("liquid_frac", "expected"),
    [
        (0.1, (447.8, 307.1, 167.2, 131.3)),
        (0.2, (840.8, 562.6, 287.8, 217.9)),
        (0.4, (1627.0, 1073.5, 529.0, 391.2)),
        (0.6, (2413.1, 1584.5, 770.2, 564.6)),
        (0.8, (3199.3, 2095.4, 1011.4, 737.9)),
    ],
)
def test_capacitance_table(liquid_frac: float, expected: tuple[float, ...]) -> None:
    for temperature_c, value in zip((-40.0, -30.0, -10.0, 0.0), expected, strict=True):
        assert capacitance(temperature_c, liquid_frac) == pytest.approx(value, rel=1.0e-3)


def test_masses_of_the_published_vessel() -> None:
    # source: published_checks.md section 4: −10 °C, 40 % liquid: M_l 1304.03 kg, M_v 7.172 kg
    liquid_kg, vapour_kg, _, _ = filled(p_sat(R717, 263.15), 0.4)
    assert liquid_kg == pytest.approx(1304.03, rel=1.0e-4)
    assert vapour_kg == pytest.approx(7.172, rel=1.0e-4)


@settings(max_examples=60, deadline=None)
@given(
    pressure_pa=st.floats(60.0e3, 2.2e6),
    guess_frac=st.floats(0.5, 2.0),
    liquid_frac=st.floats(0.02, 0.95),
    metal_j_k=st.sampled_from([0.0, 4.0e6]),
)
def test_closure_inverts_the_tables(
    pressure_pa: float, guess_frac: float, liquid_frac: float, metal_j_k: float
) -> None:
    liquid_kg, vapour_kg, energy_j, volume_m3 = filled(pressure_pa, liquid_frac)
    sat = Saturation()
    saturated(R717, pressure_pa, sat)
    out = TwoPhase(pressure_pa=min(2.8e6, max(25.0e3, pressure_pa * guess_frac)))
    mass_kg = liquid_kg + vapour_kg
    assert close_volume(R717, mass_kg, energy_j + metal_j_k * sat.t_k, volume_m3, metal_j_k, 0.0, 0.0, out)
    assert out.pressure_pa == pytest.approx(pressure_pa, rel=1.0e-9)
    assert out.vapour_kg == pytest.approx(vapour_kg, rel=1.0e-6)
    assert out.saturation.t_k == pytest.approx(sat.t_k, rel=1.0e-10)
    assert out.saturation.h_v_j_kg == pytest.approx(sat.h_v_j_kg, rel=1.0e-9)


def test_bulk_at_the_same_temperature_changes_nothing() -> None:
    liquid_kg, vapour_kg, energy_j, volume_m3 = filled(290.64e3, 0.4)
    sat = Saturation()
    saturated(R717, 290.64e3, sat)
    bulk_kg = 0.9 * liquid_kg
    out = TwoPhase(pressure_pa=300.0e3)
    zone_kg = liquid_kg + vapour_kg - bulk_kg
    bulk_j = bulk_kg * sat.u_l_j_kg
    assert close_volume(R717, zone_kg, energy_j - bulk_j, volume_m3, 0.0, bulk_kg, bulk_j, out)
    assert out.pressure_pa == pytest.approx(290.64e3, rel=1.0e-9)
    assert out.liquid_kg == pytest.approx(0.1 * liquid_kg, rel=1.0e-6)


def test_superheated_or_overfilled_volume_is_refused() -> None:
    sat = Saturation()
    saturated(R717, 290.64e3, sat)
    dry_kg = 0.5 * VOLUME_M3 / sat.v_v_m3_kg  # half of what saturated vapour alone would weigh
    assert not close_volume(R717, dry_kg, dry_kg * 1.02 * sat.u_v_j_kg, VOLUME_M3, 0.0, 0.0, 0.0, TwoPhase(290.64e3))
    full_kg = 1.2 * VOLUME_M3 / sat.v_l_m3_kg
    assert not close_volume(R717, full_kg, full_kg * sat.u_l_j_kg, VOLUME_M3, 0.0, 0.0, 0.0, TwoPhase(290.64e3))
