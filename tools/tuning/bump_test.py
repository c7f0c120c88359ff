"""A bump test on the simulated plant, and how far it agrees with the operating map's point.

The slide is moved by a few per cent and left there; the pressure's record and the travel's own record (a ramp, as the
drive makes it) are fitted by a LinearProcess of the same form as the map's, over a window as long as the band that the
map was fitted in: two over the band's low end.  Dead time of drive and cabinet, which an open-loop bump does not have,
is the map's.

Three things are compared, so that a disagreement has an address:
* `linear`: the same bump on the straight-line plant of the map, fitted in the same way.  It differs where the plant is
  curved: a move of 4 % is no small signal at low travel.
* `map_process`: the map's own reduced process.  It differs also where a first-order fit means different things to a
  frequency band and to a step.
* `trace_error_frac`: RMS distance of the linear plant's trace over the whole record, as a share of the bump's swing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from controller.process_image import Inputs, Outputs
from tools.tuning.linear_process import LinearProcess
from tools.tuning.linearisation import Direction, Float, LinearPlant
from tools.tuning.operating_map import MapPoint
from tools.tuning.plant_rig import SCAN_MS, play

APART_FRAC = 0.10  # more is flagged
BUMP_PCT = 4.0
LEAST_BUMP_PCT = 1.0
START_MS = 2_000
RECORD_MS = 60_000
WINDOW = 2.0  # over the band's low end, s·rad/s


@dataclass(frozen=True, slots=True)
class Apart:
    """Relative differences of the bump's figures from another's; `slope` is gain over the longest lag, or the integral's."""

    gain_frac: float  # nan where one of the two is integrating
    lag_frac: float
    slope_frac: float
    dead_time_s: float
    response_frac: float  # |ratio − 1| of the responses at the band's high end, where the margin is decided

    @property
    def flagged(self) -> tuple[str, ...]:
        """Names of the figures that are more than APART_FRAC apart."""
        names = ("gain_frac", "lag_frac", "slope_frac", "response_frac")
        return tuple(n for n in names if abs(getattr(self, n)) > APART_FRAC)


@dataclass(frozen=True, slots=True)
class BumpTest:
    """One bump: what it found and how it agrees."""

    direction: Direction
    bump_pct: float  # the travel really made, signed
    process: LinearProcess  # drive's and cabinet's dead time added, comparable with the map's
    fit_rms_kpa: float
    from_linear: LinearProcess
    against_linear: Apart
    against_map: Apart
    trace_error_frac: float

    @property
    def agrees(self) -> bool:
        """Whether the plant behaves as its linearisation within APART_FRAC; the form's own error is `against_map`'s."""
        return not self.against_linear.flagged


def bump_test(point: MapPoint, bump_pct: float = BUMP_PCT, seed: int | None = None) -> BumpTest:
    """Bump the plant at a point of the map, in the point's direction; with a seed the instruments are noisy.

    The bump is made smaller where the end stop is near.  Raises ValueError where less than LEAST_BUMP_PCT is left.
    """
    up = point.direction is Direction.FALLING
    here_pct = 100.0 * point.capacity_travel_frac
    size_pct = min(bump_pct, (100.0 - here_pct if up else here_pct) - 0.5)
    if size_pct < LEAST_BUMP_PCT:
        raise ValueError(f"bump test: at {here_pct:.1f} % travel there are only {size_pct:.1f} % left to move")
    on_ms = max(SCAN_MS, round(10.0 * size_pct * point.drive.stroke_s / SCAN_MS) * SCAN_MS)

    def scan(_inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        moving = START_MS <= now_ms < START_MS + on_ms
        outputs.capacity_load, outputs.capacity_unload = moving and up, moving and not up

    trace = play(point.steady, scan, START_MS + RECORD_MS, seed)
    travel_pct = 100.0 * (trace["capacity_travel_frac"] - point.capacity_travel_frac)
    pressure_kpa = (trace["suction_pressure_measured_pa"] - point.suction_pa) / 1000.0
    time_s = trace.time_s
    straight_kpa = linear_trace(point.plant, travel_pct, 0.001 * SCAN_MS)
    # fitted behind the cabinet's filter, where the map's process ends
    seen_kpa, straight_seen_kpa = (filtered(y, point.filter_s, 0.001 * SCAN_MS) for y in (pressure_kpa, straight_kpa))
    window = time_s <= 0.001 * (START_MS + on_ms) + WINDOW / point.band_rad_s[0]
    delay_s = point.drive.total_s
    found, rms_kpa = fit_record(time_s[window], travel_pct[window], seen_kpa[window], point.process, delay_s)
    linear, _ = fit_record(time_s[window], travel_pct[window], straight_seen_kpa[window], point.process, delay_s)
    swing_kpa = float(np.ptp(straight_kpa))
    return BumpTest(
        direction=point.direction,
        bump_pct=float(travel_pct[-1]),
        process=found,
        fit_rms_kpa=rms_kpa,
        from_linear=linear,
        against_linear=apart(found, linear, point.band_rad_s[1]),
        against_map=apart(found, point.process, point.band_rad_s[1]),
        trace_error_frac=float(np.sqrt(np.mean((pressure_kpa - straight_kpa) ** 2))) / swing_kpa,
    )


def linear_trace(plant: LinearPlant, travel_pct: Float, step_s: float) -> Float:
    """Measured pressure of the straight-line plant, kPa from rest, for a travel given at steps, straight between them."""
    from scipy.signal import cont2discrete

    system = (plant.a, plant.b[:, :1], plant.c[:1], plant.d[:1, :1])
    a, b, c, d, _ = cont2discrete(system, step_s, method="foh")
    x = np.zeros(len(a))
    out = np.zeros(len(travel_pct))
    for k, u in enumerate(travel_pct):
        out[k] = (c @ x)[0] + d[0, 0] * u
        x = a @ x + b[:, 0] * u
    return out


def filtered(signal: Float, filter_s: float, step_s: float) -> Float:
    """A first-order filter, exact for a signal that is straight between its samples; it starts at rest at zero."""
    return signal if filter_s <= 0.0 else _first_order(signal, 1.0 / filter_s, step_s) / filter_s


def _first_order(signal: Float, corner_rad_s: float, step_s: float) -> Float:
    """∫ of the signal under a decay of `corner_rad_s`: the exact solution of y' = u − corner·y for a straight-line u."""
    from scipy.signal import lfilter

    z = corner_rad_s * step_s
    decay = np.exp(-z)
    if z < 1.0e-4:  # series: the closed forms lose digits
        old, new = step_s * (0.5 - z / 3.0), step_s * (0.5 - z / 6.0)
    else:
        whole = -np.expm1(-z) / corner_rad_s
        new = (step_s - whole) / z
        old = whole - new
    return np.asarray(lfilter([new, old], [1.0, -decay], signal), dtype=np.float64)


def process_trace(process: LinearProcess, time_s: Float, travel_pct: Float) -> Float:
    """Pressure of a LinearProcess, kPa from rest, in the plant's sign (more travel, less pressure); the delay is exact."""
    step_s = float(time_s[1] - time_s[0])
    y = np.interp(time_s - process.dead_time_s, time_s, travel_pct, left=0.0)
    corners = [1.0 / lag_s for lag_s in process.lags_s if lag_s > 0.0]
    for corner_rad_s in corners:
        y = _first_order(y, corner_rad_s, step_s) * corner_rad_s
    if process.integrating:
        y = _first_order(y, 0.0, step_s)
    return -process.gain * y


def fit_record(
    time_s: Float, travel_pct: Float, pressure_kpa: Float, form: LinearProcess, extra_dead_time_s: float
) -> tuple[LinearProcess, float]:
    """The process of the same form as `form` nearest to a record, and the RMS of what is left, kPa.

    `extra_dead_time_s` is part of the form's dead time and not of the record's; it is added to what is found.
    """
    from scipy.optimize import least_squares

    lags = len(form.lags_s)

    def process_of(x: Float) -> LinearProcess:
        slope, dead_s, *lags_s = (float(v) for v in np.exp(x))
        gain = slope if form.integrating or not lags_s else slope * lags_s[0]
        return LinearProcess(gain, form.integrating, dead_s, tuple(lags_s))

    def misses(x: Float) -> Float:
        return np.asarray(process_trace(process_of(x), time_s, travel_pct) - pressure_kpa)

    slope = form.gain if form.integrating or not lags else form.gain / form.lags_s[0]
    dead_s = max(form.dead_time_s - extra_dead_time_s, 0.05)
    guess = np.log([slope, dead_s, *form.lags_s])
    low = np.log([slope * 1.0e-3, 1.0e-3, *(v * 0.02 for v in form.lags_s)])
    high = np.log([slope * 1.0e3, 20.0, *(v * 50.0 for v in form.lags_s)])
    found = least_squares(misses, guess, bounds=(low, high), x_scale="jac", xtol=1.0e-9, ftol=1.0e-9)
    bare = process_of(np.asarray(found.x))
    whole = LinearProcess(bare.gain, bare.integrating, bare.dead_time_s + extra_dead_time_s, bare.lags_s)
    return whole, float(np.sqrt(np.mean(found.fun**2)))


def apart(found: LinearProcess, other: LinearProcess, high_rad_s: float) -> Apart:
    """How far `found` is from `other`, as shares of the latter."""

    def slope(p: LinearProcess) -> float:
        return p.gain if p.integrating or not p.lags_s else p.gain / p.lags_s[0]

    same = not found.integrating and not other.integrating and found.lags_s and other.lags_s
    w = np.array([high_rad_s])
    return Apart(
        gain_frac=found.gain / other.gain - 1.0 if same else float("nan"),
        lag_frac=found.lags_s[0] / other.lags_s[0] - 1.0 if same else float("nan"),
        slope_frac=slope(found) / slope(other) - 1.0,
        dead_time_s=found.dead_time_s - other.dead_time_s,
        response_frac=float(abs(found.response(w)[0] / other.response(w)[0] - 1.0)),
    )
