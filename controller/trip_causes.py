"""Causes of trips: which are there in this scan, which have lasted their delay, and what class each has.

A word has bit `1 << Trip` for each cause.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.process_image import Inputs, Mode, Trip
from controller.protection_settings import OilDifference, ProtectionSettings, TripClass
from controller.saturation import RefrigerantSettings, saturation_temperature_c
from controller.signals import SignalState
from controller.slide_watch import SlideWatch
from controller.timers import Ton, ton

STOP_BUTTON = 1 << int(Trip.STOP_BUTTON)
SAFETY_CHAIN = 1 << int(Trip.SAFETY_CHAIN)
HIGH_DISCHARGE_PRESSURE = 1 << int(Trip.HIGH_DISCHARGE_PRESSURE)
LOW_SUCTION_PRESSURE = 1 << int(Trip.LOW_SUCTION_PRESSURE)
HIGH_DISCHARGE_TEMPERATURE = 1 << int(Trip.HIGH_DISCHARGE_TEMPERATURE)
LOW_DISCHARGE_SUPERHEAT = 1 << int(Trip.LOW_DISCHARGE_SUPERHEAT)
LOW_OIL_DIFFERENTIAL = 1 << int(Trip.LOW_OIL_DIFFERENTIAL)
HIGH_FILTER_DIFFERENTIAL = 1 << int(Trip.HIGH_FILTER_DIFFERENTIAL)
HIGH_OIL_TEMPERATURE = 1 << int(Trip.HIGH_OIL_TEMPERATURE)
VESSEL_HIGH_LEVEL = 1 << int(Trip.VESSEL_HIGH_LEVEL)
MOTOR_OVERLOAD = 1 << int(Trip.MOTOR_OVERLOAD)
FAILED_START = 1 << int(Trip.FAILED_START)
FAILED_STOP = 1 << int(Trip.FAILED_STOP)
SLIDE_LOST = 1 << int(Trip.SLIDE_LOST)
HALVES_DISAGREE = 1 << int(Trip.HALVES_DISAGREE)
UNLOAD_TIMEOUT = 1 << int(Trip.UNLOAD_TIMEOUT)
SIGNAL_LOST = 1 << int(Trip.SIGNAL_LOST)

ALARM = int(TripClass.ALARM)
IMMEDIATE_STOP = int(TripClass.IMMEDIATE_STOP)


@dataclass(slots=True)
class Quantities:
    """What trips and pre-alarms compare besides plain signals."""

    current_pct: float = 0.0
    superheat_k: float = 0.0
    saturated_discharge_c: float = -1.0e3
    saturated_at_kpa_abs: float = 0.0  # discharge pressure at which that was worked out
    oil_differential_kpa: float = 0.0
    filter_differential_kpa: float = 0.0


@dataclass(slots=True)
class CauseTimers:
    """One on-delay a cause."""

    high_discharge_pressure: Ton = field(default_factory=Ton)
    low_suction_pressure: Ton = field(default_factory=Ton)
    high_discharge_temperature: Ton = field(default_factory=Ton)
    low_discharge_superheat: Ton = field(default_factory=Ton)
    low_oil_differential: Ton = field(default_factory=Ton)
    high_filter_differential: Ton = field(default_factory=Ton)
    high_oil_temperature: Ton = field(default_factory=Ton)
    vessel_high_level: Ton = field(default_factory=Ton)
    motor_overload: Ton = field(default_factory=Ton)
    running_feedback_lost: Ton = field(default_factory=Ton)
    failed_stop: Ton = field(default_factory=Ton)
    signal_lost: Ton = field(default_factory=Ton)
    other_signal_lost: Ton = field(default_factory=Ton)


@kernel
def motor_commanded(mode: Mode) -> bool:
    """Whether the motor is commanded on in this mode."""
    return mode == Mode.STARTING or mode == Mode.RUN_UP or mode == Mode.AUTOMATIC or mode == Mode.UNLOADING


@kernel
def work_out(
    settings: ProtectionSettings,
    refrigerant: RefrigerantSettings,
    quantities: Quantities,
    signals: SignalState,
    full_load_current_a: float,
) -> None:
    """Current in % of full load, discharge superheat, and both oil differentials, from believed values."""
    q = quantities
    q.current_pct = 0.0
    if full_load_current_a > 0.0:
        q.current_pct = 100.0 * signals.motor_current_a / full_load_current_a
    if abs(signals.discharge_pressure_kpa_abs - q.saturated_at_kpa_abs) > 2.0:  # 0.05 K of ammonia at 1350 kPa
        q.saturated_at_kpa_abs = signals.discharge_pressure_kpa_abs
        q.saturated_discharge_c = saturation_temperature_c(refrigerant, signals.discharge_pressure_kpa_abs)
    q.superheat_k = signals.discharge_temperature_c - q.saturated_discharge_c
    below_kpa_abs = signals.discharge_pressure_kpa_abs
    if settings.oil_difference == OilDifference.SUPPLY_LESS_SUCTION:
        below_kpa_abs = signals.suction_pressure_kpa_abs
    q.oil_differential_kpa = signals.oil_pressure_kpa_abs - below_kpa_abs
    q.filter_differential_kpa = signals.oil_pressure_before_filter_kpa_abs - signals.oil_pressure_kpa_abs


@kernel
def present_causes(
    settings: ProtectionSettings,
    quantities: Quantities,
    signals: SignalState,
    capacity: SlideWatch,
    volume_ratio: SlideWatch,
    inputs: Inputs,
    mode: Mode,
    since_start_ms: int,
) -> int:
    """Word of the causes that are there now and are watched in this mode; delays come after."""
    c = settings
    q = quantities
    word = 0
    if inputs.stop_button_pressed:
        word |= STOP_BUTTON
    # at rest an open chain refuses the start, it does not trip a machine that stands
    if not inputs.safety_chain_closed and mode != Mode.OFF and mode != Mode.WAITING:
        word |= SAFETY_CHAIN
    if signals.discharge_pressure_kpa_abs >= c.high_discharge_pressure_trip_kpa_abs:
        word |= HIGH_DISCHARGE_PRESSURE
    if signals.discharge_temperature_c >= c.high_discharge_temperature_trip_c:
        word |= HIGH_DISCHARGE_TEMPERATURE
    if signals.oil_temperature_c >= c.high_oil_temperature_trip_c:
        word |= HIGH_OIL_TEMPERATURE
    if capacity.lost or volume_ratio.lost:
        word |= SLIDE_LOST
    if capacity.halves_disagree or volume_ratio.halves_disagree:
        word |= HALVES_DISAGREE
    if mode != Mode.STARTING and q.current_pct >= c.motor_overload_trip_pct:
        word |= MOTOR_OVERLOAD
    if motor_commanded(mode):
        if (
            since_start_ms >= c.low_suction_bypass_ms
            and signals.suction_pressure_kpa_abs <= c.low_suction_pressure_trip_kpa_abs
        ):
            word |= LOW_SUCTION_PRESSURE
        if since_start_ms >= c.low_superheat_bypass_ms and q.superheat_k <= c.low_discharge_superheat_trip_k:
            word |= LOW_DISCHARGE_SUPERHEAT
        if since_start_ms >= c.low_oil_bypass_ms and q.oil_differential_kpa <= c.low_oil_differential_trip_kpa:
            word |= LOW_OIL_DIFFERENTIAL
        if q.filter_differential_kpa >= c.high_filter_differential_trip_kpa:
            word |= HIGH_FILTER_DIFFERENTIAL
        if inputs.vessel_high_high_level:
            word |= VESSEL_HIGH_LEVEL
        if mode != Mode.STARTING and not inputs.motor_running:
            word |= FAILED_START
        lost = not (signals.suction_pressure_good and signals.discharge_pressure_good)
        if lost or not (signals.oil_good and signals.discharge_temperature_good and signals.motor_current_good):
            word |= SIGNAL_LOST
    elif inputs.motor_running:
        word |= FAILED_STOP
    return word


@kernel
def signal_class(settings: ProtectionSettings, signals: SignalState) -> int:
    """The strictest class among the lost signals other than the two pressures."""
    k = settings.classes
    found = ALARM
    if not signals.discharge_temperature_good:
        found = max(found, int(k.discharge_temperature_lost))
    if not signals.motor_current_good:
        found = max(found, int(k.motor_current_lost))
    if not signals.oil_pressure_good:
        found = max(found, int(k.oil_pressure_lost))
    if not signals.oil_temperature_good:
        found = max(found, int(k.oil_temperature_lost))
    return found


@kernel
def lasting_causes(
    settings: ProtectionSettings, timers: CauseTimers, signals: SignalState, present: int, dt_ms: int
) -> int:
    """Word of the causes that have lasted their delay.  It must be called until it has seen every cause go."""
    c = settings
    t = timers
    # the slides' own watch has timed these; the button and the chain have no delay
    due = present & (STOP_BUTTON | SAFETY_CHAIN | SLIDE_LOST | HALVES_DISAGREE)
    if ton(
        t.high_discharge_pressure, present & HIGH_DISCHARGE_PRESSURE != 0, c.high_discharge_pressure_delay_ms, dt_ms
    ):
        due |= HIGH_DISCHARGE_PRESSURE
    if ton(t.low_suction_pressure, present & LOW_SUCTION_PRESSURE != 0, c.low_suction_pressure_delay_ms, dt_ms):
        due |= LOW_SUCTION_PRESSURE
    hot = present & HIGH_DISCHARGE_TEMPERATURE != 0
    if ton(t.high_discharge_temperature, hot, c.high_discharge_temperature_delay_ms, dt_ms):
        due |= HIGH_DISCHARGE_TEMPERATURE
    wet = present & LOW_DISCHARGE_SUPERHEAT != 0
    if ton(t.low_discharge_superheat, wet, c.low_discharge_superheat_delay_ms, dt_ms):
        due |= LOW_DISCHARGE_SUPERHEAT
    if ton(t.low_oil_differential, present & LOW_OIL_DIFFERENTIAL != 0, c.low_oil_differential_delay_ms, dt_ms):
        due |= LOW_OIL_DIFFERENTIAL
    dirty = present & HIGH_FILTER_DIFFERENTIAL != 0
    if ton(t.high_filter_differential, dirty, c.high_filter_differential_delay_ms, dt_ms):
        due |= HIGH_FILTER_DIFFERENTIAL
    if ton(t.high_oil_temperature, present & HIGH_OIL_TEMPERATURE != 0, c.high_oil_temperature_delay_ms, dt_ms):
        due |= HIGH_OIL_TEMPERATURE
    if ton(t.vessel_high_level, present & VESSEL_HIGH_LEVEL != 0, c.vessel_high_level_delay_ms, dt_ms):
        due |= VESSEL_HIGH_LEVEL
    if ton(t.motor_overload, present & MOTOR_OVERLOAD != 0, c.motor_overload_delay_ms, dt_ms):
        due |= MOTOR_OVERLOAD
    if ton(t.running_feedback_lost, present & FAILED_START != 0, c.running_feedback_lost_ms, dt_ms):
        due |= FAILED_START
    if ton(t.failed_stop, present & FAILED_STOP != 0, c.failed_stop_ms, dt_ms):
        due |= FAILED_STOP
    lost = present & SIGNAL_LOST != 0
    blind = lost and not (signals.suction_pressure_good and signals.discharge_pressure_good)
    if ton(t.signal_lost, blind, c.signal_lost_delay_ms, dt_ms):
        due |= SIGNAL_LOST
    other = lost and signal_class(c, signals) > ALARM
    if ton(t.other_signal_lost, other, c.signal_lost_delay_ms, dt_ms):
        due |= SIGNAL_LOST
    return due


@kernel
def class_of(settings: ProtectionSettings, timers: CauseTimers, signals: SignalState, bit: int) -> int:
    """Class of the cause with this bit, as a number of `TripClass`."""
    k = settings.classes
    found = IMMEDIATE_STOP
    if bit == HIGH_DISCHARGE_PRESSURE:
        found = int(k.high_discharge_pressure)
    elif bit == LOW_SUCTION_PRESSURE:
        found = int(k.low_suction_pressure)
    elif bit == HIGH_DISCHARGE_TEMPERATURE:
        found = int(k.high_discharge_temperature)
    elif bit == LOW_DISCHARGE_SUPERHEAT:
        found = int(k.low_discharge_superheat)
    elif bit == LOW_OIL_DIFFERENTIAL:
        found = int(k.low_oil_differential)
    elif bit == HIGH_FILTER_DIFFERENTIAL:
        found = int(k.high_filter_differential)
    elif bit == HIGH_OIL_TEMPERATURE:
        found = int(k.high_oil_temperature)
    elif bit == VESSEL_HIGH_LEVEL:
        found = int(k.vessel_high_level)
    elif bit == MOTOR_OVERLOAD:
        found = int(k.motor_overload)
    elif bit == SLIDE_LOST:
        found = int(k.slide_lost)
    elif bit == HALVES_DISAGREE:
        found = int(k.halves_disagree)
    elif bit == UNLOAD_TIMEOUT:
        found = int(k.unload_timeout)
    elif bit == SIGNAL_LOST:
        found = ALARM
        if timers.signal_lost.elapsed_ms >= settings.signal_lost_delay_ms and timers.signal_lost.was_on:
            found = int(k.signal_lost)
        if timers.other_signal_lost.elapsed_ms >= settings.signal_lost_delay_ms and timers.other_signal_lost.was_on:
            found = max(found, signal_class(settings, signals))
    return found


@kernel
def lowest_cause(word: int) -> Trip:
    """First-out: the lowest enum value, which is the scan order, of the causes that came in one scan."""
    if word & STOP_BUTTON:
        return Trip.STOP_BUTTON
    if word & SAFETY_CHAIN:
        return Trip.SAFETY_CHAIN
    if word & HIGH_DISCHARGE_PRESSURE:
        return Trip.HIGH_DISCHARGE_PRESSURE
    if word & LOW_SUCTION_PRESSURE:
        return Trip.LOW_SUCTION_PRESSURE
    if word & HIGH_DISCHARGE_TEMPERATURE:
        return Trip.HIGH_DISCHARGE_TEMPERATURE
    if word & LOW_DISCHARGE_SUPERHEAT:
        return Trip.LOW_DISCHARGE_SUPERHEAT
    if word & LOW_OIL_DIFFERENTIAL:
        return Trip.LOW_OIL_DIFFERENTIAL
    if word & HIGH_FILTER_DIFFERENTIAL:
        return Trip.HIGH_FILTER_DIFFERENTIAL
    if word & HIGH_OIL_TEMPERATURE:
        return Trip.HIGH_OIL_TEMPERATURE
    if word & VESSEL_HIGH_LEVEL:
        return Trip.VESSEL_HIGH_LEVEL
    if word & MOTOR_OVERLOAD:
        return Trip.MOTOR_OVERLOAD
    if word & FAILED_START:
        return Trip.FAILED_START
    if word & FAILED_STOP:
        return Trip.FAILED_STOP
    if word & SLIDE_LOST:
        return Trip.SLIDE_LOST
    if word & HALVES_DISAGREE:
        return Trip.HALVES_DISAGREE
    if word & UNLOAD_TIMEOUT:
        return Trip.UNLOAD_TIMEOUT
    if word & SIGNAL_LOST:
        return Trip.SIGNAL_LOST
    return Trip.NONE
