"""Describing functions: what a non-linear part does to a sine of a given amplitude, as a complex gain.

Textbook forms (e.g. Gelb & Vander Velde, Multiple-Input Describing Functions, 1968; from memory), reproduced by
numerical Fourier analysis in the tests.  They leave out the higher harmonics: of a relay on an integrator with dead time
they give 19–25 % too little amplitude, and they miss limit cycles near a threshold (reference, trap 5).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from tools.tuning.linear_process import Complex, Float


class Element(Protocol):
    """A static non-linear part with memory or without."""

    def gain(self, amplitude: Float) -> Complex:
        """Complex gain for a sine of each amplitude (in the unit of its input)."""

    def scale(self) -> float:
        """An amplitude typical of the part, in the unit of its input."""


@dataclass(frozen=True, slots=True)
class Relay:
    """Output ± output; switches at ± hysteresis if that is above 0; off within ± dead_band if that is above 0.

    Hysteresis and dead band together are not covered.
    """

    output: float = 1.0
    hysteresis: float = 0.0
    dead_band: float = 0.0

    def __post_init__(self) -> None:
        if self.hysteresis > 0.0 and self.dead_band > 0.0:
            raise ValueError("a relay with both hysteresis and dead band is not covered")

    def gain(self, amplitude: Float) -> Complex:
        """4d/(πA)·(√(1 − (ε/A)²) − jε/A), or 4d/(πA)·√(1 − (D/A)²); 0 below the switching point."""
        a = np.asarray(amplitude, dtype=np.float64)
        edge = self.hysteresis + self.dead_band
        share = np.minimum(edge / a, 1.0)
        n = 4.0 * self.output / (np.pi * a) * (np.sqrt(1.0 - share**2) - (1j * share if self.hysteresis > 0.0 else 0.0))
        return np.where(a > edge, n, 0.0).astype(np.complex128)

    def scale(self) -> float:
        """The switching point, or the output where that is 0."""
        return max(self.hysteresis, self.dead_band) or self.output


@dataclass(frozen=True, slots=True)
class Backlash:
    """Play of ± half_gap in a linkage that keeps its place when not pushed."""

    half_gap: float

    def gain(self, amplitude: Float) -> Complex:
        """(1/π)·(π/2 + asin(1 − 2r) + 2(1 − 2r)·√(r(1 − r))) − j(4r/π)(1 − r), r = half gap over amplitude."""
        r = np.clip(self.half_gap / np.asarray(amplitude, dtype=np.float64), 0.0, 1.0)
        real = (0.5 * np.pi + np.arcsin(1.0 - 2.0 * r) + 2.0 * (1.0 - 2.0 * r) * np.sqrt(r * (1.0 - r))) / np.pi
        return np.asarray(real - 4j * r / np.pi * (1.0 - r), dtype=np.complex128)

    def scale(self) -> float:
        """The half gap."""
        return self.half_gap


def rest_zone_gain(amplitude: Float, zone: float) -> Float:
    """Gain of a part that rests within ± zone and passes on the excess (the rest zone of `controller/pid.py`)."""
    r = np.clip(zone / np.maximum(np.asarray(amplitude, dtype=np.float64), 1e-300), 0.0, 1.0)
    return np.asarray(1.0 - 2.0 / np.pi * (np.arcsin(r) + r * np.sqrt(1.0 - r * r)))


@dataclass(frozen=True, slots=True)
class ZonedPositioner:
    """The positioner of `controller/positioner.py` seen from its demand, slide and clock much faster than the demand.

    Going on, it moves in stairs each time the error passes the neutral zone, and so lags by half of that on average;
    where a stair is no less than shortest_step_pct, by the neutral zone less half of the step.  Turning round, it
    waits until the error passes the reversal zone and then lands on the demand.  In % of travel.
    """

    neutral_zone_pct: float
    reversal_zone_pct: float
    shortest_step_pct: float = 0.0

    def lag_pct(self) -> float:
        """How far the slide is behind on average while going on."""
        return self.neutral_zone_pct - 0.5 * max(self.neutral_zone_pct, self.shortest_step_pct)

    def scale(self) -> float:
        """Half of what a turn takes: no slide moves below this amplitude."""
        return 0.5 * (self.lag_pct() + max(self.neutral_zone_pct, self.reversal_zone_pct))

    def gain(self, amplitude: Float) -> Complex:
        """First harmonic in closed form: held from the crest for a turn's width, then the demand, late by the lag."""
        a = np.asarray(amplitude, dtype=np.float64)
        lag, wait = self.lag_pct(), 2.0 * self.scale()
        moves = a > 0.5 * wait
        a = np.where(moves, a, wait)
        turn = np.pi - np.arcsin(1.0 - wait / a)  # angle where the turning step is made, crest at π/2
        end = 1.5 * np.pi

        def sweep(angle: Float) -> Complex:
            """∫ e^(−jθ) dθ."""
            return np.asarray(1j * np.exp(-1j * angle))

        def follow(angle: Float) -> Complex:
            """∫ sin θ·e^(−jθ) dθ."""
            return np.asarray((angle - 0.5j * np.exp(-2j * angle)) / 2j)

        top = np.asarray(0.5 * np.pi)
        held = (a - lag) * (sweep(turn) - sweep(top))
        moving = a * (follow(np.asarray(end)) - follow(turn)) + lag * (sweep(np.asarray(end)) - sweep(turn))
        return np.where(moves, 2j / (np.pi * a) * (held + moving), 0.0).astype(np.complex128)
