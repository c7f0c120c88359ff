"""Neutral zone, reversal zone and minimum pulse such that the pressure comes to rest, or cycles less than stated.

Bounds that need no prediction come first (rest, turning back, landing), harmonic balance predicts, and the small loop
with the cabinet's own PI and positioner confirms; the prediction's error is part of the answer.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from controller.positioner import DriveSettings
from scenarios.errors import InputRefused, Problem
from tools.tuning.describing_functions import ZonedPositioner
from tools.tuning.limit_cycles import LimitCycle, predicted_cycles, settling_cycle
from tools.tuning.linear_process import LinearProcess, PiSettings
from tools.tuning.slide_loop import Seen, Slide, run_slide_loop

LOADS_PCT = (0.3, -0.45, 1.15)  # where the load lies between two stairs decides much: three places
AT_REST_KPA = 0.02  # the tail of the kick half an hour before
WIDEST_PCT = 10.0


@dataclass(frozen=True, slots=True)
class Prediction:
    """cycle: what harmonic balance expects, None for none; dies_out: whether rest is certain, with the reason."""

    cycle: LimitCycle | None
    dies_out: bool
    why: str


def shortest_step_pct(drive: DriveSettings) -> float:
    """The most that the shortest pulse moves the slide, in %, the faster way, run-on included."""
    return 100.0 * (drive.minimum_pulse_ms + drive.overrun_ms) / min(drive.stroke_up_ms, drive.stroke_down_ms)


def landing_error_pct(drive: DriveSettings, scan_ms: int = 100) -> float:
    """Half of what a slide at full speed covers in a scan: pulses end at the scan nearest to their end."""
    return 50.0 * scan_ms / min(drive.stroke_up_ms, drive.stroke_down_ms)


def overshoot_pct(drive: DriveSettings, scan_ms: int = 100) -> float:
    """The most that a pulse can end past the demand, in %.

    The positioner stops a pulse that has passed the demand, one scan and the run-on late; and from just outside the
    neutral zone the shortest pulse goes no further than its step.
    """
    speed_pct_ms = 100.0 / min(drive.stroke_up_ms, drive.stroke_down_ms)
    passing = speed_pct_ms * (scan_ms + drive.overrun_ms)
    return min(passing, max(0.0, shortest_step_pct(drive) - drive.neutral_zone_pct))


def turns_back(drive: DriveSettings) -> bool:
    """Whether a pulse may earn a pulse back, which is where a positioner begins to hunt by itself.

    To the safe side: as if the shortest pulse ran out unseen, which it does where the position comes late;
    `overshoot_pct` is the figure for a position seen at once.
    """
    reversal_pct = max(drive.neutral_zone_pct, drive.reversal_zone_pct)
    return shortest_step_pct(drive) - drive.neutral_zone_pct > reversal_pct


def predict(
    process: LinearProcess,
    controller: PiSettings,
    drive: DriveSettings,
    rest_zone_kpa: float = 0.0,
    lost_pct: float = 0.0,
    scan_ms: int = 100,
) -> Prediction:
    """What the pressure loop with this drive will do, in a quiet load.

    Certain rest: the PI rests within ± rest zone, and one turning step moves the settled pressure by less than twice
    that.  Without a rest zone an integral never rests on a slide that stands in steps; on an integrating process
    no step is ever just right.
    """
    turning_pct = max(drive.neutral_zone_pct, drive.reversal_zone_pct, shortest_step_pct(drive)) + lost_pct
    stroke_ms = 0.5 * (drive.stroke_up_ms + drive.stroke_down_ms)
    moving_s = 0.5 * (0.001 * scan_ms + 1e-5 * turning_pct * stroke_ms)  # half a scan, and half of the pulse
    zones = ZonedPositioner(drive.neutral_zone_pct, drive.reversal_zone_pct + lost_pct, shortest_step_pct(drive))
    delayed = replace(process, dead_time_s=process.dead_time_s + moving_s)
    cycle = settling_cycle(predicted_cycles(delayed, controller, zones, rest_zone_kpa, largest=100.0))
    if turns_back(drive):
        return Prediction(
            cycle, False, "the shortest pulse reaches across both zones: the positioner may hunt by itself"
        )
    if process.integrating:
        return Prediction(cycle, False, "an integrating pressure drifts off whatever step the slide stands on")
    if rest_zone_kpa <= 0.0:
        return Prediction(cycle, False, "without a rest zone the integral never rests on a slide that stands in steps")
    settled_kpa = process.gain * turning_pct
    if settled_kpa <= 2.0 * rest_zone_kpa:
        return Prediction(
            None, True, f"one turning step settles {settled_kpa:.3g} kPa away, within ± {rest_zone_kpa:g} kPa"
        )
    return Prediction(
        cycle, False, f"one turning step settles {settled_kpa:.3g} kPa away, across ± {rest_zone_kpa:g} kPa"
    )


@dataclass(frozen=True, slots=True)
class Zones:
    """The answer, what was predicted for it, and the worst that the small loop then showed.

    prediction_error_frac is predicted over seen pressure amplitude, less 1; nan where nothing was predicted or seen.
    """

    neutral_zone_pct: float
    reversal_zone_pct: float
    minimum_pulse_ms: int
    prediction: Prediction
    seen: Seen
    prediction_error_frac: float

    def on(self, drive: DriveSettings) -> DriveSettings:
        """The drive with these zones."""
        return replace(
            drive,
            neutral_zone_pct=self.neutral_zone_pct,
            reversal_zone_pct=self.reversal_zone_pct,
            minimum_pulse_ms=self.minimum_pulse_ms,
            continuous_above_pct=max(drive.continuous_above_pct, 2.0 * self.neutral_zone_pct),
        )


def _half_of(drive: DriveSettings, reversal_pct: float, least_pct: float) -> DriveSettings:
    """Zones to a tenth of a per cent: the neutral one half of the reversal one, at least the least."""
    neutral_pct = min(max(math.ceil(5.0 * reversal_pct) / 10.0, math.ceil(10.0 * least_pct) / 10.0), reversal_pct)
    return replace(drive, neutral_zone_pct=neutral_pct, reversal_zone_pct=reversal_pct)


def choose_zones(
    process: LinearProcess,
    controller: PiSettings,
    drive: DriveSettings,
    amplitude_limit_kpa: float,
    rest_zone_kpa: float = 0.0,
    slide: Slide | None = None,
    loads_pct: Sequence[float] = LOADS_PCT,
    scan_ms: int = 100,
) -> Zones:
    """The widest zones (least work for drive and linkage) that keep the promise in prediction and simulation.

    drive.minimum_pulse_ms is taken for the shortest pulse that surely moves the slide and is kept: a longer one spares
    nothing, since a pulse covers at least the neutral zone anyway.  The neutral zone is half of the reversal zone
    (common practice, no source), never below what the exact bounds ask.  Raises InputRefused where even the narrowest
    zones do not keep the amplitude within the limit.
    """
    step_pct = shortest_step_pct(drive)
    least_pct = max(0.1, landing_error_pct(drive, scan_ms))
    narrowest_pct = max(least_pct, 2.0 / 3.0 * step_pct)
    candidates = [
        zones
        for reversal_pct in np.arange(math.ceil(10.0 * narrowest_pct), 10.0 * WIDEST_PCT + 1.0) / 10.0
        if not turns_back(zones := _half_of(drive, float(reversal_pct), least_pct))
    ]
    lost_pct = slide.lost_pct if slide else 0.0

    def expected(zones: DriveSettings) -> tuple[Prediction, float]:
        """The prediction and its amplitude in kPa."""
        found = predict(process, controller, zones, rest_zone_kpa, lost_pct, scan_ms)
        return found, found.cycle.pressure_amplitude_kpa if found.cycle else 0.0

    def fits(zones: DriveSettings) -> bool:
        found, amplitude_kpa = expected(zones)
        return found.dies_out or amplitude_kpa <= amplitude_limit_kpa

    # wider zones cycle more: the widest that the prediction allows, then narrower until the small loop agrees
    k = max(bisect_left(candidates, True, key=lambda zones: not fits(zones)) - 1, 0)
    last: Zones | None = None
    while candidates and k >= 0:
        zones = candidates[k]
        runs = [
            run_slide_loop(process, controller, zones, rest_zone_kpa, slide, load, scan_ms=scan_ms)
            for load in loads_pct
        ]
        seen = max(runs, key=lambda run: run.pressure_amplitude_kpa)
        found, amplitude_kpa = expected(zones)
        error = amplitude_kpa / seen.pressure_amplitude_kpa - 1.0 if amplitude_kpa > 0.0 and seen.cycles else math.nan
        last = Zones(zones.neutral_zone_pct, zones.reversal_zone_pct, zones.minimum_pulse_ms, found, seen, error)
        if seen.pressure_amplitude_kpa <= max(amplitude_limit_kpa, AT_REST_KPA):
            return last
        k -= max(1, k // 12)
    shown = f"{last.seen.pressure_amplitude_kpa:.3g} kPa" if last else "a positioner that turns back by itself"
    raise InputRefused(
        Problem(
            f"no zones keep the limit cycle within {amplitude_limit_kpa:g} kPa",
            limit=f"the shortest pulse moves {step_pct:.3g} %, the narrowest zones still leave {shown}",
            way_out="allow more amplitude, widen the rest zone, lower the gain, or shorten the shortest pulse",
        )
    )
