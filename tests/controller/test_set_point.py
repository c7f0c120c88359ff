"""What leads capacity: pressure, saturated suction, process temperature, a remote or a fixed demand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from CoolProp.CoolProp import PropsSI

from controller.process_image import Health, Inhibit, Mode, Selection
from controller.registry import SHIPPED, cross_check
from controller.set_point import ControlVariable, ramp


def with_target(toys: Any, name: str, **changes: Any) -> Any:
    controller = SHIPPED[name]
    settings = toys.quick(controller.settings_type())
    capacity = settings.common.capacity
    capacity = replace(capacity, target=replace(capacity.target, **changes), set_point_ramp_ms=20_000)
    return toys.Bench(controller, replace(settings, common=replace(settings.common, capacity=capacity)))


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_saturated_suction_is_its_pressure_with_a_ramp_in_kelvin(name: str, toys: Any) -> None:
    bench = with_target(
        toys,
        name,
        control_variable=ControlVariable.SATURATED_SUCTION,
        saturated_set_point_c=-9.0,
        second_saturated_set_point_c=-11.0,
    )
    bench.until(Mode.AUTOMATIC)
    bench.run(240.0)
    kpa = {t: PropsSI("P", "T", t + 273.15, "Q", 1, "Ammonia") / 1e3 for t in (-9.0, -10.0, -11.0)}  # CoolProp
    assert bench.outputs.suction_set_point_kpa_abs == pytest.approx(kpa[-9.0], rel=0.003)
    assert bench.machine.suction_kpa_abs == pytest.approx(kpa[-9.0], abs=10.0)
    bench.overrides = {"second_set_point": True}
    bench.run(10.0)
    assert bench.outputs.suction_set_point_kpa_abs == pytest.approx(kpa[-10.0], rel=0.003)
    bench.run(10.5)
    assert bench.outputs.suction_set_point_kpa_abs == pytest.approx(kpa[-11.0], rel=0.003)
    assert bench.outputs.trip_word == 0


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_process_temperature_leads_and_its_loss_holds(name: str, toys: Any) -> None:
    bench = with_target(
        toys, name, control_variable=ControlVariable.PROCESS_TEMPERATURE, process_set_point_c=-5.0,
        second_process_set_point_c=-9.0,
    )  # fmt: skip
    bench.overrides = {"process_temperature_c": -5.0}
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    before_pct = bench.machine.capacity_pct
    bench.overrides = {"process_temperature_c": -2.0}
    bench.run(20.0)
    warm_pct = bench.machine.capacity_pct
    assert warm_pct > before_pct + 5.0
    bench.overrides = {"process_temperature_health": Health.UNDER, "process_temperature_c": -70.0}
    bench.run(5.0)
    assert bench.outputs.inhibit == Inhibit.SIGNAL_HOLD
    held_pct = bench.machine.capacity_pct
    bench.run(5.0)
    assert bench.machine.capacity_pct <= held_pct
    bench.overrides = {"process_temperature_c": -5.0}
    bench.run(3.0)
    assert bench.outputs.inhibit == Inhibit.NONE
    before_pct = bench.machine.capacity_pct
    bench.overrides = {"process_temperature_c": -5.0, "second_set_point": True}
    bench.run(24.0)  # the second set point is colder, so more is wanted
    assert bench.machine.capacity_pct > before_pct


def test_process_temperature_does_not_matter_where_it_is_not_regulated(bench: Any) -> None:
    bench.overrides = {"process_temperature_health": Health.UNDER}
    bench.until(Mode.AUTOMATIC)
    bench.run(5.0)
    assert bench.outputs.inhibit == Inhibit.NONE


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_a_remote_demand_leads_in_remote_and_pressure_in_local_without_a_bump(name: str, toys: Any) -> None:
    bench = with_target(toys, name, control_variable=ControlVariable.REMOTE_DEMAND)
    bench.overrides = {"selection": Selection.REMOTE, "remote_run": True, "remote_demand_pct": 40.0}
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    assert bench.outputs.capacity_demand_pct == 40.0
    assert bench.machine.capacity_pct == pytest.approx(40.0, abs=3.2)
    for odd, given in ((float("nan"), 3.0), (500.0, 100.0)):
        bench.overrides["remote_demand_pct"] = odd
        assert bench.scan().capacity_demand_pct == given
    bench.overrides["remote_demand_pct"] = 40.0
    bench.run(20.0)
    bench.machine.suction_kpa_abs = 290.6
    bench.run(1.0)
    bench.machine.suction_kpa_abs = 290.6
    bench.overrides = {"selection": Selection.LOCAL}
    # the law goes on from the demand; a step controller from the real position, a neutral zone away at most
    assert bench.scan().capacity_demand_pct == pytest.approx(40.0, abs=3.2)
    bench.machine.load_kw = 560.0
    bench.run(60.0)
    assert bench.machine.capacity_pct > 45.0


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_a_fixed_demand_leads_under_the_inhibits(name: str, toys: Any) -> None:
    bench = with_target(toys, name, control_variable=ControlVariable.FIXED_DEMAND, fixed_demand_pct=70.0)
    bench.machine.load_kw = 600.0
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    assert bench.outputs.capacity_demand_pct == 70.0
    bench.overrides = {"motor_current_a": 400.0}
    bench.run(2.0)
    assert bench.outputs.inhibit == Inhibit.CURRENT_UNLOAD
    assert bench.outputs.capacity_demand_pct < 69.0


def test_ramp_goes_both_ways_and_ends_on_its_target() -> None:
    assert ramp(290.0, 290.0, 270.0, 270.0, 1000, 100) == 288.0
    assert ramp(270.0, 290.0, 270.0, 290.0, 1000, 100) == 272.0
    assert ramp(271.0, 290.0, 270.0, 270.0, 1000, 100) == 270.0
    assert ramp(290.0, 290.0, 270.0, 270.0, 0, 100) == 270.0


def test_set_points_in_use_are_checked_against_the_limits() -> None:
    for changes, words in (
        ({"control_variable": ControlVariable.SATURATED_SUCTION, "saturated_set_point_c": -20.0}, "low suction hold"),
        ({"control_variable": ControlVariable.FIXED_DEMAND, "fixed_demand_pct": 1.0}, "fixed_demand"),
        ({"control_variable": ControlVariable.PROCESS_TEMPERATURE}, ""),
        ({"control_variable": ControlVariable.FIXED_DEMAND}, ""),
    ):
        settings = SHIPPED["scheduled_pi"].settings_type()
        capacity = replace(settings.common.capacity, target=replace(settings.common.capacity.target, **changes))
        found = cross_check(replace(settings, common=replace(settings.common, capacity=capacity)))
        assert any(words in line for line in found) if words else found == []
