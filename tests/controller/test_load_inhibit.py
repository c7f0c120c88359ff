"""Load inhibit and forced unload on the closed loop."""

from __future__ import annotations

from typing import Any

import pytest

from controller.load_inhibit import limit_level
from controller.process_image import Health, Inhibit, Mode

CASES = [
    ("motor_current_a", 380.0, 399.0, Inhibit.CURRENT_HOLD, Inhibit.CURRENT_UNLOAD),
    (
        "discharge_pressure_kpa_abs",
        1560.0,
        1620.0,
        Inhibit.DISCHARGE_PRESSURE_HOLD,
        Inhibit.DISCHARGE_PRESSURE_UNLOAD,
    ),
    ("suction_pressure_kpa_abs", 250.0, 235.0, Inhibit.SUCTION_HOLD, Inhibit.SUCTION_UNLOAD),
    (
        "discharge_temperature_c",
        92.0,
        97.0,
        Inhibit.DISCHARGE_TEMPERATURE_HOLD,
        Inhibit.DISCHARGE_TEMPERATURE_UNLOAD,
    ),
]


@pytest.mark.parametrize(("name", "hold", "unload", "held", "forced"), CASES)
def test_hold_stops_the_rise_and_unload_forces_a_fall(
    bench: Any, name: str, hold: float, unload: float, held: Inhibit, forced: Inhibit
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.machine.load_kw = 560.0
    bench.overrides = {name: hold}
    bench.scan()
    start_pct = bench.machine.capacity_pct
    bench.run(10.0)
    assert bench.outputs.inhibit == held
    assert bench.machine.capacity_pct <= start_pct
    held_pct, held_demand_pct = bench.machine.capacity_pct, bench.outputs.capacity_demand_pct
    bench.overrides = {name: unload}
    bench.run(3.0)
    assert bench.outputs.inhibit == forced
    # 3 s at 4 %/s, less the scan in which the limit is first seen
    assert bench.machine.capacity_pct == pytest.approx(max(held_pct - 11.6, 3.0), abs=0.5)
    assert bench.outputs.capacity_demand_pct < max(held_demand_pct, 3.1)


def test_forced_unload_ends_at_minimum_load(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"motor_current_a": 400.0}
    bench.run(40.0)
    minimum_pct = bench.settings.common.capacity.minimum_load_pct
    assert bench.outputs.capacity_demand_pct == minimum_pct
    assert bench.machine.capacity_pct == pytest.approx(minimum_pct, abs=0.5)
    assert not bench.outputs.capacity_unload


def test_release_is_bumpless(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"motor_current_a": 385.0}
    bench.machine.load_kw = 560.0
    bench.run(10.0)
    before = bench.outputs.capacity_demand_pct
    bench.overrides = {}
    after = bench.scan().capacity_demand_pct
    assert abs(after - before) < 10.0 if bench.controller.name == "three_position" else abs(after - before) < 1.0


def test_levels_are_left_only_by_the_release_band() -> None:
    levels = []
    level = 0
    for value in (99.9, 100.0, 98.0, 97.1, 97.0, 105.0, 103.0, 102.1, 102.0, 98.0, 96.0):
        level = limit_level(level, value, 100.0, 105.0, 3.0)
        levels.append(level)
    assert levels == [0, 1, 1, 1, 0, 2, 2, 2, 1, 1, 0]


def test_a_lost_suction_signal_holds_then_unloads_then_trips(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"suction_pressure_health": Health.UNDER}
    seen = []
    for _ in range(110):
        y = bench.scan()
        name = Mode(y.mode).name if y.mode == Mode.TRIPPED else Inhibit(y.inhibit).name
        if name not in seen:
            seen.append(name)
    assert seen == ["SIGNAL_HOLD", "SIGNAL_UNLOAD", "TRIPPED"]


def test_a_lost_capacity_position_holds_and_can_still_unload(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(60.0)
    bench.overrides = {"capacity_position_health": Health.UNDER, "capacity_position_pct": 0.0}
    bench.machine.load_kw = 100.0
    start_pct = bench.machine.capacity_pct
    bench.run(25.0)
    assert bench.outputs.inhibit == Inhibit.SIGNAL_HOLD
    assert bench.machine.capacity_pct < start_pct - 2.0
