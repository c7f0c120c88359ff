"""Torque of the motor against speed: Kloss' formula and its slope."""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel


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
