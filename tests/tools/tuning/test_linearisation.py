"""The steady point really is one, and its straight lines are those of the plant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from plant_model.state import Disturbances
from plant_model.two_phase import equilibrium_capacitance_j_pa
from tools.tuning.linearisation import Direction, PointError, linear_plant, steady_point
from tools.tuning.plant_rig import play

SUCTION_PA, DISCHARGE_PA = 290.64e3, 1350.0e3


@pytest.fixture(scope="module")
def p() -> Parameters:
    return derive(PlantParameters(), "R717")


@settings(max_examples=8, deadline=None)
@given(st.floats(0.02, 0.98), st.floats(200.0e3, 330.0e3), st.floats(2.5, 5.5))
def test_a_steady_point_stays(travel_frac: float, suction_pa: float, ratio: float) -> None:
    point = steady_point(derive(PlantParameters(), "R717"), travel_frac, suction_pa, ratio * suction_pa)
    assert point.state.suction.pressure_pa == pytest.approx(suction_pa, rel=1.0e-4)
    assert point.pressure_ratio == pytest.approx(ratio, rel=1.0e-4)
    trace = play(point, lambda _i, _o, _t: None, 600_000)
    assert np.ptp(trace["suction_pressure_pa"]) < 0.05  # of 290,000 in ten minutes
    assert np.ptp(trace["discharge_pressure_pa"]) < 0.5


@pytest.mark.parametrize("travel_frac", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("direction", list(Direction))
def test_a_load_step_answers_as_the_straight_lines_say(p: Parameters, travel_frac: float, direction: Direction) -> None:
    """Independent of the map's input: 1 % of load, against the engine, over two minutes."""
    point = steady_point(p, travel_frac, SUCTION_PA, DISCHARGE_PA)
    sign = -1.0 if direction is Direction.FALLING else 1.0
    step_w = sign * 2000.0
    loaded: Disturbances = replace(point.disturbances, load_heat_w=point.load_w + step_w)
    trace = play(replace(point, disturbances=loaded), lambda _i, _o, _t: None, 120_000)
    found_kpa = (trace["suction_pressure_pa"] - point.state.suction.pressure_pa) / 1000.0
    from scipy.signal import cont2discrete

    m = linear_plant(point, direction)
    a, b, c, d, _ = cont2discrete((m.a, m.b[:, 2:], m.c[3:4], m.d[3:4, 2:]), 0.1, method="zoh")
    x, straight = np.zeros(len(a)), []
    for _ in found_kpa:
        straight.append(float((c @ x)[0] + d[0, 0] * step_w / 1000.0))
        x = a @ x + b[:, 0] * step_w / 1000.0
    assert sign * found_kpa[-1] > 0.1
    assert np.abs(found_kpa - np.array(straight)).max() < 0.02 * abs(found_kpa[-1])


def test_the_capacitance_is_the_drums() -> None:
    """Load into a vessel in full equilibrium: Im(1/G)/w is the drum's C (derivation of reference §4), rooms' C·dT/dp on top.

    With rooms of next to no capacity; what condenser and feed answer meanwhile is left: 1 %.
    """
    plant = PlantParameters()
    vessel = replace(plant.suction_vessel, flash_ms=0)
    light = replace(plant.evaporator, room_capacity_j_k=1.0e3)
    p = derive(replace(plant, suction_vessel=vessel, evaporator=light), "R717")
    point = steady_point(p, 0.5, SUCTION_PA, DISCHARGE_PA)
    v = point.state.vessel
    drum_j_pa = equilibrium_capacitance_j_pa(5.0, v.liquid_kg, v.zone.vapour_kg, v.zone.saturation, v.zone.slopes)
    w = 0.05
    vessel_per_flange = v.zone.pressure_pa / point.state.suction.pressure_pa  # the load acts before the strainer
    found = linear_plant(point, Direction.FALLING).response(np.array([w]))[3, 2, 0] * vessel_per_flange  # kPa per kW
    assert (1.0 / found).imag / w == pytest.approx(drum_j_pa, rel=0.01)


def test_signs_and_stability(p: Parameters) -> None:
    point = steady_point(p, 0.4, SUCTION_PA, DISCHARGE_PA)
    for direction in Direction:
        m = linear_plant(point, direction)
        gains = m.gains()
        assert gains[0, 0] < 0.0 < gains[0, 2]  # capacity pulls the pressure down, load lifts it
        assert gains[1, 1] > 0.0  # Vi = c·Vi_f
        assert gains[1, 0] > 0.0
        assert np.linalg.eigvals(m.a).real.max() < 1.0e-9  # nothing grows; the charge stays


def test_the_corner_at_rest_falls_apart_into_two_plants(p: Parameters) -> None:
    point = steady_point(p, 0.4, SUCTION_PA, DISCHARGE_PA)
    w = np.array([0.03])
    falling, rising = (abs(linear_plant(point, d).response(w)[0, 0, 0]) for d in Direction)
    assert rising > 2.0 * falling  # the bulk boils off within seconds and is warmed in minutes
    static = [linear_plant(point, d).gains()[0, 0] for d in Direction]
    assert static[0] == pytest.approx(static[1], rel=1.0e-3)  # and in the end they meet


def test_full_equilibrium_has_no_bulk() -> None:
    plant = PlantParameters()
    p = derive(replace(plant, suction_vessel=replace(plant.suction_vessel, flash_ms=0)), "R717")
    point = steady_point(p, 0.4, SUCTION_PA, DISCHARGE_PA)
    w = np.array([0.03])
    falling, rising = (linear_plant(point, d).response(w)[0, 0, 0] for d in Direction)
    assert falling == pytest.approx(rising, rel=1.0e-9)


def test_a_point_that_cannot_be_says_why(p: Parameters) -> None:
    with pytest.raises(PointError, match="is below"):
        steady_point(p, 0.5, SUCTION_PA, 0.9 * SUCTION_PA)
    with pytest.raises(PointError, match=r"outside|tables"):
        steady_point(p, 0.5, SUCTION_PA, 1.0e8)
