"""Describing functions against numerical Fourier analysis of the parts themselves (b) and reference §5."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tools.tuning.describing_functions import Backlash, Relay, ZonedPositioner, rest_zone_gain


def fourier(step: Callable[[float], float], amplitude: float, samples: int = 20_000, periods: int = 3) -> complex:
    """First harmonic of the last period over amplitude."""
    total = 0j
    for k in range(periods * samples):
        angle = 2.0 * np.pi * k / samples
        out = step(amplitude * np.sin(angle))
        if k >= (periods - 1) * samples:
            total += out * np.exp(-1j * angle)
    return 2j * total / samples / amplitude


def play(half_gap: float) -> Callable[[float], float]:
    place = [0.0]

    def step(u: float) -> float:
        place[0] = min(u + half_gap, max(u - half_gap, place[0]))
        return place[0]

    return step


def stairs(neutral: float, reversal: float, shortest: float) -> Callable[[float], float]:
    """The positioner at once: from `position_slide`'s rule, without its clock."""
    place, last = [0.0], [1.0]

    def step(u: float) -> float:
        error = u - place[0]
        way = 1.0 if error > 0.0 else -1.0
        if abs(error) > (neutral if way == last[0] else max(neutral, reversal)):
            place[0] += way * max(abs(error), shortest)
            last[0] = way
        return place[0]

    return step


@pytest.mark.parametrize(
    ("amplitude", "expected"), [(1.5, 0.29179 - 0.28294j), (2.0, 0.5 - 0.31831j), (5.0, 0.85762 - 0.20372j)]
)
def test_backlash_of_the_reference(amplitude: float, expected: complex) -> None:
    assert Backlash(1.0).gain(np.array([amplitude]))[0] == pytest.approx(expected, abs=2e-5)
    assert fourier(play(1.0), amplitude) == pytest.approx(expected, abs=2e-4)


def test_relays_against_fourier() -> None:
    state = [1.0]

    def hysteresis(u: float) -> float:
        if u > 0.5:
            state[0] = 1.0
        elif u < -0.5:
            state[0] = -1.0
        return 2.0 * state[0]

    at = np.array([1.3])
    assert Relay(2.0, hysteresis=0.5).gain(at)[0] == pytest.approx(fourier(hysteresis, 1.3), abs=2e-3)
    assert Relay(2.0).gain(at)[0] == pytest.approx(fourier(lambda u: 2.0 * np.sign(u), 1.3), abs=2e-3)
    dead = fourier(lambda u: 2.0 * np.sign(u) * (abs(u) > 0.5), 1.3)
    assert Relay(2.0, dead_band=0.5).gain(at)[0] == pytest.approx(dead, abs=2e-3)


def test_a_dead_band_relay_is_strongest_at_root_two() -> None:
    """Max 2d/(πD) at A = D·√2 (textbook, reference §5)."""
    a = np.linspace(0.5, 3.0, 100_001)
    gain = Relay(1.0, dead_band=0.7).gain(a).real
    assert gain.max() == pytest.approx(2.0 / (np.pi * 0.7), rel=1e-6)
    assert a[np.argmax(gain)] == pytest.approx(0.7 * np.sqrt(2.0), abs=1e-3)


@given(st.floats(0.1, 5.0), st.floats(0.2, 20.0))
@settings(max_examples=20, deadline=None)
def test_rest_zone_against_fourier(zone: float, amplitude: float) -> None:
    expected = fourier(lambda u: np.sign(u) * max(0.0, abs(u) - zone), amplitude, 2000, 1)
    assert rest_zone_gain(np.array([amplitude]), zone)[0] == pytest.approx(expected.real, abs=2e-3)


@pytest.mark.parametrize("amplitude", [1.3, 2.0, 4.0, 15.0])
def test_the_positioner_with_fine_stairs_is_exact(amplitude: float) -> None:
    """Stairs of 0.02 % and a reversal zone of 2 %."""
    found = ZonedPositioner(0.02, 2.0).gain(np.array([amplitude]))[0]
    assert found == pytest.approx(fourier(stairs(0.02, 2.0, 0.0), amplitude), abs=6e-3)


@pytest.mark.parametrize(("neutral", "reversal", "shortest"), [(1.0, 2.5, 0.0), (2.0, 3.5, 1.6), (1.0, 2.5, 1.6)])
@pytest.mark.parametrize("size", [1.8, 3.0, 8.0])
def test_the_positioner_with_coarse_stairs_is_right_on_average(
    neutral: float, reversal: float, shortest: float, size: float
) -> None:
    """Where a stair's edge falls is chance: the mean over amplitudes of ± half a stair, to 0.1 of gain from 1.8 turns on."""
    element = ZonedPositioner(neutral, reversal, shortest)
    amplitude = size * element.scale()
    shifts = neutral * (np.arange(16) - 7.5) / 16.0
    mean = np.mean([fourier(stairs(neutral, reversal, shortest), amplitude + d, 1500) for d in shifts])
    assert abs(element.gain(np.array([amplitude]))[0] - mean) < 0.1


def test_what_is_too_small_moves_nothing() -> None:
    assert Backlash(1.0).gain(np.array([0.9]))[0] == 0.0
    assert ZonedPositioner(1.0, 2.5).gain(np.array([1.4]))[0] == 0.0
    assert Relay(dead_band=1.0).gain(np.array([0.99]))[0] == 0.0
    assert rest_zone_gain(np.array([0.5]), 1.0)[0] == 0.0
    with pytest.raises(ValueError, match="not covered"):
        Relay(1.0, hysteresis=0.1, dead_band=0.1)
