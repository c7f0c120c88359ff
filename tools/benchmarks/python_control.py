"""The same continuous loop in python-control and in the plant's own step.

Compared is the plant's right-hand side (11 states, speed, volume-ratio slide and auxiliaries held) under a PI controller
on vessel pressure that sets the capacity slide's travel directly: no instruments, positioner, sequence or rows on either
side.  python-control integrates both as one interconnected NonlinearIOSystem; here the plant's step and a PI of the same
gains take turns every 100 ms.  python-control calls the same compiled right-hand side, by address.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import control
import numpy as np
from numba import njit
from numba.np.numpy_support import carray
from numpy.typing import NDArray

import scenarios.compiled  # noqa: F401  opens the kernel cache before the functions below are declared
from plant_model.derived import Parameters
from plant_model.plant import close, step
from plant_model.state import PlantState
from plant_model.suction_vessel import close_vessel
from scenarios.records import RecordArray, dtype_of
from tools.benchmarks.addresses import pointer_to
from tools.benchmarks.demo import running_session
from tools.benchmarks.lsoda_engine import STATES, _pack, _unpack, right_hand_side

STEP_MS = 100
GAIN_1_PA = 0.6e-5  # slow enough that sampling it every 100 ms makes no difference
INTEGRAL_S = 60.0
LOAD_STEP_W = 60.0e3
METHODS = ("LSODA", "RK45")

_PARAMETERS, _PLANT = dtype_of(Parameters), dtype_of(PlantState)


@dataclass(frozen=True, slots=True)
class Loop:
    """The plant's records at the moment of the load step, the states then, and what the PI needs."""

    parameters: RecordArray
    plant: RecordArray
    disturbances: RecordArray
    actuators: RecordArray
    states: NDArray[np.float64]
    set_point_pa: float
    travel_frac: float


def loop_at(after_ms: int = 1_500_000) -> Loop:
    """The demo shift's plant as it runs at `after_ms`, at its own pressure, just before the load steps up."""
    records = running_session(after_ms).records
    p, s, d, a = (records[k].copy() for k in (4, 5, 6, 7))
    for name in ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease"):
        a[0][name] = False
    if not s[0]["motor"]["running"]:
        raise RuntimeError(f"the machine does not run at {after_ms} ms of the demo shift: no loop to compare")
    d[0]["load_heat_w"] += LOAD_STEP_W
    states = np.zeros(STATES)
    _pack_states(s, states)
    return Loop(
        p, s, d, a, states, float(s[0]["vessel"]["zone"]["pressure_pa"]), float(s[0]["capacity"]["travel_frac"])
    )


@njit(cache=True)
def _pack_states(s: Any, y: Any) -> None:
    _pack(s[0], y)


@njit(cache=True)
def _vessel_pa(at: Any, x: Any, guess_pa: Any) -> Any:
    """Vessel pressure of the states `x`.

    Newton's method starts from the same guess every time: python-control takes an output that differs in the last digit
    between two calls for an algebraic loop.
    """
    p = carray(pointer_to(at[7]), 1, _PARAMETERS)[0]
    s = carray(pointer_to(at[8]), 1, _PLANT)[0]
    _unpack(x, s)
    s.vessel.zone.pressure_pa = guess_pa
    close_vessel(p, s.vessel)
    return s.vessel.zone.pressure_pa


@njit(cache=True)
def _set_travel(at: Any, travel_frac: Any) -> None:
    carray(pointer_to(at), 1, _PLANT)[0].capacity.travel_frac = min(1.0, max(0.0, travel_frac))


@njit(cache=True)
def _own_loop(
    p: Any, s: Any, d: Any, a: Any, steps: Any, set_point_pa: Any, travel_frac: Any, out: Any, at_once: Any
) -> Any:
    """PI and plant step in turns; vessel pressure before each step into `out`.  Returns the first bad PlantStatus."""
    plant = s[0]
    speed_rad_s = plant.motor.speed_rad_s
    plant.has_previous = False
    close(p[0], plant)
    integral = 0.0
    h_s = 0.001 * STEP_MS
    for k in range(steps):
        out[k] = plant.vessel.zone.pressure_pa
        error_pa = out[k] - set_point_pa
        travel = travel_frac + GAIN_1_PA * (error_pa + integral / INTEGRAL_S)
        integral += h_s * error_pa
        plant.capacity.travel_frac = min(1.0, max(0.0, travel))
        if at_once:
            close(p[0], plant)
        status = step(p[0], plant, d[0], a[0], STEP_MS)
        if status != 0:
            return status
        plant.motor.speed_rad_s = speed_rad_s
    out[steps] = plant.vessel.zone.pressure_pa
    return 0


def by_step(loop: Loop, duration_s: float, at_once: bool = False) -> NDArray[np.float64]:
    """Vessel pressure every 100 ms, Pa, by the plant's own step.

    A travel that is set acts on the flow from the next step on, which is 100 ms of dead time that a continuous loop does
    not have; `at_once` closes the state again after the PI and is for comparing values, not speeds.
    """
    steps = round(duration_s * 1000.0 / STEP_MS)
    out = np.zeros(steps + 1)
    status = _own_loop(
        loop.parameters,
        loop.plant.copy(),
        loop.disturbances,
        loop.actuators,
        steps,
        loop.set_point_pa,
        loop.travel_frac,
        out,
        at_once,
    )
    if status != 0:
        raise RuntimeError(f"the plant left its envelope (status {status})")
    return out


def by_python_control(loop: Loop, duration_s: float, method: str = "LSODA") -> NDArray[np.float64]:
    """Vessel pressure every 1 s, Pa, by `control.input_output_response` at rtol 1e-6."""
    plant = loop.plant.copy()
    at = np.zeros(14, dtype=np.int64)
    at[7:11] = [array.ctypes.data for array in (loop.parameters, plant, loop.disturbances, loop.actuators)]
    plant_at, dy = int(at[8]), np.zeros(STATES)

    def plant_rates(t: float, x: Any, u: Any, _params: Any) -> Any:
        _set_travel(plant_at, u[0])
        return right_hand_side(t, x, at, dy)

    def plant_output(_t: float, x: Any, _u: Any, _params: Any) -> Any:
        return _vessel_pa(at, x, loop.set_point_pa)

    def pi_rates(_t: float, _x: Any, u: Any, _params: Any) -> Any:
        return (u[0] - loop.set_point_pa,)

    def pi_output(_t: float, x: Any, u: Any, _params: Any) -> Any:
        return loop.travel_frac + GAIN_1_PA * (u[0] - loop.set_point_pa + x[0] / INTEGRAL_S)

    machine = control.NonlinearIOSystem(
        plant_rates, plant_output, name="machine", inputs=["travel"], outputs=["pressure"], states=STATES
    )
    pi = control.NonlinearIOSystem(pi_rates, pi_output, name="pi", inputs=["pressure"], outputs=["travel"], states=1)
    closed = control.interconnect([machine, pi], inputs=[], outputs=["pressure"])
    times = np.linspace(0.0, duration_s, round(duration_s) + 1)
    response = control.input_output_response(
        closed,
        times,
        initial_state=np.concatenate([loop.states, [0.0]]),
        solve_ivp_method=method,
        solve_ivp_kwargs={"rtol": 1e-6, "atol": 1e-6},
    )
    return np.asarray(response.outputs).reshape(-1)
