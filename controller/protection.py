"""Trips and pre-alarms: each trip has a limit, a delay and a latch; the first cause is kept until reset.

This is an engineering aid and no safety system: the hard-wired high-pressure cut-out, the relief devices and the
motor's own overload relay come first and do not ask this program.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.process_image import Inputs, Mode, Trip
from controller.setting_fields import duration, percent, pressure, pressure_difference, temperature
from controller.setting_fields import temperature_difference as difference_k
from controller.signals import SignalState
from controller.timers import Ton, ton
from controller.triggers import Edge, r_trig

PRACTICE = "common practice, no source"

STOP_BUTTON = 1 << int(Trip.STOP_BUTTON)
SAFETY_CHAIN = 1 << int(Trip.SAFETY_CHAIN)
HIGH_DISCHARGE_PRESSURE = 1 << int(Trip.HIGH_DISCHARGE_PRESSURE)
LOW_SUCTION_PRESSURE = 1 << int(Trip.LOW_SUCTION_PRESSURE)
HIGH_DISCHARGE_TEMPERATURE = 1 << int(Trip.HIGH_DISCHARGE_TEMPERATURE)
MOTOR_OVERLOAD = 1 << int(Trip.MOTOR_OVERLOAD)
FAILED_START = 1 << int(Trip.FAILED_START)
UNLOAD_TIMEOUT = 1 << int(Trip.UNLOAD_TIMEOUT)
SIGNAL_LOST = 1 << int(Trip.SIGNAL_LOST)


@dataclass(frozen=True, slots=True)
class ProtectionSettings:
    """Limits of the trips.  None of them replaces a hard-wired cut-out."""

    high_discharge_pressure_trip_kpa_abs: float = pressure(
        1700.0, 500.0, 2500.0, "below the hard-wired cut-out, which is at most 0.9 of the relief setting (ASHRAE 15)"
    )
    high_discharge_pressure_alarm_kpa_abs: float = pressure(1650.0, 500.0, 2500.0, f"50 kPa before; {PRACTICE}")
    high_discharge_pressure_delay_ms: int = duration(1_000, 0, 10_000, f"longer than a pulsation; {PRACTICE}")
    low_suction_pressure_trip_kpa_abs: float = pressure(
        190.0, 20.0, 900.0, f"−20 °C saturated ammonia, 10 K below the set point; {PRACTICE}"
    )
    low_suction_pressure_alarm_kpa_abs: float = pressure(220.0, 20.0, 900.0, f"30 kPa before; {PRACTICE}")
    low_suction_pressure_delay_ms: int = duration(10_000, 0, 120_000, f"rides through a short dip; {PRACTICE}")
    low_suction_bypass_ms: int = duration(60_000, 0, 300_000, f"suction dips after a start; {PRACTICE}")
    high_discharge_temperature_trip_c: float = temperature(105.0, 50.0, 130.0, f"oil and seals; {PRACTICE}")
    high_discharge_temperature_alarm_c: float = temperature(100.0, 50.0, 130.0, f"5 K before; {PRACTICE}")
    high_discharge_temperature_delay_ms: int = duration(5_000, 0, 60_000, f"thermowells are slow anyway; {PRACTICE}")
    motor_overload_trip_pct: float = percent(115.0, 80.0, 150.0, f"of full-load current; {PRACTICE}")
    motor_overload_alarm_pct: float = percent(110.0, 80.0, 150.0, f"of full-load current; {PRACTICE}")
    motor_overload_delay_ms: int = duration(10_000, 0, 60_000, f"the overload relay is separate; {PRACTICE}")
    failed_start_ms: int = duration(10_000, 1_000, 60_000, f"contactor and acceleration; {PRACTICE}")
    running_feedback_lost_ms: int = duration(2_000, 100, 10_000, f"contactor dropped out; {PRACTICE}")
    signal_lost_delay_ms: int = duration(10_000, 0, 120_000, f"time to unload first; {PRACTICE}")
    discharge_pressure_dead_band_kpa: float = pressure_difference(
        50.0, 0.0, 200.0, "pre-alarm return, 2 % of range (ISA-18.2 starting value, pressure)"
    )
    suction_pressure_dead_band_kpa: float = pressure_difference(
        20.0, 0.0, 100.0, "pre-alarm return, 2 % of range (ISA-18.2 starting value, pressure)"
    )
    discharge_temperature_dead_band_k: float = difference_k(
        1.7, 0.0, 20.0, "pre-alarm return, 1 % of range (ISA-18.2 starting value, temperature)"
    )
    motor_current_dead_band_pct: float = percent(2.0, 0.0, 20.0, f"pre-alarm return; {PRACTICE}")


@dataclass(slots=True)
class ProtectionState:
    """Delays, latches and the two words."""

    high_discharge_pressure: Ton = field(default_factory=Ton)
    low_suction_pressure: Ton = field(default_factory=Ton)
    high_discharge_temperature: Ton = field(default_factory=Ton)
    motor_overload: Ton = field(default_factory=Ton)
    running_feedback_lost: Ton = field(default_factory=Ton)
    signal_lost: Ton = field(default_factory=Ton)
    reset: Edge = field(default_factory=Edge)
    trip_word: int = 0
    alarm_word: int = 0
    first_out: Trip = Trip.NONE
    unload_timeout: bool = False


@kernel
def motor_commanded(mode: Mode) -> bool:
    """Whether the motor is commanded on in this mode."""
    return mode == Mode.STARTING or mode == Mode.RUN_UP or mode == Mode.AUTOMATIC or mode == Mode.UNLOADING


@kernel
def exceeds(value: float, limit: float, dead_band: float, was_above: bool) -> bool:
    """Whether the value is at or above the limit, or has not yet come back by the dead band."""
    return value >= limit or (was_above and value > limit - dead_band)


@kernel
def lowest_cause(state: ProtectionState, word: int) -> None:
    """First-out: the lowest enum value, which is the scan order, of the causes that came in one scan."""
    if word & STOP_BUTTON:
        state.first_out = Trip.STOP_BUTTON
    elif word & SAFETY_CHAIN:
        state.first_out = Trip.SAFETY_CHAIN
    elif word & HIGH_DISCHARGE_PRESSURE:
        state.first_out = Trip.HIGH_DISCHARGE_PRESSURE
    elif word & LOW_SUCTION_PRESSURE:
        state.first_out = Trip.LOW_SUCTION_PRESSURE
    elif word & HIGH_DISCHARGE_TEMPERATURE:
        state.first_out = Trip.HIGH_DISCHARGE_TEMPERATURE
    elif word & MOTOR_OVERLOAD:
        state.first_out = Trip.MOTOR_OVERLOAD
    elif word & FAILED_START:
        state.first_out = Trip.FAILED_START
    else:
        state.first_out = Trip.SIGNAL_LOST


@kernel
def pre_alarms(
    settings: ProtectionSettings, state: ProtectionState, signals: SignalState, current_pct: float, commanded: bool
) -> None:
    """The alarm word of this scan: what is close to its trip, lost signals, and an unloading that timed out."""
    c = settings
    last = state.alarm_word
    word = 0
    if exceeds(
        signals.discharge_pressure_kpa_abs,
        c.high_discharge_pressure_alarm_kpa_abs,
        c.discharge_pressure_dead_band_kpa,
        last & HIGH_DISCHARGE_PRESSURE != 0,
    ):
        word |= HIGH_DISCHARGE_PRESSURE
    if commanded and exceeds(
        -signals.suction_pressure_kpa_abs,
        -c.low_suction_pressure_alarm_kpa_abs,
        c.suction_pressure_dead_band_kpa,
        last & LOW_SUCTION_PRESSURE != 0,
    ):
        word |= LOW_SUCTION_PRESSURE
    if exceeds(
        signals.discharge_temperature_c,
        c.high_discharge_temperature_alarm_c,
        c.discharge_temperature_dead_band_k,
        last & HIGH_DISCHARGE_TEMPERATURE != 0,
    ):
        word |= HIGH_DISCHARGE_TEMPERATURE
    if commanded and exceeds(
        current_pct, c.motor_overload_alarm_pct, c.motor_current_dead_band_pct, last & MOTOR_OVERLOAD != 0
    ):
        word |= MOTOR_OVERLOAD
    if not signals.all_good:
        word |= SIGNAL_LOST
    if state.unload_timeout:
        word |= UNLOAD_TIMEOUT
    state.alarm_word = word


@kernel
def protect(
    settings: ProtectionSettings,
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
    """Evaluate every trip, latch what is due, note the first cause, and take a reset when every latched cause is gone.

    A lost signal keeps its last believed value here, so a delay that had begun runs on.
    """
    c = settings
    commanded = motor_commanded(mode)
    current_pct = 0.0
    if full_load_current_a > 0.0:
        current_pct = 100.0 * signals.motor_current_a / full_load_current_a
    pressure_high = signals.discharge_pressure_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs
    suction_low = signals.suction_pressure_kpa_abs <= c.low_suction_pressure_trip_kpa_abs
    temperature_high = signals.discharge_temperature_c >= c.high_discharge_temperature_trip_c
    overloaded = current_pct >= c.motor_overload_trip_pct
    pressure_lost = not (signals.suction_pressure_good and signals.discharge_pressure_good)

    due = 0
    if inputs.stop_button_pressed:
        due |= STOP_BUTTON
    # at rest an open chain refuses the start, it does not trip a machine that stands
    if not inputs.safety_chain_closed and mode != Mode.OFF and mode != Mode.WAITING:
        due |= SAFETY_CHAIN
    if ton(state.high_discharge_pressure, pressure_high, c.high_discharge_pressure_delay_ms, dt_ms):
        due |= HIGH_DISCHARGE_PRESSURE
    suction_watched = commanded and since_start_ms >= c.low_suction_bypass_ms
    if ton(state.low_suction_pressure, suction_low and suction_watched, c.low_suction_pressure_delay_ms, dt_ms):
        due |= LOW_SUCTION_PRESSURE
    if ton(state.high_discharge_temperature, temperature_high, c.high_discharge_temperature_delay_ms, dt_ms):
        due |= HIGH_DISCHARGE_TEMPERATURE
    if ton(state.motor_overload, overloaded and mode != Mode.STARTING, c.motor_overload_delay_ms, dt_ms):
        due |= MOTOR_OVERLOAD
    if mode == Mode.STARTING:
        if mode_elapsed_ms >= c.failed_start_ms and not inputs.motor_running:
            due |= FAILED_START
        if mode_elapsed_ms >= c.failed_start_ms + start_confirm_ms:  # feedback that flickers is no start either
            due |= FAILED_START
    dropped = commanded and mode != Mode.STARTING and not inputs.motor_running
    if ton(state.running_feedback_lost, dropped, c.running_feedback_lost_ms, dt_ms):
        due |= FAILED_START
    if ton(state.signal_lost, pressure_lost and commanded, c.signal_lost_delay_ms, dt_ms):
        due |= SIGNAL_LOST

    if due != 0:
        if state.trip_word == 0:
            lowest_cause(state, due)
        state.trip_word |= due
    if r_trig(state.reset, inputs.reset_pressed):
        state.unload_timeout = False
        if due == 0 and state.trip_word != 0:
            standing = 0
            if not inputs.safety_chain_closed:
                standing |= SAFETY_CHAIN
            if pressure_high or not signals.discharge_pressure_good:
                standing |= HIGH_DISCHARGE_PRESSURE
            if suction_low or not signals.suction_pressure_good:
                standing |= LOW_SUCTION_PRESSURE
            if temperature_high or not signals.discharge_temperature_good:
                standing |= HIGH_DISCHARGE_TEMPERATURE
            if overloaded or not signals.motor_current_good:
                standing |= MOTOR_OVERLOAD
            if pressure_lost:
                standing |= SIGNAL_LOST
            if state.trip_word & standing == 0:
                state.trip_word = 0
                state.first_out = Trip.NONE
    pre_alarms(settings, state, signals, current_pct, commanded)


def cross_check(settings: ProtectionSettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    c = settings
    found = []
    if c.high_discharge_pressure_alarm_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs:
        found.append("protection: the high discharge pressure alarm must lie below its trip")
    if c.low_suction_pressure_alarm_kpa_abs <= c.low_suction_pressure_trip_kpa_abs:
        found.append("protection: the low suction pressure alarm must lie above its trip")
    if c.high_discharge_temperature_alarm_c >= c.high_discharge_temperature_trip_c:
        found.append("protection: the high discharge temperature alarm must lie below its trip")
    if c.motor_overload_alarm_pct >= c.motor_overload_trip_pct:
        found.append("protection: the motor overload alarm must lie below its trip")
    return found
