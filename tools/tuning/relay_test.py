"""A relay experiment on the simulated plant, with the bias of the plain describing function taken out.

A relay with hysteresis moves the demand of the capacity slide by ± d round its place; the pressure falls into a limit
cycle.  The usual reading Ku = 4d/(π a) takes the cycle for a sine and is 18 % low where the lag is long (reference §5).
Here the exact cycle of K·e^(−L·s)/(T·s + 1) under a relay ± d with hysteresis ± ε is solved instead:

    a = K·d − (K·d − ε)·e^(−L/T)          P/2 = L + T·ln((K·d + a)/(K·d − ε))

(ε = 0: a = K·d·(1 − e^(−L/T)), P = 2T·ln(2e^(L/T) − 1)), and of an integrator k·e^(−L·s)/s:

    a = ε + k·d·L                          P/2 = L + (a + ε)/(k·d)

Amplitude and period are two equations.  The third is the time from a turn of the relay to the peak that answers it,
which is the dead time of such a process exactly (`process_of_cycle`).

On the plant the slide is no relay: its move takes as long as the dead time, so the cycle's shape is the drive's as much as
the process's.  `relay_test` therefore takes travel and pressure as recorded: their Fourier coefficients at the cycle's
frequency and at three times that have the process's response as their quotient, whatever the wave's shape, so there
is no bias to correct; the LinearProcess that fits both is the answer, and the plain reading stands beside it.  The
hysteresis is chosen so that the two frequencies lie either side of that of −180°.

Results are an engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.process_image import Inputs, Outputs
from plant_model.instruments import Channel
from tools.tuning.bump_test import filtered
from tools.tuning.linear_process import LinearProcess, first_order, integrator
from tools.tuning.linearisation import Complex, Float
from tools.tuning.operating_map import MapPoint
from tools.tuning.plant_rig import SCAN_MS, play
from tools.tuning.rules import UltimatePoint, ultimate_point

INTEGRATING_ABOVE = 0.995  # of 4 L and its hysteresis: so near, the lag cannot be told from infinity
CYCLES_DROPPED = 2  # until the cycle is a cycle
CYCLES_LEAST = 4
HYSTERESIS_SIGMAS = 3.0  # of the filtered noise
RELAY_PCT = 3.0
DURATION_MS = 600_000
LEAST_ERROR_FRAC = 0.02  # nothing is known better
DROWNED_FRAC = 0.3
LONGEST_LAG = 50.0  # over the cycle's frequency


class RelayError(ValueError):
    """The experiment gives no answer; the message says why and what to change."""


@dataclass(frozen=True, slots=True)
class LimitCycle:
    """A relay cycle as measured: mean amplitude (half of peak to peak), period, time from turn to peak, cycles read.

    `relay_pct` is ± d, `hysteresis_kpa` ± ε.
    """

    relay_pct: float
    hysteresis_kpa: float
    amplitude_kpa: float
    period_s: float
    to_peak_s: float
    cycles: int

    @property
    def describing_function(self) -> UltimatePoint:
        """The plain reading, Ku = 4d/(π·√(a² − ε²)) and Pu = P; for comparison: it is biased."""
        root = math.sqrt(max(self.amplitude_kpa**2 - self.hysteresis_kpa**2, 1.0e-12))
        return UltimatePoint(4.0 * self.relay_pct / (math.pi * root), self.period_s)


@dataclass(frozen=True, slots=True)
class RelayTest:
    """The experiment's answer: the cycle, the process and its ultimate point, and what was measured of its response."""

    cycle: LimitCycle
    process: LinearProcess
    ultimate: UltimatePoint
    w_rad_s: tuple[float, ...] = ()  # the cycle's frequency and three times that
    response: tuple[complex, ...] = ()  # there, kPa per % in the sign of the process
    response_error_frac: tuple[float, ...] = ()  # standard error of it, from the scatter between cycles


def process_of_cycle(cycle: LimitCycle) -> LinearProcess:
    """The lag or integrator with dead time whose exact limit cycle this is.  Raises RelayError where there is none."""
    from scipy.optimize import brentq

    a, eps, d = cycle.amplitude_kpa, cycle.hysteresis_kpa, cycle.relay_pct
    half_s, dead_s = 0.5 * cycle.period_s, cycle.to_peak_s
    if not (a > eps >= 0.0 and dead_s > 0.0 and half_s > dead_s):
        raise RelayError(
            f"relay test: no process has amplitude {a:.3g} kPa over a hysteresis of {eps:.3g} kPa and {dead_s:.3g} s to the "
            f"peak in half a period of {half_s:.3g} s; give the relay more travel"
        )
    # as T grows to infinity the half period grows to the integrator's, L + (a + ε)·L/(a − ε)
    longest_s = dead_s + (a + eps) * dead_s / (a - eps)
    if half_s >= INTEGRATING_ABOVE * longest_s:
        # amplitude and period alone decide an integrator: a = ε + k·d·L, P/2 = L + (a + ε)/(k·d)
        dead_s = half_s * (a - eps) / (2.0 * a)
        return integrator((a - eps) / (d * dead_s), dead_s)

    def excess_s(log_lag: float) -> float:
        lag_s = math.exp(log_lag)
        gain_d = _gain_times_relay(a, eps, dead_s, lag_s)
        return dead_s + lag_s * math.log((gain_d + a) / (gain_d - eps)) - half_s

    low, high = math.log(1.0e-3 * dead_s), math.log(1.0e4 * dead_s)
    if excess_s(low) > 0.0 or excess_s(high) < 0.0:
        raise RelayError(f"relay test: no lag fits half a period of {half_s:.3g} s with {dead_s:.3g} s to the peak")
    lag_s = math.exp(float(brentq(excess_s, low, high, xtol=1.0e-12)))
    return first_order(_gain_times_relay(a, eps, dead_s, lag_s) / d, lag_s, dead_s)


def _gain_times_relay(a: float, eps: float, dead_s: float, lag_s: float) -> float:
    """K·d from a = K·d − (K·d − ε)·e^(−L/T)."""
    left = math.exp(-dead_s / lag_s)
    return (a - eps * left) / -math.expm1(-dead_s / lag_s)


def read_cycle(time_s: Float, relay: Float, pressure_kpa: Float, relay_pct: float, hysteresis_kpa: float) -> LimitCycle:
    """Amplitude, period and time to the peak from a record; `relay` is +1 or −1 at each time.

    The first CYCLES_DROPPED cycles are left out.  Raises RelayError with fewer than CYCLES_LEAST left.
    """
    turns = np.flatnonzero(np.diff(relay) != 0) + 1
    turns = turns[2 * CYCLES_DROPPED :]
    halves = (len(turns) - 1) // 2 * 2
    if halves < 2 * CYCLES_LEAST:
        raise RelayError(
            f"relay test: only {max(0, halves) // 2} whole cycles after the first {CYCLES_DROPPED}, {CYCLES_LEAST} are "
            "needed; run longer, or give the relay more travel than the hysteresis eats"
        )
    tops: list[float] = []
    bottoms: list[float] = []
    waits: list[float] = []
    for k in range(halves):
        piece = slice(int(turns[k]), int(turns[k + 1]) + 1)
        # after a turn up the pressure still rises to its top, and then falls to the next turn
        sign = 1.0 if relay[turns[k]] > 0 else -1.0
        peak, at_s = _peak(time_s[piece], sign * pressure_kpa[piece])
        (tops if sign > 0 else bottoms).append(sign * peak)
        waits.append(at_s - time_s[turns[k]])
    period_s = float(time_s[turns[halves]] - time_s[turns[0]]) / (halves / 2)
    return LimitCycle(
        relay_pct=relay_pct,
        hysteresis_kpa=hysteresis_kpa,
        amplitude_kpa=0.5 * float(np.mean(tops) - np.mean(bottoms)),
        period_s=period_s,
        to_peak_s=float(np.mean(waits)),
        cycles=halves // 2,
    )


def _peak(time_s: Float, value: Float) -> tuple[float, float]:
    """Highest value and its time."""
    k = int(np.argmax(value))
    return float(value[k]), float(time_s[k])


def analyse(cycle: LimitCycle) -> RelayTest:
    """Process and ultimate point of an ideal relay's cycle."""
    process = process_of_cycle(cycle)
    return RelayTest(cycle, process, ultimate_point(process))


def relay_test(
    point: MapPoint,
    relay_pct: float = RELAY_PCT,
    hysteresis_kpa: float | None = None,
    duration_ms: int = DURATION_MS,
    seed: int | None = None,
) -> RelayTest:
    """Run the experiment on the non-linear plant at a point of the map; it has no direction: the cycle goes both ways.

    `hysteresis_kpa` None: the larger of HYSTERESIS_SIGMAS of the filtered noise and slope·d·L of the point's process.
    The process found goes from the drive's demand to the filtered pressure as the map's does, for its pulses of this
    experiment: drive delays as in the map are added to what is between travel and pressure.
    """
    here_pct = 100.0 * point.capacity_travel_frac
    if not 0.0 < relay_pct < min(here_pct, 100.0 - here_pct):
        raise RelayError(f"relay test: ± {relay_pct:g} % round {here_pct:.1f} % travel meets an end stop")
    if hysteresis_kpa is None:
        p = point.process
        slope = p.gain if p.integrating or not p.lags_s else p.gain / p.lags_s[0]
        noise_kpa = 0.0 if seed is None else HYSTERESIS_SIGMAS * filtered_noise_kpa(point)
        hysteresis_kpa = max(noise_kpa, slope * relay_pct * p.dead_time_s)
    relay = _Relay(point, relay_pct, hysteresis_kpa)
    trace = play(point.steady, relay.scan, duration_ms, seed)
    measured_kpa = (trace["suction_pressure_measured_pa"] - point.suction_pa) / 1000.0
    seen_kpa = filtered(measured_kpa, point.filter_s, 0.001 * SCAN_MS)
    states = np.array(relay.states, dtype=np.float64)
    cycle = read_cycle(trace.time_s, states, seen_kpa, relay_pct, hysteresis_kpa)
    turns = (np.flatnonzero(np.diff(states) != 0) + 1)[2 * CYCLES_DROPPED :][: 2 * cycle.cycles + 1]
    whole = slice(int(turns[0]), int(turns[-1]))
    w = np.array([1.0, 3.0]) * 2.0 * np.pi / cycle.period_s
    travel_pct = 100.0 * trace["capacity_travel_frac"]
    pieces = [fourier(trace.time_s[whole], y[whole], w, cycle.cycles) for y in (travel_pct, seen_kpa)]
    response = -pieces[1] / pieces[0] * np.exp(-1j * w * point.drive.total_s)
    error = _scatter_frac(trace.time_s, seen_kpa, turns, w) / np.abs(pieces[1])
    process = _process_at(w, response, error, point.drive.total_s)
    return RelayTest(
        cycle,
        process,
        ultimate_point(process),
        tuple(map(float, w)),
        tuple(complex(v) for v in response),
        tuple(map(float, error)),
    )


def _scatter_frac(time_s: Float, pressure_kpa: Float, turns: NDArray[np.intp], w: Float) -> Float:
    """Standard error of the pressure's Fourier coefficients, kPa: the coefficients' scatter over the cycles by √n."""
    found = []
    for k in range(0, len(turns) - 2, 2):
        piece = slice(int(turns[k]), int(turns[k + 2]))
        found.append(fourier(time_s[piece], pressure_kpa[piece], w, 1))
    scatter = np.array(found)
    return np.asarray(np.abs(scatter - scatter.mean(axis=0)).std(axis=0) / math.sqrt(len(found)))


def _process_at(w: Float, response: Complex, error_frac: Float, least_dead_s: float) -> LinearProcess:
    """Lag and dead time nearest to a measured response, each frequency by its own certainty.

    The dead time is at least the drive's, which is known; a lag that no frequency can tell from infinity is an integrator.
    Where noise drowns the third harmonic, only the first counts, and the dead time is taken for the drive's.
    """
    from scipy.optimize import least_squares

    alone = bool(error_frac[1] > DROWNED_FRAC)
    if alone:
        w, response, error_frac = w[:1], response[:1], error_frac[:1]
    weight = 1.0 / np.maximum(error_frac, LEAST_ERROR_FRAC)

    def process_of(x: Float) -> LinearProcess:
        lag_s = math.exp(x[1])
        return first_order(math.exp(x[0]) * lag_s, lag_s, float(x[2]))

    def misses(x: Float) -> Float:
        ratio = process_of(x).response(w) / response
        return np.concatenate([np.log(np.abs(ratio)) * weight, np.angle(ratio) * weight])

    slope = float(abs(response[0]) * w[0])
    longest = math.log(LONGEST_LAG / w[0])
    bounds = (
        [math.log(slope) - 5.0, math.log(0.01 / w[0]), least_dead_s],
        [math.log(slope) + 5.0, longest, least_dead_s + (1.0e-3 if alone else math.pi / float(w[0]))],
    )
    found = least_squares(misses, [math.log(slope), math.log(3.0 / w[0]), least_dead_s + 5.0e-4], bounds=bounds)
    process = process_of(np.asarray(found.x))
    if found.x[1] > longest - 0.01:
        return integrator(process.gain / process.lags_s[0], process.dead_time_s)
    return process


def fourier(time_s: Float, signal: Float, w_rad_s: Float, cycles: int) -> Complex:
    """Fourier coefficients of a record of whole cycles; a drift that is straight over the record is taken out.

    The drift is the difference of the means of the last and the first cycle: a line through all would bend to the cycle.
    """
    per_cycle = max(1, len(signal) // cycles)
    drift = float(np.mean(signal[-per_cycle:]) - np.mean(signal[:per_cycle]))
    share = drift / max(1, len(signal) - per_cycle)
    flat = signal - np.mean(signal) - share * (np.arange(len(signal)) - 0.5 * len(signal))
    return np.array([np.mean(flat * np.exp(-1j * w * (time_s - time_s[0]))) for w in w_rad_s])


def filtered_noise_kpa(point: MapPoint) -> float:
    """Standard deviation of the suction pressure's noise behind the cabinet's filter, kPa."""
    instrument = point.steady.parameters.plant.instruments.suction_pressure
    std_kpa = point.steady.parameters.derived.instruments.noise_frac[Channel.SUCTION_PRESSURE]
    std_kpa *= (instrument.high_pa - instrument.low_pa) / 1000.0
    share = 0.001 * SCAN_MS / (point.filter_s + 0.001 * SCAN_MS)
    return float(std_kpa * math.sqrt(share / (2.0 - share)))  # of white noise through a first-order filter


class _Relay:
    """The relay and the drive behind it; keeps the relay's state scan by scan."""

    def __init__(self, point: MapPoint, relay_pct: float, hysteresis_kpa: float) -> None:
        self._set_kpa = point.suction_pa / 1000.0
        self._centre_pct = 100.0 * point.capacity_travel_frac
        self._d, self._eps = relay_pct, hysteresis_kpa
        self._share = 0.001 * SCAN_MS / (point.filter_s + 0.001 * SCAN_MS)
        drive = point.steady.parameters.plant.capacity_drive
        # what the slide still runs once the drive drops out, and one scan of looking too late on the mean
        self._early_pct = 100.0 * (0.001 * drive.overrun_ms + 0.0005 * SCAN_MS) / point.drive.stroke_s
        self._filtered_kpa: float | None = None
        self._state, self._drive = 1, 0
        self.states: list[int] = []

    def scan(self, inputs: Inputs, outputs: Outputs, _now_ms: int) -> None:
        """More capacity above the set point, less below."""
        measured_kpa = inputs.suction_pressure_kpa_abs
        if self._filtered_kpa is None:
            self._filtered_kpa = measured_kpa
        self._filtered_kpa += self._share * (measured_kpa - self._filtered_kpa)
        error_kpa = self._filtered_kpa - self._set_kpa
        if error_kpa * self._state < -self._eps:
            self._state = -self._state
        error_pct = self._centre_pct + self._state * self._d - inputs.capacity_position_pct
        if self._drive != 0 and error_pct * self._drive <= self._early_pct:
            self._drive = 0
        elif self._drive == 0 and abs(error_pct) > max(2.0 * self._early_pct, 0.2 * self._d):
            self._drive = 1 if error_pct > 0.0 else -1
        outputs.capacity_load, outputs.capacity_unload = self._drive > 0, self._drive < 0
        self.states.append(self._state)
