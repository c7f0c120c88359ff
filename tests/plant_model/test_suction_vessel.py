"""The suction vessel, against the published slopes and pressures, and its two time constants."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from plant_model.properties import Saturation, saturated, saturation_pressure_pa
from plant_model.state import VesselState
from plant_model.suction_vessel import bulk_heat_w, close_vessel, mixing_kg_s, void_frac
from plant_model.two_phase import equilibrium_capacitance_j_pa


def vessel(p: Parameters, pressure_pa: float = 0.0, level_frac: float = 0.4) -> VesselState:
    pressure_pa = pressure_pa or saturation_pressure_pa(p.refrigerant, 263.15)
    sat = Saturation()
    saturated(p.refrigerant, pressure_pa, sat)
    volume_m3 = p.plant.suction_vessel.volume_m3
    liquid_kg = level_frac * volume_m3 / sat.v_l_m3_kg
    vapour_kg = (1.0 - level_frac) * volume_m3 / sat.v_v_m3_kg
    v = VesselState()
    v.bulk_kg = p.derived.bulk_share_frac * liquid_kg
    v.bulk_energy_j = v.bulk_kg * sat.u_l_j_kg
    v.zone_kg = liquid_kg - v.bulk_kg + vapour_kg
    v.zone_energy_j = (liquid_kg - v.bulk_kg) * sat.u_l_j_kg + vapour_kg * sat.u_v_j_kg
    v.zone.pressure_pa = pressure_pa
    assert close_vessel(p, v)
    return v


def advance(p: Parameters, v: VesselState, vapour_kg_s: float, heat_w: float, seconds: float) -> None:
    """Integrate the vessel alone at 50 ms with vapour at h_v and heat coming in."""
    for _ in range(round(seconds / 0.05)):
        exchange_w, mixing = bulk_heat_w(p, v), mixing_kg_s(p, v)
        if v.bulk_kg > 0.0:
            donor_j_kg = v.zone.saturation.u_l_j_kg if mixing > 0.0 else v.bulk_energy_j / v.bulk_kg
        else:
            donor_j_kg = mixing = exchange_w = 0.0
        v.zone_kg += 0.05 * (vapour_kg_s - mixing)
        v.zone_energy_j += 0.05 * (vapour_kg_s * v.zone.saturation.h_v_j_kg + heat_w + exchange_w - mixing * donor_j_kg)
        v.bulk_kg += 0.05 * mixing
        v.bulk_energy_j += 0.05 * (mixing * donor_j_kg - exchange_w)
        assert close_vessel(p, v)


@pytest.fixture(scope="module", params=["skin", "flash", "absorb"])
def equilibrium(request: pytest.FixtureRequest) -> Parameters:
    """Each of the three ways to say full equilibrium."""
    change = {"skin": {"skin_frac": 1.0}, "flash": {"flash_ms": 0}, "absorb": {"absorb_ms": 0}}[request.param]
    plant = PlantParameters()
    return derive(replace(plant, suction_vessel=replace(plant.suction_vessel, **change)), "R717", 100)  # type: ignore[arg-type]


# source of the next two tests: published_checks.md section 4, NH3, V = 5 m³, 40 % liquid, −10 °C; Tol 0.3 % and 0.1 %
def test_published_initial_slopes(equilibrium: Parameters) -> None:
    for vapour_kg_s, heat_w, slope_pa_s in ((0.05, 0.0, 122.97), (-0.05, 0.0, -122.97), (0.0, 100.0e3, 189.03)):
        v = vessel(equilibrium)
        start_pa = v.zone.pressure_pa
        advance(equilibrium, v, vapour_kg_s, heat_w, 0.1)
        assert (v.zone.pressure_pa - start_pa) / 0.1 == pytest.approx(slope_pa_s, rel=3.0e-3)


def test_published_pressures_after_60_and_600_s(equilibrium: Parameters) -> None:
    for vapour_kg_s, after_60_pa, after_600_pa in ((0.05, 298.073e3, 370.035e3), (-0.05, 283.318e3, 222.422e3)):
        v = vessel(equilibrium)
        advance(equilibrium, v, vapour_kg_s, 0.0, 60.0)
        assert v.zone.pressure_pa == pytest.approx(after_60_pa, rel=1.0e-3)
        advance(equilibrium, v, vapour_kg_s, 0.0, 540.0)
        assert v.zone.pressure_pa == pytest.approx(after_600_pa, rel=1.0e-3)


def test_fast_capacitance_of_the_demo_vessel(p: Parameters) -> None:
    # source: plant.md, suction side: the demo plant is the mixed case between 529 and 57 J/Pa
    v = vessel(p)
    bulk_m3 = v.bulk_kg * v.zone.saturation.v_l_m3_kg
    fast = equilibrium_capacitance_j_pa(
        p.plant.suction_vessel.volume_m3 - bulk_m3, v.zone.liquid_kg, v.zone.vapour_kg, v.zone.saturation, v.zone.slopes
    )
    assert 65.0 <= fast <= 75.0
    start_pa = v.zone.pressure_pa
    advance(p, v, 0.05, 0.0, 0.2)
    # the enthalpy a kg of vapour brings to raise pressure: 122.97 Pa/s · 529.0 J/Pa / 0.05 kg/s, same source
    assert (v.zone.pressure_pa - start_pa) / 0.2 == pytest.approx(122.97 * 529.0 / fast, rel=0.01)


def test_falling_pressure_flashes_and_rising_pressure_warms_the_skin(p: Parameters) -> None:
    rising, falling = vessel(p), vessel(p)
    advance(p, rising, 0.05, 0.0, 60.0)
    advance(p, falling, -0.05, 0.0, 60.0)
    up_pa = rising.zone.pressure_pa - vessel(p).zone.pressure_pa
    down_pa = vessel(p).zone.pressure_pa - falling.zone.pressure_pa
    assert up_pa > 2.5 * down_pa
    assert rising.bulk_superheat_k < 0.0 < falling.bulk_superheat_k


@pytest.mark.parametrize(("name", "heat_w"), [("flash_ms", -50.0e3), ("absorb_ms", 50.0e3)])
def test_bulk_lags_a_ramp_by_its_time_constant(p: Parameters, name: str, heat_w: float) -> None:
    """A first-order lag follows a ramp behind by its slope times τ; mixing is switched off by an extreme time."""
    plant = p.plant
    tau_s = getattr(plant.suction_vessel, name) / 1000.0
    slow = derive(replace(plant, suction_vessel=replace(plant.suction_vessel, mixing_ms=3_600_000)), "R717", 100)
    v = vessel(slow)
    advance(slow, v, 0.0, heat_w, 5.0 * tau_s)
    before_k = v.zone.saturation.t_k + v.bulk_superheat_k
    advance(slow, v, 0.0, heat_w, 1.0)
    slope_k_s = v.zone.saturation.t_k + v.bulk_superheat_k - before_k
    assert -v.bulk_superheat_k == pytest.approx(slope_k_s * tau_s, rel=0.03)


def test_exchange_conserves_mass_and_energy(p: Parameters) -> None:
    v = vessel(p)
    mass_kg, energy_j = v.zone_kg + v.bulk_kg, v.zone_energy_j + v.bulk_energy_j
    advance(p, v, 0.0, 40.0e3, 30.0)
    assert v.zone_kg + v.bulk_kg == pytest.approx(mass_kg, rel=1.0e-13)
    assert v.zone_energy_j + v.bulk_energy_j == pytest.approx(energy_j + 40.0e3 * 30.0, rel=1.0e-13)


def test_both_ends_agree_in_the_long_run(p: Parameters, equilibrium: Parameters) -> None:
    """Left alone, the two-part vessel comes to the pressure of the well-mixed one with the same contents."""
    two, one = vessel(p), vessel(equilibrium)
    for q, v in ((p, two), (equilibrium, one)):
        advance(q, v, 0.0, -60.0e3, 60.0)
    assert two.zone.pressure_pa < one.zone.pressure_pa - 500.0
    for q, v in ((p, two), (equilibrium, one)):
        advance(q, v, 0.0, 0.0, 150.0)
    assert two.zone.pressure_pa == pytest.approx(one.zone.pressure_pa, rel=2.0e-4)


def test_a_boiling_bulk_swells_and_a_cool_one_does_not(p: Parameters) -> None:
    v = vessel(p)
    assert v.swollen_frac == pytest.approx(v.level_frac, rel=1.0e-12)
    still_level = v.level_frac
    advance(p, v, -2.0, 0.0, 10.0)  # a machine pulls far more than the vessel gives: the bulk boils
    assert v.bulk_superheat_k > 0.3
    # drift flux by hand: j = Q_flash v_v/(h_fg A), mean void j/2/(j + 0.25 m/s)
    sat = v.zone.saturation
    j = bulk_heat_w(p, v) * sat.v_v_m3_kg / (sat.h_v_j_kg - sat.h_l_j_kg) / 2.2
    assert void_frac(p, v) == pytest.approx(0.5 * j / (j + 0.25))
    assert v.swollen_frac == pytest.approx(v.level_frac / (1.0 - void_frac(p, v)))
    assert v.swollen_frac > still_level + 0.01  # liquid is lost, and yet the level stands higher
    assert v.level_frac < still_level
    w = vessel(p)
    advance(p, w, 2.0, 0.0, 10.0)
    assert w.bulk_superheat_k < 0.0
    assert w.swollen_frac == w.level_frac
