"""Fit of pressure over travel: slope, corner (1/lag) and dead time, with the load's drift as a nuisance.

    dx/dt = −a·x + b·[u(t − L) − u0] + d0 + d1·t,      y = x + noise

a = 0 is the integrating process, a > 0 the self-regulating one of lag 1/a and gain b/a: one nests in the other.  b, the
start x0, the load's offset d0 and its ramp d1 enter linearly and are solved for exactly (variable projection, Golub &
Pereyra 1973, recalled); scipy's least_squares finds L and ln a.  The response to the logged travel is exact for straight
lines between its samples, the dead time is not rounded to them.

What is left over is no white noise: a wandering load is seen through the same vessel.  Residuals are therefore
whitened (`identification_noise`), and the intervals are those of the whitened problem.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize_scalar
from scipy.stats import t as student

from tools.tuning.identification_noise import WHITE, Noise, noise_of
from tools.tuning.identification_record import Record

Float = NDArray[np.float64]

LONGEST_DEAD_TIME_S = 60.0
ROUNDS = 3  # of whitening
LEVEL = 0.95
LEAST_FREEDOM = 8.0  # of Student's quantile: a slow noise leaves few independent rows; found by simulation


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its 95 % interval."""

    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half of its length."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True)
class Fit:
    """One model fitted.  slope: kPa/s per % (signed), gain: kPa per % (signed; None if integrating)."""

    integrating: bool
    slope: Interval
    dead_time_s: Interval
    gain: Interval | None
    lag_s: Interval | None
    deviance: float  # −2 ln likelihood
    slow_share: float  # of the residuals' variance that is no white noise
    slow_s: float  # and its correlation time
    correlation: float  # of neighbouring residuals
    residual_kpa: float  # standard deviation
    explained_frac: float  # of what drift and start leave
    samples: int
    bin_s: float
    time_s: Float  # of the bins
    measured_kpa: Float
    fitted_kpa: Float

    @property
    def bic(self) -> float:
        """Schwarz' criterion; less is better."""
        return self.deviance + ((5 if self.integrating else 6) + (2 if self.slow_share else 0)) * float(
            np.log(self.samples)
        )


class _Problem:
    """Least squares of one model with given whitening."""

    def __init__(self, record: Record, integrating: bool, noise: Noise) -> None:
        self.record, self.integrating, self.noise = record, integrating, noise
        self.target = noise.whiten(record.y, record.parts)

    def corner(self, x: Float) -> float:
        return 0.0 if self.integrating else float(np.exp(x[1]))

    def basis(self, x: Float) -> Float:
        return self.record.basis(float(x[0]), self.corner(x))

    def solve(self, x: Float) -> tuple[Float, Float, Float]:
        """Linear coefficients, whitened basis and whitened residual at (L[, ln a])."""
        basis = self.noise.whiten(self.basis(x), self.record.parts)
        scale = np.maximum(np.linalg.norm(basis, axis=0), 1e-12)
        found, *_ = np.linalg.lstsq(basis / scale, self.target, rcond=1e-10)
        return found / scale, basis, self.target - basis @ (found / scale)

    def bends(self, x: Float, linear: Float) -> Float:
        """What dead time and ln a add to the columns, by differences, with the linear coefficients held."""
        columns = []
        for k in range(len(x)):
            width = 0.02 * max(0.5, float(x[0])) if k == 0 else 0.01
            up, down = x.copy(), x.copy()
            up[k], down[k] = x[k] + width, max(0.0, x[k] - width) if k == 0 else x[k] - width
            columns.append((self.basis(up) - self.basis(down)) @ linear / (up[k] - down[k]))
        return np.column_stack(columns)

    def cost(self, x: Float) -> float:
        r = self.solve(x)[2]
        return float(r @ r)

    def bounds(self) -> tuple[list[float], list[float]]:
        r = self.record
        low, high = [0.0], [min(LONGEST_DEAD_TIME_S, 0.25 * r.length_s)]
        if not self.integrating:
            low, high = [*low, np.log(0.02 / r.length_s)], [*high, np.log(1.0 / max(r.bin_s, 0.2))]
        return low, high

    def scan(self) -> Float:
        """The best of a coarse grid: the cost has several valleys in the dead time."""
        low, high = self.bounds()
        dead = np.concatenate([[0.0], np.geomspace(min(0.5, 0.1 * high[0]), high[0], 10)])
        corners = [None] if self.integrating else list(np.linspace(low[1], high[1], 9))
        places = [np.array([d] if c is None else [d, c]) for d in dead for c in corners]
        return min(places, key=self.cost)

    def best(self, start: Float) -> Float:
        low, high = self.bounds()
        inside = np.clip(start, np.array(low) + 1e-6, np.array(high) - 1e-6)
        step = np.full(len(inside), 1e-4)

        def misses(x: Float) -> Float:
            return self.solve(x)[2]

        found = least_squares(misses, inside, bounds=(low, high), xtol=1e-7, ftol=1e-9, diff_step=step)
        x = np.asarray(found.x, dtype=np.float64)
        x[0] = 0.0 if x[0] < 1e-3 else x[0]  # the lower bound is never reached exactly
        return x


def fit(record: Record, integrating: bool) -> Fit:
    """Fit one model.  Raises ValueError if there are too few samples for its parameters."""
    if len(record.y) < 30:
        raise ValueError(f"{len(record.y)} samples are too few to fit a process")
    noise = WHITE
    x = _Problem(record, integrating, noise).scan()
    for _ in range(ROUNDS):
        problem = _Problem(record, integrating, noise)
        before, x = x, problem.best(x)
        linear = problem.solve(x)[0]
        columns = np.hstack([problem.basis(x), problem.bends(x, linear)])
        noise = noise_of(record.y - problem.basis(x) @ linear, columns, record.parts, noise)
        if noise is WHITE or (_ and np.allclose(before, x, atol=0.01)):
            break
    problem = _Problem(record, integrating, noise)
    return _Intervals(problem, problem.best(x)).fit()


class _Intervals:
    """Covariance of all coefficients at the best place, and what follows from it."""

    def __init__(self, problem: _Problem, x: Float) -> None:
        self.problem, self.x = problem, x
        self.linear, self.white_basis, self.white = problem.solve(x)
        self.fitted = problem.basis(x) @ self.linear
        self.plain = problem.record.y - self.fitted
        parameters = len(self.linear) + len(x)
        self.n = len(self.white)
        freedom = max(LEAST_FREEDOM, problem.noise.independent(problem.record.parts) - parameters)
        self.variance = float(self.white @ self.white) / max(3, self.n - parameters)
        self.reach = float(student.ppf(0.5 + 0.5 * LEVEL, freedom))

    @cached_property
    def covariance(self) -> Float:
        """Of the linear coefficients, the dead time and ln a."""
        p = self.problem
        bends = p.noise.whiten(p.bends(self.x, self.linear), p.record.parts)
        jacobian = np.hstack([self.white_basis, bends])
        scale = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-12)
        inverse = np.linalg.pinv((jacobian / scale).T @ (jacobian / scale), rcond=1e-14)
        return np.asarray(self.variance * inverse / np.outer(scale, scale), dtype=np.float64)

    def half(self, k: int) -> float:
        return self.reach * float(np.sqrt(max(self.covariance[k, k], 0.0)))

    def fit(self) -> Fit:
        problem, record = self.problem, self.problem.record
        m, slope, dead_s = len(self.linear), float(self.linear[0]), float(self.x[0])
        gain = lag = None
        if not problem.integrating:
            a = problem.corner(self.x)
            low, high = self.corner_ends()
            lag = Interval(1.0 / a, 1.0 / high, 1.0 / low if low > 0.0 else np.inf)
            c = self.covariance
            relative = c[0, 0] / slope**2 - 2.0 * c[0, m + 1] / slope + c[m + 1, m + 1]
            spread = float(np.exp(min(50.0, self.reach * np.sqrt(max(relative, 0.0)))))
            ends = (slope / a / spread, slope / a * spread)
            gain = Interval(slope / a, min(ends), max(ends))
        rest = problem.basis(self.x)[:, 1:]
        scale = np.maximum(np.linalg.norm(rest, axis=0), 1e-12)
        nothing = record.y - rest @ (np.linalg.lstsq(rest / scale, record.y, rcond=1e-10)[0] / scale)
        n = self.n
        spent = float(self.plain @ self.plain)
        return Fit(
            problem.integrating,
            Interval(slope, slope - self.half(0), slope + self.half(0)),
            Interval(dead_s, max(0.0, dead_s - self.half(m)), dead_s + self.half(m)),
            gain, lag,
            n * float(np.log(max(float(self.white @ self.white) / n, 1e-300))) + problem.noise.log_determinant(),
            problem.noise.share, problem.noise.rows * record.bin_s if problem.noise.share else 0.0,
            float(np.corrcoef(self.plain[1:], self.plain[:-1])[0, 1]) if spent > 0.0 else 0.0,
            float(self.plain.std()), 1.0 - spent / max(float(nothing @ nothing), 1e-300),
            n, record.bin_s, record.time_s, record.y, self.fitted,
        )  # fmt: skip

    def corner_ends(self) -> tuple[float, float]:
        """Ends of the corner's interval, 1/s: where the least sum of squares has risen so far; skew, low 0 if it holds 0."""
        problem, x, dead_sd_s = self.problem, self.x, self.half(len(self.linear)) / self.reach
        limit = problem.cost(x) + self.variance * self.reach**2
        low, high = problem.bounds()
        reach_s = min(high[0], max(6.0 * dead_sd_s, 0.05))

        def profile(log_corner: float) -> float:
            found = minimize_scalar(
                lambda dead_s: problem.cost(np.array([dead_s, log_corner])),
                bounds=(max(0.0, x[0] - reach_s), min(high[0], x[0] + reach_s)),
                method="bounded",
                options={"xatol": max(1e-4, 0.02 * dead_sd_s)},
            )
            return float(found.fun)

        ends = []
        for end in (low[1], high[1]):
            inside, outside, width = float(x[1]), float(end), 0.05
            while width < abs(end - x[1]):  # outward in growing strides, then halving
                place = float(x[1] + np.sign(end - x[1]) * width)
                if profile(place) > limit:
                    outside = place
                    break
                inside, width = place, 2.0 * width
            else:
                if profile(outside) < limit:
                    ends.append(0.0 if end == low[1] else float(np.exp(end)))
                    continue
            while abs(outside - inside) > 0.02 * abs(outside - x[1]):
                middle = 0.5 * (inside + outside)
                inside, outside = (middle, outside) if profile(middle) < limit else (inside, middle)
            ends.append(float(np.exp(outside)))
        return ends[0], ends[1]
