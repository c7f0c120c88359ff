"""What a unit step of load at the plant input does to a loop with its exact dead time: the curve, IAE, IE.

Method of steps: within one dead time the delayed part is known, so the loop is an ordinary differential equation driven
by what happened one dead time ago.  It is solved by Chebyshev collocation; the result on one section is a matrix times
the result on the section a dead time earlier, and no dead time is ever approximated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tools.tuning.linear_process import Float, LinearProcess, PiSettings

NODES = 12  # Chebyshev points of a section; the solution between them is a polynomial of degree 11
DENSE = 40  # points of a section where the sign of the error is looked for
SETTLED = 1e-5  # of the greatest error, and of the final integral
MOST_SECTIONS = 20_000
TAIL_CHECK = 16  # dead times between looks at the tail, and between the points it is judged by
TAIL_AGREES = 1e-5
WITHOUT_INTEGRAL = 200  # sections of a curve that keeps its offset


@dataclass(frozen=True)
class LoadResponse:
    """Response from the moment the load reaches the pressure (one dead time after the step).

    error_kpa is measured − set point, as in `controller/pid.py`, for a load equal to 1 % of travel that raises the
    pressure.  iae and ie in kPa·s; IE = Ti/Kp whatever the process (Åström & Hägglund).  Numerical errors of ie below
    1e-4, of iae below 1e-3.  Both are inf where the loop does not settle, as without integral action.
    """

    time_s: Float
    error_kpa: Float
    iae_kpa_s: float
    ie_kpa_s: float
    settled: bool


def load_response(process: LinearProcess, controller: PiSettings) -> LoadResponse:
    """Response of the loop to a unit load step at the plant input."""
    if controller.gain_pct_kpa <= 0.0:
        raise ValueError(f"controller gain {controller.gain_pct_kpa:g} %/kPa must be positive")
    loop = _Sections.of(process, controller)
    errors, integrals, left = loop.run()
    dense = _to_dense()
    error = (errors @ dense.T)[:, :-1].ravel()
    integral = (integrals @ dense.T)[:, :-1].ravel()
    share = 0.5 * (1.0 - np.cos(np.pi * np.arange(DENSE - 1) / (DENSE - 1)))
    time_s = (loop.section_s * (np.arange(len(errors))[:, None] + share)).ravel()
    # between two points without a change of sign the integral of |e| is the difference of the integral, exactly
    if left is None:
        return LoadResponse(time_s, error, math.inf, math.inf, False)
    iae = float(np.abs(np.diff(integral)).sum()) + abs(left)
    return LoadResponse(time_s, error, iae, float(integral[-1]) + left, True)


def iae_kpa_s(process: LinearProcess, controller: PiSettings) -> float:
    """Integral of |error| after a unit load step, kPa·s; inf where the loop does not settle."""
    return load_response(process, controller).iae_kpa_s


@dataclass(frozen=True)
class _Sections:
    """States z = (process states, integral of the error); x' = A·z + B·(delayed z) + b."""

    section_s: float
    delay_sections: int  # 0: no dead time, the delayed part is part of A
    here: Float  # nodes of z from z at the start of the section
    earlier: Float  # … and from the nodes one dead time earlier
    load: Float  # … and from the load
    final_integral: float

    @classmethod
    def of(cls, process: LinearProcess, controller: PiSettings) -> _Sections:
        lags = sorted((lag_s for lag_s in process.lags_s if lag_s > 0.0), reverse=True)
        order = len(lags) + (1 if process.integrating else 0)
        if order == 0:
            raise ValueError("dead time alone: the load would be a jump of pressure; give the process a lag")
        states = order + 1
        a, b, c = np.zeros((states, states)), np.zeros((states, states)), np.zeros(states)
        rows = ([None] if process.integrating else []) + lags  # None: the integrator comes first
        for k, lag_s in enumerate(rows):
            rate = process.gain if k == 0 else 1.0
            if lag_s is not None:
                a[k, k], rate = -1.0 / lag_s, rate / lag_s
            if k > 0:
                a[k, k - 1] = rate
            else:
                c[0] = rate
        a[order, order - 1] = 1.0
        integral = 1.0 / controller.integral_s if 0.0 < controller.integral_s < math.inf else 0.0
        b[0, order - 1] -= c[0] * controller.gain_pct_kpa
        b[0, order] -= c[0] * controller.gain_pct_kpa * integral
        section_s, back = _section(process, controller, lags)
        if back == 0:
            a, b = a + b, np.zeros_like(b)
        final = 1.0 / (controller.gain_pct_kpa * integral) if integral else math.inf
        here, earlier, load = _collocate(a, b, c, section_s)
        return cls(section_s, back, here, earlier, load, final)

    def run(self) -> tuple[Float, Float, float | None]:
        """(error, integral) at the nodes, a row per section, and what is left of the integral: None if not settled."""
        states = self.here.shape[1]
        back = max(self.delay_sections, 1)
        past = [np.zeros(NODES * states) for _ in range(back)]
        z = np.zeros(states)
        found: list[Float] = []
        greatest, quiet, left = 0.0, 0, None
        most = MOST_SECTIONS if math.isfinite(self.final_integral) else WITHOUT_INTEGRAL
        while len(found) < most and quiet < back + 1:
            nodes = self.here @ z + self.load
            if self.delay_sections:
                nodes = nodes + self.earlier @ past[len(found) % back]
            past[len(found) % back] = nodes
            found.append(nodes)
            z = nodes[-states:]
            error = np.abs(nodes[states - 2 :: states]).max()
            greatest = max(greatest, error)
            still = error < SETTLED * greatest and abs(z[-1] - self.final_integral) < SETTLED * self.final_integral
            quiet = quiet + 1 if still else 0
            if len(found) % TAIL_CHECK == 0 and (left := self.tail(found, TAIL_CHECK * back)) is not None:
                break
            if not error < 1e6 * self.load.max(initial=1e-300) * len(found):
                break
        table = np.array(found).reshape(len(found), NODES, states)
        return table[:, :, states - 2], table[:, :, states - 1], 0.0 if quiet > back else left

    def tail(self, found: list[Float], apart: int) -> float | None:
        """Integral left where all that remains is one dying exponential: the same ratio twice, an area as the identity
        asks.  None where it is not."""
        if len(found) <= 2 * apart or not math.isfinite(self.final_integral):
            return None
        last, before, first = (float(found[-1 - k * apart][-2]) for k in (0, 1, 2))
        if before == 0.0 or first == 0.0:
            return None
        ratio, earlier = last / before, before / first
        if not (0.0 < ratio < 1.0 - 1e-9 and abs(ratio - earlier) < 1e-6 * (1.0 - ratio)):
            return None
        left = last * apart * self.section_s / -math.log(ratio)
        fits = abs(float(found[-1][-1]) + left - self.final_integral) < TAIL_AGREES * self.final_integral
        return left if fits else None


def _section(process: LinearProcess, controller: PiSettings, lags: list[float]) -> tuple[float, int]:
    """(length in s, sections per dead time): a section spans at most two of the shortest lag, for the polynomial."""
    short_s = min([*lags, math.inf]) * 2.0
    if process.dead_time_s > 0.0:
        back = min(max(1, math.ceil(process.dead_time_s / short_s)), 60)
        return process.dead_time_s / back, back
    slope = process.gain if process.integrating else process.gain / max(lags)
    own_s = 1.0 / (slope * controller.gain_pct_kpa)
    return min(short_s, own_s), 0


@lru_cache(maxsize=1)
def _points() -> tuple[Float, Float]:
    """(Chebyshev points from 0 to 1, their differentiation matrix) (Trefethen, Spectral Methods in MATLAB, 2000)."""
    n = NODES - 1
    x = np.cos(np.pi * np.arange(NODES) / n)[::-1]
    weight = np.where((np.arange(NODES) == 0) | (np.arange(NODES) == n), 2.0, 1.0) * (-1.0) ** np.arange(NODES)
    gap = x[:, None] - x[None, :] + np.eye(NODES)
    d = np.outer(weight, 1.0 / weight) / gap
    d -= np.diag(d.sum(axis=1))
    return 0.5 * (x + 1.0), 2.0 * d


@lru_cache(maxsize=1)
def _to_dense() -> Float:
    """Values at DENSE points of a section (ends included) from those at the nodes, barycentric interpolation."""
    x, _ = _points()
    weight = (-1.0) ** np.arange(NODES) * np.where((np.arange(NODES) == 0) | (np.arange(NODES) == NODES - 1), 0.5, 1.0)
    at = 0.5 * (1.0 - np.cos(np.pi * np.arange(DENSE) / (DENSE - 1)))
    gap = at[:, None] - x[None, :]
    hit = np.abs(gap) < 1e-14
    terms = weight / np.where(hit, 1.0, gap)
    matrix = terms / terms.sum(axis=1, keepdims=True)
    exact = hit.any(axis=1)
    matrix[exact] = hit[exact].astype(float)
    return np.asarray(matrix)


def _collocate(a: Float, b: Float, c: Float, section_s: float) -> tuple[Float, Float, Float]:
    """Nodes of z' = a·z + b·(earlier) + c from (z at the start, nodes earlier, load)."""
    _, d = _points()
    states = len(a)
    system = np.kron(d / section_s, np.eye(states)) - np.kron(np.eye(NODES), a)
    system[:states] = 0.0
    system[:states, :states] = np.eye(states)
    inverse = np.linalg.inv(system)
    driven = np.kron(np.eye(NODES), b)
    driven[:states] = 0.0
    forced = np.tile(c, NODES)
    forced[:states] = 0.0
    return inverse[:, :states].copy(), inverse @ driven, inverse @ forced
