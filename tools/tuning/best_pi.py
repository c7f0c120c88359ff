"""The PI with the least integral of |error| after a load step, among those whose sensitivity peak keeps to a limit.

Compare Shinskey's least-IAE rules, which have no limit on Ms, and Åström, Panagopoulos & Hägglund, Automatica 34, 1998,
585–601, who limit Ms and maximise Kp/Ti, which is the least IE; IAE differs from it where the response overshoots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.tuning.linear_process import Float, LinearProcess, PiSettings, half_rule
from tools.tuning.load_response import iae_kpa_s
from tools.tuning.margins import Spread, margins_of_many
from tools.tuning.open_loop import LoopEffects
from tools.tuning.rules import ultimate_point

INTEGRAL_TIMES, FINER, GAINS = 24, 9, 28
HALVINGS = 14


@dataclass(frozen=True, slots=True)
class Limits:
    """Greatest Ms allowed: of the process itself and, where a spread is given, of its worst neighbour."""

    ms: float = 1.6
    spread: Spread | None = None
    spread_ms: float = 2.0


@dataclass(frozen=True, slots=True)
class BestPi:
    """The settings found, their IAE per 1 % of load in kPa·s, their Ms and the worst Ms over the spread (1 if none)."""

    settings: PiSettings
    iae_kpa_s: float
    ms: float
    spread_ms: float


def best_pi(process: LinearProcess, limits: Limits | None = None, effects: LoopEffects | None = None) -> BestPi:
    """Least load-disturbance IAE with Ms within the limits; within 2 % of the least there is, Ms never above its limit.

    For each integral time the greatest gain allowed is found, then the best of these and what lies below it.  With
    `effects` the loop is the one with scan and filter.  The error counts at the process's output, unfiltered.
    """
    search = _Search(effects.on(process) if effects else process, limits or Limits())
    simple = half_rule(search.process)
    if simple.dead_time_s <= 0.0:
        raise ValueError("without dead time or a second lag there is no limit to the gain: give the scan time")
    dead_s = simple.dead_time_s
    longest_s = 60.0 * dead_s if simple.integrating else 4.0 * simple.lags_s[0] + 20.0 * dead_s
    shortest_s = 2.0 * dead_s if simple.integrating else 0.2 * min(dead_s, simple.lags_s[0])
    times_s = np.geomspace(shortest_s, longest_s, INTEGRAL_TIMES)
    best = search.along_limit(times_s)
    step = math.log(times_s[1] / times_s[0])
    for _ in range(2):
        around = best.integral_s * np.exp(np.linspace(-step, step, FINER))
        best = search.along_limit(around)
        step *= 2.0 / (FINER - 1)
    best = search.polish(best, step)
    nominal, spread_ms = search.ms(np.array([best.gain_pct_kpa]), np.array([best.integral_s]))
    return BestPi(best, iae_kpa_s(search.process, best), float(nominal[0]), float(spread_ms[0]))


@dataclass(frozen=True, slots=True)
class _Search:
    process: LinearProcess
    limits: Limits

    def ms(self, gains: Float, times_s: Float) -> tuple[Float, Float]:
        """(Ms, worst Ms over the spread) of each pair."""
        around = self.limits.spread.around(self.process) if self.limits.spread else []
        each = [self.process, *around]
        settings = [PiSettings(float(k), float(t)) for k, t in zip(gains, times_s, strict=True)]
        found = margins_of_many(each * len(settings), [s for s in settings for _ in each])
        table = np.array([m.ms for m in found]).reshape(len(settings), len(each))
        return table[:, 0], (table[:, 1:].max(axis=1) if around else np.ones(len(settings)))

    def allowed(self, gains: Float, times_s: Float) -> NDArray[np.bool_]:
        """Whether each pair keeps to the limits."""
        nominal, spread_ms = self.ms(gains, times_s)
        return np.asarray((nominal <= self.limits.ms) & (spread_ms <= self.limits.spread_ms))

    def greatest_gain(self, times_s: Float) -> Float:
        """For each integral time the greatest gain allowed, to 1e-4; 0 where none is."""
        ultimate = ultimate_point(self.process).gain_pct_kpa
        gains = ultimate * np.geomspace(0.005, 1.0, GAINS)
        n = len(times_s)
        fits = self.allowed(np.tile(gains, n), np.repeat(times_s, GAINS)).reshape(n, GAINS)
        last = GAINS - 1 - np.argmax(fits[:, ::-1], axis=1)
        low = np.where(fits.any(axis=1), gains[last], 0.0)
        high = np.where(fits.any(axis=1), gains[np.minimum(last + 1, GAINS - 1)], 0.0)
        some = low > 0.0
        for _ in range(HALVINGS):
            middle = np.sqrt(low * high)
            ok = np.zeros(n, dtype=bool)
            if some.any():
                ok[some] = self.allowed(middle[some], times_s[some])
            low, high = np.where(ok, middle, low), np.where(ok, high, middle)
        return low

    def along_limit(self, times_s: Float) -> PiSettings:
        """The best of these integral times, each with its greatest gain."""
        pairs = [
            PiSettings(float(k), float(t)) for k, t in zip(self.greatest_gain(times_s), times_s, strict=True) if k > 0.0
        ]
        if not pairs:
            raise ValueError(
                f"no PI keeps Ms within {self.limits.ms:g} (spread {self.limits.spread_ms:g}): widen the limit or "
                "narrow the spread"
            )
        return min(pairs, key=self.iae)

    def iae(self, settings: PiSettings) -> float:
        """IAE in kPa·s."""
        return iae_kpa_s(self.process, settings)

    def polish(self, best: PiSettings, step: float) -> PiSettings:
        """Leave the limit where that pays: steps down in gain and either way in integral time, halved three times."""
        least = self.iae(best)
        for size in (4.0 * step, 2.0 * step, step, 0.5 * step):
            moved = True
            while moved:
                moved = False
                tries = [
                    PiSettings(best.gain_pct_kpa * math.exp(a * size), best.integral_s * math.exp(b * size))
                    for a, b in ((-1, 0), (1, 0), (0, -1), (0, 1), (-1, -1), (1, 1), (-1, 1), (1, -1))
                ]
                ok = self.allowed(np.array([t.gain_pct_kpa for t in tries]), np.array([t.integral_s for t in tries]))
                for settings, fits in zip(tries, ok, strict=True):
                    value = self.iae(settings) if fits else math.inf
                    if value < least * (1.0 - 1e-6):
                        best, least, moved = settings, value, True
        return best
