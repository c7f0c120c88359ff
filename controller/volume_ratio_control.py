"""Volume-ratio slide: the best attainable position for the measured pressures and the *actual* capacity position.

The gas sees Vi = c·Vi_f, trapped fraction times full-load ratio.  The best is (p_d/p_s)^(1/κ), so
Vi_f = (p_d/p_s)^(1/κ)/c, kept at or above (1 + margin)/c, below which the port opens before the flute is sealed, and
within the range of the slide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.calibration import GOING_UP
from controller.positioner import (
    DriveSettings,
    EndStopState,
    PositionerState,
    guard_end_stop,
    position_slide,
    rest,
)
from controller.positioner import cross_check as drive_cross_check
from controller.process_image import Inputs, Mode
from controller.scaling import believable, clamp
from controller.setting_fields import Switch, duration, number, percent, table
from controller.signals import SignalState
from controller.slide_curve import Curve, curve_at, curve_position_pct, rising
from controller.volume_ratio_search import SearchSettings, SearchState, search_power, stop_search
from controller.volume_ratio_search import cross_check as search_cross_check

PRACTICE = "common practice, no source"


def _drive() -> DriveSettings:
    return DriveSettings(neutral_zone_pct=1.5)


@dataclass(frozen=True, slots=True)
class VolumeRatioSettings:
    """The two slide curves over 0, 10 … 100 % position, and how quickly the loop follows."""

    trapped_fraction_frac: Curve = field(
        default=(0.14, 0.21, 0.31, 0.41, 0.51, 0.62, 0.72, 0.81, 0.89, 0.95, 1.0),
        metadata=table(0.02, 1.0, "over capacity position, from rotor geometry of the demo plant, rounded"),
    )
    full_load_volume_ratio: Curve = field(
        default=(1.3, 1.41, 1.55, 1.73, 1.96, 2.27, 2.68, 3.22, 3.98, 5.0, 6.2),
        metadata=table(1.0, 10.0, "over volume-ratio position, from rotor geometry of the demo plant, rounded"),
    )
    isentropic_exponent: float = number(1.30, 1.02, 1.70, "effective exponent of ammonia, 1.29–1.31 (CoolProp)")
    through_path_margin_frac: float = number(0.05, 0.0, 0.5, f"distance from the through-path; {PRACTICE}")
    interval_ms: int = duration(1_000, 100, 60_000, f"how often the best position is worked out; {PRACTICE}")
    filter_ms: int = duration(10_000, 0, 600_000, f"slower than the capacity loop's pulses; {PRACTICE}")
    fastest_pct: float = percent(
        2.0, 0.05, 100.0, f"most that the demand moves at an interval: 2 %/s is the stroke's own speed; {PRACTICE}"
    )
    search: SearchSettings = field(default_factory=SearchSettings)
    drive: DriveSettings = field(default_factory=_drive)


@dataclass(slots=True)
class VolumeRatioState:
    """Demand and drive."""

    demand_pct: float = 0.0
    waited_ms: int = 0
    active: bool = False
    positioner: PositionerState = field(default_factory=PositionerState)
    end_stop: EndStopState = field(default_factory=EndStopState)
    search: SearchState = field(default_factory=SearchState)


@kernel
def best_full_load_ratio(
    settings: VolumeRatioSettings, suction_kpa_abs: float, discharge_kpa_abs: float, capacity_position_pct: float
) -> float:
    """Full-load volume ratio that fits best, within what the slide can reach and clear of the through-path.

    >>> round(best_full_load_ratio(VolumeRatioSettings(), 290.6, 1350.0, 100.0), 3)
    3.259
    """
    trapped_frac = max(curve_at(settings.trapped_fraction_frac, capacity_position_pct), 0.01)
    ratio = discharge_kpa_abs / max(suction_kpa_abs, 1.0)
    inner = 1.0
    if ratio > 1.0:
        inner = math.exp(math.log(ratio) / settings.isentropic_exponent)
    least = 1.0 + settings.through_path_margin_frac
    inner = max(inner, least)
    return clamp(inner / trapped_frac, settings.full_load_volume_ratio[0], settings.full_load_volume_ratio[10])


@kernel
def follow_best(settings: VolumeRatioSettings, state: VolumeRatioState, signals: SignalState, inputs: Inputs) -> None:
    """Move the demand towards the best position, filtered and no faster than `fastest_pct` an interval."""
    c = settings
    s = state
    ratio = best_full_load_ratio(
        c, signals.suction_pressure_kpa_abs, signals.discharge_pressure_kpa_abs, signals.capacity_position_pct
    )
    target_pct = curve_position_pct(c.full_load_volume_ratio, ratio)
    if c.search.enabled == Switch.ON:
        offset_pct = search_power(
            c.search,
            s.search,
            inputs.motor_power_kw,
            believable(inputs.motor_power_kw, inputs.motor_power_health),
            signals.capacity_position_pct,
            signals.discharge_pressure_kpa_abs / max(signals.suction_pressure_kpa_abs, 1.0),
            s.waited_ms,
        )
        # the offset may not lead into the through-path: that bound is worked out, not searched
        trapped_frac = max(curve_at(c.trapped_fraction_frac, signals.capacity_position_pct), 0.01)
        least_pct = curve_position_pct(c.full_load_volume_ratio, (1.0 + c.through_path_margin_frac) / trapped_frac)
        target_pct = clamp(target_pct + offset_pct, min(least_pct, 100.0), 100.0)
    change_pct = (target_pct - s.demand_pct) * (s.waited_ms / (c.filter_ms + s.waited_ms))
    s.demand_pct += clamp(change_pct, -c.fastest_pct, c.fastest_pct)


@kernel
def control_volume_ratio(
    settings: VolumeRatioSettings,
    state: VolumeRatioState,
    signals: SignalState,
    inputs: Inputs,
    mode: Mode,
    to_minimum: bool,
    dt_ms: int,
) -> int:
    """Update the demand and give the direction of the volume-ratio slide, end stops guarded.

    A lost pressure or position freezes the demand; a lost volume-ratio position also stops the drive in AUTOMATIC.
    """
    c = settings
    s = state
    position_pct = signals.volume_ratio_position_pct
    direction = 0
    if mode == Mode.AUTOMATIC:
        if not s.active:
            s.active = True
            s.demand_pct = clamp(position_pct, 0.0, 100.0)
            s.waited_ms = c.interval_ms
        s.waited_ms += dt_ms
        if inputs.volume_ratio_manual:
            s.demand_pct = clamp(inputs.volume_ratio_manual_demand_pct, 0.0, 100.0)
        elif s.waited_ms >= c.interval_ms:
            known = signals.suction_pressure_good and signals.discharge_pressure_good
            if known and signals.capacity_position_good:
                follow_best(c, s, signals, inputs)
            s.waited_ms = 0
        good = signals.volume_ratio_position_good
        direction = position_slide(c.drive, s.positioner, position_pct, s.demand_pct, good, good, dt_ms)
    else:
        s.active = False
        s.demand_pct = 0.0
        rest(s.positioner)
        if mode == Mode.PRE_LUBRICATION and signals.volume_ratio_stops.phase == GOING_UP:
            direction = 1  # pre-lubrication has no lost signal: its permission would have ended it in this scan
        elif to_minimum:
            direction = -1
        stop_search(s.search)
    return guard_end_stop(c.drive, s.end_stop, direction, position_pct, dt_ms)


def cross_check(settings: VolumeRatioSettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    found = drive_cross_check(settings.drive, "volume-ratio drive")
    found += search_cross_check(settings.search)
    if not rising(settings.trapped_fraction_frac):
        found.append("volume ratio: the trapped_fraction table must rise from each point to the next")
    if not rising(settings.full_load_volume_ratio):
        found.append("volume ratio: the full_load_volume_ratio table must rise from each point to the next")
    return found
