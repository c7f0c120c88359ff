"""The cycle: instruments → wiring → process image → controller scan → commands → wiring → plant step → row.

`run_block` is the one text of it.  Interpreted it works on dataclasses, compiled (scenarios/compiled.py) on the same
records as C structs, with the same result to the last bit.  It runs to `until_ms` or to the first thing that somebody
outside must see: a watch, a full buffer, a fault.  Between two calls the caller may change operator and disturbances.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.plant import measure, step
from scenarios.call_scan import call_scan
from scenarios.row import write_row
from scenarios.wiring import go_dark, wire_inputs, wire_outputs

TIME_MASK = 0xFFFFFFFF
NOISE_ROWS = 4096  # scans to a chunk of noise: 40 kB an instrument, and a draw costs 10 ns


class BlockEnd(IntEnum):
    """Why a block returned."""

    REACHED = 0  # until_ms
    WATCH = 1  # run.watch_fired says which
    NOISE_USED = 2
    ROWS_FULL = 3
    CONTROLLER_STATUS = 4  # the scan returned non-zero; run.status says what
    CONTROLLER_NOT_FINITE = 5
    CONTROLLER_BOTH_DRIVES = 6
    PLANT = 7  # run.status is the PlantStatus


@dataclass(slots=True)
class Run:
    """Where a run stands.  In a child process this record lies in shared memory: its time is the heartbeat."""

    time_ms: int = 0
    next_scan_ms: int = 0
    next_log_ms: int = 0
    scan_ms: int = 100
    step_ms: int = 100
    log_ms: int = 1000
    clock_offset_ms: int = 0  # added to time_ms for the controller's clock, to test its wrap-around
    noise_start_ms: int = 0  # the scan that row 0 of the noise belongs to
    row_count: int = 0
    row_capacity: int = 0
    edge_count: int = 0
    edge_capacity: int = 0
    edges_lost: int = 0
    watch_fired: int = -1
    status: int = 0
    scans: int = 0
    interrupted_ms: int = 0  # how long the cabinet has been without supply
    capacity_load_on_ms: int = 0
    capacity_unload_on_ms: int = 0
    volume_ratio_increase_on_ms: int = 0
    volume_ratio_decrease_on_ms: int = 0


@kernel
def _check_outputs(outputs: Any) -> int:
    if outputs.capacity_load and outputs.capacity_unload:
        return 6
    if outputs.volume_ratio_increase and outputs.volume_ratio_decrease:
        return 6
    # a comparison with nan is false, so this catches nan as well as infinities
    if not (-1.0e9 < outputs.capacity_demand_pct < 1.0e9):
        return 5
    if not (-1.0e9 < outputs.volume_ratio_demand_pct < 1.0e9):
        return 5
    if not (-1.0e9 < outputs.suction_set_point_kpa_abs < 1.0e9):
        return 5
    return 0


@kernel
def _note_edges(run: Any, values: Any, last: Any, edge_columns: Any, edges: Any) -> None:
    for k in range(len(edge_columns)):
        column = edge_columns[k]
        if values[column] != last[k]:
            if run.edge_count < run.edge_capacity:
                edges[run.edge_count, 0] = float(run.time_ms)
                edges[run.edge_count, 1] = float(column)
                edges[run.edge_count, 2] = last[k]
                edges[run.edge_count, 3] = values[column]
                run.edge_count += 1
            else:
                run.edges_lost += 1
            last[k] = values[column]


@kernel
def _log_row(run: Any, values: Any, rows: Any) -> None:
    for j in range(len(values)):
        rows[run.row_count, j] = values[j]
    run.row_count += 1
    run.next_log_ms += run.log_ms
    run.capacity_load_on_ms = 0
    run.capacity_unload_on_ms = 0
    run.volume_ratio_increase_on_ms = 0
    run.volume_ratio_decrease_on_ms = 0


@kernel
def _note_on_times(run: Any, actuators: Any) -> None:
    if actuators.capacity_load:
        run.capacity_load_on_ms += run.step_ms
    if actuators.capacity_unload:
        run.capacity_unload_on_ms += run.step_ms
    if actuators.volume_ratio_increase:
        run.volume_ratio_increase_on_ms += run.step_ms
    if actuators.volume_ratio_decrease:
        run.volume_ratio_decrease_on_ms += run.step_ms


@kernel
def _first_watch(values: Any, watches: Any) -> int:
    """The first watch that holds; a watch is (column, threshold, +1 at or above / −1 at or below)."""
    for k in range(len(watches)):
        value = values[int(watches[k, 0])]
        if watches[k, 2] > 0.0:
            if value >= watches[k, 1]:
                return k
        elif value <= watches[k, 1]:
            return k
    return -1


@kernel
def run_block(
    entry: Any,
    settings: Any,
    state: Any,
    inputs: Any,
    outputs: Any,
    wiring: Any,
    operator: Any,
    parameters: Any,
    plant: Any,
    disturbances: Any,
    actuators: Any,
    readings: Any,
    run: Any,
    row: Any,
    values: Any,
    noise: Any,
    rows: Any,
    edges: Any,
    edge_columns: Any,
    last: Any,
    watches: Any,
    until_ms: int,
) -> int:
    """Run to `until_ms` or to the first event that the caller must handle; returns a BlockEnd.

    `values` is the memory of `row` as floats; `noise` (scans, channels) starts at run.noise_start_ms; `rows`, `edges`
    are filled from run.row_count, run.edge_count on.  A watch returns at the boundary after the scan at which it fired,
    so that its process acts from the next scan.
    """
    while run.time_ms < until_ms:
        if run.time_ms == run.next_scan_ms:
            if run.watch_fired >= 0:
                return 1
            noise_row = (run.time_ms - run.noise_start_ms) // run.scan_ms
            if noise_row >= len(noise):
                return 2
            logging = run.time_ms >= run.next_log_ms
            if logging and run.row_count >= run.row_capacity:
                return 3
            for j in range(noise.shape[1]):
                plant.noise[j] = float(noise[noise_row, j])
            measure(parameters, plant, disturbances, readings)
            wire_inputs(wiring, operator, readings, inputs)
            if operator.supply_on and not operator.scanned:
                pass  # a scan that does not come: the outputs stay as the last one left them
            elif operator.supply_on:
                # the first scan after a dip is told how long it was; the controller was not scanned meanwhile
                inputs.supply_interrupted_ms = run.interrupted_ms
                run.interrupted_ms = 0
                now_ms = (run.time_ms + run.clock_offset_ms) & TIME_MASK
                status = call_scan(entry, settings, state, inputs, outputs, now_ms)
                run.scans += 1
                if status != 0:
                    run.status = status
                    return 4
            else:
                run.interrupted_ms += run.scan_ms
                go_dark(outputs)
            bad = _check_outputs(outputs)
            if bad != 0:
                return bad
            write_row(row, plant, disturbances, inputs, outputs, run)
            _note_edges(run, values, last, edge_columns, edges)
            if logging:
                _log_row(run, values, rows)
            run.watch_fired = _first_watch(values, watches)
            run.next_scan_ms += run.scan_ms
        # wired each sub-step, not each scan: the hard-wired chain does not wait for the controller
        wire_outputs(outputs, operator, actuators)
        status = step(parameters, plant, disturbances, actuators, run.step_ms)
        if status != 0:
            run.status = status
            return 7
        _note_on_times(run, actuators)
        run.time_ms += run.step_ms
    return 0
