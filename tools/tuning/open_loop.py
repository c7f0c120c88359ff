"""Gain and continuous phase of process × controller, many loops at once, and what scan and filter add to a process.

The phase is summed from closed forms and never wrapped, so that a count of its crossings cannot miss a turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from tools.tuning.linear_process import Float, LinearProcess, PidSettings, PiSettings

DERIVATIVE_FILTER = 10.0  # derivative filter of Td/10, as the table of reference §5 has it


@dataclass(frozen=True, slots=True)
class LoopEffects:
    """What a real loop adds to its process: the filter of the measurement, the scan, the time to compute.

    filter_s is a first-order lag in s; scan_s the scan time in s; computing_scans counts from reading to output, 1 in a
    cabinet and 0 in this simulator, where outputs act at once.  A zero-order hold is half a scan of dead time (its
    amplitude, below 1, is left out: to the safe side).
    """

    filter_s: float = 0.0
    scan_s: float = 0.1
    computing_scans: float = 1.0

    def on(self, process: LinearProcess) -> LinearProcess:
        """The process as the controller sees it."""
        lags_s = (*process.lags_s, self.filter_s) if self.filter_s > 0.0 else process.lags_s
        dead_time_s = process.dead_time_s + self.scan_s * (0.5 + self.computing_scans)
        return replace(process, dead_time_s=dead_time_s, lags_s=lags_s)


@dataclass(frozen=True)
class OpenLoops:
    """Numbers of n loops as columns (n, 1), so that a row of frequencies spreads over them."""

    gain: Float  # process gain × controller gain
    integrators: Float
    dead_time_s: Float
    lags_s: tuple[Float, ...]
    lead_s: Float  # numerator 1 + lead·s + lead2·s², over Ti·s·(1 + filter·s)
    lead_s2: Float
    filter_s: Float
    scale_s: Float = field(repr=False)  # longest and
    short_s: Float = field(repr=False)  # shortest time in the loop

    @classmethod
    def of(cls, processes: Sequence[LinearProcess], controllers: Sequence[PiSettings | PidSettings]) -> Self:
        """Loop k is process k with controller k."""

        def column(values: Sequence[float]) -> Float:
            return np.array(values, dtype=np.float64).reshape(-1, 1)

        most = max((len(p.lags_s) for p in processes), default=0)
        lags = [column([p.lags_s[k] if k < len(p.lags_s) else 0.0 for p in processes]) for k in range(most)]
        integral = column([c.integral_s if np.isfinite(c.integral_s) else 0.0 for c in controllers])
        derivative = column([c.derivative_s if isinstance(c, PidSettings) else 0.0 for c in controllers])
        has_integral = integral > 0.0
        ti = np.where(has_integral, integral, 1.0)
        tf = derivative / DERIVATIVE_FILTER
        gain = column([p.gain for p in processes]) * column([c.gain_pct_kpa for c in controllers]) / ti
        dead = column([p.dead_time_s for p in processes])
        # without integral action 1 + Td·s/(1 + Tf·s) = (1 + (Td + Tf)·s)/(1 + Tf·s)
        lead = np.where(has_integral, ti + tf, derivative + tf)
        lead2 = np.where(has_integral, ti * (tf + derivative), 0.0)
        times = np.concatenate([dead, *lags, integral, derivative], axis=1)
        longest = np.maximum(times.max(axis=1, keepdims=True), 1e-9)
        shortest = np.where(times > 0.0, times, np.inf).min(axis=1, keepdims=True)
        integrators = column([float(p.integrating) for p in processes])
        # a proportional loop round an integrator may have no time but this one
        own = np.where((integrators + has_integral) > 0, 1.0 / np.abs(gain), longest)
        return cls(
            gain, integrators + has_integral, dead, tuple(lags), lead, lead2, tf,
            np.maximum(longest, np.where(np.isfinite(shortest), 0.0, own)),
            np.where(np.isfinite(shortest), shortest, own),
        )  # fmt: skip

    def rows(self, k: NDArray[np.intp]) -> Self:
        """Loops k, again or in another order."""
        picked: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        taken: dict[str, Any] = {
            name: tuple(a[k] for a in v) if isinstance(v, tuple) else v[k] for name, v in picked.items()
        }
        return type(self)(**taken)

    def magnitude_and_phase(self, w_rad_s: Float) -> tuple[Float, Float]:
        """|L(jw)| and its unwrapped phase in rad; w_rad_s is one row for all or one row per loop."""
        w = w_rad_s
        square = w * w
        real = 1.0 - self.lead_s2 * square
        imag = self.lead_s * w
        size = self.gain * np.sqrt(real * real + imag * imag) * w**-self.integrators
        phase = np.arctan2(imag, real) - w * self.dead_time_s - (0.5 * np.pi) * self.integrators
        for lag_s in (*self.lags_s, self.filter_s):
            if lag_s.any():
                size = size / np.sqrt(1.0 + square * (lag_s * lag_s))
                phase = phase - np.arctan(w * lag_s)
        return size, phase
