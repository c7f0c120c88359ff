"""The motor: its contactor, what it draws, its heat, and the step of the shaft it turns.

The textbook equivalent circuit without stator resistance (Kloss' formula, any machines text) fixes torque, active and
reactive current by rated power, breakdown torque and breakdown slip.  Speed moves by a linearly implicit step: near
synchronous speed the shaft's time constant (30 ms) is shorter than a step.  Heat follows the current's square with one
time constant, slower at rest; it is shown to people and trips nothing here: the overload relay is hard-wired.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.motor_curve import motor_torque_n_m, motor_torque_slope_n_m_s
from plant_model.shaft import REST_RAD_S, SHORT_STEP_MS, advance, step_shaft_slowly

__all__ = [
    "REST_RAD_S",
    "RUNNING_SPEED_FRAC",
    "SHORT_STEP_MS",
    "electrical",
    "motor_torque_n_m",
    "motor_torque_slope_n_m_s",
    "step_motor",
]

RUNNING_SPEED_FRAC = 0.2  # below it the running feedback stays open: a motor that does not turn is a failed start


@kernel
def _contactor(s: Any, run: bool) -> bool:
    """Move the contactor; returns whether the motor is energised.

    Without supply, or with a coil that does not hold, it drops out; welded contacts stay closed whatever the coil does,
    and wait for the supply.
    """
    m = s.motor
    closed = run and m.supply_on and not m.contactor_open
    if m.contactor_stuck and m.contactor_closed:
        closed = True
    if closed and not m.contactor_closed:
        m.starts += 1
    m.contactor_closed = bool(closed)
    return bool(closed and m.supply_on)


@kernel
def step_motor(p: Any, s: Any, run: bool, h_ms: int) -> None:
    """Move the shaft by `h_ms` against the compressor's torque of this moment; then torque, current, power and heat."""
    m = s.motor
    energised = _contactor(s, run)
    whole = m.coupling_wear_frac == 0.0 and m.coupling_slip_rad_s == 0.0
    if energised or m.speed_rad_s != 0.0 or m.back_torque_n_m > 0.0 or not whole:
        load_torque_n_m = p.plant.motor.bearing_torque_n_m + s.compression.shaft_torque_n_m
        if energised and whole and m.speed_rad_s > p.derived.motor.settled_rad_s:
            advance(p, s, energised, load_torque_n_m, 0.001 * h_ms)
        else:
            step_shaft_slowly(p, s, energised, load_torque_n_m, h_ms)
    electrical(p, s)
    heat = m.current_a * p.derived.motor.per_rated_current_a
    if energised:
        m.thermal_frac += p.derived.thermal_alpha * (heat * heat - m.thermal_frac)
    else:
        m.thermal_frac -= p.derived.thermal_rest_alpha * m.thermal_frac


@kernel
def electrical(p: Any, s: Any) -> None:
    """Torque, current, electrical power and running feedback at the present speed of the motor."""
    m = s.motor
    d = p.derived.motor
    speed_rad_s = m.speed_rad_s + m.coupling_slip_rad_s
    if not (m.contactor_closed and m.supply_on):
        m.running = False
        m.torque_n_m = 0.0
        m.current_a = 0.0
        m.power_w = 0.0
        return
    m.running = speed_rad_s > d.running_rad_s
    slip = 1.0 - speed_rad_s * d.per_synchronous_speed_s
    square = 1.0 / (slip * slip + d.breakdown_slip_squared)
    m.torque_n_m = d.torque_factor_n_m * slip * square
    air_gap_w = m.torque_n_m * d.synchronous_rad_s
    active_a = (air_gap_w + d.constant_loss_w) * d.ampere_per_w
    reactive_a = d.magnetising_a + d.rotor_limit_a * slip * slip * square
    current_squared = active_a * active_a + reactive_a * reactive_a
    stator_w = d.stator_loss_w_a2 * current_squared
    active_a += stator_w * d.ampere_per_w
    m.current_a = math.sqrt(active_a * active_a + reactive_a * reactive_a)
    m.power_w = air_gap_w + d.constant_loss_w + stator_w
