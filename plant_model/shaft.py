"""The shaft: motor, coupling and rotors turn together, coast, spin backward, or slip apart.

Forward, the compressor's torque of the moment brakes; what brakes is friction too, so it turns nothing backward.
Backward, the rotors run as an expander on the gas that flows back (`motor.back_torque_n_m`, from the suction side of the
model): its torque fades with the square of speed and is gone at synchronous speed, where the rotors would swallow all
that comes through (a simple law, no source), while bearings and oil hold against it.

A coupling with part of its torque worn away holds until more is asked of it; then motor and rotors move by themselves,
joined by what it still transmits, until their speeds meet again.  The heat made in it is left out of the books.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.motor_curve import motor_torque_n_m, motor_torque_slope_n_m_s

SHORT_STEP_MS = 10  # while it accelerates: at full torque 100 ms would carry it past synchronous speed
REST_RAD_S = 1.0  # slower than 10 rev/min a coasting machine is at rest


@kernel
def advance(p: Any, s: Any, energised: bool, load_torque_n_m: float, h_s: float) -> None:
    """One linearly implicit step of motor and rotors together against a torque."""
    m = s.motor
    torque_n_m = -load_torque_n_m
    slope_n_m_s = 0.0
    if energised:
        torque_n_m += motor_torque_n_m(p, m.speed_rad_s)
        slope_n_m_s = motor_torque_slope_n_m_s(p, m.speed_rad_s)
    # on the rising side of the curve the implicit form would blow up where h·slope nears the inertia; there it is mild
    m.speed_rad_s += h_s * torque_n_m / (p.plant.motor.inertia_kg_m2 - h_s * slope_n_m_s)


@kernel
def holding_torque_n_m(p: Any, s: Any) -> float:
    """What bearings and oil hold against a shaft that is turned backward, N·m."""
    c = p.plant.machine
    return float(p.plant.motor.bearing_torque_n_m + c.friction_torque_n_m + c.oil_drag_torque_n_m)


@kernel
def _backward(p: Any, s: Any, energised: bool, h_s: float) -> None:
    """One step of a shaft that stands or spins backward."""
    m = s.motor
    speed_frac = m.speed_rad_s * p.derived.motor.per_synchronous_speed_s
    driving_n_m = m.back_torque_n_m * max(0.0, 1.0 - speed_frac * speed_frac)
    holding_n_m = holding_torque_n_m(p, s)
    if m.speed_rad_s == 0.0 and driving_n_m <= holding_n_m:
        return
    torque_n_m = holding_n_m - driving_n_m
    if energised:
        torque_n_m += motor_torque_n_m(p, m.speed_rad_s)
    speed_rad_s = m.speed_rad_s + h_s * torque_n_m / p.plant.motor.inertia_kg_m2
    # it comes to rest before it turns forward
    m.speed_rad_s = 0.0 if speed_rad_s > 0.0 else speed_rad_s


@kernel
def _slip(p: Any, s: Any, energised: bool, load_torque_n_m: float, h_s: float) -> bool:
    """One step with a coupling that slips; False when it holds, and nothing has moved."""
    m = s.motor
    d = p.derived.motor
    limit_n_m = d.coupling_torque_n_m * max(0.0, 1.0 - m.coupling_wear_frac)
    motor_rad_s = m.speed_rad_s + m.coupling_slip_rad_s
    torque_n_m = -p.plant.motor.bearing_torque_n_m
    slope_n_m_s = 0.0
    if energised:
        torque_n_m += motor_torque_n_m(p, motor_rad_s)
        slope_n_m_s = motor_torque_slope_n_m_s(p, motor_rad_s)
    sign = 1.0
    if m.coupling_slip_rad_s < 0.0:
        sign = -1.0
    elif m.coupling_slip_rad_s == 0.0:
        # what it has to transmit while both sides accelerate as one, or while the rotors stand
        asked_n_m = load_torque_n_m + d.rotors_inertia_kg_m2 * (torque_n_m - load_torque_n_m) / d.inertia_kg_m2
        if m.speed_rad_s == 0.0:
            asked_n_m = min(torque_n_m, max(asked_n_m, load_torque_n_m))
        if asked_n_m <= limit_n_m and asked_n_m >= -limit_n_m:
            return False
        if asked_n_m < 0.0:
            sign = -1.0
    motor_rad_s += h_s * (torque_n_m - sign * limit_n_m) / (d.motor_inertia_kg_m2 - h_s * slope_n_m_s)
    if not energised:
        motor_rad_s = max(0.0, motor_rad_s)
    rotors_rad_s = m.speed_rad_s + h_s * (sign * limit_n_m - load_torque_n_m) / d.rotors_inertia_kg_m2
    rotors_rad_s = max(0.0, rotors_rad_s)
    slip_rad_s = motor_rad_s - rotors_rad_s
    if sign * slip_rad_s <= 0.0:
        rotors_rad_s = (d.motor_inertia_kg_m2 * motor_rad_s + d.rotors_inertia_kg_m2 * rotors_rad_s) / d.inertia_kg_m2
        slip_rad_s = 0.0
    m.speed_rad_s = rotors_rad_s
    m.coupling_slip_rad_s = slip_rad_s
    return True


@kernel
def step_shaft_slowly(p: Any, s: Any, energised: bool, load_torque_n_m: float, h_ms: int) -> None:
    """Starting, coasting, spinning backward or slipping: in short parts.  `load_torque_n_m` without back torque."""
    m = s.motor
    left_ms = h_ms
    while left_ms > 0:
        part_ms = min(left_ms, SHORT_STEP_MS)
        h_s = 0.001 * part_ms
        left_ms -= part_ms
        apart = m.coupling_wear_frac > 0.0 or m.coupling_slip_rad_s != 0.0
        rotors_n_m = load_torque_n_m - p.plant.motor.bearing_torque_n_m + m.back_torque_n_m
        if apart and m.speed_rad_s >= 0.0 and _slip(p, s, energised, rotors_n_m, h_s):
            continue
        if m.speed_rad_s > 0.0 or (energised and m.speed_rad_s == 0.0):
            advance(p, s, energised, load_torque_n_m + m.back_torque_n_m, h_s)
            m.speed_rad_s = max(0.0, m.speed_rad_s)
        else:
            _backward(p, s, energised, h_s)
    held = m.back_torque_n_m <= holding_torque_n_m(p, s)
    if not energised and held and m.coupling_slip_rad_s == 0.0 and abs(m.speed_rad_s) < REST_RAD_S:
        m.speed_rad_s = 0.0
