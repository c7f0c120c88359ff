"""Relative gains: a published column, the plant without its cross paths, and what following costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.coupling import (
    COST_MS,
    FILTERS_MS,
    FollowedLoop,
    coupling_cost,
    following,
    least_filter_ms,
    map_coupling,
    relative_gain_array,
    square_coupling,
)
from tools.tuning.gain_schedule import fit_gain_schedule, scheduled_gain_pct_kpa
from tools.tuning.linear_process import PiSettings
from tools.tuning.operating_map import Grid, MapPoint, OperatingMap, operating_map

SETTINGS = demo_settings("scheduled_pi").common
SUCTION_PA, DISCHARGE_PA = 290.64e3, 1350.0e3
GRID = Grid((0.3, 0.6, 0.97), (2.8, 4.6), (0.4,), (263.15,))


def plant_with(leakage_frac: float, share: float, through_path: bool, shared: float) -> Parameters:
    plant = PlantParameters()
    machine = replace(plant.machine, leakage_frac=leakage_frac, leakage_built_in_share=share, through_path=through_path)
    drives = {n: replace(getattr(plant, n), shared_flow_frac=shared) for n in ("capacity_drive", "volume_ratio_drive")}
    return derive(replace(plant, machine=machine, **drives), "R717")


def mild(_point: MapPoint) -> PiSettings:
    return PiSettings(1.5, 30.0)


def fitted(the_map: OperatingMap) -> Callable[[MapPoint], PiSettings]:
    """The schedule that uses the margin up: where coupling costs most."""
    schedule = fit_gain_schedule(the_map, integral_s=30.0).settings

    def pi_of(point: MapPoint) -> PiSettings:
        return PiSettings(scheduled_gain_pct_kpa(schedule, 100.0 * point.capacity_travel_frac), 30.0)

    return pi_of


@pytest.fixture(scope="module")
def demo_map() -> OperatingMap:
    return operating_map(derive(PlantParameters(), "R717"), SETTINGS.capacity, GRID)


def test_wood_and_berry() -> None:
    """Wood & Berry, Chem. Eng. Sci. 28, 1973 (gains recalled), reference §5: 2.00939, −1.00939."""
    found = relative_gain_array(np.array([[12.8, -18.9], [6.6, -19.4]]))
    assert found == pytest.approx(np.array([[2.00939, -1.00939], [-1.00939, 2.00939]]), abs=1.0e-4)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-10.0, 10.0), min_size=9, max_size=9))
def test_rows_and_columns_add_up_to_one_and_scales_do_not_matter(values: list[float]) -> None:
    """Bristol's properties, of any square matrix that is not near singular."""
    gains = np.array(values).reshape(3, 3) + 25.0 * np.eye(3)
    found = relative_gain_array(gains)
    assert found.sum(axis=0) == pytest.approx(np.ones(3))
    assert found.sum(axis=1) == pytest.approx(np.ones(3))
    scaled = np.diag([2.0, 0.1, 30.0]) @ gains @ np.diag([0.5, 7.0, 1.0])
    assert relative_gain_array(scaled) == pytest.approx(found)


def test_a_singular_matrix_is_refused() -> None:
    with pytest.raises(ValueError, match="singular"):
        relative_gain_array(np.zeros((2, 2)))
    with pytest.raises(ValueError, match="square"):
        relative_gain_array(np.zeros((2, 3)))


def test_without_leakage_through_path_and_shared_oil_there_is_no_coupling() -> None:
    """Design control.md: volume ratio moves flow only through those three.  What is left is the motor's slip: 0.5 %."""
    p = plant_with(0.0, 0.0, False, 1.0)
    found = list(square_coupling(p, SUCTION_PA, DISCHARGE_PA))
    assert len(found) == 30
    assert all(abs(c.relative_gain - 1.0) < 0.006 for c in found)
    assert all(c.near_one for c in found)
    assert all(c.through_path_kg_s == 0.0 for c in found)


def test_each_path_shows_where_it_is() -> None:
    real = list(square_coupling(derive(PlantParameters(), "R717"), SUCTION_PA, DISCHARGE_PA))
    open_path = [c for c in real if c.through_path_kg_s > 1.0e-3]
    assert open_path
    # an open port swallows flow: the pairing itself turns round, far from 1
    assert all(abs(c.relative_gain - 1.0) > 0.2 for c in open_path)
    shut = [c for c in real if c.through_path_kg_s == 0.0]
    assert all(abs(c.relative_gain - 1.0) < 0.02 for c in shut)
    leaky = list(square_coupling(plant_with(0.05, 1.0, True, 0.8), SUCTION_PA, DISCHARGE_PA))
    worst = max((c for c in leaky if c.through_path_kg_s == 0.0), key=lambda c: abs(c.relative_gain - 1.0))
    assert abs(worst.relative_gain - 1.0) > 0.1  # leakage that grows with Vi: at high Vi_f


def test_the_demo_map_is_hardly_coupled(demo_map: OperatingMap) -> None:
    """On the map the slide stands at its best, clear of the through-path: measured 0.990 to 0.997."""
    for point in demo_map.points:
        c = map_coupling(point)
        assert 0.98 < c.relative_gain < 1.01
        assert abs(c.relative_gain_at_crossover - 1.0) < 0.05
        assert c.static[1][1] > 0.0


def test_following_is_the_controllers_own_rule(demo_map: OperatingMap) -> None:
    """Vi_f* = (p_d/p_s)^(1/κ)/c: unloading asks for more ratio; out of the slide's range it asks for nothing."""
    inside = next(q for q in demo_map.points if abs(q.capacity_travel_frac - 0.97) < 1e-6 and q.pressure_ratio < 3.0)
    rule = following(SETTINGS.volume_ratio, inside)
    assert rule.per_capacity_pct < 0.0
    assert rule.per_suction_kpa < 0.0 < rule.per_discharge_kpa
    beyond = next(q for q in demo_map.points if abs(q.capacity_travel_frac - 0.3) < 1e-6 and q.pressure_ratio > 4.0)
    assert following(SETTINGS.volume_ratio, beyond).per_capacity_pct == 0.0


def test_a_frozen_slide_costs_nothing_and_a_slow_one_hardly(demo_map: OperatingMap) -> None:
    for point in demo_map.points:
        loop = FollowedLoop(point, SETTINGS.volume_ratio)
        alone = loop.response(0, follows=False)
        assert alone == pytest.approx(point.loop_response(loop.w_rad_s))
        slow = coupling_cost(point, replace(SETTINGS.volume_ratio, filter_ms=300_000), mild(point))
        assert abs(slow.cost) < 0.01
        assert slow.self_gain < 1.0
        assert slow.ms_shared_oil >= slow.ms_coupled - 1.0e-9


def test_the_speed_limit(demo_map: OperatingMap) -> None:
    """The demo plant needs no filter for the capacity loop's sake; a leaky machine does, and none slower than stated."""
    demo = least_filter_ms(demo_map.points, SETTINGS.volume_ratio, fitted(demo_map))
    assert demo.held
    assert demo.filter_ms <= 1_000 < SETTINGS.volume_ratio.filter_ms
    leaky_map = operating_map(plant_with(0.05, 1.0, True, 0.8), SETTINGS.capacity, GRID)
    pi_of = fitted(leaky_map)
    leaky = least_filter_ms(leaky_map.points, SETTINGS.volume_ratio, pi_of)
    assert leaky.held
    assert leaky.filter_ms > demo.filter_ms
    assert leaky.worst.cost <= COST_MS
    assert "at least" in leaky.text()
    assert "needs no filter" in demo.text() or "at least" in demo.text()
    quicker = FILTERS_MS[FILTERS_MS.index(leaky.filter_ms) - 1]
    faster = replace(SETTINGS.volume_ratio, filter_ms=quicker)
    assert max(coupling_cost(q, faster, pi_of(q)).cost for q in leaky_map.points) > COST_MS


def test_an_unstable_capacity_loop_is_named(demo_map: OperatingMap) -> None:
    with pytest.raises(ValueError, match="unstable with 100 %/kPa"):
        least_filter_ms(demo_map.points, SETTINGS.volume_ratio, lambda _p: PiSettings(100.0, 30.0))
