"""Margins of a loop with its exact dead time: gain, phase and delay margin, Ms, Mt; and their worst over a spread.

Whole maps at once: each step works on all loops together, a hundred loops cost little more than one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tools.tuning.linear_process import Float, LinearProcess, PidSettings, PiSettings
from tools.tuning.open_loop import LoopEffects, OpenLoops

WIDE, COARSE, FINE, STEPS = 96, 240, 40, 3
TURN = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class Margins:
    """Robustness of one loop; an unstable one has Ms, Mt = inf, delay margin 0, and gain margin below 1 where a lower
    gain would cure it.

    gain_margin and ms, mt are ratios; a margin that does not exist (no crossing) is inf.  Errors below 1e-4 of the
    value against 10th-order Padé where that holds.
    """

    stable: bool
    gain_margin: float
    phase_margin_deg: float
    ms: float
    mt: float
    delay_margin_s: float
    crossover_rad_s: float  # highest frequency at gain 1; 0 if none
    phase_crossover_rad_s: float  # where the gain margin is read; inf if none


def margins(
    process: LinearProcess, controller: PiSettings | PidSettings, effects: LoopEffects | None = None
) -> Margins:
    """Margins of one loop; see `margins_of_many`."""
    return margins_of_many([process], [controller], effects)[0]


def margins_of_many(
    processes: Sequence[LinearProcess],
    controllers: Sequence[PiSettings | PidSettings],
    effects: LoopEffects | None = None,
) -> list[Margins]:
    """Margins of loop k, process k with controller k; with `effects` each process is first what the controller sees."""
    for controller in controllers:
        if not (controller.gain_pct_kpa > 0.0 and math.isfinite(controller.gain_pct_kpa)):
            raise ValueError(f"controller gain {controller.gain_pct_kpa:g} %/kPa must be positive")
    if len(processes) != len(controllers):
        raise ValueError(f"{len(processes)} processes and {len(controllers)} controllers: one each")
    if not processes:
        return []
    seen = [effects.on(p) for p in processes] if effects else list(processes)
    loops = OpenLoops.of(seen, controllers)
    w = _grid(loops)
    size, phase = loops.magnitude_and_phase(w)
    stable, gm, w_gm = _phase_crossings(loops, w, size, phase)
    pm, dm, wc = _gain_crossings(loops, w, size, phase)
    ms, mt = _peaks(loops, w, size, phase)
    with np.errstate(
        divide="ignore", invalid="ignore"
    ):  # a dead time alone has peaks closer than the grid: look there too
        at_crossing = np.where(np.isfinite(gm) & (gm > 1.0), 1.0 / (gm - 1.0), 0.0)
    ms, mt = np.maximum(ms, 1.0 + at_crossing), np.maximum(mt, at_crossing)
    return [
        Margins(bool(ok), float(g), float(p), float(s), float(t), float(d), float(c), float(x))
        for ok, g, p, s, t, d, c, x in zip(
            stable, gm, np.degrees(pm), np.where(stable, ms, np.inf), np.where(stable, mt, np.inf),
            np.where(stable, dm, 0.0), wc, w_gm, strict=True,
        )
    ]  # fmt: skip


def _rows(low: Float, high: Float, count: int) -> Float:
    """Frequencies from low to high, one row per loop, spaced evenly in the logarithm."""
    step = np.linspace(0.0, 1.0, count)
    start = np.log(low).reshape(-1, 1)
    return np.asarray(np.exp(start + (np.log(high).reshape(-1, 1) - start) * step))


def _grid(loops: OpenLoops) -> Float:
    """From well above gain 1 to well below it; all of it where the gain never gets there."""
    wide = _rows(1e-4 / loops.scale_s, 1e4 / loops.short_s, WIDE)
    size, _ = loops.magnitude_and_phase(wide)
    last = wide.shape[1] - 1
    first = np.argmax(size < 30.0, axis=1)  # the first that is small enough, less one
    first = np.where(size[:, -1] >= 30.0, 0, np.maximum(first - 1, 0))
    final = np.where((size > 0.02).any(axis=1), last - np.argmax(size[:, ::-1] > 0.02, axis=1), last)
    final = np.clip(final + 1, first + 2, last)
    each = np.arange(len(wide))
    return _rows(wide[each, np.minimum(first, last - 2)], wide[each, final], COARSE)


def _phase_crossings(loops: OpenLoops, w: Float, size: Float, phase: Float) -> tuple[Float, Float, Float]:
    """(stable, gain margin, its frequency), by Nyquist's count of crossings left of −1.

    The contour comes from phase 0 at an infinite radius where there is an integrator; every odd multiple of 180° passed
    downward with a gain above 1 counts +1, upward −1, and a stable loop counts 0.
    """
    turns = np.floor((phase + math.pi) / TURN)  # falls by one at −180°, −540°, …
    from_infinity = (loops.integrators[:, 0] > 0.0) | (size[:, 0] > 1.0)
    count = np.where(from_infinity, -turns[:, 0], 0.0)
    passed = turns[:, :-1] - turns[:, 1:]
    k, j = np.nonzero(passed)
    level = TURN * np.maximum(turns[k, j], turns[k, j + 1]) - math.pi
    ends = phase[k, j] - level, phase[k, j + 1] - level
    at, radius, _ = _refine(loops, k, (w[k, j], w[k, j + 1]), ends, lambda gain, angle: angle - level)
    np.add.at(count, k, np.where(radius >= 1.0, passed[k, j], 0.0))
    stable = count == 0.0
    inside, outside = radius < 1.0, radius >= 1.0
    largest, most = np.zeros(len(size)), np.zeros(len(size))
    np.maximum.at(largest, k[inside], radius[inside])
    np.maximum.at(most, k[outside], radius[outside])
    where = np.full(len(size), np.inf)
    shown = inside & (radius == largest[k])
    where[k[shown]] = at[shown]
    with np.errstate(divide="ignore"):
        gm = np.where(stable, 1.0 / largest, 1.0 / most)  # no crossing: inf
    gm = np.where(~stable & (most == 0.0), 0.0, gm)  # no gain stabilises it: its phase starts below −180°
    return stable, gm, where


def _gain_crossings(loops: OpenLoops, w: Float, size: Float, phase: Float) -> tuple[Float, Float, Float]:
    """(phase margin rad, delay margin s, highest frequency) over all crossings of gain 1; inf, inf, 0 without one."""
    above = size > 1.0
    k, j = np.nonzero(above[:, :-1] != above[:, 1:])
    ends = np.log(size[k, j]), np.log(size[k, j + 1])
    at, _, angle = _refine(loops, k, (w[k, j], w[k, j + 1]), ends, lambda gain, angle: np.log(gain))
    left = np.mod(angle + math.pi, TURN)
    n = len(size)
    pm, dm, wc = np.full(n, np.inf), np.full(n, np.inf), np.zeros(n)
    signed = np.where(left > math.pi, left - TURN, left)
    np.minimum.at(pm, k, signed)
    np.minimum.at(dm, k, left / at)
    np.maximum.at(wc, k, at)
    return pm, dm, wc


def _refine(
    loops: OpenLoops,
    k: NDArray[np.intp],
    between: tuple[Float, Float],
    ends: tuple[Float, Float],
    zero: Callable[[Float, Float], Float],
) -> tuple[Float, Float, Float]:
    """(frequency, gain, phase) where zero(gain, phase) of loops k is 0, between frequencies with `ends` of either sign.

    Regula falsi in the logarithm; over one step of the grid everything is nearly straight.
    """
    picked = loops.rows(k)
    (a, b), (fa, fb) = (np.log(between[0]), np.log(between[1])), ends
    for _ in range(STEPS):
        x = a - fa * (b - a) / np.where(fb == fa, 1.0, fb - fa)
        at = np.exp(x)
        size, phase = picked.magnitude_and_phase(at.reshape(-1, 1))
        f = zero(size[:, 0], phase[:, 0])
        same = np.sign(f) == np.sign(fa)
        a, fa = np.where(same, x, a), np.where(same, f, fa)
        b, fb = np.where(same, b, x), np.where(same, fb, f)
    return at, size[:, 0], phase[:, 0]


def _peaks(loops: OpenLoops, w: Float, size: Float, phase: Float) -> tuple[Float, Float]:
    """Largest |1/(1 + L)| and |L/(1 + L)|."""
    found = []
    for power in (0.0, 1.0):
        value = size**power / _distance(size, phase)
        j = np.argmax(value, axis=1)
        each = np.arange(len(w))
        low, high = w[each, np.maximum(j - 1, 0)], w[each, np.minimum(j + 1, w.shape[1] - 1)]
        near_size, near_phase = loops.magnitude_and_phase(_rows(low, high, FINE))
        near = near_size**power / _distance(near_size, near_phase)
        found.append(np.maximum(value.max(axis=1), near.max(axis=1)))
    return found[0], found[1]


def _distance(size: Float, phase: Float) -> Float:
    """|1 + L|."""
    real, imag = 1.0 + size * np.cos(phase), size * np.sin(phase)
    return np.asarray(np.sqrt(real * real + imag * imag) + 1e-300)


@dataclass(frozen=True, slots=True)
class Spread:
    """How far the real process may lie from the one tuned for: fractions either side, 0.2 is ± 20 %."""

    gain_frac: float = 0.2
    dead_time_frac: float = 0.2
    lag_frac: float = 0.2

    def around(self, process: LinearProcess) -> list[LinearProcess]:
        """The process and its neighbours: every combination of least, nominal and greatest."""
        for fraction in (self.gain_frac, self.dead_time_frac, self.lag_frac):
            if not 0.0 <= fraction < 1.0:
                raise ValueError(f"a spread of {fraction:g} is not a fraction from 0 to below 1")
        steps = [sorted({1.0 - f, 1.0, 1.0 + f}) for f in (self.gain_frac, self.dead_time_frac, self.lag_frac)]
        return [process.spread(gain, dead, lag) for gain, dead, lag in product(*steps)]


@dataclass(frozen=True, slots=True)
class Worst:
    """The greatest Ms over a spread (inf where a neighbour is unstable) and the process that has it."""

    ms: float
    process: LinearProcess


def worst_over_spread(
    process: LinearProcess,
    controller: PiSettings | PidSettings,
    spread: Spread,
    effects: LoopEffects | None = None,
) -> Worst:
    """Greatest Ms over the combinations of gain, dead time and lag; scan and filter are known and not spread.

    The greatest of an integrating loop may lie at the low gain, so all combinations count, not only the lively corner.
    """
    around = spread.around(process)
    found = margins_of_many(around, [controller] * len(around), effects)
    k = max(range(len(around)), key=lambda n: found[n].ms)
    return Worst(found[k].ms, around[k])
