"""Every shipped scan compiles, and compiled it gives the same records as interpreted, bit for bit."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from numba import njit

from controller.process_image import Health, Mode, Outputs, Selection
from controller.registry import SHIPPED
from scenarios.records import dtype_of, from_record, to_array

SCANS = 6_000


def eventful(bench: Any, seed: int) -> None:
    """Drive the loop through starts, faults, trips, manual work and late scans, until SCANS rows are logged."""
    rng = random.Random(seed)
    while len(bench.log) < SCANS:
        roll = rng.random()
        bench.overrides.clear()
        bench.machine.load_kw = rng.choice([-250.0, 150.0, 380.0, 520.0])
        if roll < 0.1:
            bench.overrides["suction_pressure_health"] = rng.choice(list(Health))
        elif roll < 0.2:
            bench.overrides["capacity_position_health"] = Health.OVER
        elif roll < 0.3:
            bench.overrides |= {"capacity_manual": True, "capacity_manual_demand_pct": rng.uniform(-10.0, 110.0)}
        elif roll < 0.4:
            bench.overrides |= {"volume_ratio_manual": True, "volume_ratio_manual_demand_pct": rng.uniform(0.0, 100.0)}
        elif roll < 0.5:
            bench.overrides["discharge_pressure_kpa_abs"] = rng.uniform(1500.0, 1720.0)
        elif roll < 0.6:
            bench.overrides["second_set_point"] = True
        elif roll < 0.65:
            bench.overrides["selection"] = Selection.OFF
        elif roll < 0.7:
            bench.scan(supply_interrupted_ms=rng.randrange(1, 100_000))
        for _ in range(rng.randrange(20, 400)):
            bench.scan(rng.choice([100, 100, 100, 250]), reset_pressed=rng.random() < 0.05)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_compiled_equals_interpreted_bit_for_bit(name: str, toys: Any) -> None:
    controller = SHIPPED[name]
    scan = controller.scan
    bench = toys.Bench(controller, noise_kpa=0.2)
    bench.until(Mode.AUTOMATIC)
    eventful(bench, 5)

    @njit
    def block(c: Any, s: Any, xs: Any, o: Any, log: Any, times: Any) -> int:
        for i in range(xs.shape[0]):
            status = scan(c[0], s[0], xs[i], o[0], times[i])
            if status != 0:
                return i
            log[i] = o[0]
        return xs.shape[0]

    inputs = np.concatenate([to_array(x) for x, _, _ in bench.log])
    times = np.array([t for _, _, t in bench.log], np.int64)
    log = np.zeros(len(times), dtype_of(Outputs))
    state = to_array(controller.state_type())
    assert block(to_array(bench.settings), state, inputs, to_array(Outputs()), log, times) == len(times)
    for i, (_, expected, _) in enumerate(bench.log):
        assert from_record(Outputs, log[i]) == expected, f"scan {i}"
    assert from_record(controller.state_type, state[0]) == bench.state
    assert bench.watcher.modes >= set(Mode) - {Mode.OFF}, "the events did not lead through the sequence"
    assert len({y.inhibit for _, y, _ in bench.log}) >= 4
