"""The evaporator groups, their rooms, hot-gas defrost and the liquid that stands in the coils."""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import pytest

from plant_model.derived import Parameters, derive
from plant_model.evaporator import evaporator_fluxes, group_load_w, group_refrigeration_w, total_load_w
from plant_model.initial import running_state, stopped_state
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.plant import step
from plant_model.state import Actuators, Disturbances, PlantState, Rates

RUNNING = Actuators(motor_run=True, oil_pump=True)
FREEZERS, ICE, HALL, SPARE = range(4)


def fluxes_of(p: Parameters, s: PlantState, d: Disturbances) -> Rates:
    f = Rates()
    evaporator_fluxes(p, s, d, f)
    return f


def run(p: Parameters, s: PlantState, d: Disturbances, seconds: float, a: Actuators = RUNNING) -> list[float]:
    """Suction pressure at the flange each scan, Pa."""
    out = []
    for _ in range(round(10 * seconds)):
        assert step(p, s, d, a, 100) == 0
        out.append(s.suction.pressure_pa)
    return out


def warm_rooms(p: Parameters, difference_k: float) -> PlantState:
    s = stopped_state(p, Disturbances(), 290.64e3, 1.2e6)
    s.evaporator.room_k = [s.vessel.zone.saturation.t_k + difference_k] * 4
    return s


def test_heat_follows_difference_and_open_groups(p: Parameters) -> None:
    s = warm_rooms(p, 8.0)
    assert fluxes_of(p, s, Disturbances()).refrigeration_w == pytest.approx(480.0e3)
    assert fluxes_of(p, s, Disturbances(evaporator_open_frac=0.25)).refrigeration_w == pytest.approx(120.0e3)
    assert fluxes_of(p, s, Disturbances(evaporator_open_frac=0.0)).refrigeration_w == 0.0
    one_shut = Disturbances(group_open_frac=[0.0, 1.0, 1.0, 1.0])
    assert fluxes_of(p, s, one_shut).refrigeration_w == pytest.approx(240.0e3)
    assert group_refrigeration_w(p, s, Disturbances(group_open_frac=[0.5] * 4), ICE) == pytest.approx(60.0e3)
    assert fluxes_of(p, warm_rooms(p, -8.0), Disturbances()).refrigeration_w == 0.0


def test_load_is_a_line_from_its_start_and_shared_out(p: Parameters) -> None:
    s = warm_rooms(p, 8.0)
    s.time_ms = 5000
    assert total_load_w(s, Disturbances(load_heat_w=1.0e5, load_heat_rate_w_s=-200.0, load_since_ms=3000)) == 99.6e3
    assert total_load_w(s, Disturbances(load_heat_w=1.0e5, load_heat_rate_w_s=-1.0e5, load_since_ms=0)) == 0.0
    d = Disturbances(load_heat_w=1.0e5, group_load_w=[0.0, 7.0e3, 0.0, 0.0])
    shares_w = [group_load_w(p, s, d, 1.0e5, i) for i in range(4)]
    assert shares_w == pytest.approx([50.0e3, 32.0e3, 25.0e3, 0.0])
    assert fluxes_of(p, s, d).load_w == pytest.approx(107.0e3)


def test_the_load_fades_as_the_room_reaches_its_goods(p: Parameters) -> None:
    s = warm_rooms(p, 8.0)
    source_k, fade_k = p.plant.evaporator.load_source_k[HALL], p.plant.evaporator.load_fade_k
    for room_k, share in (
        (source_k - fade_k, 1.0),
        (source_k - 0.25 * fade_k, 0.25),
        (source_k, 0.0),
        (source_k + 5.0, 0.0),
    ):
        s.evaporator.room_k[HALL] = room_k
        assert group_load_w(p, s, Disturbances(), 1.0e5, HALL) == pytest.approx(share * 25.0e3)
        assert group_load_w(p, s, Disturbances(), 1.0e5, FREEZERS) == pytest.approx(50.0e3)


def test_closed_groups_let_the_rooms_warm_at_load_over_capacity(p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3, evaporator_open_frac=0.0)
    s = stopped_state(p, d, 290.64e3, 1.2e6)
    start_k = s.room_k
    run(p, s, d, 10.0, Actuators())
    assert s.room_k - start_k == pytest.approx(300.0e3 * 10.0 / p.plant.evaporator.room_capacity_j_k, rel=1.0e-9)


def test_a_closed_group_warms_alone(p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3)
    s = running_state(p, d, 290.64e3)
    before_k = list(s.evaporator.room_k)
    d.group_open_frac[ICE] = 0.0
    run(p, s, d, 2.0)
    capacity_j_k = p.plant.evaporator.room_capacity_j_k * p.plant.evaporator.room_capacity_share_frac[ICE]
    assert s.evaporator.room_k[ICE] - before_k[ICE] == pytest.approx(75.0e3 * 2.0 / capacity_j_k, rel=1.0e-6)
    for other in (FREEZERS, HALL):
        assert abs(s.evaporator.room_k[other] - before_k[other]) < 0.2
    assert s.evaporator.room_k[SPARE] == before_k[SPARE]


def test_room_approaches_with_its_own_time_constant(p: Parameters) -> None:
    """Against the exact solution of C dT/dt = −UA (T − T_sat); over 2 s suction moves by under a tenth of the rest."""
    slow = replace(
        p.plant.evaporator, room_capacity_j_k=3.0e6, room_capacity_share_frac=p.plant.evaporator.conductance_share_frac
    )
    p = derive(replace(p.plant, evaporator=slow), "R717")
    d = Disturbances(load_heat_w=0.0)
    s = running_state(p, Disturbances(), 290.64e3)
    tau_s = slow.room_capacity_j_k / slow.conductance_w_k
    assert tau_s == pytest.approx(50.0)
    start_k = s.room_k - s.vessel.zone.saturation.t_k
    run(p, s, d, 2.0)
    assert s.room_k - 263.45 == pytest.approx(start_k * math.exp(-2.0 / tau_s), rel=0.03)


def test_the_mean_room_is_weighted_with_capacities(p: Parameters) -> None:
    s = warm_rooms(p, 8.0)
    s.evaporator.room_k = [260.0, 270.0, 280.0, 999.0]
    step(p, s, Disturbances(load_heat_w=0.0, evaporator_open_frac=0.0), Actuators(), 100)
    assert s.room_k == pytest.approx(0.48 * 260.0 + 0.22 * 270.0 + 0.30 * 280.0)


def defrosted(p: Parameters, minutes: float = 8.0) -> tuple[PlantState, PlantState, Disturbances]:
    """(start, the plant after so long under hot gas on the freezers, the disturbances)."""
    d = Disturbances(load_heat_w=300.0e3)
    s = running_state(p, d, 290.64e3)
    start = copy.deepcopy(s)
    d.defrost[FREEZERS] = 1
    run(p, s, d, 60.0 * minutes)
    return start, s, d


def test_hot_gas_fills_the_coil_warms_the_room_and_melts(p: Parameters) -> None:
    _, s, _ = defrosted(p)
    e = p.plant.evaporator
    assert s.evaporator.coil_kg[FREEZERS] == pytest.approx(p.derived.defrost_held_kg[FREEZERS], rel=0.05)
    # saturation at 700 kPa is 13.8 °C: published_checks.md section 1, between 429.2 kPa at 0 °C and 857.0 kPa at 20 °C
    assert 273.15 + 12.0 < p.derived.defrost_k < 273.15 + 16.0
    full_w = e.defrost_conductance_frac * 0.5 * e.conductance_w_k * (p.derived.defrost_k - 273.15)
    assert s.rates.melt_w == pytest.approx((1.0 - e.defrost_room_share_frac) * full_w, rel=0.06)
    # steady: the gas gives its enthalpy down to the condensate's, so the flow is heat over that difference
    heat_w = s.rates.melt_w
    drop_j_kg = s.discharge.volume.saturation.h_v_j_kg - p.derived.defrost_liquid_j_kg
    assert s.rates.hot_gas_kg_s == pytest.approx(heat_w / drop_j_kg, rel=0.06)
    kept_j_kg = s.evaporator.coil_energy_j[FREEZERS] / s.evaporator.coil_kg[FREEZERS]
    assert kept_j_kg < 0.35 * s.discharge.volume.saturation.h_v_j_kg  # mostly condensate by now
    assert s.evaporator.room_k[FREEZERS] > s.evaporator.room_k[ICE] + 10.0
    assert s.evaporator.coil_kg[ICE] == s.evaporator.coil_kg[HALL] == 0.0


def test_a_defrost_closes_mass_and_energy_from_gas_to_bled_coil(p: Parameters) -> None:
    start, s, d = defrosted(p)
    for phase in (2, 0):
        d.defrost[FREEZERS] = phase
        run(p, s, d, 120.0)
    assert s.ledger.hot_gas_kg > 20.0
    assert s.ledger.melt_j > 1.0e7
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10
    assert s.evaporator.coil_kg[FREEZERS] < 1.0e-6


def test_hot_gas_lowers_discharge_pressure_against_the_same_plant_without(p: Parameters) -> None:
    d = Disturbances(load_heat_w=300.0e3)
    plain, gassed = running_state(p, d, 290.64e3), running_state(p, d, 290.64e3)
    run(p, plain, d, 60.0)
    e = Disturbances(load_heat_w=300.0e3, defrost=[1, 0, 0, 0])
    run(p, gassed, e, 60.0)
    assert gassed.discharge.volume.pressure_pa < plain.discharge.volume.pressure_pa - 5.0e3
    assert gassed.rates.refrigeration_w < plain.rates.refrigeration_w - 50.0e3


def test_bleed_down_is_a_pulse_and_an_unbled_coil_a_sharper_one(p: Parameters) -> None:
    _, s, _ = defrosted(p)

    def pulse_pa(phase: int, seconds: float) -> float:
        """The most that suction stands over the same plant whose coil went on holding what it has."""
        bled, kept = copy.deepcopy(s), copy.deepcopy(s)
        quiet, acting = Disturbances(load_heat_w=300.0e3), Disturbances(load_heat_w=300.0e3)
        quiet.group_open_frac[FREEZERS] = acting.group_open_frac[FREEZERS] = 0.0  # only the coil's content counts
        acting.defrost[FREEZERS] = phase
        kept.evaporator.coil_kg[FREEZERS] = kept.evaporator.coil_energy_j[FREEZERS] = 0.0
        pairs = zip(run(p, bled, acting, seconds), run(p, kept, quiet, seconds), strict=True)
        return max(a - b for a, b in pairs)

    bleed_pa, dump_pa = pulse_pa(2, 60.0), pulse_pa(0, 60.0)
    assert 1.0e3 < bleed_pa < 30.0e3
    assert dump_pa > 1.5 * bleed_pa


def test_bleeding_takes_its_time(p: Parameters) -> None:
    _, s, d = defrosted(p)
    d.defrost[FREEZERS] = 2
    held_kg = s.evaporator.coil_kg[FREEZERS]
    run(p, s, d, 20.0)
    assert s.evaporator.coil_kg[FREEZERS] == pytest.approx(held_kg * math.exp(-1.0), rel=0.01)


def test_a_defrosting_group_takes_no_heat_from_its_room(p: Parameters) -> None:
    s = warm_rooms(p, 8.0)
    for phase in (1, 2):
        assert group_refrigeration_w(p, s, Disturbances(defrost=[phase, 0, 0, 0]), FREEZERS) == 0.0


def test_a_surge_moves_held_liquid_into_the_vessel(p: Parameters) -> None:
    d = Disturbances()
    s = running_state(p, d, 290.64e3)
    start = copy.deepcopy(s)
    d.surge_kg_s = 4.0
    run(p, s, d, 30.0)
    thrown_kg = start.evaporator.held_kg - s.evaporator.held_kg
    assert thrown_kg == pytest.approx(120.0, rel=0.05)
    assert s.vessel.level_frac > start.vessel.level_frac + 0.02
    assert mass_residual_frac(p, start, s) < 1.0e-10
    assert energy_residual_frac(p, start, s) < 1.0e-10


def test_a_surge_ends_with_the_liquid_and_the_coils_fill_again(p: Parameters) -> None:
    d = Disturbances(surge_kg_s=20.0)
    s = running_state(p, Disturbances(), 290.64e3)
    run(p, s, d, 60.0)
    assert 0.0 < s.evaporator.held_kg < 5.0
    d.surge_kg_s = 0.0
    empty_kg = p.plant.evaporator.held_liquid_kg - s.evaporator.held_kg
    run(p, s, d, 300.0)
    missing_kg = p.plant.evaporator.held_liquid_kg - s.evaporator.held_kg
    assert missing_kg == pytest.approx(empty_kg * math.exp(-0.5), rel=0.01)
