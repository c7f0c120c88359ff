"""Every shipped scan compiles, and compiled it gives the same records as interpreted, bit for bit."""

from __future__ import annotations

import dataclasses
import random
from typing import Any

import numpy as np
import pytest
from controller.contract import TIME_MASK
from controller.process_image import Health, Inputs, Outputs, Selection
from controller.registry import SHIPPED
from numba import njit
from scenarios.records import dtype_of, from_record, to_array

SCANS = 4000


def wandering_inputs(seed: int, count: int) -> list[tuple[Inputs, int]]:
    """Random but plausible inputs: values wander, faults come and go, the sequence gets time to run through."""
    rng = random.Random(seed)
    x = Inputs(suction_pressure_kpa_abs=320.0, selection=Selection.LOCAL)
    now_ms = TIME_MASK - 100_000
    rows = []
    for _ in range(count):
        x.supply_interrupted_ms = 0
        x.reset_pressed = rng.random() < 0.05
        x.stop_button_pressed = rng.random() < 0.001
        x.suction_pressure_kpa_abs = min(max(x.suction_pressure_kpa_abs + rng.gauss(0, 2.0), 180.0), 420.0)
        x.discharge_pressure_kpa_abs = min(max(x.discharge_pressure_kpa_abs + rng.gauss(0, 8.0), 900.0), 1720.0)
        x.discharge_temperature_c = min(max(x.discharge_temperature_c + rng.gauss(0, 0.5), 20.0), 107.0)
        x.motor_current_a = min(max(x.motor_current_a + rng.gauss(0, 8.0), 0.0), 430.0)
        x.capacity_position_pct = min(max(x.capacity_position_pct + rng.gauss(-0.2, 2.0), -1.0), 101.0)
        x.volume_ratio_position_pct = min(max(x.volume_ratio_position_pct + rng.gauss(-0.2, 2.0), -1.0), 101.0)
        x.motor_running = rng.random() < 0.999
        if rng.random() < 0.005:
            x.second_set_point = not x.second_set_point
        if rng.random() < 0.005:
            x.capacity_manual = not x.capacity_manual
            x.capacity_manual_demand_pct = rng.uniform(-5.0, 105.0)
        if rng.random() < 0.01:
            x.suction_pressure_health = rng.choice([Health.GOOD, Health.GOOD, Health.UNDER])
            x.capacity_position_health = rng.choice([Health.GOOD, Health.GOOD, Health.OVER])
        if rng.random() < 0.001:
            x.supply_interrupted_ms = rng.randrange(2_000_000)
        now_ms = (now_ms + rng.choice([100, 100, 100, 250, 1500])) & TIME_MASK
        rows.append((dataclasses.replace(x), now_ms))
    return rows


def quick(settings: Any) -> Any:
    """The same settings with short waits, so that a few thousand scans visit every mode."""
    common = settings.common
    sequence = dataclasses.replace(
        common.sequence,
        pre_lubrication_ms=1_000,
        start_limit_pct=20.0,
        start_confirm_ms=300,
        run_up_ms=1_000,
        spin_down_ms=5_000,
        start_to_start_ms=60_000,
        stop_to_start_ms=5_000,
        starts_per_hour=6,
        idle_delay_ms=5_000,
        restart_kpa_abs=270.0,
    )
    capacity = dataclasses.replace(common.capacity, load_ramp_ms=20_000)
    return dataclasses.replace(settings, common=dataclasses.replace(common, sequence=sequence, capacity=capacity))


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_compiled_equals_interpreted_bit_for_bit(name: str) -> None:
    controller = SHIPPED[name]
    scan = controller.scan
    settings = quick(controller.settings_type())
    rows = wandering_inputs(7, SCANS)
    state, outputs = controller.state_type(), Outputs()
    interpreted = []
    for x, now_ms in rows:
        assert scan(settings, state, x, outputs, now_ms) == 0
        interpreted.append(dataclasses.replace(outputs))

    @njit
    def block(c: Any, s: Any, xs: Any, o: Any, log: Any, times: Any) -> int:
        for i in range(xs.shape[0]):
            status = scan(c[0], s[0], xs[i], o[0], times[i])
            if status != 0:
                return i
            log[i] = o[0]
        return xs.shape[0]

    inputs = np.concatenate([to_array(x) for x, _ in rows])
    times = np.array([t for _, t in rows], np.int64)
    log = np.zeros(SCANS, dtype_of(Outputs))
    compiled_state = to_array(controller.state_type())
    assert block(to_array(settings), compiled_state, inputs, to_array(Outputs()), log, times) == SCANS
    for i, expected in enumerate(interpreted):
        assert from_record(Outputs, log[i]) == expected, f"scan {i}"
    assert from_record(controller.state_type, compiled_state[0]) == state
    assert len({o.mode for o in interpreted}) >= 8, "the inputs did not lead through the sequence"
    assert any(o.inhibit for o in interpreted)
    assert any(o.capacity_load for o in interpreted)
