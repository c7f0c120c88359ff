"""Invariants of the control logic under random events, late scans and a wrapping clock, for every shipped controller.

The watcher in conftest.py checks each scan; hypothesis looks for the events that break it.
"""

from __future__ import annotations

import os
from dataclasses import fields, is_dataclass, replace
from enum import IntEnum
from typing import Any

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from controller.process_image import Health, Selection
from controller.registry import SHIPPED, cross_check

SIGNALS = ["suction_pressure", "discharge_pressure", "discharge_temperature", "motor_current"]
OIL = ["oil_pressure", "oil_pressure_before_filter", "oil_temperature", "oil_level"]
OPPOSITE = ["capacity_position_opposite", "volume_ratio_position_opposite", "process_temperature", "motor_power"]
POSITIONS = ["capacity_position", "volume_ratio_position"]
BAD = st.sampled_from([Health.UNDER, Health.OVER, Health.FROZEN])

OVERRIDE = st.one_of(
    st.tuples(st.sampled_from([f"{s}_health" for s in SIGNALS + POSITIONS + OIL + OPPOSITE]), BAD),
    st.tuples(st.just("suction_pressure_kpa_abs"), st.floats(150.0, 450.0)),
    st.tuples(st.just("discharge_pressure_kpa_abs"), st.floats(1400.0, 1800.0)),
    st.tuples(st.just("discharge_temperature_c"), st.floats(85.0, 115.0)),
    st.tuples(st.just("motor_current_a"), st.floats(330.0, 500.0)),
    st.tuples(st.just("oil_pressure_kpa_abs"), st.floats(250.0, 1700.0)),
    st.tuples(st.just("oil_pressure_before_filter_kpa_abs"), st.floats(1300.0, 1900.0)),
    st.tuples(st.just("oil_temperature_c"), st.floats(10.0, 90.0)),
    st.tuples(st.just("capacity_position_opposite_pct"), st.floats(0.0, 100.0)),
    st.tuples(st.sampled_from(["capacity_position_pct", "volume_ratio_position_pct"]), st.floats(-2.0, 102.0)),
    st.tuples(st.just("process_temperature_c"), st.floats(-20.0, 20.0)),
    st.tuples(st.just("remote_demand_pct"), st.floats(-20.0, 120.0) | st.just(float("nan"))),
    st.tuples(st.just("motor_running"), st.booleans()),
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
    st.integers(1, 120),
    st.sampled_from([100, 100, 100, 50, 700, 4_000]),
    st.booleans(),
    st.sampled_from([0, 0, 0, 0, 1_500, 90_000]),
)


@st.composite
def drawn(draw: st.DrawFn, record: Any, keep: frozenset[str], several: int) -> Any:
    """The record with up to `several` fields, anywhere inside it, drawn from their own range; names in `keep` stay."""
    leaves = [(path, f) for path, f in _leaves(record, ()) if path[-1] not in keep]
    for path, f in draw(st.lists(st.sampled_from(leaves), max_size=several)):
        value = _at(record, path)
        low, high = f.metadata["low"], f.metadata["high"]
        if isinstance(value, IntEnum):
            new: Any = draw(st.sampled_from(list(type(value))))
        elif isinstance(value, int):
            new = draw(st.integers(low, min(high, max(10 * value, low + 1_000))))  # longer waits only cost scans
        else:
            new = draw(st.floats(low, high))
        record = _changed(record, path, new)
    return record


def _leaves(record: Any, above: tuple[str, ...]) -> list[tuple[tuple[str, ...], Any]]:
    found = []
    for f in fields(record):
        value = getattr(record, f.name)
        if is_dataclass(value):
            found += _leaves(value, (*above, f.name))
        elif not isinstance(value, tuple):
            found.append(((*above, f.name), f))
    return found


def _at(record: Any, path: tuple[str, ...]) -> Any:
    for name in path:
        record = getattr(record, name)
    return record


def _changed(record: Any, path: tuple[str, ...], new: Any) -> Any:
    if len(path) > 1:
        new = _changed(getattr(record, path[0]), path[1:], new)
    return replace(record, **{path[0]: new})


# waits that decide how long a start takes; drawing them long would leave the tests standing at rest
KEEP = frozenset({"pre_lubrication_ms", "run_up_ms", "start_confirm_ms"})


def play(name: str, toys: Any, chosen: Any, steps: list[Any], running: bool, noise_kpa: float) -> Any:
    """Run the steps under the watcher, which raises at a broken invariant."""
    bench = toys.Bench(SHIPPED[name], chosen, noise_kpa=noise_kpa)
    if running:
        bench.run(40.0)
    for overrides, load_kw, scans, dt_ms, reset, interrupted_ms in steps:
        bench.overrides = dict(overrides)
        bench.machine.load_kw = load_kw
        if interrupted_ms:
            bench.scan(dt_ms, supply_interrupted_ms=interrupted_ms)
        for i in range(scans):
            bench.scan(dt_ms, reset_pressed=reset and i % 7 == 3)
    for mode in bench.watcher.modes:
        event(mode.name)
    return bench


def hunt(name: str, toys: Any, data: st.DataObject) -> None:
    """One example: settings in range that contradict nothing, then events and faults."""
    quick = toys.quick(SHIPPED[name].settings_type())
    chosen = data.draw(drawn(quick, KEEP, 8))
    if cross_check(chosen):
        event("contradictory settings: defaults taken")
        chosen = quick
    steps = data.draw(st.lists(STEP, min_size=1, max_size=10))
    play(name, toys, chosen, steps, data.draw(st.booleans()), data.draw(st.sampled_from([0.0, 0.5])))


@pytest.mark.parametrize("name", sorted(SHIPPED))
@given(data=st.data())
@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_events_break_an_invariant(name: str, toys: Any, data: st.DataObject) -> None:
    hunt(name, toys, data)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(SHIPPED))
@given(data=st.data())
@settings(
    max_examples=int(os.environ.get("TWOSLIDE_EXAMPLES", "20000")),
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
def test_no_events_break_an_invariant_however_long_one_looks(name: str, toys: Any, data: st.DataObject) -> None:
    hunt(name, toys, data)


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
