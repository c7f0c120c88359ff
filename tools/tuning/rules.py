"""Published tuning rules for a PI (and, for comparison, a PID), and the ultimate gain and period they may need.

Rules for one lag + dead time or integrator + dead time take any `LinearProcess` through the half rule; those from the
ultimate point use the process as it is, with its exact dead time.  All are for disturbances at the plant input.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

from tools.tuning.linear_process import LinearProcess, PidSettings, PiSettings, half_rule


@dataclass(frozen=True, slots=True)
class UltimatePoint:
    """Gain in % per kPa and period in s at which a purely proportional loop swings for ever."""

    gain_pct_kpa: float
    period_s: float


def ultimate_point(process: LinearProcess) -> UltimatePoint:
    """Where the exact phase is −180°, to 1e-12 in frequency.

    A process whose phase never gets there (no dead time and fewer than three poles) is refused.
    """
    integrators = 1 if process.integrating else 0
    lags = [lag_s for lag_s in process.lags_s if lag_s > 0.0]
    if process.dead_time_s == 0.0 and integrators + len(lags) < 3:
        raise ValueError(
            "no ultimate point: without dead time and with fewer than three lags the phase stays above −180°"
        )

    def excess_rad(w_rad_s: float) -> float:
        phase = -0.5 * math.pi * integrators - w_rad_s * process.dead_time_s
        return phase - sum(math.atan(lag_s * w_rad_s) for lag_s in lags) + math.pi

    high = 1.0 / (process.dead_time_s + sum(lags))
    while excess_rad(high) > 0.0:
        high *= 2.0
    w_rad_s = float(brentq(excess_rad, 0.0, high, xtol=1e-14 * high, rtol=1e-13))
    gain = process.gain / (w_rad_s if process.integrating else 1.0)
    for lag_s in lags:
        gain /= math.hypot(1.0, lag_s * w_rad_s)
    return UltimatePoint(1.0 / gain, 2.0 * math.pi / w_rad_s)


def _simple(process: LinearProcess) -> tuple[LinearProcess, float, float]:
    """(process of one lag or integrator, its dead time L, gain·L/T of it); a rule needs both above 0."""
    simple = half_rule(process)
    if simple.dead_time_s <= 0.0:
        raise ValueError("this rule needs a dead time above 0 s")
    if not simple.integrating and not simple.lags_s:
        raise ValueError("this rule needs a lag or an integrator; dead time alone asks for an integral controller")
    slope = simple.gain if simple.integrating else simple.gain / simple.lags_s[0]
    return simple, simple.dead_time_s, slope * simple.dead_time_s


def simc_pi(process: LinearProcess, closed_loop_s: float | None = None) -> PiSettings:
    """SIMC: Kp = T/(K·(τc + L)), Ti = min(T, 4·(τc + L)); τc = L unless given (Skogestad, J. Process Control 13, 2003)."""
    simple, dead_s, rise = _simple(process)
    tau_s = dead_s + (dead_s if closed_loop_s is None else closed_loop_s)
    gain = dead_s / (rise * tau_s)
    integral_s = 4.0 * tau_s if simple.integrating else min(simple.lags_s[0], 4.0 * tau_s)
    return PiSettings(gain, integral_s)


def lambda_pi(process: LinearProcess, lambda_s: float | None = None) -> PiSettings:
    """Lambda (IMC) PI; λ = 3 L unless given.

    One lag: Kp = T/(K·(λ + L)), Ti = T.  Integrating: Kp = (2 λ + L)/(kv·(λ + L)²), Ti = 2 λ + L.
    """
    simple, dead_s, rise = _simple(process)
    lam_s = 3.0 * dead_s if lambda_s is None else lambda_s
    if simple.integrating:
        slope = rise / dead_s
        return PiSettings((2.0 * lam_s + dead_s) / (slope * (lam_s + dead_s) ** 2), 2.0 * lam_s + dead_s)
    return PiSettings(simple.lags_s[0] / (simple.gain * (lam_s + dead_s)), simple.lags_s[0])


def amigo_pi(process: LinearProcess) -> PiSettings:
    """AMIGO PI (Åström & Hägglund, Revisiting the Ziegler–Nichols step response method, 2004)."""
    simple, dead_s, rise = _simple(process)
    if simple.integrating:
        return PiSettings(0.35 / rise, 13.4 * dead_s)
    gain, lag_s = simple.gain, simple.lags_s[0]
    share = 0.35 - dead_s * lag_s / (dead_s + lag_s) ** 2
    integral_s = 0.35 * dead_s + 13.0 * dead_s * lag_s**2 / (lag_s**2 + 12.0 * dead_s * lag_s + 7.0 * dead_s**2)
    return PiSettings(0.15 / gain + share / rise, integral_s)


def amigo_pid(process: LinearProcess) -> PidSettings:
    """AMIGO PID (Åström & Hägglund, Advanced PID Control, 2006)."""
    simple, dead_s, rise = _simple(process)
    if simple.integrating:
        return PidSettings(0.45 / rise, 8.0 * dead_s, 0.5 * dead_s)
    gain, lag_s = simple.gain, simple.lags_s[0]
    return PidSettings(
        0.2 / gain + 0.45 / rise,
        dead_s * (0.4 * dead_s + 0.8 * lag_s) / (dead_s + 0.1 * lag_s),
        0.5 * dead_s * lag_s / (0.3 * dead_s + lag_s),
    )


def ziegler_nichols_step_pi(process: LinearProcess) -> PiSettings:
    """Kp = 0.9/a, Ti = L/0.3 with a = K·L/T (Ziegler & Nichols, Trans. ASME 64, 1942); for comparison: too lively."""
    _, dead_s, rise = _simple(process)
    return PiSettings(0.9 / rise, dead_s / 0.3)


def ziegler_nichols_step_pid(process: LinearProcess) -> PidSettings:
    """Kp = 1.2/a, Ti = 2 L, Td = L/2 (Ziegler & Nichols 1942)."""
    _, dead_s, rise = _simple(process)
    return PidSettings(1.2 / rise, 2.0 * dead_s, 0.5 * dead_s)


def ziegler_nichols_ultimate_pi(process: LinearProcess) -> PiSettings:
    """Kp = 0.45 Ku, Ti = Pu/1.2 (Ziegler & Nichols 1942)."""
    return ultimate_rule(ultimate_point(process), 0.45, 1.0 / 1.2)


def ziegler_nichols_ultimate_pid(process: LinearProcess) -> PidSettings:
    """Kp = 0.6 Ku, Ti = Pu/2, Td = Pu/8 (Ziegler & Nichols 1942)."""
    u = ultimate_point(process)
    return PidSettings(0.6 * u.gain_pct_kpa, 0.5 * u.period_s, 0.125 * u.period_s)


def tyreus_luyben_pi(process: LinearProcess) -> PiSettings:
    """Kp = Ku/3.22, Ti = 2.2 Pu (Tyreus & Luyben, Ind. Eng. Chem. Res. 31, 1992)."""
    return ultimate_rule(ultimate_point(process), 1.0 / 3.22, 2.2)


def tyreus_luyben_pid(process: LinearProcess) -> PidSettings:
    """Kp = Ku/2.22, Ti = 2.2 Pu, Td = Pu/6.3 (Tyreus & Luyben 1992, Luyben & Luyben)."""
    u = ultimate_point(process)
    return PidSettings(u.gain_pct_kpa / 2.22, 2.2 * u.period_s, u.period_s / 6.3)


def ultimate_rule(ultimate: UltimatePoint, gain_share: float, integral_share: float) -> PiSettings:
    """A PI from an ultimate point however it was found (a relay test, say): shares of its gain and of its period."""
    return PiSettings(gain_share * ultimate.gain_pct_kpa, integral_share * ultimate.period_s)


PI_RULES: dict[str, Callable[[LinearProcess], PiSettings]] = {
    "SIMC": simc_pi,
    "lambda, 3 dead times": lambda_pi,
    "AMIGO": amigo_pi,
    "Tyreus–Luyben": tyreus_luyben_pi,
    "Ziegler–Nichols, ultimate": ziegler_nichols_ultimate_pi,
    "Ziegler–Nichols, step": ziegler_nichols_step_pi,
}
