"""What both capacity laws share, and how well they hold suction on the toy machine."""

from __future__ import annotations

import statistics
from typing import Any

import pytest

from controller.capacity_control import CapacitySettings
from controller.process_image import Inputs, Mode
from controller.registry import SHIPPED
from controller.saturation import RefrigerantSettings
from controller.scheduled_pi import PiSettings
from controller.set_point import TargetState, move_target
from controller.volume_ratio_control import VolumeRatioSettings


def test_the_load_ramp_is_a_ceiling(bench: Any) -> None:
    bench.machine.load_kw = 700.0
    bench.until(Mode.AUTOMATIC)
    for k in range(1, 100):
        y = bench.scan()
        ceiling_pct = 3.0 + 97.0 * k / 100.0  # quick settings: minimum 3 %, ramp 10 s
        assert y.capacity_demand_pct <= ceiling_pct + 1e-9


def test_manual_follows_the_hand_and_gives_back_without_a_bump(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"capacity_manual": True, "capacity_manual_demand_pct": 45.0}
    bench.run(40.0)
    assert bench.outputs.capacity_demand_pct == 45.0
    assert bench.machine.capacity_pct == pytest.approx(
        45.0, abs=bench.settings.common.capacity.drive.neutral_zone_pct + 0.2
    )
    bench.machine.suction_kpa_abs = 290.6
    bench.run(1.0)
    bench.machine.suction_kpa_abs = 290.6
    bench.overrides = {}
    assert bench.scan().capacity_demand_pct == pytest.approx(45.0, abs=0.5)


def test_manual_demand_stays_between_minimum_and_full(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    minimum_pct = bench.settings.common.capacity.minimum_load_pct
    for hand, given in ((-10.0, minimum_pct), (250.0, 100.0), (float("nan"), minimum_pct)):
        assert bench.scan(capacity_manual=True, capacity_manual_demand_pct=hand).capacity_demand_pct == given


def test_the_second_set_point_is_reached_along_the_ramp() -> None:
    c, state = CapacitySettings(), TargetState()

    def move(second: bool) -> None:
        inputs = Inputs(second_set_point=second)
        first_kpa_abs, second_kpa_abs = c.suction_set_point_kpa_abs, c.second_set_point_kpa_abs
        move_target(
            c.target, RefrigerantSettings(), state, first_kpa_abs, second_kpa_abs, c.set_point_ramp_ms, inputs, 100
        )

    move(False)
    assert state.set_point_kpa_abs == 290.6
    for _ in range(1_500):
        move(True)
    assert state.set_point_kpa_abs == pytest.approx((290.6 + 275.0) / 2.0, abs=0.01)  # half of 300 s
    for _ in range(1_502):
        move(True)
    assert state.set_point_kpa_abs == 275.0


def held_through_steps(name: str, toys: Any) -> float:
    """RMS error in kPa over three load steps of the toy machine."""
    bench = toys.Bench(SHIPPED[name], noise_kpa=0.15)
    bench.until(Mode.AUTOMATIC)
    bench.run(120.0)
    begin = len(bench.log)
    for load_kw in (480.0, 250.0, 380.0):
        bench.machine.load_kw = load_kw
        bench.run(200.0)
    assert bench.outputs.trip_word == 0
    errors = [x.suction_pressure_kpa_abs - 290.6 for x, _, _ in bench.log[begin:]]
    return statistics.fmean(e * e for e in errors) ** 0.5


def test_suction_is_held_through_load_steps_and_better_by_the_pi(toys: Any) -> None:
    # no outside source: a bound for the invented toy machine; 1 K of saturation is 11.8 kPa at −10 °C (control.md)
    step, pi = held_through_steps("three_position", toys), held_through_steps("scheduled_pi", toys)
    print(f"RMS three_position {step:.2f} kPa, scheduled_pi {pi:.2f} kPa")
    assert step < 11.8
    assert pi < step


def test_the_pi_does_not_wind_up_against_the_full_load_stop(toys: Any) -> None:
    bench = toys.Bench(SHIPPED["scheduled_pi"])
    bench.until(Mode.AUTOMATIC)
    bench.machine.load_kw = 900.0
    bench.run(200.0)
    assert bench.outputs.capacity_demand_pct == 100.0
    bench.machine.load_kw = 300.0
    bench.machine.suction_kpa_abs = 285.0
    bench.run(4.0)
    assert bench.outputs.capacity_demand_pct < 99.0


@pytest.mark.parametrize(("suction_kpa_abs", "expected_pct"), [(330.0, 58.0), (275.0, 42.0)])
def test_the_demand_stays_near_a_slide_that_does_not_move(
    toys: Any, suction_kpa_abs: float, expected_pct: float
) -> None:
    bench = toys.Bench(SHIPPED["scheduled_pi"])
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"suction_pressure_kpa_abs": suction_kpa_abs}
    bench.overrides |= {"capacity_position_pct": 50.0, "capacity_position_opposite_pct": 50.0}
    bench.run(14.5)  # a little later it counts as lost
    assert bench.outputs.capacity_demand_pct == pytest.approx(expected_pct, abs=0.01)  # windup_band 8 %


def test_the_default_gain_schedule_is_mean_slope_by_local_slope() -> None:
    c = VolumeRatioSettings().trapped_fraction_frac
    slopes = [c[1] - c[0]] + [(c[i + 1] - c[i - 1]) / 2.0 for i in range(1, 10)] + [c[10] - c[9]]
    mean = (c[10] - c[0]) / 10.0
    for multiplier, slope in zip(PiSettings().gain_multiplier, slopes, strict=True):
        assert multiplier == pytest.approx(mean / slope, rel=0.01)
