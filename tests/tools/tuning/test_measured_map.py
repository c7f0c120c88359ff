"""A log takes the model's place at its own point only, and says where the two differ."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from controller.process_image import Inputs, Outputs
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from scenarios.quantities import Site
from tests.tools.tuning.logged_tests import synthetic
from tools.tuning.gain_schedule import fit_gain_schedule, scheduled_gain_pct_kpa
from tools.tuning.identification import Identified, identify
from tools.tuning.linearisation import Direction
from tools.tuning.map_analysis import point_rows
from tools.tuning.map_loops import MapLoops
from tools.tuning.measured_map import directions_of, disagreement, measured, nearest
from tools.tuning.operating_map import Grid, MapPoint, OperatingMap, operating_map
from tools.tuning.plant_rig import play
from tools.tuning.tuning_inputs import Effort

SITE = Site(101325.0, lambda kelvin: 3e5)
PI = demo_settings("scheduled_pi")


@pytest.fixture(scope="module")
def the_map() -> OperatingMap:
    grid = Grid((0.1, 0.5, 0.9), (3.7,), (0.4,), (255.15, 263.15))
    return operating_map(derive(PlantParameters(), "R717"), PI.common.capacity, grid)


def write_log(path: Path, time_s: np.ndarray, travel_pct: np.ndarray, pressure_kpa: np.ndarray) -> Path:
    rows = [f"{t:.1f};{x:.3f};{p:.4f}" for t, x, p in zip(time_s, travel_pct, pressure_kpa, strict=True)]
    path.write_text("time s;capacity position %;suction pressure kPa\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def log_of(path: Path) -> tuple[Path, Identified]:
    """Bumps on a process of slope 0.15 kPa/s per %, 40 s and 1.5 s by scipy: three times as lively as the map's."""
    time_s, travel_pct, kpa = synthetic(gain=-6.0, lag_s=40.0, dead_s=1.5, noise_kpa=0.1, length_s=540.0)
    return write_log(path, time_s, travel_pct, kpa), identify(path, SITE, "R717")


def test_only_the_point_of_the_test_changes(the_map: OperatingMap, tmp_path: Path) -> None:
    path, first = log_of(tmp_path / "log.csv")
    loops, rows = MapLoops.of(the_map.points), point_rows(the_map.points)
    there, found, changed, row = measured(path, first, SITE, "R717", the_map.points, loops, rows)
    places = [k for k, r in enumerate(changed) if r.measured]
    assert places == [nearest(the_map.points, first, d) for d in Direction], "moves both ways: both directions"
    assert all(rows[k].capacity_travel_frac == pytest.approx(0.5, abs=0.01) for k in places)
    assert all(rows[k].evaporating_k == pytest.approx(263.15, abs=0.5) for k in places)
    value, low, high = row.slope_kpa_s_pct
    assert low <= 0.15 <= high
    assert value == pytest.approx(0.15, rel=0.2)
    assert "only this point" in disagreement(row)
    before, after = loops.peaks(PI)[0], found.peaks(PI)[0]
    for k in range(len(rows)):
        assert bool(before[k] == after[k]) is (k not in places)
    w = np.geomspace(0.05, 0.5, 5)
    for k, point in enumerate(there):
        own = the_map.points[k].loop_response(w)
        if k not in places:
            assert np.array_equal(point.loop_response(w), own)
        else:
            # three times as lively as the model where the loop is slow: the gain schedule sees it
            assert abs(point.loop_response(w)[0]) > 2.0 * abs(own[0])
    assert row.file == str(path)
    assert any("slope" in line for line in row.lines)


def test_the_plants_own_log_agrees_with_its_map(the_map: OperatingMap, tmp_path: Path) -> None:
    """The simulated plant, unloaded by 5 % and left; the interval need not hold the map's slope, but they are alike."""
    point = next(p for p in the_map.points if p.direction is Direction.RISING and 0.4 < p.capacity_travel_frac < 0.6)

    def scan(_inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        outputs.capacity_unload = 30_000 <= now_ms < 31_500

    trace = play(point.steady, scan, 60_000, seed=3)
    kpa = trace["suction_pressure_measured_pa"] / 1000.0
    path = write_log(tmp_path / "own.csv", trace.time_s, 100.0 * trace["capacity_travel_frac"], kpa)
    first = identify(path, SITE, "R717")
    assert directions_of(first) == (Direction.RISING,)
    loops, rows = MapLoops.of(the_map.points), point_rows(the_map.points)
    _, found, changed, row = measured(path, first, SITE, "R717", the_map.points, loops, rows)
    assert sum(r.measured for r in changed) == 1
    assert row.slope_kpa_s_pct[0] == pytest.approx(row.model_slope_kpa_s_pct, rel=0.3)
    k = next(k for k, r in enumerate(changed) if r.measured)
    assert found.peaks(PI)[0][k] == pytest.approx(loops.peaks(PI)[0][k], rel=0.1)


def test_far_from_the_map_is_told(the_map: OperatingMap, tmp_path: Path) -> None:
    path, first = log_of(tmp_path / "log.csv")
    away = replace(first, travel_pct=72.0, suction_kpa_abs=400.0)
    near = [p for p in the_map.points if p.capacity_travel_frac > 0.8]
    loops = MapLoops.of(near)
    _, _, _, row = measured(path, away, SITE, "R717", near, loops, point_rows(near))
    assert any("away from the test" in line for line in row.lines) or first.travel_pct > 85.0


def test_the_map_gets_a_place_where_the_test_was_made() -> None:
    coarse = Effort(travel_frac=(0.2, 0.8))
    assert coarse.through([50.02, 22.0]).travel_frac == (0.2, 0.5, 0.8)
    assert coarse.through([]) == coarse


def test_the_schedule_gives_way_where_the_plant_is_livelier(the_map: OperatingMap, tmp_path: Path) -> None:
    path, first = log_of(tmp_path / "log.csv")
    there, *_ = measured(
        path, first, SITE, "R717", the_map.points, MapLoops.of(the_map.points), point_rows(the_map.points)
    )

    def gain_at_half(points: tuple[MapPoint, ...]) -> float:
        fitted = fit_gain_schedule(OperatingMap(points, ()), integral_s=40.0, base=PI.pi)
        return scheduled_gain_pct_kpa(fitted.settings, 50.0)

    assert gain_at_half(there) < 0.7 * gain_at_half(the_map.points)
