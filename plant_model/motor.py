"""The motor: torque and current against slip (Kloss), and the shaft's speed.

The textbook equivalent circuit without stator resistance (Kloss' formula, any machines text) fixes torque, active and
reactive current by rated power, breakdown torque and breakdown slip.  Speed moves by a linearly implicit step: near
synchronous speed the shaft's time constant (30 ms) is shorter than a step.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

RUNNING_SPEED_FRAC = 0.2  # below it the running feedback stays open: a motor that does not turn is a failed start
SHORT_STEP_MS = 10  # while it accelerates: at full torque 100 ms would carry it past synchronous speed
REST_RAD_S = 1.0  # slower than 10 rev/min a coasting machine is at rest


@kernel
def motor_torque_n_m(p: Any, speed_rad_s: float) -> float:
    """Torque of the energised motor at a speed, N·m; negative above synchronous speed."""
    m = p.derived.motor
    slip = 1.0 - speed_rad_s * m.per_synchronous_speed_s
    return float(m.torque_factor_n_m * slip / (slip * slip + m.breakdown_slip_squared))


@kernel
def motor_torque_slope_n_m_s(p: Any, speed_rad_s: float) -> float:
    """Derivative of the torque with respect to speed, N·m·s."""
    m = p.derived.motor
    slip = 1.0 - speed_rad_s * m.per_synchronous_speed_s
    square = slip * slip + m.breakdown_slip_squared
    slope = m.torque_factor_n_m * (m.breakdown_slip_squared - slip * slip) / (square * square)
    return float(-slope * m.per_synchronous_speed_s)


@kernel
def _advance(p: Any, s: Any, load_torque_n_m: float, h_s: float) -> None:
    m = s.motor
    torque_n_m = -load_torque_n_m
    slope_n_m_s = 0.0
    if m.contactor_closed:
        torque_n_m += motor_torque_n_m(p, m.speed_rad_s)
        slope_n_m_s = motor_torque_slope_n_m_s(p, m.speed_rad_s)
    m.speed_rad_s += h_s * torque_n_m / (p.plant.motor.inertia_kg_m2 - h_s * slope_n_m_s)


@kernel
def step_motor(p: Any, s: Any, run: bool, h_ms: int) -> None:
    """Move the shaft by `h_ms` against the compressor's torque of this moment; then torque, current and power.

    The discharge check valve is taken as tight, so the machine never turns backward.
    """
    m = s.motor
    m.contactor_closed = run
    if run or m.speed_rad_s > 0.0:
        load_torque_n_m = p.plant.motor.bearing_torque_n_m + s.compression.shaft_torque_n_m
        if run and m.speed_rad_s > p.derived.motor.settled_rad_s:
            _advance(p, s, load_torque_n_m, 0.001 * h_ms)
        else:
            left_ms = h_ms
            while left_ms > 0:
                part_ms = min(left_ms, SHORT_STEP_MS)
                _advance(p, s, load_torque_n_m, 0.001 * part_ms)
                m.speed_rad_s = max(0.0, m.speed_rad_s)  # the load's torque is friction too: it turns nothing backward
                left_ms -= part_ms
        if m.speed_rad_s < REST_RAD_S and not run:
            m.speed_rad_s = 0.0
    electrical(p, s)


@kernel
def electrical(p: Any, s: Any) -> None:
    """Torque, current, electrical power and running feedback at the present speed."""
    m = s.motor
    d = p.derived.motor
    m.running = m.contactor_closed and m.speed_rad_s > d.running_rad_s
    if not m.contactor_closed:
        m.torque_n_m = 0.0
        m.current_a = 0.0
        m.power_w = 0.0
        return
    slip = 1.0 - m.speed_rad_s * d.per_synchronous_speed_s
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
