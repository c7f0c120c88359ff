"""A process as tuning sees it: gain, integrating or not, lags, dead time; and the settings of a PI or PID for it.

The dead time stays what it is, e^(−L·s): no Padé approximation anywhere in this room.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Float = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LinearProcess:
    """gain·e^(−L·s) / [s if integrating] / ∏(T·s + 1), from slide travel in % to controlled pressure in kPa.

    gain in kPa per % of travel, per second too if integrating; dead_time_s and lags_s in s.  The sign is that of a
    direct loop: the error of `controller/pid.py` is measured − set point, and more capacity pulls the pressure down, so
    the gain between that error's output and the error it removes is taken positive here (use `from_slope` for a
    measured slope, which is negative).
    """

    gain: float
    integrating: bool
    dead_time_s: float
    lags_s: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what no rule can use."""
        if not np.isfinite(self.gain) or self.gain <= 0.0:
            raise ValueError(f"process gain {self.gain:g} must be positive (see from_slope for a measured slope)")
        if not np.isfinite(self.dead_time_s) or self.dead_time_s < 0.0:
            raise ValueError(f"dead time {self.dead_time_s:g} s must not be negative")
        if not all(np.isfinite(lag) and lag >= 0.0 for lag in self.lags_s):
            raise ValueError(f"lags {self.lags_s} s must not be negative")

    def response(self, w_rad_s: Float) -> Complex:
        """Frequency response at w_rad_s > 0 rad/s, dead time exact."""
        s = 1j * np.asarray(w_rad_s, dtype=np.float64)
        value = self.gain * np.exp(-self.dead_time_s * s)
        if self.integrating:
            value = value / s
        for lag_s in self.lags_s:
            value = value / (lag_s * s + 1.0)
        return np.asarray(value, dtype=np.complex128)

    def spread(self, gain: float = 1.0, dead_time: float = 1.0, lag: float = 1.0) -> LinearProcess:
        """The process with gain, dead time and every lag multiplied by these factors."""
        return replace(
            self,
            gain=self.gain * gain,
            dead_time_s=self.dead_time_s * dead_time,
            lags_s=tuple(lag_s * lag for lag_s in self.lags_s),
        )


@dataclass(frozen=True, slots=True)
class PiSettings:
    """A PI: gain in % of travel per kPa, integral time in s (0 or inf: none).

    Sign as in `controller/pid.py`: a positive gain gives more capacity at a higher suction pressure.
    """

    gain_pct_kpa: float
    integral_s: float


@dataclass(frozen=True, slots=True)
class PidSettings:
    """An ideal-form PID, Kp·(1 + 1/(Ti·s) + Td·s/(Td/10·s + 1)); for comparison only, the cabinet has a PI."""

    gain_pct_kpa: float
    integral_s: float
    derivative_s: float


def first_order(gain: float, lag_s: float, dead_time_s: float) -> LinearProcess:
    """gain·e^(−L·s)/(T·s + 1)."""
    return LinearProcess(gain, False, dead_time_s, (lag_s,))


def integrator(slope: float, dead_time_s: float) -> LinearProcess:
    """slope·e^(−L·s)/s; slope in kPa per second and % of travel."""
    return LinearProcess(slope, True, dead_time_s)


def two_lags(gain: float, lag_s: float, second_lag_s: float, dead_time_s: float) -> LinearProcess:
    """gain·e^(−L·s)/((T1·s + 1)(T2·s + 1))."""
    return LinearProcess(gain, False, dead_time_s, (lag_s, second_lag_s))


def from_slope(slope: float, integrating: bool, dead_time_s: float, lags_s: tuple[float, ...] = ()) -> LinearProcess:
    """The process for a measured slope of suction pressure over travel, which is negative: more capacity, less pressure.

    A positive slope is refused: the loop would be reversed.
    """
    if slope >= 0.0:
        raise ValueError(f"pressure rises with capacity (slope {slope:g}): wires or signs are reversed")
    return LinearProcess(-slope, integrating, dead_time_s, lags_s)


def same_high_end(process: LinearProcess) -> LinearProcess:
    """The process with its longest lag taken for an integrator: what the first few dead times see (Skogestad 2003)."""
    if process.integrating or not process.lags_s:
        return process
    longest_s = max(process.lags_s)
    rest = list(process.lags_s)
    rest.remove(longest_s)
    return LinearProcess(process.gain / longest_s, True, process.dead_time_s, tuple(rest))


def half_rule(process: LinearProcess) -> LinearProcess:
    """One lag and a dead time (or integrator and dead time) for any number of lags.

    Half of the largest neglected lag goes to the dead time, half to the lag kept; smaller ones wholly to the dead time
    (Skogestad, J. Process Control 13, 2003, 291–309).
    """
    lags = sorted((lag_s for lag_s in process.lags_s if lag_s > 0.0), reverse=True)
    if process.integrating:  # the integrator is the lag kept: an infinite one gains nothing from the half
        half = lags[0] if lags else 0.0
        return LinearProcess(process.gain, True, process.dead_time_s + half + sum(lags[1:]))
    if len(lags) < 2:
        return LinearProcess(process.gain, False, process.dead_time_s, tuple(lags))
    return LinearProcess(
        process.gain, False, process.dead_time_s + 0.5 * lags[1] + sum(lags[2:]), (lags[0] + 0.5 * lags[1],)
    )
