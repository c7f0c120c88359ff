"""The capacity loop of every point of the operating map as arrays, so that a candidate's Ms takes milliseconds.

A candidate changes what is before the loop as well as the law: filter, neutral zone, pulse and pause are part of the dead
time (`operating_map.DriveDelay`).  So the plant's bare response is kept, and drive and cabinet are put on anew for every
candidate.  The spread is that of gain, dead time and lag of the point's reduced process, each corner on the unreduced
response, as in `gain_schedule`.

Two laws have a linear loop here.  The scheduled PI: L = Kp(x)·(1 + 1/(Ti·s))·P·A, with P from travel to filtered suction
and A the drive.  The model-based law while it is moving (`controller/model_based.py`; To observer, T vessel, t return
time, c the slide's curve at x with slope c' and value c0, ps the suction of the point, Q = 1/(1 + To·s)²):

    estimated load   p0·q = ((T·s + c0)·p + ps·c'·x)·Q            modelled suction  p − (T·s + c0)·p·R − ps·c'·x·R,
    wanted capacity  ps·δc = p0·q + (T/t)·p − c0·(modelled suction)                 R = To²·s·Q/T

so from suction Cp = (Q·(T·s + c0) + F·T/t − c0 + c0·(T·s + c0)·R)/(ps·c'), F the filter, which only the return sees, from
position Cx = Q + c0·R, and the loop cut at the measured suction is L = P·A·Cp/(1 − A·Cx), P unfiltered here.  Both
return times are reckoned and the worse counts; hold zone and trim are no linear parts and are left out.

A step control has no such loop: nothing is said of its Ms.  An engineering aid, and no safety system.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.model_based import ModelBasedSettings
from controller.scheduled_pi import ScheduledPiSettings
from controller.slide_curve import curve_at
from tools.tuning.gain_schedule import MS_NOMINAL, MS_SPREAD, scheduled_gain_pct_kpa
from tools.tuning.linear_process import LinearProcess
from tools.tuning.linearisation import Complex, Float
from tools.tuning.margins import Spread
from tools.tuning.operating_map import MapPoint

FREQUENCIES = 160
W_LOW, W_HIGH = 0.01, 4.0  # of the frequency of −180° under the base settings: a long pause moves it down a good deal
SLOPE_STEP_PCT = 1.0
LAGS = 3
GAIN_STEPS = 220


@dataclass(frozen=True, slots=True)
class LoopMargins:
    """Of every point: Ms nominal and over the spread, gain margin, phase margin in degrees; arrays in the map's order."""

    ms: Float
    ms_spread: Float
    gain_margin: Float
    phase_margin_deg: Float


def has_linear_loop(settings: Any) -> bool:
    """Whether margins can be told of such settings."""
    return isinstance(settings, ScheduledPiSettings | ModelBasedSettings)


@dataclass(frozen=True)
class MapLoops:
    """Arrays over (points, frequencies) or (points,); it pickles, and is called with settings: (worst Ms, with spread).

    response: travel in % to measured suction in kPa, without drive and filter, in the sign of `MapPoint.process`.
    """

    w_rad_s: Float
    response: Complex
    travel_pct: Float
    suction_kpa: Float
    scan_s: Float
    solenoid_s: Float
    stroke_s: Float
    overrun_s: float
    dead_time_s: Float  # of the reduced process, without the drive's and the filter's share
    lags_s: Float  # (points, LAGS), 0 where there is none
    integrating: Float
    spread: Spread

    @classmethod
    def of(cls, points: Sequence[MapPoint], spread: Spread | None = None) -> MapLoops:
        """Take the arrays off a map."""
        high = np.array([p.band_rad_s[1] for p in points])
        w = high[:, None] * np.geomspace(W_LOW, W_HIGH, FREQUENCIES)
        lags = np.zeros((len(points), LAGS))
        for k, p in enumerate(points):
            lags[k, : len(p.process.lags_s)] = p.process.lags_s
        return cls(
            w_rad_s=w,
            response=np.array([-p.plant.response(row)[0, 0] for p, row in zip(points, w, strict=True)]),
            travel_pct=np.array([100.0 * p.capacity_travel_frac for p in points]),
            suction_kpa=np.array([p.suction_pa / 1000.0 for p in points]),
            scan_s=np.array([p.drive.scan_s for p in points]),
            solenoid_s=np.array([p.drive.solenoid_s for p in points]),
            stroke_s=np.array([p.drive.stroke_s for p in points]),
            overrun_s=0.001 * points[0].steady.parameters.plant.capacity_drive.overrun_ms,
            dead_time_s=np.array([p.process.dead_time_s - p.drive.total_s - p.filter_s for p in points]),
            lags_s=lags,
            integrating=np.array([float(p.process.integrating) for p in points]),
            spread=spread or Spread(),
        )

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Everything but the spread, for a file."""
        return {f.name: np.asarray(getattr(self, f.name)) for f in fields(self) if f.name != "spread"}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, NDArray[Any]], spread: Spread | None = None) -> MapLoops:
        """What `arrays` gave, back again.  KeyError for one that lacks something."""
        made: dict[str, Any] = {f.name: arrays[f.name] for f in fields(cls) if f.name != "spread"}
        made["overrun_s"] = float(made["overrun_s"])
        return cls(**made, spread=spread or Spread())

    def with_measured(self, index: int, process: LinearProcess) -> MapLoops:
        """The map with a point's process replaced by one that was identified between travel and measured suction.

        `process` holds neither drive nor cabinet.
        """
        response, lags = self.response.copy(), self.lags_s.copy()
        dead, integrating = self.dead_time_s.copy(), self.integrating.copy()
        response[index] = process.response(self.w_rad_s[index])
        lags[index] = 0.0
        lags[index, : len(process.lags_s)] = process.lags_s
        dead[index], integrating[index] = process.dead_time_s, float(process.integrating)
        return replace(self, response=response, lags_s=lags, dead_time_s=dead, integrating=integrating)

    @cached_property
    def fingerprint(self) -> str:
        """What a study notes of it."""
        digest = hashlib.sha256(repr(self.spread).encode())
        for array in (self.response, self.travel_pct, self.stroke_s, self.dead_time_s, self.lags_s):
            digest.update(np.round(array, 9).tobytes())
        return f"map of {len(self.travel_pct)} points {digest.hexdigest()[:16]}"

    def drive_delay_s(self, capacity: Any) -> Float:
        """Dead time of drive and cabinet under such settings of the capacity layer, of every point."""
        drive = capacity.drive
        shortest_pct = 100.0 * (0.001 * drive.minimum_pulse_ms + self.overrun_s) / self.stroke_s
        move_s = 0.01 * np.maximum(drive.neutral_zone_pct, shortest_pct) * self.stroke_s
        return np.asarray(self.scan_s + self.solenoid_s + move_s + 0.0005 * drive.pause_ms)

    def __call__(self, settings: Any) -> tuple[float, float]:
        """Worst Ms over the map: nominal, and over the spread (inf where a loop is unstable)."""
        nominal, spread = self.peaks(settings)
        return float(nominal.max()), float(spread.max())

    def peaks(self, settings: Any) -> tuple[Float, Float]:
        """Ms of every point, nominal and over the spread."""
        nominal = self._peak(settings, 1.0, 1.0, 1.0)
        worst = nominal.copy()
        sides = [(1.0 - s, 1.0 + s) for s in (self.spread.gain_frac, self.spread.dead_time_frac, self.spread.lag_frac)]
        for corner in product(*sides):
            worst = np.maximum(worst, self._peak(settings, *corner))
        return nominal, worst

    def margins(self, settings: Any) -> LoopMargins:
        """All margins of every point."""
        nominal, spread = self.peaks(settings)
        gain, phase = np.full(len(nominal), np.inf), np.full(len(nominal), np.inf)
        for loop in self._loops(settings, 1.0, 1.0, 1.0):
            gm, pm = _gain_and_phase_margin(loop.characteristic / loop.open - 1.0)
            gain, phase = np.minimum(gain, gm), np.minimum(phase, pm)
        return LoopMargins(nominal, spread, gain, phase)

    def gain_bounds(self, settings: ScheduledPiSettings) -> list[tuple[float, float, float]]:
        """(travel in %, least, greatest gain in %/kPa) that hold Ms at every point of a travel, all else as in `settings`.

        nan where no gain does; of several ranges the highest, as in `gain_schedule.gain_range`, whose least can be lower:
        it does not look at frequencies as low as here, where a loop with a small gain swings.  To 4 %.
        """
        gains = np.geomspace(0.02, 100.0, GAIN_STEPS)
        flat: Any = (1.0,) * 11
        fits = np.empty((GAIN_STEPS, len(self.travel_pct)), dtype=np.bool_)
        for k, gain in enumerate(gains):
            law = replace(settings.pi, proportional_band_kpa=100.0 / float(gain), gain_multiplier=flat)
            nominal, spread = self.peaks(replace(settings, pi=law))
            fits[k] = (nominal <= MS_NOMINAL) & (spread <= MS_SPREAD)
        found = []
        for travel in sorted(set(np.round(self.travel_pct).tolist())):
            at = np.flatnonzero(np.round(self.travel_pct) == travel)
            here = np.asarray(np.all(fits[:, at], axis=1))
            if not here.any():
                found.append((travel, np.nan, np.nan))
                continue
            top = int(np.flatnonzero(here)[-1])
            below = np.flatnonzero(~here[:top])
            bottom = int(below[-1]) + 1 if len(below) else 0
            found.append((travel, float(gains[bottom]) if bottom else 0.0, float(gains[top])))
        return found

    def _peak(self, settings: Any, gain: float, dead: float, lag: float) -> Float:
        worst = np.zeros(len(self.travel_pct))
        for loop in self._loops(settings, gain, dead, lag):
            angle = np.unwrap(np.angle(loop.characteristic), axis=-1)
            turned = angle[:, -1] - angle[:, 0]
            expected = np.angle(loop.characteristic[:, -1]) - np.angle(loop.characteristic[:, 0])
            ms = np.abs(loop.open / loop.characteristic).max(axis=-1)
            worst = np.maximum(worst, np.where(np.abs(turned - expected) < np.pi, ms, np.inf))
        return worst

    def _loops(self, settings: Any, gain: float, dead: float, lag: float) -> list[_Loop]:
        capacity = settings.common.capacity
        s = np.asarray(1j * self.w_rad_s, dtype=np.complex128)
        filter_s = 0.001 * capacity.measurement_filter_ms
        delay_s = self.drive_delay_s(capacity)
        more_s = (dead - 1.0) * np.maximum(self.dead_time_s + delay_s + filter_s, 0.0)
        drive = np.exp(-(delay_s + more_s)[:, None] * s)
        filtered = 1.0 / (filter_s * s + 1.0)
        plant = gain * self.response
        for k in range(LAGS):
            lags = self.lags_s[:, k : k + 1]
            if lags.any():
                plant = plant * (lags * s + 1.0) / (lag * lags * s + 1.0)
        if isinstance(settings, ScheduledPiSettings):
            gains = np.array([scheduled_gain_pct_kpa(settings.pi, float(x)) for x in self.travel_pct])
            law = gains[:, None] * (1.0 + 1.0 / (0.001 * settings.pi.integral_time_ms * s))
            return [_Loop(1.0 + law * plant * filtered * drive, np.ones_like(s))]
        if isinstance(settings, ModelBasedSettings):
            return self._model_loops(settings, s, plant, drive, filtered)
        raise TypeError(f"{type(settings).__name__} have no linear loop")

    def _model_loops(
        self, settings: ModelBasedSettings, s: Complex, plant: Complex, drive: Complex, filtered: Complex
    ) -> list[_Loop]:
        c = settings.model
        curve = settings.common.volume_ratio.trapped_fraction_frac
        here = [float(x) for x in self.travel_pct]
        c0 = np.array([curve_at(curve, x) for x in here])[:, None]
        step = [(max(0.0, x - SLOPE_STEP_PCT), min(100.0, x + SLOPE_STEP_PCT)) for x in here]
        slope = np.array([(curve_at(curve, b) - curve_at(curve, a)) / (b - a) for a, b in step])[:, None]
        vessel_s, observer_s = 0.001 * c.vessel_time_ms, 0.001 * c.observer_time_ms
        q = 1.0 / (1.0 + observer_s * s) ** 2
        r = observer_s**2 * s * q / vessel_s
        by_position = q + c0 * r
        open_loop = 1.0 - drive * by_position
        found = []
        for return_ms in (c.return_time_ms, c.far_return_time_ms):
            pull = vessel_s / (0.001 * return_ms)
            by_suction = q * (vessel_s * s + c0) + pull * filtered - c0 + c0 * (vessel_s * s + c0) * r
            by_suction = by_suction / (self.suction_kpa[:, None] * slope)
            found.append(_Loop(open_loop + plant * drive * by_suction, open_loop))
        return found


@dataclass(frozen=True, slots=True)
class _Loop:
    """characteristic: what must not turn round 0; open: what it is divided by to give 1 + L."""

    characteristic: Complex
    open: Complex


def _gain_and_phase_margin(loop: Complex) -> tuple[Float, Float]:
    """Least gain margin above 1, and least phase margin in degrees, of each row; inf where nothing crosses."""
    size, phase = np.abs(loop), np.unwrap(np.angle(loop), axis=-1)
    turn = 2.0 * np.pi
    gain = np.full(len(loop), np.inf)
    turns = np.floor((phase + np.pi) / turn)
    for k, j in zip(*np.nonzero(turns[:, :-1] != turns[:, 1:]), strict=True):
        level = turn * max(turns[k, j], turns[k, j + 1]) - np.pi
        share = (level - phase[k, j]) / (phase[k, j + 1] - phase[k, j])
        there = np.exp(np.log(size[k, j]) + share * np.log(size[k, j + 1] / size[k, j]))
        if there < 1.0:
            gain[k] = min(gain[k], 1.0 / there)
    margin = np.full(len(loop), np.inf)
    above = size > 1.0
    for k, j in zip(*np.nonzero(above[:, :-1] != above[:, 1:]), strict=True):
        share = np.log(size[k, j]) / np.log(size[k, j] / size[k, j + 1])
        at = phase[k, j] + share * (phase[k, j + 1] - phase[k, j])
        left = np.mod(at + np.pi, turn)
        margin[k] = min(margin[k], np.degrees(left - turn if left > np.pi else left))
    return gain, margin
