"""Signal health: which measurements may be believed, and what the other layers see in place of one that may not.

A signal that is not GOOD, is not a finite number, is frozen or contradicts another keeps its last believed value; a lost
slide position goes on by dead reckoning from the drives and stroke times.  What a loss forces:

    suction pressure       load inhibit at once, forced unload after signal_unload_delay, trip after signal_lost_delay
    discharge pressure     load inhibit at once, trip after signal_lost_delay
    slide position         load inhibit at once, slide lost (controlled stop) after position_lost
    discharge temperature  load inhibit at once; class discharge_temperature_lost after signal_lost_delay
    motor current          load inhibit at once; class motor_current_lost after signal_lost_delay
    oil pressure           alarm at once; class oil_pressure_lost (controlled stop) after signal_lost_delay
    oil temperature        alarm at once; class oil_temperature_lost (alarm) after signal_lost_delay
    process temperature    load inhibit at once where it is the controlled value, else nothing
    oil before filter      alarm
    opposite positions     the halves are no longer compared; kW: the volume-ratio search rests

At rest any of them but the last three refuses the start.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.calibration import StopReadings
from controller.positioner import DriveSettings
from controller.process_image import Inputs, Outputs
from controller.scaling import believable, clamp
from controller.signal_watch import (
    LOOK_MS,
    SignalSettings,
    WatchState,
    count_travel,
    forget,
    frozen,
    note_lies,
    still_frozen,
)
from controller.timers import ton


@dataclass(slots=True)
class SignalState:
    """Believed values, and whether each is live."""

    suction_pressure_kpa_abs: float = 300.0
    discharge_pressure_kpa_abs: float = 1200.0
    discharge_temperature_c: float = 30.0
    motor_current_a: float = 0.0
    oil_pressure_kpa_abs: float = 1200.0
    oil_pressure_before_filter_kpa_abs: float = 1200.0
    oil_temperature_c: float = 40.0
    process_temperature_c: float = 0.0
    capacity_position_pct: float = 100.0  # never seen means not known to be unloaded
    volume_ratio_position_pct: float = 100.0
    suction_pressure_good: bool = False
    discharge_pressure_good: bool = False
    discharge_temperature_good: bool = False
    motor_current_good: bool = False
    oil_pressure_good: bool = False
    oil_pressure_before_filter_good: bool = False
    oil_temperature_good: bool = False
    capacity_position_good: bool = False
    volume_ratio_position_good: bool = False
    all_good: bool = False  # what loading needs
    oil_good: bool = False
    watch: WatchState = field(default_factory=WatchState)
    capacity_stops: StopReadings = field(default_factory=StopReadings)
    volume_ratio_stops: StopReadings = field(default_factory=StopReadings)


@kernel
def reckon(settings: DriveSettings, position_pct: float, up: bool, down: bool, dt_ms: int) -> float:
    """Position in % after the drives have acted for dt_ms at the set stroke speeds."""
    moved_pct = position_pct
    if up:
        moved_pct += 100.0 * dt_ms / settings.stroke_up_ms
    if down:
        moved_pct -= 100.0 * dt_ms / settings.stroke_down_ms
    return clamp(moved_pct, 0.0, 100.0)


@kernel
def read_signals(
    capacity_drive: DriveSettings,
    volume_ratio_drive: DriveSettings,
    state: SignalState,
    inputs: Inputs,
    last_outputs: Outputs,
    dt_ms: int,
) -> None:
    """Take over what may be believed and keep, or reckon on, the rest."""
    s = state
    x = inputs
    s.suction_pressure_good = believable(x.suction_pressure_kpa_abs, x.suction_pressure_health)
    if s.suction_pressure_good:
        s.suction_pressure_kpa_abs = x.suction_pressure_kpa_abs
    s.discharge_pressure_good = believable(x.discharge_pressure_kpa_abs, x.discharge_pressure_health)
    if s.discharge_pressure_good:
        s.discharge_pressure_kpa_abs = x.discharge_pressure_kpa_abs
    s.discharge_temperature_good = believable(x.discharge_temperature_c, x.discharge_temperature_health)
    if s.discharge_temperature_good:
        s.discharge_temperature_c = x.discharge_temperature_c
    s.motor_current_good = believable(x.motor_current_a, x.motor_current_health)
    if s.motor_current_good:
        s.motor_current_a = x.motor_current_a
    s.oil_pressure_good = believable(x.oil_pressure_kpa_abs, x.oil_pressure_health)
    if s.oil_pressure_good:
        s.oil_pressure_kpa_abs = x.oil_pressure_kpa_abs
    s.oil_pressure_before_filter_good = believable(
        x.oil_pressure_before_filter_kpa_abs, x.oil_pressure_before_filter_health
    )
    if s.oil_pressure_before_filter_good:
        s.oil_pressure_before_filter_kpa_abs = x.oil_pressure_before_filter_kpa_abs
    s.oil_temperature_good = believable(x.oil_temperature_c, x.oil_temperature_health)
    if s.oil_temperature_good:
        s.oil_temperature_c = x.oil_temperature_c
    s.capacity_position_good = believable(x.capacity_position_pct, x.capacity_position_health)
    if s.capacity_position_good:
        s.capacity_position_pct = (x.capacity_position_pct - s.capacity_stops.low_pct) * s.capacity_stops.scale
    else:
        s.capacity_position_pct = reckon(
            capacity_drive, s.capacity_position_pct, last_outputs.capacity_load, last_outputs.capacity_unload, dt_ms
        )
    s.volume_ratio_position_good = believable(x.volume_ratio_position_pct, x.volume_ratio_position_health)
    if s.volume_ratio_position_good:
        stops = s.volume_ratio_stops
        s.volume_ratio_position_pct = (x.volume_ratio_position_pct - stops.low_pct) * stops.scale
    else:
        s.volume_ratio_position_pct = reckon(
            volume_ratio_drive,
            s.volume_ratio_position_pct,
            last_outputs.volume_ratio_increase,
            last_outputs.volume_ratio_decrease,
            dt_ms,
        )


@kernel
def look_for_lies(settings: SignalSettings, state: SignalState, full_load_current_a: float, dt_ms: int) -> None:
    """Once a second while the motor runs: which signals are frozen, and which contradict each other."""
    c = settings
    s = state
    w = s.watch
    if s.capacity_position_good:
        count_travel(w.capacity_moved, s.capacity_position_pct)
    count_travel(w.current_moved, 100.0 * s.motor_current_a / max(1.0, full_load_current_a))
    count_travel(w.discharge_moved, 0.1 * s.discharge_pressure_kpa_abs)
    travel_pct = w.capacity_moved.travelled_pct
    load_pct = travel_pct + w.current_moved.travelled_pct
    plant_pct = load_pct + w.discharge_moved.travelled_pct
    suction = frozen(c, w.suction_pressure, c.suction_pressure_watched, s.suction_pressure_kpa_abs, plant_pct, dt_ms)
    discharge = frozen(
        c, w.discharge_pressure, c.discharge_pressure_watched, s.discharge_pressure_kpa_abs, load_pct, dt_ms
    )
    margin_kpa = c.implausible_pressure_kpa
    crossed = s.suction_pressure_good and s.discharge_pressure_good
    crossed = crossed and s.discharge_pressure_kpa_abs < s.suction_pressure_kpa_abs - margin_kpa
    crossed = ton(w.pressures, crossed, c.implausible_after_ms, dt_ms)  # one of the two lies: nothing says which
    idle_current = 100.0 * s.motor_current_a < c.no_load_current_pct * full_load_current_a
    idle_current = ton(w.current, idle_current, c.implausible_after_ms, dt_ms)
    reversed_filter = s.oil_pressure_before_filter_kpa_abs < s.oil_pressure_kpa_abs - margin_kpa
    w.suction_pressure_lies = suction or crossed
    w.discharge_pressure_lies = discharge or crossed
    w.motor_current_lies = idle_current or frozen(
        c, w.motor_current, c.motor_current_watched, s.motor_current_a, travel_pct, dt_ms
    )
    w.discharge_temperature_lies = frozen(
        c, w.discharge_temperature, c.discharge_temperature_watched, s.discharge_temperature_c, travel_pct, dt_ms
    )
    w.oil_pressure_lies = frozen(c, w.oil_pressure, c.oil_pressure_watched, s.oil_pressure_kpa_abs, travel_pct, dt_ms)
    w.before_filter_lies = ton(w.filter, reversed_filter, c.implausible_after_ms, dt_ms)
    note_lies(w)


@kernel
def look_at_rest(state: SignalState) -> None:
    """Once a second at standstill, while something was found frozen: whether it has moved since."""
    s = state
    w = s.watch
    w.suction_pressure_lies = still_frozen(w.suction_pressure, s.suction_pressure_kpa_abs)
    w.discharge_pressure_lies = still_frozen(w.discharge_pressure, s.discharge_pressure_kpa_abs)
    w.motor_current_lies = still_frozen(w.motor_current, s.motor_current_a)
    w.discharge_temperature_lies = still_frozen(w.discharge_temperature, s.discharge_temperature_c)
    w.oil_pressure_lies = still_frozen(w.oil_pressure, s.oil_pressure_kpa_abs)
    note_lies(w)


@kernel
def distrust(state: SignalState) -> None:
    """Take the trust from the signals that lie."""
    s = state
    w = s.watch
    s.suction_pressure_good = s.suction_pressure_good and not w.suction_pressure_lies
    s.discharge_pressure_good = s.discharge_pressure_good and not w.discharge_pressure_lies
    s.motor_current_good = s.motor_current_good and not w.motor_current_lies
    s.discharge_temperature_good = s.discharge_temperature_good and not w.discharge_temperature_lies
    s.oil_pressure_good = s.oil_pressure_good and not w.oil_pressure_lies
    s.oil_pressure_before_filter_good = s.oil_pressure_before_filter_good and not w.before_filter_lies


@kernel
def judge_signals(
    settings: SignalSettings,
    state: SignalState,
    inputs: Inputs,
    running: bool,
    needs_process_temperature: bool,
    full_load_current_a: float,
    dt_ms: int,
) -> None:
    """After `read_signals`: what is frozen or implausible, and whether loading has all it needs."""
    s = state
    w = s.watch
    if running:
        w.waited_ms += dt_ms
        if w.waited_ms >= LOOK_MS:
            look_for_lies(settings, s, full_load_current_a, w.waited_ms)
            w.waited_ms = 0
        if w.lies:
            distrust(s)
    else:
        if w.running:
            forget(w)
        if w.lies:
            w.waited_ms += dt_ms
            if w.waited_ms >= LOOK_MS:
                look_at_rest(s)
                w.waited_ms = 0
            distrust(s)
    w.running = running
    s.oil_good = s.oil_pressure_good and s.oil_pressure_before_filter_good and s.oil_temperature_good
    s.all_good = (
        s.suction_pressure_good
        and s.discharge_pressure_good
        and s.discharge_temperature_good
        and s.motor_current_good
        and s.capacity_position_good
        and s.volume_ratio_position_good
    )
    if needs_process_temperature:
        if believable(inputs.process_temperature_c, inputs.process_temperature_health):
            s.process_temperature_c = inputs.process_temperature_c
        else:
            s.all_good = False
