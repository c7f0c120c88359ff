"""An alternative engine: the same cycle, with the plant integrated by LSODA, restarted at each scan.

Everything but the integration is the engine's own kernels, compiled: instruments, wiring, controller, row, slides, shaft,
oil pump.  Speed and slide travels are held over the scan, as the engine holds them.  The right-hand side is
`plant_model.plant.rates`, compiled, on arrays that are made once.  The ledger is left out, in LSODA's favour, so energy
columns stay where they were.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit
from numba.np.numpy_support import carray
from scipy.integrate import LSODA, ode, odeint, solve_ivp

import scenarios.compiled  # noqa: F401  opens the kernel cache, which must be set before the functions below are declared
from controller.process_image import Inputs, Outputs
from plant_model.derived import Parameters
from plant_model.instruments import measure, sense
from plant_model.motor import step_motor
from plant_model.oil_circuit import step_oil_pump
from plant_model.plant import close, rates
from plant_model.slide_actuator import step_slides
from plant_model.state import Actuators, Disturbances, PlantState, Readings
from scenarios.call_scan import call_scan
from scenarios.engine import TIME_MASK, Run, _check_outputs, _first_watch, _log_row, _note_edges, _note_on_times
from scenarios.entries import Entry
from scenarios.preparation import Prepared
from scenarios.records import dtype_of, from_record
from scenarios.row import Row, write_row
from scenarios.session import memory_buffers
from scenarios.wiring import Operator, Wiring, wire_inputs, wire_outputs
from tools.benchmarks.addresses import pointer_to
from tools.benchmarks.demo import OpenSession

RTOL = 1.0e-6
STATES = 18
# far below RTOL times the states, so that the relative tolerance rules: vessel kg, J, kg, J; four rooms K; coils, separator
# and condenser kg, J each; four temperatures in K.  No group is in a defrost here, so no coil under hot gas is integrated.
ATOL = np.array([1e-6, 1.0] * 2 + [1e-6] * 4 + [1e-6, 1.0] * 3 + [1e-6] * 4)

_KINDS = (Inputs, Outputs, Wiring, Operator, Parameters, PlantState, Disturbances, Actuators, Readings, Run, Row)
(_INPUTS, _OUTPUTS, _WIRING, _OPERATOR, _PARAMETERS, _PLANT, _DISTURBANCES, _ACTUATORS, _READINGS, _RUN, _ROW) = (
    dtype_of(kind) for kind in _KINDS
)
_INTEGRATE = -1  # what `_begin` returns when a step is to be integrated


@njit(cache=True)
def _pack(s: Any, y: Any) -> None:
    v, o = s.vessel, s.oil
    y[0], y[1], y[2], y[3] = v.zone_kg, v.zone_energy_j, v.bulk_kg, v.bulk_energy_j
    e = s.evaporator
    for i in range(4):
        y[4 + i] = e.room_k[i]
    y[8], y[9], y[10], y[11] = e.held_kg, e.held_energy_j, s.separator.gas_kg, s.separator.gas_energy_j
    y[12], y[13] = s.discharge.mass_kg, s.discharge.energy_j
    y[14], y[15], y[16], y[17] = o.mixture_k, o.metal_k, o.sump_k, o.supply_k


@njit(cache=True)
def _unpack(y: Any, s: Any) -> None:
    v, o = s.vessel, s.oil
    v.zone_kg, v.zone_energy_j, v.bulk_kg, v.bulk_energy_j = y[0], y[1], y[2], y[3]
    e = s.evaporator
    for i in range(4):
        e.room_k[i] = y[4 + i]
    e.held_kg, e.held_energy_j, s.separator.gas_kg, s.separator.gas_energy_j = y[8], y[9], y[10], y[11]
    s.discharge.mass_kg, s.discharge.energy_j = y[12], y[13]
    o.mixture_k, o.metal_k, o.sump_k, o.supply_k = y[14], y[15], y[16], y[17]
    # the engine guesses ahead along the last step; a solver jumps to and fro, and its best guess is the last pressure
    v.zone.pressure_rate_guess_pa = 0.0
    s.discharge.volume.pressure_rate_guess_pa = 0.0


@njit(cache=True)
def right_hand_side(t: Any, y: Any, at: Any, dy: Any) -> Any:
    """dy/dt of the 18 integrated states into `dy`, which is returned; `at` holds the records' addresses.

    Load and weather are taken at the scan's start, as the engine's one evaluation takes them.
    """
    p = carray(pointer_to(at[7]), 1, _PARAMETERS)[0]
    s = carray(pointer_to(at[8]), 1, _PLANT)[0]
    d = carray(pointer_to(at[9]), 1, _DISTURBANCES)[0]
    a = carray(pointer_to(at[10]), 1, _ACTUATORS)[0]
    _unpack(y, s)
    f = s.rates
    rates(p, s, d, a, f)
    dy[0], dy[1], dy[2], dy[3] = f.zone_kg_s, f.zone_energy_w, f.bulk_kg_s, f.bulk_energy_w
    for i in range(4):
        dy[4 + i] = f.group_room_k_s[i]
    dy[8], dy[9], dy[10], dy[11] = f.held_kg_s, f.held_energy_w, f.separator_kg_s, f.separator_energy_w
    dy[12], dy[13] = f.discharge_kg_s, f.discharge_energy_w
    dy[14], dy[15], dy[16], dy[17] = f.mixture_k_s, f.metal_k_s, f.sump_k_s, f.supply_k_s
    return dy


@njit(cache=True)
def _begin(
    at: Any,
    values: Any,
    noise: Any,
    rows: Any,
    edges: Any,
    edge_columns: Any,
    last: Any,
    watches: Any,
    until_ms: Any,
    y: Any,
) -> Any:
    """The scan, if one is due; then -1 with the states in `y`, or the BlockEnd that ends the block."""
    inputs = carray(pointer_to(at[3]), 1, _INPUTS)[0]
    outputs = carray(pointer_to(at[4]), 1, _OUTPUTS)[0]
    wiring = carray(pointer_to(at[5]), 1, _WIRING)[0]
    operator = carray(pointer_to(at[6]), 1, _OPERATOR)[0]
    p = carray(pointer_to(at[7]), 1, _PARAMETERS)[0]
    s = carray(pointer_to(at[8]), 1, _PLANT)[0]
    d = carray(pointer_to(at[9]), 1, _DISTURBANCES)[0]
    actuators = carray(pointer_to(at[10]), 1, _ACTUATORS)[0]
    readings = carray(pointer_to(at[11]), 1, _READINGS)[0]
    run = carray(pointer_to(at[12]), 1, _RUN)[0]
    row = carray(pointer_to(at[13]), 1, _ROW)[0]
    if run.time_ms >= until_ms:
        return 0
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
            s.noise[j] = noise[noise_row, j]
        measure(p, s, d, readings)
        wire_inputs(wiring, operator, readings, inputs)
        run.status = call_scan(at[0], at[1], at[2], inputs, outputs, (run.time_ms + run.clock_offset_ms) & TIME_MASK)
        run.scans += 1
        if run.status != 0:
            return 4
        bad = _check_outputs(outputs)
        if bad != 0:
            return bad
        write_row(row, s, d, inputs, outputs, run)
        _note_edges(run, values, last, edge_columns, edges)
        if logging:
            _log_row(run, values, rows)
        run.watch_fired = _first_watch(values, watches)
        run.next_scan_ms += run.scan_ms
    wire_outputs(outputs, operator, actuators)
    _pack(s, y)
    return _INTEGRATE


@njit(cache=True)
def _finish(at: Any, y: Any) -> Any:
    """Take the states at the step's end; slides, shaft, oil pump and sensors follow.  Returns the PlantStatus."""
    p = carray(pointer_to(at[7]), 1, _PARAMETERS)[0]
    s = carray(pointer_to(at[8]), 1, _PLANT)[0]
    actuators = carray(pointer_to(at[10]), 1, _ACTUATORS)[0]
    run = carray(pointer_to(at[12]), 1, _RUN)[0]
    _unpack(y, s)
    step_slides(p, s, actuators, run.step_ms)
    step_motor(p, s, actuators.motor_run, run.step_ms)
    step_oil_pump(p, s, actuators.oil_pump)
    s.time_ms += run.step_ms
    status = close(p, s)
    if status != 0:
        run.status = status
        return status
    sense(p, s, False)
    _note_on_times(run, actuators)
    run.time_ms += run.step_ms
    return 0


Way = Callable[[Any, Any, float], Any]  # (y, (at, dy), h_s) -> y at the end
_RHS: Any = right_hand_side  # SciPy's stubs know no compiled functions
_ODEINT: Any = odeint  # nor an absolute tolerance for each state


def _by_odeint(y: Any, args: Any, h_s: float) -> Any:
    return _ODEINT(_RHS, y, (0.0, h_s), args=args, tfirst=True, rtol=RTOL, atol=ATOL)[1]


def _by_odeint_whole_first_step(y: Any, args: Any, h_s: float) -> Any:
    return _ODEINT(_RHS, y, (0.0, h_s), args=args, tfirst=True, rtol=RTOL, atol=ATOL, h0=h_s)[1]


class _ByOde:
    """`scipy.integrate.ode` keeps its object from scan to scan; setting the initial value restarts it."""

    def __init__(self, _session: LsodaSession) -> None:
        solver: Any = ode(_RHS)
        self._solver = solver.set_integrator("lsoda", rtol=RTOL, atol=ATOL)

    def __call__(self, y: Any, args: Any, h_s: float) -> Any:
        return self._solver.set_f_params(*args).set_initial_value(y, 0.0).integrate(h_s)


def _by_lsoda_class(y: Any, args: Any, h_s: float) -> Any:
    at, dy = args
    solver = LSODA(lambda t, state: _RHS(t, state, at, dy).copy(), 0.0, y, h_s, rtol=RTOL, atol=ATOL)
    while solver.status == "running":
        solver.step()
    return solver.y


def _by_solve_ivp(y: Any, args: Any, h_s: float) -> Any:
    at, dy = args

    def rhs(t: float, state: Any) -> Any:
        return _RHS(t, state, at, dy).copy()  # solve_ivp keeps what it is given

    return solve_ivp(rhs, (0.0, h_s), y, method="LSODA", rtol=RTOL, atol=ATOL).y[:, -1]


class _BySolveIvpInPython:
    """As somebody without a compiler would write it: the same right-hand side, run by Python on dataclasses."""

    def __init__(self, session: LsodaSession) -> None:
        self._records = session.records
        self._parameters = session.prepared.parameters
        self._plant = session.plant_state()
        self._disturbances, self._actuators = Disturbances(), Actuators()

    def _take(self) -> None:
        """What is held over this scan, from the records of the compiled rest."""
        s, live = self._plant, self._records[5][0]
        s.time_ms = int(live["time_ms"])
        s.motor.speed_rad_s = float(live["motor"]["speed_rad_s"])
        s.capacity.travel_frac = float(live["capacity"]["travel_frac"])
        s.volume_ratio.travel_frac = float(live["volume_ratio"]["travel_frac"])
        s.oil.pump_frac = float(live["oil"]["pump_frac"])
        self._disturbances = from_record(Disturbances, self._records[6][0])
        self._actuators = from_record(Actuators, self._records[7][0])

    def _rates(self, _t: float, y: Any) -> tuple[float, ...]:
        p, s = self._parameters, self._plant
        f, v, e, o = s.rates, s.vessel, s.evaporator, s.oil
        (
            v.zone_kg, v.zone_energy_j, v.bulk_kg, v.bulk_energy_j, *e.room_k,
            e.held_kg, e.held_energy_j, s.separator.gas_kg, s.separator.gas_energy_j,
            s.discharge.mass_kg, s.discharge.energy_j, o.mixture_k, o.metal_k, o.sump_k, o.supply_k,
        ) = y.tolist()  # fmt: skip
        v.zone.pressure_rate_guess_pa = s.discharge.volume.pressure_rate_guess_pa = 0.0
        rates(p, s, self._disturbances, self._actuators, f)
        return (
            f.zone_kg_s, f.zone_energy_w, f.bulk_kg_s, f.bulk_energy_w, *f.group_room_k_s,
            f.held_kg_s, f.held_energy_w, f.separator_kg_s, f.separator_energy_w,
            f.discharge_kg_s, f.discharge_energy_w, f.mixture_k_s, f.metal_k_s, f.sump_k_s, f.supply_k_s,
        )  # fmt: skip

    def __call__(self, y: Any, _args: Any, h_s: float) -> Any:
        self._take()
        return solve_ivp(self._rates, (0.0, h_s), y, method="LSODA", rtol=RTOL, atol=ATOL).y[:, -1]


SOLVE_IVP = "solve_ivp(method='LSODA')"
WAYS: dict[str, Callable[[LsodaSession], Way]] = {
    "odeint": lambda _: _by_odeint,
    "odeint, first step = scan": lambda _: _by_odeint_whole_first_step,
    "ode('lsoda')": _ByOde,
    "LSODA class": lambda _: _by_lsoda_class,
    SOLVE_IVP: lambda _: _by_solve_ivp,
    f"{SOLVE_IVP}, Python": _BySolveIvpInPython,
}


class LsodaSession(OpenSession):
    """A session whose block is the alternative engine; events, noise, watches and buffers are as in any session."""

    def __init__(self, prepared: Prepared, entry: Entry, way: str) -> None:
        buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        super().__init__(prepared, entry, buffers)
        self._way = WAYS[way](self)
        self._y, self._dy = np.zeros(STATES), np.zeros(STATES)
        self._block = self._lsoda_block

    def _lsoda_block(self, *arguments: Any) -> int:
        """The arguments of `scenarios.engine.run_block`."""
        controller, records, rest, until_ms = arguments[:3], arguments[3:14], arguments[14:21], arguments[21]
        at = np.array([*controller, *(record.ctypes.data for record in records)], dtype=np.int64)
        y, args, h_s, integrate = self._y, (at, self._dy), self.prepared.step_ms / 1000.0, self._way
        begin: Any = _begin
        while True:
            end = begin(at, *rest, until_ms, y)
            if end != _INTEGRATE:
                return int(end)
            if _finish(at, integrate(y, args, h_s)) != 0:
                return 7
