"""What a fit leaves over, as noise: white, of the transmitter, and a slow part that forgets in a correlation time.

    V = (1 − share)·I + share·ρ^|i − j|

The slow part is the wandering load, seen through vessel and rooms.  Share and ρ maximise the restricted likelihood
(REML: Patterson & Thompson 1971, recalled), which reckons with what the fitted coefficients have already taken away: an
autoregression of the residuals does not, and with a wandering load its intervals held the truth in 70 % of the cases
instead of 95 %.  Whitening is by the Cholesky factor of V.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import minimize

Float = NDArray[np.float64]
Parts = tuple[tuple[int, int], ...]  # stretches of rows that follow each other in time

SHORTEST_ROWS, LONGEST_TIMES = 0.5, 3.0  # correlation time: from half a row to three times the longest stretch
_SHARE_END = 6.0  # of the logit of the share


@dataclass(frozen=True)
class Noise:
    """share: of the slow part in the variance; rows: its correlation time in rows."""

    share: float
    rows: float
    factors: tuple[Float, ...]  # lower Cholesky factor of every stretch

    def whiten(self, values: Float, parts: Parts) -> Float:
        """Rows of unit covariance, along the first axis."""
        if not self.factors:
            return values
        out = np.empty_like(values)
        for (a, b), factor in zip(parts, self.factors, strict=True):
            out[a:b] = solve_triangular(factor, values[a:b], lower=True, check_finite=False)
        return out

    def log_determinant(self) -> float:
        """ln |V| over all stretches."""
        return sum(2.0 * float(np.sum(np.log(np.diag(factor)))) for factor in self.factors)

    def independent(self, parts: Parts) -> float:
        """How many independent rows would know the mean of a stretch as well, over all stretches."""
        if not self.factors:
            return float(sum(b - a for a, b in parts))
        ones = self.whiten(np.ones(parts[-1][1]), parts)
        return float(ones @ ones)


WHITE = Noise(0.0, 1.0, ())


def noise_with(share: float, rows: float, parts: Parts) -> Noise:
    """The noise of these two figures."""
    known: dict[int, Float] = {}
    for a, b in parts:
        n = b - a
        if n not in known:
            lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
            v = share * np.exp(-lag / rows)
            v[np.diag_indices(n)] = 1.0
            known[n] = np.asarray(cho_factor(v, lower=True, check_finite=False)[0], dtype=np.float64)
    return Noise(share, rows, tuple(known[b - a] for a, b in parts))


def restricted_deviance(noise: Noise, residual: Float, basis: Float, parts: Parts) -> float:
    """−2 ln restricted likelihood, but for a constant; `basis` are the fitted columns that the residual is without."""
    x = noise.whiten(basis, parts)
    r = noise.whiten(residual, parts)
    information = x.T @ x
    try:
        factor = cho_factor(information, lower=True)
    except np.linalg.LinAlgError:
        return np.inf
    r = r - x @ cho_solve(factor, x.T @ r)
    n, k = basis.shape
    spent = max(float(r @ r), 1e-300)
    return float(noise.log_determinant() + 2.0 * np.sum(np.log(np.diag(factor[0]))) + (n - k) * np.log(spent / (n - k)))


def noise_of(residual: Float, basis: Float, parts: Parts, start: Noise = WHITE) -> Noise:
    """Share and correlation time by REML: a coarse grid, then Nelder and Mead's simplex."""
    scale = np.linalg.norm(basis, axis=0)
    basis = basis[:, scale > 1e-12 * scale.max()]
    basis = np.linalg.qr(basis)[0]  # the likelihood asks only what they span
    longest = max(b - a for a, b in parts)
    low, high = np.log(SHORTEST_ROWS), np.log(LONGEST_TIMES * longest)

    def noise_at(place: Float) -> Noise:
        share = 1.0 / (1.0 + np.exp(-np.clip(place[0], -_SHARE_END, _SHARE_END)))
        return noise_with(float(share), float(np.exp(np.clip(place[1], low, high))), parts)

    def score(place: Float) -> float:
        return restricted_deviance(noise_at(place), residual, basis, parts)

    if start.factors:
        first = np.array([np.log(start.share / (1.0 - start.share)), np.log(start.rows)])
    else:
        grid = [np.array([s, t]) for s in (-3.0, -1.0, 1.0, 4.0) for t in np.linspace(low + 1.0, high, 5)]
        first = min(grid, key=score)
    simplex = first + np.array([[0.0, 0.0], [0.7, 0.0], [0.0, 0.5]])
    options: Any = {"xatol": 0.05, "fatol": 0.02, "maxfev": 60, "initial_simplex": simplex}
    found = noise_at(np.asarray(minimize(score, first, method="Nelder-Mead", options=options).x, dtype=np.float64))
    white = restricted_deviance(WHITE, residual, basis, parts)
    better = restricted_deviance(found, residual, basis, parts)
    return found if better < white - 4.0 else WHITE  # two figures more must earn their place (AIC)
