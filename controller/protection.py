"""Trips: what each cause does once it has lasted its delay, the latch with its first cause, and the reset.

This is an engineering aid and no safety system: the hard-wired high-pressure cut-out, the relief devices and the
motor's own overload relay come first and do not ask this program.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.alarms import pre_alarms
from controller.process_image import Inputs, Mode, Trip
from controller.protection_settings import AutomaticResets, ProtectionSettings, TripClass
from controller.saturation import RefrigerantSettings
from controller.setting_fields import Switch
from controller.signals import SignalState
from controller.slide_watch import SlideWatch
from controller.timers import Ton, ton
from controller.triggers import Edge, r_trig
from controller.trip_causes import (
    FAILED_START,
    FAILED_STOP,
    HALVES_DISAGREE,
    HIGH_DISCHARGE_PRESSURE,
    HIGH_DISCHARGE_TEMPERATURE,
    HIGH_OIL_TEMPERATURE,
    LOW_SUCTION_PRESSURE,
    MOTOR_OVERLOAD,
    SIGNAL_LOST,
    SLIDE_LOST,
    UNLOAD_TIMEOUT,
    VESSEL_HIGH_LEVEL,
    CauseTimers,
    Quantities,
    class_of,
    lasting_causes,
    lowest_cause,
    motor_commanded,
    present_causes,
    work_out,
)

CAUSES = 17


@dataclass(slots=True)
class ProtectionState:
    """Delays, latches and the words of causes (bit `1 << Trip`)."""

    timers: CauseTimers = field(default_factory=CauseTimers)
    quantities: Quantities = field(default_factory=Quantities)
    capacity: SlideWatch = field(default_factory=SlideWatch)
    volume_ratio: SlideWatch = field(default_factory=SlideWatch)
    reset: Edge = field(default_factory=Edge)
    automatic_reset: Ton = field(default_factory=Ton)
    automatic_resets: int = 0
    present: int = 0
    trip_word: int = 0
    stopping_word: int = 0  # causes of a controlled stop under way; they latch once the motor is off
    hold_word: int = 0
    unload_word: int = 0
    alarm_word: int = 0
    first_out: Trip = Trip.NONE
    unload_timeout: bool = False


@kernel
def sort_causes(
    settings: ProtectionSettings, state: ProtectionState, signals: SignalState, due: int, commanded: bool
) -> int:
    """Give each due cause what its class demands; returns the word of those that stop the motor now."""
    s = state
    now = 0
    later = 0
    bit = 1
    for _ in range(CAUSES):
        bit *= 2
        if due & bit:
            kind = class_of(settings, s.timers, signals, bit)
            if kind == TripClass.IMMEDIATE_STOP or (kind == TripClass.CONTROLLED_STOP and not commanded):
                now |= bit
            elif kind == TripClass.CONTROLLED_STOP:
                later |= bit
            elif kind == TripClass.FORCED_UNLOAD:
                s.unload_word |= bit
            elif kind == TripClass.LOAD_INHIBIT:
                s.hold_word |= bit
    if s.trip_word == 0 and s.stopping_word == 0:
        s.first_out = lowest_cause(now | later)
    s.stopping_word |= later
    s.trip_word |= now
    return now


@kernel
def standing_causes(settings: ProtectionSettings, state: ProtectionState, signals: SignalState, inputs: Inputs) -> int:
    """Word of the causes that forbid a reset: still there, or not to be seen because the signal is lost.

    Stop button and safety chain are due at once while they last, which forbids it already.
    """
    c = settings
    s = signals
    word = 0
    if s.discharge_pressure_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs or not s.discharge_pressure_good:
        word |= HIGH_DISCHARGE_PRESSURE
    if s.suction_pressure_kpa_abs <= c.low_suction_pressure_trip_kpa_abs or not s.suction_pressure_good:
        word |= LOW_SUCTION_PRESSURE
    if s.discharge_temperature_c >= c.high_discharge_temperature_trip_c or not s.discharge_temperature_good:
        word |= HIGH_DISCHARGE_TEMPERATURE
    if s.oil_temperature_c >= c.high_oil_temperature_trip_c or not s.oil_temperature_good:
        word |= HIGH_OIL_TEMPERATURE
    if inputs.vessel_high_high_level:
        word |= VESSEL_HIGH_LEVEL
    if state.quantities.current_pct >= c.motor_overload_trip_pct or not s.motor_current_good:
        word |= MOTOR_OVERLOAD
    if inputs.motor_running:
        word |= FAILED_STOP
    if not (s.capacity_position_good and s.volume_ratio_position_good):
        word |= SLIDE_LOST | HALVES_DISAGREE
    if state.capacity.apart or state.volume_ratio.apart:
        word |= HALVES_DISAGREE
    if not (s.suction_pressure_good and s.discharge_pressure_good and s.oil_good):
        word |= SIGNAL_LOST
    return word


@kernel
def may_reset_itself(settings: AutomaticResets, word: int) -> bool:
    """Whether every latched cause is one that may reset itself."""
    allowed = 0
    if settings.low_suction_pressure == Switch.ON:
        allowed |= LOW_SUCTION_PRESSURE
    if settings.high_oil_temperature == Switch.ON:
        allowed |= HIGH_OIL_TEMPERATURE
    if settings.signal_lost == Switch.ON:
        allowed |= SIGNAL_LOST
    return word & ~allowed == 0


@kernel
def reset_trips(
    settings: ProtectionSettings, state: ProtectionState, signals: SignalState, inputs: Inputs, due: int, dt_ms: int
) -> None:
    """Let the latch fall: by a fresh press, or by itself where that is allowed; never while a cause stands."""
    s = state
    pressed = r_trig(s.reset, inputs.reset_pressed)
    if pressed:
        s.unload_timeout = False
        s.automatic_resets = 0
    if s.trip_word == 0:
        return
    gone = due & ~UNLOAD_TIMEOUT == 0 and s.trip_word & standing_causes(settings, s, signals, inputs) == 0
    again = settings.automatic_reset
    by_itself = gone and s.automatic_resets < again.most and may_reset_itself(again, s.trip_word)
    waited = ton(s.automatic_reset, by_itself, again.wait_ms, dt_ms)
    if gone and (pressed or waited):
        if not pressed:
            s.automatic_resets += 1
        s.trip_word = 0
        s.first_out = Trip.NONE
        ton(s.automatic_reset, False, again.wait_ms, dt_ms)


@kernel
def protect(
    settings: ProtectionSettings,
    refrigerant: RefrigerantSettings,
    state: ProtectionState,
    signals: SignalState,
    inputs: Inputs,
    mode: Mode,
    mode_elapsed_ms: int,
    since_start_ms: int,
    start_confirm_ms: int,
    full_load_current_a: float,
    dt_ms: int,
) -> None:
    """Evaluate every cause, do what the due ones demand, and take a reset when every latched cause is gone.

    A lost signal keeps its last believed value here, so a delay that had begun runs on.
    """
    c = settings
    s = state
    commanded = motor_commanded(mode)
    work_out(c, refrigerant, s.quantities, signals, full_load_current_a)
    present = present_causes(c, s.quantities, signals, s.capacity, s.volume_ratio, inputs, mode, since_start_ms)
    due = 0
    if present != 0 or s.present != 0:  # with none now and none before, every delay already stands at zero
        due = lasting_causes(c, s.timers, signals, present, dt_ms)
    s.present = present
    if mode == Mode.STARTING:
        if mode_elapsed_ms >= c.failed_start_ms and not inputs.motor_running:
            due |= FAILED_START
        if mode_elapsed_ms >= c.failed_start_ms + start_confirm_ms:  # feedback that flickers is no start either
            due |= FAILED_START
    if s.unload_timeout:
        due |= UNLOAD_TIMEOUT
    if not commanded and s.stopping_word != 0:
        s.trip_word |= s.stopping_word  # the controlled stop is over
        s.stopping_word = 0
    s.hold_word = 0
    s.unload_word = 0
    stop_now = 0
    if due != 0:
        stop_now = sort_causes(c, s, signals, due, commanded)
    reset_trips(c, s, signals, inputs, stop_now, dt_ms)
    s.alarm_word = (
        pre_alarms(c, s.quantities, signals, inputs, s.alarm_word, commanded, since_start_ms) | due | s.stopping_word
    )
