"""Invariants of the control logic under random events, late scans and a wrapping clock, for every shipped controller.

The watcher in conftest.py checks each scan; hypothesis looks for the events that break it.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from controller.process_image import Health, Selection
from controller.registry import SHIPPED

SIGNALS = ["suction_pressure", "discharge_pressure", "discharge_temperature", "motor_current"]
POSITIONS = ["capacity_position", "volume_ratio_position"]
BAD = st.sampled_from([Health.UNDER, Health.OVER, Health.FROZEN])

OVERRIDE = st.one_of(
    st.tuples(st.sampled_from([f"{s}_health" for s in SIGNALS + POSITIONS]), BAD),
    st.tuples(st.just("suction_pressure_kpa_abs"), st.floats(150.0, 450.0)),
    st.tuples(st.just("discharge_pressure_kpa_abs"), st.floats(1400.0, 1800.0)),
    st.tuples(st.just("discharge_temperature_c"), st.floats(85.0, 115.0)),
    st.tuples(st.just("motor_current_a"), st.floats(330.0, 500.0)),
    st.tuples(st.just("selection"), st.sampled_from(list(Selection))),
    st.tuples(
        st.sampled_from(["stop_button_pressed", "second_set_point", "vessel_high_high_level", "remote_run"]),
        st.booleans(),
    ),
    st.tuples(st.sampled_from(["safety_chain_closed", "valves_open", "motor_running"]), st.just(False)),
    st.tuples(st.just("capacity_manual"), st.booleans()),
    st.tuples(st.just("capacity_manual_demand_pct"), st.floats(-20.0, 120.0) | st.just(float("nan"))),
    st.tuples(st.just("volume_ratio_manual"), st.booleans()),
    st.tuples(st.just("volume_ratio_manual_demand_pct"), st.floats(-20.0, 120.0) | st.just(float("inf"))),
    st.tuples(st.just("announced_load_pct"), st.floats(-100.0, 100.0)),
)
STEP = st.tuples(
    st.lists(OVERRIDE, max_size=3),
    st.sampled_from([-250.0, 100.0, 380.0, 560.0]),
    st.integers(1, 250),
    st.sampled_from([100, 100, 100, 50, 700, 4_000]),
    st.booleans(),
    st.sampled_from([0, 0, 0, 0, 1_500, 90_000]),
)


@pytest.mark.parametrize("name", sorted(SHIPPED))
@given(steps=st.lists(STEP, min_size=1, max_size=12), running=st.booleans(), noise_kpa=st.sampled_from([0.0, 0.5]))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_events_break_an_invariant(name: str, toys: Any, steps: list[Any], running: bool, noise_kpa: float) -> None:
    bench = toys.Bench(SHIPPED[name], noise_kpa=noise_kpa)
    if running:
        bench.run(60.0)
    for overrides, load_kw, scans, dt_ms, reset, interrupted_ms in steps:
        bench.overrides = dict(overrides)
        bench.machine.load_kw = load_kw
        if interrupted_ms:
            bench.scan(dt_ms, supply_interrupted_ms=interrupted_ms)
        for i in range(scans):
            bench.scan(dt_ms, reset_pressed=reset and i % 7 == 3)
    for mode in bench.watcher.modes:
        event(mode.name)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_the_same_history_gives_the_same_outputs_wherever_the_clock_stands(name: str, toys: Any) -> None:
    logs = []
    for start_ms in (0, 2**32 - 30_000, 2**31 - 5):
        bench = toys.Bench(SHIPPED[name], noise_kpa=0.2)
        bench.now_ms = start_ms
        bench.run(90.0)
        logs.append([y for _, y, _ in bench.log])
    assert logs[0] == logs[1] == logs[2]


@pytest.mark.parametrize("name", sorted(SHIPPED))
@pytest.mark.parametrize("signal", SIGNALS + POSITIONS)
@pytest.mark.parametrize("health", [Health.UNDER, Health.OVER, Health.FROZEN])
@pytest.mark.parametrize("value", [0.0, 5000.0, float("nan")])
def test_a_failed_instrument_never_increases_capacity(
    name: str, toys: Any, signal: str, health: Health, value: float
) -> None:
    bench = toys.Bench(SHIPPED[name])
    bench.run(80.0)
    bench.machine.load_kw = 560.0  # so that a healthy loop would load
    unit = {"suction_pressure": "kpa_abs", "discharge_pressure": "kpa_abs", "discharge_temperature": "c"}
    unit |= {"motor_current": "a", "capacity_position": "pct", "volume_ratio_position": "pct"}
    before_pct = bench.machine.capacity_pct
    bench.overrides = {f"{signal}_health": health, f"{signal}_{unit[signal]}": value}
    bench.scan()
    started_pct = bench.machine.capacity_pct  # the drive of the last good scan has acted until now
    assert started_pct <= before_pct + 0.2 + 1e-9
    bench.run(20.0)
    assert bench.machine.capacity_pct <= started_pct


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_without_a_fault_the_same_step_does_load(name: str, toys: Any) -> None:
    bench = toys.Bench(SHIPPED[name])
    bench.run(80.0)
    before_pct = bench.machine.capacity_pct
    bench.machine.load_kw = 560.0
    bench.run(20.0)
    assert bench.machine.capacity_pct > before_pct + 5.0


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_not_a_number_with_good_health_is_not_believed(name: str, toys: Any) -> None:
    bench = toys.Bench(SHIPPED[name])
    bench.run(80.0)
    bench.scan(suction_pressure_kpa_abs=float("nan"), capacity_position_pct=float("inf"))
    assert not bench.outputs.capacity_load
    assert bench.outputs.inhibit != 0
    bench.run(5.0)
    assert bench.outputs.inhibit == 0
    assert bench.outputs.capacity_demand_pct == bench.outputs.capacity_demand_pct
