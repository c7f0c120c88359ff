"""The whole map in one go: the same as point by point, as by the room's other code, and as the kernel itself answers."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from controller.model_based import ModelBasedState, model_law
from controller.process_image import Inputs, Mode
from controller.scheduled_pi import ScheduledPiSettings
from controller.slide_curve import curve_at
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.demo_sheets import demo_settings
from tools.tuning.gain_schedule import fit_gain_schedule, map_margins, scheduled_gain_pct_kpa
from tools.tuning.linear_process import PiSettings, first_order
from tools.tuning.map_loops import MapLoops, has_linear_loop
from tools.tuning.margins import LoopEffects, Spread, margins
from tools.tuning.operating_map import Grid, OperatingMap, map_point, operating_map

PI: ScheduledPiSettings = demo_settings("scheduled_pi")
MODEL = demo_settings("model_based")


@pytest.fixture(scope="module")
def the_map() -> OperatingMap:
    grid = Grid((0.05, 0.4, 0.9), (2.8, 4.6), (0.4,), (263.15,))
    return operating_map(derive(PlantParameters(), "R717"), PI.common.capacity, grid)


@pytest.fixture(scope="module")
def loops(the_map: OperatingMap) -> MapLoops:
    return MapLoops.of(the_map.points)


def test_as_point_by_point(the_map: OperatingMap, loops: MapLoops) -> None:
    ms, spread = loops.peaks(PI)
    each = map_margins(the_map, PI.pi)
    assert ms == pytest.approx([m.ms for m in each], rel=2e-3)
    assert spread == pytest.approx([m.ms_spread for m in each], rel=2e-3)
    assert loops(PI) == (ms.max(), spread.max())


def test_a_candidates_filter_and_zones_count_as_in_a_map_made_for_it(the_map: OperatingMap, loops: MapLoops) -> None:
    drive = replace(PI.common.capacity.drive, neutral_zone_pct=1.1, pause_ms=4000)
    capacity = replace(PI.common.capacity, drive=drive, measurement_filter_ms=2000)
    other = replace(PI, common=replace(PI.common, capacity=capacity))
    made = [map_point(p.steady, p.direction, capacity) for p in the_map.points]
    assert loops.drive_delay_s(capacity) == pytest.approx([p.drive.total_s for p in made], rel=1e-9)
    expected = map_margins(OperatingMap(tuple(made), ()), other.pi)
    ms, spread = loops.peaks(other)
    assert ms == pytest.approx([m.ms for m in expected], rel=5e-3)
    assert spread == pytest.approx([m.ms_spread for m in expected], rel=0.03)  # of a process that was fitted anew


def test_margins_of_a_known_process(loops: MapLoops) -> None:
    """One lag and dead time in a point's place: `margins` reckons with closed forms."""
    process = first_order(0.8, 14.0, 0.7)
    measured = loops.with_measured(0, process)
    found = measured.margins(PI)
    gain = scheduled_gain_pct_kpa(PI.pi, float(loops.travel_pct[0]))
    delay_s = float(loops.drive_delay_s(PI.common.capacity)[0])
    whole = replace(process, dead_time_s=process.dead_time_s + delay_s)
    effects = LoopEffects(filter_s=0.5, scan_s=0.0, computing_scans=0.0)
    known = margins(whole, PiSettings(gain, 30.0), effects)
    assert found.ms[0] == pytest.approx(known.ms, rel=5e-3)
    assert found.gain_margin[0] == pytest.approx(known.gain_margin, rel=5e-3)
    assert found.phase_margin_deg[0] == pytest.approx(known.phase_margin_deg, abs=0.5)
    assert list(found.ms[1:]) == list(loops.margins(PI).ms[1:])
    assert measured.fingerprint != loops.fingerprint


def test_an_unstable_loop_is_infinite(loops: MapLoops) -> None:
    hot = replace(PI, pi=replace(PI.pi, proportional_band_kpa=4.0))
    assert loops(hot) == (np.inf, np.inf)
    assert loops(replace(MODEL, model=replace(MODEL.model, observer_time_ms=500)))[1] == np.inf


@pytest.mark.parametrize("w_rad_s", [0.03, 0.15, 0.4])
@pytest.mark.parametrize("moved", ["suction", "position"])
def test_the_model_based_law_answers_as_the_formula_says(w_rad_s: float, moved: str) -> None:
    """The kernel itself, scan by scan, with a small sine on one of its two inputs; the wish by Fourier analysis.

    Cp and Cx as in the module's text, written anew.  The scan of 100 ms is the rest: a few per cent at 0.4 rad/s.
    """
    c, filter_s = MODEL.model, 0.0
    curve = MODEL.common.volume_ratio.trapped_fraction_frac
    settings = replace(MODEL, model=replace(c, settled_zone_kpa=0.0))
    state, inputs = ModelBasedState(moving=True, direction=1), Inputs()
    state.common.sequence.mode = Mode.AUTOMATIC
    signals = state.common.signals
    signals.suction_pressure_good = True
    place_pct, suction_kpa = 45.0, 292.0
    c0, slope = curve_at(curve, place_pct), (curve_at(curve, 46.0) - curve_at(curve, 44.0)) / 2.0
    period = round(20.0 * np.pi / w_rad_s)  # in scans, so that the window holds whole cycles
    w_rad_s = 20.0 * np.pi / period
    scans = 6 * period
    size = 0.05
    wishes, waves = [], []
    for k in range(2 * scans):
        wave = size * np.sin(w_rad_s * 0.1 * k)
        signals.suction_pressure_kpa_abs = suction_kpa + (wave if moved == "suction" else 0.0)
        signals.capacity_position_pct = place_pct + (wave if moved == "position" else 0.0)
        # a steady offset inside the hold zone keeps the law moving without its trim; it adds a constant to the wish
        state.common.capacity.error_kpa = 1.0 + (wave if moved == "suction" else 0.0)
        if wishes:
            # a move goes one way: from just below, every wish of a sine is one upwards, and within the ramp of a scan
            state.common.capacity.free_pct = wishes[-1] - 0.3
        model_law(settings, state, inputs, 100)
        assert state.moving
        assert state.trim_pct == 0.0
        wishes.append(state.common.capacity.free_pct)
        waves.append(wave)
    late = slice(scans, 2 * scans)
    e = np.exp(-1j * w_rad_s * 0.1 * np.arange(2 * scans))
    found = np.sum(np.array(wishes)[late] * e[late]) / np.sum(np.array(waves)[late] * e[late])
    s = 1j * w_rad_s
    vessel_s, observer_s, return_s = (0.001 * v for v in (c.vessel_time_ms, c.observer_time_ms, c.return_time_ms))
    q = 1.0 / (1.0 + observer_s * s) ** 2
    r = observer_s**2 * s * q / vessel_s
    if moved == "suction":
        pull = vessel_s / return_s / (filter_s * s + 1.0)
        expected = (q * (vessel_s * s + c0) + pull - c0 + c0 * (vessel_s * s + c0) * r) / (suction_kpa * slope)
    else:
        expected = q + c0 * r
    assert abs(found / expected - 1.0) < 0.06


def test_it_crosses_to_other_processes_and_to_a_file(loops: MapLoops) -> None:
    again = pickle.loads(pickle.dumps(loops))
    assert again.fingerprint == loops.fingerprint
    assert again(PI) == loops(PI)
    back = MapLoops.from_arrays(loops.arrays())
    assert back.fingerprint == loops.fingerprint
    assert back(MODEL) == loops(MODEL)
    wide = replace(loops, spread=Spread(0.3, 0.3, 0.3))
    assert wide(PI)[1] > loops(PI)[1]
    assert wide.fingerprint != loops.fingerprint


def test_a_step_control_has_none(loops: MapLoops) -> None:
    step = demo_settings("three_position")
    assert not has_linear_loop(step)
    assert has_linear_loop(PI)
    with pytest.raises(TypeError, match="no linear loop"):
        loops(step)


def test_gain_bounds_are_those_of_the_schedule(the_map: OperatingMap, loops: MapLoops) -> None:
    """`fit_gain_schedule` finds its bounds point by point and by bisection."""
    fitted = fit_gain_schedule(the_map, integral_s=20.0)
    settings = replace(PI, pi=replace(PI.pi, integral_time_ms=20_000))
    found = loops.gain_bounds(settings)
    assert len(found) == len(fitted.bounds_pct_kpa) == 3
    for (travel, least, most), (at, low, high) in zip(found, fitted.bounds_pct_kpa, strict=True):
        assert travel == pytest.approx(at, abs=1.0)
        assert most == pytest.approx(high, rel=0.05)
        assert 0.95 * low <= least < most
