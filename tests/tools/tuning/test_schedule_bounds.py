"""Bounds of the gain over travel: inside they hold Ms, beyond them they do not, on their own responses."""

from __future__ import annotations

import numpy as np
import pytest

from controller.scheduled_pi import ScheduledPiSettings
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.gain_schedule import scheduled_gain_pct_kpa, sensitivity_peaks
from tools.tuning.linear_process import PiSettings
from tools.tuning.map_loops import MapLoops
from tools.tuning.margins import Spread
from tools.tuning.operating_map import Grid, OperatingMap, operating_map
from tools.tuning.schedule_bounds import gain_bounds, highest_run

PI: ScheduledPiSettings = demo_settings("scheduled_pi")
INTEGRAL_S = 0.001 * PI.pi.integral_time_ms


@pytest.fixture(scope="module")
def the_map() -> OperatingMap:
    grid = Grid((0.2, 0.7), (3.5,), (0.4,), (263.15,))
    return operating_map(derive(PlantParameters(), "R717"), PI.common.capacity, grid)


def worst_at(the_map: OperatingMap, travel_pct: float, gain_pct_kpa: float) -> tuple[float, float]:
    """Ms at a travel with such a gain there, nominal and with the spread, from 1e-3 to 4 times the phase crossover.

    On the points' own responses: a slow swing at a small gain lies below the frequencies that `map_margins` looks at.
    """
    found = []
    for point in (p for p in the_map.points if abs(100.0 * p.capacity_travel_frac - travel_pct) < 1.0):
        w = point.band_rad_s[1] * np.geomspace(1e-3, 4.0, 1200)
        nominal, reduced = point.loop_response(w), point.process.response(w)
        corners = [nominal * q.response(w) / reduced for q in Spread().around(point.process)]
        peaks = sensitivity_peaks(w, np.array([nominal, *corners]), PiSettings(gain_pct_kpa, INTEGRAL_S))
        found.append((float(peaks[0]), float(peaks.max())))
    return max(ms for ms, _ in found), max(spread for _, spread in found)


def test_bounds_are_where_ms_leaves_its_limits(the_map: OperatingMap) -> None:
    found = gain_bounds(MapLoops.of(the_map.points), PI)
    assert [t for t, _, _ in found] == pytest.approx([20.0, 70.0], abs=0.5)
    for travel_pct, least, most in found:
        assert 0.0 <= least < scheduled_gain_pct_kpa(PI.pi, travel_pct) < most
        ms, spread = worst_at(the_map, travel_pct, 0.99 * most)
        assert ms <= 1.75
        assert spread <= 2.0
        ms, spread = worst_at(the_map, travel_pct, 1.08 * most)
        assert ms > 1.75 or spread > 2.0
        if least > 0.0:
            ms, spread = worst_at(the_map, travel_pct, least / 1.08)
            assert ms > 1.75 or spread > 2.0


def test_no_gain_that_holds_is_none(the_map: OperatingMap) -> None:
    found = gain_bounds(MapLoops.of(the_map.points), PI, ms_spread=1.0)
    assert np.isnan([row[1:] for row in found]).all()


def test_a_run_from_the_first_begins_at_nothing() -> None:
    assert highest_run([True] * 3 + [False] * 78)[0] == 0.0
