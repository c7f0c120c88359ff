"""How slow a slide may be: a ramp into an integrator by hand, and a plant that no settings can hold."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.errors import InputRefused
from tools.tuning.linearisation import LinearPlant
from tools.tuning.operating_map import Grid, OperatingMap, operating_map
from tools.tuning.plant_defaults import default_settings
from tools.tuning.slide_speed import LOAD_STEP_PCT, lost_kpa, refuse_slow_slides, slide_speed


def mapped(volume_m3: float, stroke_ms: int) -> tuple[OperatingMap, object]:
    plant = PlantParameters()
    vessel = replace(plant.suction_vessel, volume_m3=volume_m3)
    drive = replace(plant.capacity_drive, load_stroke_ms=stroke_ms, unload_stroke_ms=stroke_ms)
    p = derive(replace(plant, suction_vessel=vessel, capacity_drive=drive), "R717")
    settings = default_settings("scheduled_pi", p)
    return operating_map(p, settings.common.capacity, Grid((0.3, 0.7), (3.7,), (0.4,), (263.15,))), settings


def test_an_integrator_loses_the_area_of_the_ramp() -> None:
    """p' = −k·u, u from 25 % to 0 in T after L: k·25·(L + T/2), by hand."""
    found, _ = mapped(5.0, 25_000)
    import numpy as np

    point = found.points[0]
    integrating = LinearPlant(np.zeros((1, 1)), np.array([[-0.1, 0.0, 0.0]]), np.eye(1), np.zeros((1, 3)))
    late_s = point.drive.scan_s + point.drive.solenoid_s
    lost = lost_kpa(replace(point, plant=integrating), 40.0, 25.0)
    assert lost == pytest.approx(0.1 * 25.0 * (late_s + 0.5 * 10.0), rel=0.025)  # in steps of 0.2 s


def test_a_slower_slide_loses_more_and_the_demo_plant_is_quick_enough() -> None:
    found, settings = mapped(5.0, 25_000)
    worst = slide_speed(found.points, settings)
    assert worst.fast_enough
    assert refuse_slow_slides(found.points, settings, "plant.toml") == worst
    lost = [lost_kpa(found.points[0], stroke_s, LOAD_STEP_PCT) for stroke_s in (10.0, 50.0, 250.0)]
    assert lost == sorted(lost)
    assert lost[0] < lost[2]


def test_too_slow_is_refused_with_the_limiting_stroke() -> None:
    found, settings = mapped(0.2, 300_000)
    with pytest.raises(InputRefused, match="too slow for any settings") as refused:
        refuse_slow_slides(found.points, settings, "plant.toml")
    worst = slide_speed(found.points, settings)
    problem = refused.value.problems[0]
    assert f"{worst.slowest_stroke_s:.0f} s" in problem.limit
    assert problem.file == "plant.toml"
    assert 1.0 < worst.slowest_stroke_s < worst.stroke_s
    point = next(p for p in found.points if p.where() == worst.where)
    for factor, fast in ((0.95, True), (1.05, False)):
        step_pct = min(LOAD_STEP_PCT, 100.0 * point.capacity_travel_frac)
        assert (lost_kpa(point, factor * worst.slowest_stroke_s, step_pct) < worst.room_kpa) is fast
