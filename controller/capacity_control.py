"""What every capacity law shares: set point, load ramp, limits of the demand, and who has the slide's drive.

A law writes `free_pct`, the demand it would like; this file turns it into `demand_pct`, which keeps the invariants: in
AUTOMATIC never below minimum load, never above the load ramp, never rising while inhibited.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.calibration import GOING_UP
from controller.load_inhibit import InhibitState
from controller.positioner import (
    DriveSettings,
    EndStopState,
    PositionerState,
    guard_end_stop,
    position_slide,
    rest,
)
from controller.positioner import cross_check as drive_cross_check
from controller.process_image import Inhibit, Inputs, Mode
from controller.saturation import RefrigerantSettings
from controller.scaling import clamp
from controller.set_point import TargetSettings, TargetState, control_error_kpa, move_target
from controller.setting_fields import duration, percent, pressure
from controller.signals import SignalState

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class CapacitySettings:
    """Set points and limits of the capacity slide, whichever law leads it."""

    suction_set_point_kpa_abs: float = pressure(290.6, 30.0, 3500.0, "−10 °C saturated ammonia (CoolProp)")
    second_set_point_kpa_abs: float = pressure(275.0, 30.0, 3500.0, f"about 1.3 K lower, for a harder pull; {PRACTICE}")
    set_point_ramp_ms: int = duration(300_000, 0, 7_200_000, f"from one set point to the other; {PRACTICE}")
    measurement_filter_ms: int = duration(500, 0, 60_000, f"first-order filter on suction pressure; {PRACTICE}")
    minimum_load_pct: float = percent(3.0, 0.0, 40.0, f"just clear of the end stop; {PRACTICE}")
    load_ramp_ms: int = duration(300_000, 0, 3_600_000, f"minimum to full after a start, 3–10 min; {PRACTICE}")
    windup_band_pct: float = percent(8.0, 1.0, 100.0, f"how far demand may run from the real position; {PRACTICE}")
    target: TargetSettings = field(default_factory=TargetSettings)
    drive: DriveSettings = field(
        default_factory=lambda: DriveSettings(neutral_zone_pct=3.0, reversal_zone_pct=4.5)  # 4 kPa on the demo plant
    )


@dataclass(slots=True)
class CapacityState:
    """Demand, what the law would like, and the drive."""

    demand_pct: float = 0.0
    free_pct: float = 0.0
    ceiling_pct: float = 0.0
    suction_filtered_kpa_abs: float = 0.0
    error_kpa: float = 0.0  # what the law brings to zero; positive wants capacity
    request: int = 0  # a law that drives the solenoids itself: +1, −1, 0
    drives_itself: bool = False
    active: bool = False
    was_inhibited: bool = False
    target: TargetState = field(default_factory=TargetState)
    positioner: PositionerState = field(default_factory=PositionerState)
    end_stop: EndStopState = field(default_factory=EndStopState)


@kernel
def prepare_capacity(
    settings: CapacitySettings,
    refrigerant: RefrigerantSettings,
    state: CapacityState,
    signals: SignalState,
    inhibit: InhibitState,
    inputs: Inputs,
    mode: Mode,
    mode_elapsed_ms: int,
    dt_ms: int,
) -> None:
    """Before the law: set point, control error, load ramp, and a bumpless beginning."""
    s = state
    move_target(
        settings.target,
        refrigerant,
        s.target,
        settings.suction_set_point_kpa_abs,
        settings.second_set_point_kpa_abs,
        settings.set_point_ramp_ms,
        inputs,
        dt_ms,
    )
    s.request = 0
    s.drives_itself = False
    if mode != Mode.AUTOMATIC:
        s.active = False
        s.demand_pct = 0.0
        s.free_pct = 0.0
        s.suction_filtered_kpa_abs = signals.suction_pressure_kpa_abs
        s.error_kpa = control_error_kpa(settings.target, s.target, signals, s.suction_filtered_kpa_abs)
        return
    s.suction_filtered_kpa_abs += (signals.suction_pressure_kpa_abs - s.suction_filtered_kpa_abs) * (
        dt_ms / max(1, settings.measurement_filter_ms + dt_ms)
    )
    s.error_kpa = control_error_kpa(settings.target, s.target, signals, s.suction_filtered_kpa_abs)
    s.ceiling_pct = 100.0
    if mode_elapsed_ms < settings.load_ramp_ms:
        s.ceiling_pct = settings.minimum_load_pct + (100.0 - settings.minimum_load_pct) * (
            mode_elapsed_ms / settings.load_ramp_ms
        )
    if not s.active:
        s.active = True
        s.was_inhibited = False
        s.demand_pct = clamp(signals.capacity_position_pct, settings.minimum_load_pct, s.ceiling_pct)
        s.free_pct = s.demand_pct
    if s.was_inhibited and inhibit.inhibit == Inhibit.NONE:
        s.free_pct = s.demand_pct


@kernel
def limit_demand(
    settings: CapacitySettings,
    state: CapacityState,
    signals: SignalState,
    inhibit: InhibitState,
    inputs: Inputs,
    dt_ms: int,
) -> None:
    """After the law, in AUTOMATIC: hold `free_pct` near the real position and derive `demand_pct` from it.

    While inhibited `free_pct` may stand above the demand, so that noise on a held demand does not walk it down.
    """
    c = settings
    s = state
    position_pct = signals.capacity_position_pct
    by_law = False
    if inputs.capacity_manual:
        wanted_pct = clamp(inputs.capacity_manual_demand_pct, c.minimum_load_pct, s.ceiling_pct)
    elif not s.target.law_leads:
        wanted_pct = clamp(s.target.demand_pct, c.minimum_load_pct, s.ceiling_pct)
    else:
        by_law = True
        if not s.drives_itself:
            s.free_pct = clamp(s.free_pct, position_pct - c.windup_band_pct, position_pct + c.windup_band_pct)
        s.free_pct = clamp(s.free_pct, c.minimum_load_pct, s.ceiling_pct)
        wanted_pct = s.free_pct
    if inhibit.inhibit != Inhibit.NONE:
        wanted_pct = min(wanted_pct, s.demand_pct)
    if inhibit.forced:
        falling_pct = s.demand_pct - 100.0 * dt_ms / c.drive.stroke_down_ms
        wanted_pct = max(min(wanted_pct, falling_pct), c.minimum_load_pct)
        s.free_pct = wanted_pct
    s.demand_pct = wanted_pct
    if not by_law:
        s.free_pct = wanted_pct  # so that a law that takes over goes on from here
    s.was_inhibited = inhibit.inhibit != Inhibit.NONE


@kernel
def drive_capacity(
    settings: CapacitySettings,
    state: CapacityState,
    signals: SignalState,
    inhibit: InhibitState,
    mode: Mode,
    to_minimum: bool,
    dt_ms: int,
) -> int:
    """Direction of the capacity slide this scan, end stops guarded; outside AUTOMATIC only `to_minimum` moves it down.

    The one movement up outside AUTOMATIC is the search for the high stop, with the motor off.
    """
    s = state
    position_pct = signals.capacity_position_pct
    direction = 0
    if mode == Mode.AUTOMATIC:
        above_minimum = position_pct > settings.minimum_load_pct
        may_load = inhibit.inhibit == Inhibit.NONE and signals.all_good
        if inhibit.forced:
            rest(s.positioner)
            if above_minimum:
                direction = -1
        elif s.drives_itself:
            rest(s.positioner)
            if s.request > 0 and may_load and position_pct < s.ceiling_pct:
                direction = 1
            elif s.request < 0 and above_minimum:
                direction = -1
        else:
            direction = position_slide(
                settings.drive, s.positioner, position_pct, s.demand_pct, may_load, above_minimum, dt_ms
            )
    else:
        rest(s.positioner)
        if mode == Mode.PRE_LUBRICATION and signals.capacity_stops.phase == GOING_UP:
            direction = 1  # pre-lubrication has no lost signal: its permission would have ended it in this scan
        elif to_minimum:
            direction = -1
    return guard_end_stop(settings.drive, s.end_stop, direction, position_pct, dt_ms)


def cross_check(settings: CapacitySettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    found = drive_cross_check(settings.drive, "capacity drive")
    if settings.minimum_load_pct < settings.drive.low_end_pct:
        found.append("capacity: minimum_load must not lie below the low end stop of its drive")
    if settings.windup_band_pct <= settings.drive.neutral_zone_pct:
        found.append("capacity: windup_band must be wider than the drive's neutral zone, or the slide cannot move")
    return found
