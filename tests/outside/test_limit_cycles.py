"""Limit cycles of loops built from this project's blocks, against exact values and the describing function.

The loops of published checks, section 5: integrating process with dead time L = 1, rate kv·d = 1.  Blocks: `exceeds` (a
switch with a dead band), `position_slide` (three positions), `pi_increment`; the process is a slide moved by `move`,
its backlash the slide's own.  A describing function is no bound: it underestimates the on-off cycle, and misses the
three-position threshold on the unsafe side; both are asserted as they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from controller.alarms import exceeds
from controller.pid import PiState, pi_increment
from controller.positioner import DriveSettings, PositionerState, position_slide
from plant_model.parameters import SlideDriveParameters
from plant_model.slide_actuator import move
from plant_model.state import SlideState

SOURCE = "published checks §5, own exact solution and simulation"
TEXTBOOK = "textbook describing function, published checks §5"
UNIT_FRAC = 0.01  # one unit of the process is 1 % of a slide's stroke, so that the end stops are far away
SCAN_MS = 10  # with a dead time of 1 s: a hundredth of it


@dataclass(frozen=True)
class Cycle:
    """An established oscillation of the process value."""

    high: float
    low: float
    period_s: float
    swings: int  # periods seen

    @property
    def amplitude(self) -> float:
        return 0.5 * (self.high - self.low)


class Process:
    """Integrates its input with a slide as the integrator; what it shows is one dead time old."""

    def __init__(self, dead_time_s: float = 1.0, scan_ms: int = SCAN_MS, drive: Any = None) -> None:
        self.drive = SlideDriveParameters() if drive is None else drive
        self.slide = SlideState(travel_frac=0.5)
        self.h_s = 0.001 * scan_ms
        self.line = [0.0] * round(dead_time_s / self.h_s)
        self.time: list[float] = []
        self.values: list[float] = []

    @property
    def value(self) -> float:
        return (self.slide.travel_frac - 0.5) / UNIT_FRAC

    def advance(self, rate_1_s: float) -> None:
        """One scan at a rate in units/s, which acts at the input after the dead time."""
        self.line.append(rate_1_s)
        self.time.append(len(self.time) * self.h_s)
        self.values.append(self.value)
        move(self.slide, self.drive, self.line.pop(0) * self.h_s * UNIT_FRAC, self.h_s)


def established(time: list[float], values: list[float]) -> Cycle:
    """Peaks and period over the second half of a record; periods from rising crossings of the mean, interpolated."""
    t, y = np.array(time), np.array(values)
    t, y = t[len(t) // 2 :], y[len(y) // 2 :]
    z = y - 0.5 * (y.max() + y.min())
    up = np.flatnonzero((z[:-1] < 0.0) & (z[1:] >= 0.0))
    crossings = t[up] - z[up] * (t[up + 1] - t[up]) / (z[up + 1] - z[up])
    period_s = float(np.mean(np.diff(crossings))) if len(crossings) > 1 else math.inf
    return Cycle(float(y.max()), float(y.min()), period_s, len(crossings) - 1)


def on_off(
    half_band: float, up: float, down: float, dead_time_s: float, seconds: float, scan_ms: int = SCAN_MS
) -> Cycle:
    """Two-position control of the value round zero by the project's switch with dead band; on drives the value down."""
    process, on = Process(dead_time_s, scan_ms), False
    for _ in range(round(seconds / process.h_s)):
        on = exceeds(process.value, half_band, 2.0 * half_band, on)
        process.advance(-down if on else up)
    return established(process.time, process.values)


def test_ideal_relay(outside: Callable[..., Any]) -> None:
    exact = outside("ideal relay and e⁻ˢ/s: amplitude 1, period 4", SOURCE, "b", 0.005)
    c = on_off(0.0, 1.0, 1.0, 1.0, 100.0, scan_ms=2)
    exact.relative(c.amplitude, 1.0, "amplitude")
    exact.relative(c.period_s, 4.0, "period")
    # the relay's 4d/(πA) meets 1/ω² at the phase of −180°: A = 8/π² = 0.8106 at P = 4
    predicted = outside("ideal relay by describing function: amplitude", TEXTBOOK, "c", 0.20)
    predicted.relative(8.0 / math.pi**2, c.amplitude)
    assert 8.0 / math.pi**2 == pytest.approx(0.8106, abs=5e-5)
    outside("ideal relay by describing function: period", TEXTBOOK, "c", 0.005).relative(4.0, c.period_s)


@pytest.mark.parametrize(
    ("ratio", "gain_error_pct", "period_error_pct"),
    [(0.05, -18.56, -0.44), (0.1, -18.17, -0.83), (0.2, -17.39, -1.47), (0.5, -15.00, -2.75), (1.0, -10.95, -3.79),
     (2.0, -3.11, -4.44), (5.0, 13.23, -3.88)],
)  # fmt: skip
def test_relay_on_a_first_order_lag(
    ratio: float, gain_error_pct: float, period_error_pct: float, outside: Callable[..., Any]
) -> None:
    """What a relay test would make of Ku = 4d/(πa) and Pu: errors against the true ultimate point, L/T given.

    The lag is stepped exactly; a thousand scans to a dead time of 1 s.
    """
    lag_s, h_s = 1.0 / ratio, 0.001
    fade, value, on = math.exp(-h_s / lag_s), 0.0, False
    line, values = [0.0] * 1000, []
    for _ in range(round((20.0 + 3.0 * lag_s) / h_s)):
        on = exceeds(value, 0.0, 0.0, on)
        line.append(-1.0 if on else 1.0)
        values.append(value)
        value = fade * value + (1.0 - fade) * line.pop(0)
    c = established([k * h_s for k in range(len(values))], values)
    w = brentq(lambda x: x + math.atan(x * lag_s) - math.pi, 0.1, 3.14)
    ultimate, ultimate_s = math.hypot(1.0, w * lag_s), 2.0 * math.pi / w
    points = outside("relay test on a first-order lag: errors of Ku and Pu", SOURCE, "b", 0.5, "% points")
    points.absolute(100.0 * (4.0 / math.pi / c.amplitude / ultimate - 1.0), gain_error_pct, f"Ku, L/T {ratio:g}")
    points.absolute(100.0 * (c.period_s / ultimate_s - 1.0), period_error_pct, f"Pu, L/T {ratio:g}")


def _hysteresis_prediction() -> tuple[float, float]:
    """Amplitude and period where the relay with hysteresis 1 meets e⁻ʲʷ/(jw): solved, not quoted."""

    def mismatch(w: float) -> float:
        amplitude = 4.0 / math.pi / w  # |N|·|G| = 1
        return math.asin(1.0 / amplitude) - (math.pi / 2 - w)  # the phase of N is −asin(eps/A)

    w = brentq(mismatch, 1e-3, 1.27)
    return 4.0 / math.pi / w, 2.0 * math.pi / w


def test_relay_with_hysteresis(outside: Callable[..., Any]) -> None:
    c = on_off(1.0, 1.0, 1.0, 1.0, 200.0, scan_ms=2)  # fine, because the prediction is off by nearly its tolerance
    exact = outside("relay with hysteresis ±1: amplitude 2, period 8", SOURCE, "b", 0.01)
    exact.relative(c.amplitude, 2.0, "amplitude")
    exact.relative(c.period_s, 8.0, "period")
    amplitude, period_s = _hysteresis_prediction()
    assert (amplitude, period_s) == pytest.approx((1.507, 7.435), abs=6e-4)
    outside("relay with hysteresis by describing function: amplitude", TEXTBOOK, "c", 0.25).relative(
        amplitude, c.amplitude
    )
    outside("relay with hysteresis by describing function: period", TEXTBOOK, "c", 0.08).relative(period_s, c.period_s)


@pytest.mark.parametrize(
    ("half_band", "up", "down", "dead_time_s"),
    [(0.5, 1.0, 2.0, 0.5), (1.0, 0.3, 0.9, 2.0), (0.25, 2.0, 0.5, 1.0), (2.0, 1.0, 1.0, 0.0)],
)
def test_on_off_with_unequal_rates(
    half_band: float, up: float, down: float, dead_time_s: float, outside: Callable[..., Any]
) -> None:
    c = on_off(half_band, up, down, dead_time_s, 200.0)
    scan = 0.001 * SCAN_MS
    level = outside("on-off control, unequal rates: peaks", SOURCE, "b", 1.001, "scan")
    level.absolute((c.high - (half_band + up * dead_time_s)) / (up * scan), 0.0, "upper peak")
    level.absolute((-(half_band + down * dead_time_s) - c.low) / (down * scan), 0.0, "lower peak")
    period_s = (2.0 * half_band + (up + down) * dead_time_s) * (1.0 / up + 1.0 / down)
    if (half_band, up, down, dead_time_s) == (0.5, 1.0, 2.0, 0.5):
        assert (half_band + up * dead_time_s, half_band + down * dead_time_s, period_s) == (1.0, 1.5, 3.75)
    # one scan late at each switch: both ends overshoot by up to a scan, which each of the slopes must make good
    late_s = scan * (2.0 + up / down + down / up)
    level = outside("on-off control, unequal rates: period", SOURCE, "b", 1.001, "scan at each switch")
    level.absolute((c.period_s - period_s) / late_s, 0.0, f"period {period_s:g} s")
    assert c.swings > 3


def three_position(half_zone: float, seconds: float, scan_ms: int = 20, dead_time_s: float = 5.0) -> Cycle:
    """`position_slide` inside its permitted settings as a pure three-position relay: every pulse one scan long."""
    settings = DriveSettings(
        stroke_up_ms=5_000, stroke_down_ms=5_000, neutral_zone_pct=half_zone, reversal_zone_pct=half_zone,
        minimum_pulse_ms=20, overrun_ms=2_000, pause_ms=0, continuous_above_pct=100.0,
    )  # fmt: skip
    state, process = PositionerState(), Process(dead_time_s, scan_ms)
    process.slide.travel_frac += 0.9 * UNIT_FRAC
    for _ in range(round(seconds / process.h_s)):
        direction = position_slide(settings, state, process.value, 0.0, True, True, scan_ms)
        process.advance(direction / dead_time_s)  # in one dead time the value moves by one unit
    return established(process.time, process.values)


def test_three_positions_cycle_below_half_the_dead_times_travel(outside: Callable[..., Any]) -> None:
    cycles = outside("three positions: cycles at a half-width of 0.49, rests at 0.51", SOURCE, "b", 0.0, "")
    for half_zone in (0.30, 0.45, 0.49):
        c = three_position(half_zone, 600.0)
        cycles.holds(c.amplitude > half_zone and c.swings > 10, f"cycles at {half_zone}")
    for half_zone in (0.51, 0.6):
        c = three_position(half_zone, 600.0)
        cycles.holds(c.amplitude == 0.0 and c.swings <= 0, f"rests at {half_zone}")
    # the describing function says 4/π² = 0.405: it would call 0.45 and 0.49 safe, where the loop cycles
    assert 4.0 / math.pi**2 == pytest.approx(0.405, abs=5e-4)
    assert 4.0 / math.pi**2 < 0.45


def pi_with_backlash(gain: float, integral_s: float, seconds: float, zone: float = 0.0) -> Cycle:
    """PI on e⁻ˢ/s through a slide with backlash: half-gap one unit.

    The wish moves the drive of a slide with backlash; the slide's place is the process' rate.  With a `zone` (in units)
    the wish goes through `position_slide` instead, which sees the drive's place and drives it at one speed.
    """
    lash = SlideDriveParameters(backlash_frac=UNIT_FRAC)
    slide, block, process = SlideState(travel_frac=0.5), PiState(), Process()
    unit_pct = 0.1 / zone if zone > 0.0 else 1.0  # the least zone that the settings permit is 0.1 % of the stroke
    settings = DriveSettings(
        stroke_up_ms=50_000, stroke_down_ms=50_000, neutral_zone_pct=0.1, reversal_zone_pct=0.1, minimum_pulse_ms=20,
        overrun_ms=0, pause_ms=0, continuous_above_pct=0.5,
    )  # fmt: skip
    state = PositionerState()
    process.slide.travel_frac += 5.0 * UNIT_FRAC
    wish = place = 0.0
    for _ in range(round(seconds / process.h_s)):
        change = pi_increment(block, -process.value, gain, round(1000.0 * integral_s), SCAN_MS, 0.0)
        wish += change
        if zone > 0.0:
            direction = position_slide(settings, state, place * unit_pct, wish * unit_pct, True, True, SCAN_MS)
            change = direction * 100.0 * SCAN_MS / settings.stroke_up_ms / unit_pct
            place += change
        move(slide, lash, change * UNIT_FRAC, process.h_s)
        process.advance((slide.travel_frac - 0.5) / UNIT_FRAC)
    return established(process.time, process.values)


def _backlash_prediction(gain: float, integral_s: float) -> tuple[float, float] | None:
    """Period and amplitude of the process value by the backlash's describing function N(h/A), solved; None for no cycle."""

    def loop(w: float) -> complex:
        s = 1j * w
        return complex(gain * (1.0 + 1.0 / (integral_s * s)) * np.exp(-s) / s)

    def describing(ratio: float) -> complex:
        real = math.pi / 2 + math.asin(1 - 2 * ratio) + 2 * (1 - 2 * ratio) * math.sqrt(ratio * (1 - ratio))
        return complex(real / math.pi, -4.0 * ratio / math.pi * (1.0 - ratio))

    def ratio_at(w: float) -> float:  # where the phases add up to −180°
        def phase(ratio: float) -> float:
            return float(np.angle(-loop(w) * describing(ratio)))

        return float(brentq(phase, 1e-6, 1.0 - 1e-6))

    def magnitude(w: float) -> float:
        return abs(loop(w) * describing(ratio_at(w))) - 1.0

    grid = np.geomspace(0.02, 0.6, 300)
    signs = []
    for w in grid.tolist():
        try:
            signs.append((w, magnitude(w)))
        except ValueError:
            continue
    brackets = [(a[0], b[0]) for a, b in pairwise(signs) if a[1] * b[1] < 0.0]
    if not brackets:
        return None
    w = brentq(magnitude, *brackets[-1])  # the fastest, where there are two: the one that the loop falls into
    drive_amplitude = 1.0 / ratio_at(w)
    slide_amplitude = drive_amplitude * abs(describing(ratio_at(w)))
    return 2.0 * math.pi / w, slide_amplitude / w


@pytest.mark.parametrize(
    ("gain", "integral_s", "period_s", "amplitude", "df_period_s", "df_amplitude", "period_tolerance"),
    [
        (0.5, 8.0, 33.22, 2.484, 29.99, 2.431, 0.12),
        (0.5, 4.0, 18.43, 3.190, 18.12, 3.073, 0.05),
        (0.25, 16.0, 83.9, 4.434, 67.7, 4.421, 0.25),
    ],
)
def test_backlash_under_pi(
    gain: float,
    integral_s: float,
    period_s: float,
    amplitude: float,
    df_period_s: float,
    df_amplitude: float,
    period_tolerance: float,
    outside: Callable[..., Any],
) -> None:
    c = pi_with_backlash(gain, integral_s, 1600.0)
    at = f"Kp {gain:g} Ti {integral_s:g}"
    simulated = outside("PI through a slide with backlash: period and amplitude", SOURCE, "b", 0.02)
    simulated.relative(c.period_s, period_s, f"period, {at}")
    simulated.relative(c.amplitude, amplitude, f"amplitude, {at}")
    prediction = _backlash_prediction(gain, integral_s)
    assert prediction is not None
    predicted_s, predicted = prediction
    assert (predicted_s, predicted) == pytest.approx((df_period_s, df_amplitude), rel=2e-3)
    name = f"backlash by describing function: period, {at}"
    outside(name, TEXTBOOK, "c", period_tolerance).relative(predicted_s, c.period_s)
    name = "backlash by describing function: amplitude"
    outside(name, TEXTBOOK, "c", 0.05).relative(predicted, c.amplitude, at)


def test_backlash_under_proportional_control_settles(outside: Callable[..., Any]) -> None:
    """No cycle: the slide comes to rest.  The value may stand anywhere in the gap's ± h/Kp, and creeps there ever slower."""
    process, lash, slide = Process(), SlideDriveParameters(backlash_frac=UNIT_FRAC), SlideState(travel_frac=0.5)
    block = PiState()
    pi_increment(block, 0.0, 0.5, 0, SCAN_MS, 0.0)
    process.slide.travel_frac += 5.0 * UNIT_FRAC
    rates = []
    for _ in range(200_000):
        change = pi_increment(block, -process.value, 0.5, 0, SCAN_MS, 0.0)
        move(slide, lash, change * UNIT_FRAC, process.h_s)
        rates.append(abs(slide.travel_frac - 0.5) / UNIT_FRAC)
        process.advance((slide.travel_frac - 0.5) / UNIT_FRAC)
    rest = outside("proportional control through backlash settles", SOURCE, "b", 0.0, "")
    rest.holds(_backlash_prediction(0.5, math.inf) is None, "the describing function says the same")
    rest.holds(max(rates[-20_000:]) < 2e-3 * max(rates[:20_000]), "the slide comes to rest")
    rest.holds(max(map(abs, process.values[-20_000:])) < 2.0, "the value stands within h/Kp")


def test_backlash_under_pi_with_the_positioner_in_the_loop(outside: Callable[..., Any]) -> None:
    """The whole chain of the cabinet: PI, positioner with neutral zone, drive at one speed, slide with backlash.

    No outside value knows a neutral zone, so it is made small against the gap, and the cycle must come to the published
    one as it shrinks: a tenth of the half-gap shortens the period by a tenth.
    """
    name = "PI, positioner (zone 1/40 of the gap), slide with backlash: period and amplitude"
    chain = outside(name, SOURCE, "b", 0.05)
    wide, narrow = (pi_with_backlash(0.5, 8.0, 1600.0, zone) for zone in (0.1, 0.025))
    chain.relative(narrow.amplitude, 2.484, "amplitude")
    chain.relative(narrow.period_s, 33.22, "period")
    assert abs(narrow.period_s - 33.22) < 0.5 * abs(wide.period_s - 33.22)
