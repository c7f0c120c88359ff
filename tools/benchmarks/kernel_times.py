"""Where a scan's time goes: each part of the cycle alone in a compiled loop, on the running plant of the demo shift.

The parts are timed on the same records, restored before each round, with something of their input changed at every turn,
so that the compiler cannot lift them out of the loop.  Alone in a loop a part finds its data in the nearest cache and its
branches predicted, so the parts may add up to less than the whole block, which is timed beside them.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

import scenarios.compiled  # noqa: F401  opens the kernel cache before the functions below are declared
from plant_model.compression import compress
from plant_model.instruments import measure, sense
from plant_model.motor import step_motor
from plant_model.plant import close, fluxes, step
from plant_model.slide_actuator import step_slides
from scenarios.call_scan import call_scan
from scenarios.chance import noise_block
from scenarios.engine import NOISE_ROWS, _log_row, _note_edges
from scenarios.row import write_row
from scenarios.wiring import wire_inputs, wire_outputs
from tools.benchmarks.demo import OpenSession, new_session, prepared_shift, shipped_entry

_SPEED_TO_HZ = 1.0 / 6.283185307179586


@njit(cache=True)
def _step(r: Any, n: Any) -> Any:
    p, s, d, a = r[4][0], r[5][0], r[6][0], r[7][0]
    total = 0
    for _ in range(n):
        total += step(p, s, d, a, 100)
    return total


@njit(cache=True)
def _fluxes(r: Any, n: Any) -> Any:
    p, s, d, a = r[4][0], r[5][0], r[6][0], r[7][0]
    total = 0.0
    for _ in range(n):
        s.evaporator.room_k[0] += 1.0e-9
        fluxes(p, s, d, a, s.rates)
        total += s.rates.refrigeration_w
    return total


@njit(cache=True)
def _close(r: Any, n: Any) -> Any:
    p, s = r[4][0], r[5][0]
    total = 0
    for k in range(n):
        s.vessel.zone_energy_j += 2.0e3 if k & 64 else -2.0e3  # as much as a step in a moving plant
        s.discharge.energy_j += 2.0e3 if k & 64 else -2.0e3
        total += close(p, s)
    return total


@njit(cache=True)
def _compress(r: Any, n: Any) -> Any:
    p, s = r[4][0], r[5][0]
    total = 0.0
    for k in range(n):
        compress(
            p.plant.machine,
            p.refrigerant,
            p.curves,
            s.suction.pressure_pa + 1.0e-3 * k,
            s.suction.superheat_k,
            s.discharge.volume.pressure_pa,
            s.oil.mixture_k,
            s.motor.speed_rad_s * _SPEED_TO_HZ,
            s.capacity.travel_frac,
            s.volume_ratio.travel_frac,
            s.compression,
        )
        total += s.compression.mass_flow_kg_s
    return total


@njit(cache=True)
def _motor_and_slides(r: Any, n: Any) -> Any:
    p, s, a = r[4][0], r[5][0], r[7][0]
    for _ in range(n):
        step_slides(p, s, a, 100)
        step_motor(p, s, True, 100)
    return s.motor.speed_rad_s


@njit(cache=True)
def _sense(r: Any, n: Any) -> Any:
    p, s = r[4][0], r[5][0]
    for _ in range(n):
        s.suction.pressure_pa += 1.0e-3
        sense(p, s, False)
    return s.lagged[0]


@njit(cache=True)
def _measure(r: Any, n: Any, noise: Any) -> Any:
    p, s, d, readings = r[4][0], r[5][0], r[6][0], r[8][0]
    rows = len(noise)
    for k in range(n):
        for j in range(noise.shape[1]):
            s.noise[j] = noise[k % rows, j]
        measure(p, s, d, readings)
    return readings.milliamp[0]


@njit(cache=True)
def _wiring(r: Any, n: Any) -> Any:
    inputs, outputs, wiring, operator, actuators, readings = r[0][0], r[1][0], r[2][0], r[3][0], r[7][0], r[8][0]
    total = 0.0
    for k in range(n):
        readings.milliamp[k % 15] += 1.0e-6
        wire_inputs(wiring, operator, readings, inputs)
        wire_outputs(outputs, operator, actuators)
        total += inputs.suction_pressure_kpa_abs
    return total


@njit(cache=True)
def _scan(r: Any, n: Any, entry: Any, settings: Any, state: Any, start_ms: Any) -> Any:
    inputs, outputs = r[0][0], r[1][0]
    total = 0
    for k in range(n):
        inputs.suction_pressure_kpa_abs += 0.01 if k & 32 else -0.01
        total += call_scan(entry, settings, state, inputs, outputs, start_ms + 100 * (k + 1))
    return total


@njit(cache=True)
def _row(r: Any, n: Any, run: Any, row: Any) -> Any:
    inputs, outputs, s, d = r[0][0], r[1][0], r[5][0], r[6][0]
    for _ in range(n):
        run[0].time_ms += 100
        write_row(row[0], s, d, inputs, outputs, run[0])
    return row[0].time_ms


@njit(cache=True)
def _edges(n: Any, run: Any, values: Any, last: Any, edge_columns: Any, edges: Any) -> Any:
    for k in range(n):
        run[0].time_ms += 100
        if k % 50 == 0:
            values[edge_columns[0]] = 1.0 - values[edge_columns[0]]
        run[0].edge_count = 0
        _note_edges(run[0], values, last, edge_columns, edges)
    return run[0].edge_count


@njit(cache=True)
def _log(n: Any, run: Any, values: Any, rows: Any) -> Any:
    for _ in range(n):
        run[0].row_count = run[0].row_count % 1000
        values[0] += 100.0
        _log_row(run[0], values, rows)
    return run[0].row_count


def _draw(session: OpenSession, n: int) -> None:
    for chunk in range(-(-n // NOISE_ROWS)):
        noise_block(session.seed, session._names, session._noisy, chunk, min(n, NOISE_ROWS))


@dataclass(frozen=True, slots=True)
class PartTime:
    """Median nanoseconds of processor time a scan; `level` 1 is a part of the part above it."""

    name: str
    level: int
    ns: float


class _Bench:
    """The demo shift's records at one moment, restored before every round."""

    def __init__(self, after_ms: int) -> None:
        prepared = prepared_shift("scheduled_pi", after_ms + 1_200_000)
        self.session: OpenSession = new_session(prepared, shipped_entry(prepared))
        self.session.world.start_all()
        self.session.advance(after_ms)
        if not self.session.outputs().motor_run:
            raise RuntimeError(
                f"the machine does not run at {after_ms} ms of the demo shift: its time would say nothing"
            )
        self.entry = self.session.entry
        if self.entry is None or self.entry.state is None or self.entry.settings is None:
            raise TypeError("a shipped controller has settings and a state")
        self.live = [*self.session.records, self.session.run_record, self.session.row_record, self.entry.state]
        self.kept = [array.copy() for array in self.live]
        self.controller = (self.entry.address, self.entry.settings.ctypes.data, self.entry.state.ctypes.data)
        self.noise = np.random.default_rng(1).standard_normal((4096, 15))

    def restore(self) -> None:
        """Back to the moment at which the records were taken."""
        for array, kept in zip(self.live, self.kept, strict=True):
            array[:] = kept

    def ns(self, work: Callable[[int], object], n: int, rounds: int) -> float:
        """Median processor time of one turn, ns."""
        times = []
        for k in range(rounds + 1):
            self.restore()
            began = time.thread_time_ns()
            work(n)
            if k > 0:  # the first compiles or loads
                times.append((time.thread_time_ns() - began) / n)
        return statistics.median(times)


def part_times(after_ms: int = 1_500_000, scans: int = NOISE_ROWS, rounds: int = 25) -> list[PartTime]:
    """Time of each part of one scan with the machine running in automatic, and of the whole block."""
    b = _Bench(after_ms)
    session = b.session
    r, run, row = tuple(session.records), session.run_record, session.row_record
    values, last, edge_columns = np.array(session.values), np.zeros(len(session._last)), session._edge_columns
    rows, edges = np.zeros((1001, len(values))), np.zeros((1000, 4))
    start_ms = session.time_ms

    def whole(n: int) -> None:
        session.advance(start_ms + 100 * n)

    parts: list[tuple[str, int, Callable[[int], object]]] = [
        ("whole block, 1 s log", 0, whole),
        ("plant step", 0, lambda n: _step(r, n)),
        ("fluxes", 1, lambda n: _fluxes(r, n)),
        ("close: pressures, compression, oil", 1, lambda n: _close(r, n)),
        ("compression alone", 2, lambda n: _compress(r, n)),
        ("slides and shaft", 1, lambda n: _motor_and_slides(r, n)),
        ("sensors' lags", 1, lambda n: _sense(r, n)),
        ("drawing the noise (NumPy, in chunks)", 0, lambda n: _draw(session, n)),
        ("measure: current loops", 0, lambda n: _measure(r, n, b.noise)),
        ("wiring, both ways", 0, lambda n: _wiring(r, n)),
        ("controller scan (scheduled_pi)", 0, lambda n: _scan(r, n, *b.controller, start_ms)),
        ("row", 0, lambda n: _row(r, n, run, row)),
        ("changes of state", 0, lambda n: _edges(n, run, values, last, edge_columns, edges)),
        ("logging a row (each scan)", 0, lambda n: _log(n, run, values, rows)),
    ]
    return [PartTime(name, level, b.ns(work, scans, rounds)) for name, level, work in parts]
