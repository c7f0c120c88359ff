"""Limit cycles of pressure loops: harmonic balance with describing functions, and the few that are known exactly.

What harmonic balance is worth is written beside each check in the tests: 5–25 % in period, 5–25 % in amplitude, and it
is on the unsafe side at a threshold, so `slide_zones.py` has each answer confirmed by a simulation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.tuning.describing_functions import Element, rest_zone_gain
from tools.tuning.linear_process import Float, LinearProcess, PiSettings
from tools.tuning.open_loop import OpenLoops

AMPLITUDES, FREQUENCIES, SAME = 160, 400, 1e-6


@dataclass(frozen=True, slots=True)
class LimitCycle:
    """A cycle: amplitude at the non-linear part's input (its unit), amplitude of pressure in kPa, period in s.

    Amplitudes are half of peak to peak.  An unstable one is the kick it takes to set the loop going.
    """

    element_amplitude: float
    pressure_amplitude_kpa: float
    period_s: float
    stable: bool


def predicted_cycles(
    process: LinearProcess,
    controller: PiSettings | None,
    element: Element,
    rest_zone_kpa: float = 0.0,
    largest: float = 1e3,
) -> list[LimitCycle]:
    """All limit cycles that harmonic balance finds, least amplitude first; empty: none.

    controller None: the element itself sits on the pressure (a relay, a step control).  rest_zone_kpa is that of
    `controller/pid.py`, ahead of the PI.  Amplitudes are looked for up to `largest` times the element's own scale.
    """
    balance = _Balance.of(process, controller, element, rest_zone_kpa)
    slow, fast = balance.slow_s, balance.fast_s
    x = np.log(element.scale() * np.geomspace(0.3, largest, AMPLITUDES))
    y = np.log(np.geomspace(1e-3 / slow, 30.0 / fast, FREQUENCIES))
    size, angle = balance.misfit(x[:, None], y[None, :])
    cells = _changes_sign(size) & _changes_sign(angle)
    found: list[LimitCycle] = []
    for k, j in np.argwhere(cells):
        root = balance.root(float(x[k]), float(y[j]), float(x[k + 1] - x[k]), float(y[j + 1] - y[j]))
        if root is None:
            continue
        cycle = balance.cycle(*root)
        if all(abs(cycle.element_amplitude / c.element_amplitude - 1.0) > SAME for c in found):
            found.append(cycle)
    return sorted(found, key=lambda c: c.element_amplitude)


def _changes_sign(table: Float) -> NDArray[np.bool_]:
    """Whether the four corners of each cell differ in sign."""
    sign = table > 0.0
    count = sign[:-1, :-1].astype(int) + sign[1:, :-1] + sign[:-1, 1:] + sign[1:, 1:]
    return np.asarray((count > 0) & (count < 4))


@dataclass(frozen=True, slots=True)
class _Balance:
    """Loop gain of the first harmonic against 1, and its phase against −180°, over log amplitude and log frequency."""

    loop: OpenLoops
    plant: OpenLoops
    element: Element
    rest_zone_kpa: float
    slow_s: float
    fast_s: float

    @classmethod
    def of(
        cls, process: LinearProcess, controller: PiSettings | None, element: Element, rest_zone_kpa: float
    ) -> _Balance:
        unit = PiSettings(1.0, 0.0)
        loop, plant = OpenLoops.of([process], [controller or unit]), OpenLoops.of([process], [unit])
        slow = max(float(loop.scale_s[0, 0]), float(plant.scale_s[0, 0]))
        fast = float(np.maximum(loop.dead_time_s, loop.short_s)[0, 0])
        return cls(loop, plant, element, rest_zone_kpa, slow, fast)

    def misfit(self, x: Float, y: Float) -> tuple[Float, Float]:
        """(log of the loop gain, phase in rad above −180°) at log amplitude x and log frequency y; −99 for gain 0."""
        n = self.element.gain(np.exp(x))
        w = np.exp(y)
        size, phase = self.loop.magnitude_and_phase(w)
        total = size * np.abs(n) * rest_zone_gain(self.pressure_kpa(x, y), self.rest_zone_kpa)
        with np.errstate(divide="ignore"):
            log_size = np.maximum(np.log(total), -99.0)
        return log_size, phase + np.pi + np.angle(n)

    def pressure_kpa(self, x: Float, y: Float) -> Float:
        """Amplitude of the pressure that the element's output makes."""
        size, _ = self.plant.magnitude_and_phase(np.exp(y))
        return np.asarray(np.abs(self.element.gain(np.exp(x))) * np.exp(x) * size)

    def gradients(self, x: float, y: float) -> tuple[Float, Float]:
        """(misfit, its matrix of derivatives by x and y) at a point."""
        h = 1e-6
        at = self.misfit(np.array([[x, x + h, x - h, x, x]]), np.array([[y, y, y, y + h, y - h]]))
        value = np.array([row[0, 0] for row in at])
        slope = np.array([[row[0, 1] - row[0, 2], row[0, 3] - row[0, 4]] for row in at]) / (2.0 * h)
        return value, slope

    def root(self, x: float, y: float, dx: float, dy: float) -> tuple[float, float] | None:
        """Newton from the middle of a cell; None where it leaves the cell's neighbourhood."""
        at = np.array([x + 0.5 * dx, y + 0.5 * dy])
        for _ in range(20):
            value, slope = self.gradients(at[0], at[1])
            if value[0] < -90.0 or abs(np.linalg.det(slope)) < 1e-12:
                return None
            step = np.linalg.solve(slope, -value)
            at = at + step
            if abs(at[0] - x) > 3.0 * dx or abs(at[1] - y) > 3.0 * dy:
                return None
            if np.abs(step).max() < 1e-10:
                return float(at[0]), float(at[1])
        return None

    def cycle(self, x: float, y: float) -> LimitCycle:
        """The cycle at a root, and whether a somewhat greater amplitude dies away (Loeb's criterion).

        With log loop gain g and phase p over log amplitude x and s = σ + jw: ∂(g + jp)/∂x·δx + ∂(g + jp)/∂s·δs = 0,
        where ∂/∂s = (∂/∂y)/(jw).  Stable where δx > 0 gives σ < 0.
        """
        _, slope = self.gradients(x, y)
        by_x, by_y = complex(slope[0, 0], slope[1, 0]), complex(slope[0, 1], slope[1, 1])
        growth = (-1j * by_x / by_y).real
        pressure = float(self.pressure_kpa(np.array([[x]]), np.array([[y]]))[0, 0])
        return LimitCycle(math.exp(x), pressure, 2.0 * math.pi / math.exp(y), growth < 0.0)


def settling_cycle(cycles: list[LimitCycle]) -> LimitCycle | None:
    """The cycle a disturbed loop ends in: the greatest stable one; None where it comes to rest."""
    stable = [c for c in cycles if c.stable]
    return stable[-1] if stable else None


@dataclass(frozen=True, slots=True)
class ExactCycle:
    """Upper and lower turning point about the set point, in kPa, and period in s."""

    high_kpa: float
    low_kpa: float
    period_s: float


def on_off_cycle(hysteresis_kpa: float, rise_kpa_s: float, fall_kpa_s: float, dead_time_s: float) -> ExactCycle:
    """On/off switching at ± hysteresis of a pressure that rises and falls at constant rates, exactly."""
    width = 2.0 * hysteresis_kpa + (rise_kpa_s + fall_kpa_s) * dead_time_s
    return ExactCycle(
        hysteresis_kpa + rise_kpa_s * dead_time_s,
        -(hysteresis_kpa + fall_kpa_s * dead_time_s),
        width * (1.0 / rise_kpa_s + 1.0 / fall_kpa_s),
    )


def relay_cycle(process: LinearProcess, output: float) -> ExactCycle:
    """An ideal relay of ± output round one lag (or an integrator) and dead time, exactly.

    a = K·d·(1 − e^(−L/T)), P = 2T·ln(2e^(L/T) − 1); integrating: a = kv·d·L, P = 4L.
    """
    lags = [lag_s for lag_s in process.lags_s if lag_s > 0.0]
    dead_s = process.dead_time_s
    if process.integrating and not lags:
        a = process.gain * output * dead_s
        return ExactCycle(a, -a, 4.0 * dead_s)
    if process.integrating or len(lags) != 1:
        raise ValueError("known exactly for one lag or an integrator with dead time only")
    a = -process.gain * output * math.expm1(-dead_s / lags[0])
    return ExactCycle(a, -a, 2.0 * lags[0] * math.log(2.0 * math.exp(dead_s / lags[0]) - 1.0))


def dead_band_without_cycle(slope: float, output: float, dead_time_s: float) -> float:
    """Least half-width of a three-position element's dead band at which an integrator with dead time comes to rest.

    Exactly ½·slope·output·dead time: the band must be wider than what the drive still moves within the dead time.
    Harmonic balance says 4/π² = 0.405 instead of 0.5, which is on the unsafe side (reference, trap 5).
    """
    return 0.5 * slope * output * dead_time_s
