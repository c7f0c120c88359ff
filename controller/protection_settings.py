"""What each trip watches for, how long, what it does, and how it is reset: the settings of the protection layer.

None of these limits replaces a hard-wired cut-out: the high-pressure cut-out, the relief devices and the motor's own
overload relay come first and do not ask this program.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from controller.setting_fields import (
    Switch,
    choice,
    duration,
    number,
    percent,
    pressure,
    pressure_difference,
    temperature,
)
from controller.setting_fields import temperature_difference as difference_k

PRACTICE = "common practice, no source"


class TripClass(IntEnum):
    """What a cause does once it has lasted its delay; the first three go when the cause goes, the last two latch."""

    ALARM = 0
    LOAD_INHIBIT = 1  # capacity may not rise
    FORCED_UNLOAD = 2  # capacity must fall, to minimum load
    CONTROLLED_STOP = 3  # unload, then stop; at once where the motor is off already
    IMMEDIATE_STOP = 4


class OilDifference(IntEnum):
    """Which difference the oil differential is."""

    SUPPLY_LESS_DISCHARGE = 0  # with a full-time pump
    SUPPLY_LESS_SUCTION = 1  # without: the pressure difference of the machine drives the oil


@dataclass(frozen=True, slots=True)
class TripClasses:
    """Class of each cause.  Stop button, safety chain, failed start and failed stop are immediate and have no choice."""

    high_discharge_pressure: TripClass = field(
        default=TripClass.IMMEDIATE_STOP,
        metadata=choice(TripClass, f"minutes of unloading would lift the relief valve; {PRACTICE}"),
    )
    low_suction_pressure: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"air, ice and foaming oil; {PRACTICE}")
    )
    high_discharge_temperature: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"oil breaks down; {PRACTICE}")
    )
    low_discharge_superheat: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"liquid in the rotors; {PRACTICE}")
    )
    low_oil_differential: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"bearings run dry; {PRACTICE}")
    )
    high_filter_differential: TripClass = field(
        default=TripClass.CONTROLLED_STOP, metadata=choice(TripClass, f"dirty, not yet dry; {PRACTICE}")
    )
    high_oil_temperature: TripClass = field(
        default=TripClass.CONTROLLED_STOP, metadata=choice(TripClass, f"the film thins slowly; {PRACTICE}")
    )
    vessel_high_level: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"liquid at the suction; {PRACTICE}")
    )
    motor_overload: TripClass = field(
        default=TripClass.IMMEDIATE_STOP, metadata=choice(TripClass, f"windings heat in seconds; {PRACTICE}")
    )
    slide_lost: TripClass = field(
        default=TripClass.CONTROLLED_STOP, metadata=choice(TripClass, f"capacity can no longer be set; {PRACTICE}")
    )
    halves_disagree: TripClass = field(
        default=TripClass.CONTROLLED_STOP,
        metadata=choice(TripClass, f"one half of the machine is loaded more than the other; {PRACTICE}"),
    )
    unload_timeout: TripClass = field(
        default=TripClass.ALARM, metadata=choice(TripClass, f"the motor has been stopped anyway; {PRACTICE}")
    )
    signal_lost: TripClass = field(
        default=TripClass.IMMEDIATE_STOP,
        metadata=choice(TripClass, f"suction or discharge pressure: blind; it has unloaded meanwhile; {PRACTICE}"),
    )
    discharge_temperature_lost: TripClass = field(
        default=TripClass.LOAD_INHIBIT, metadata=choice(TripClass, f"a thermowell is slow anyway; {PRACTICE}")
    )
    motor_current_lost: TripClass = field(
        default=TripClass.LOAD_INHIBIT, metadata=choice(TripClass, f"the overload relay still watches; {PRACTICE}")
    )
    oil_pressure_lost: TripClass = field(
        default=TripClass.CONTROLLED_STOP, metadata=choice(TripClass, f"a failed pump would go unseen; {PRACTICE}")
    )
    oil_temperature_lost: TripClass = field(
        default=TripClass.ALARM, metadata=choice(TripClass, f"changes slowly; {PRACTICE}")
    )


@dataclass(frozen=True, slots=True)
class AutomaticResets:
    """Causes that may reset themselves once they are gone; a cause that is not here never does."""

    low_suction_pressure: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, f"somebody looks first; {PRACTICE}")
    )
    high_oil_temperature: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, f"somebody looks first; {PRACTICE}")
    )
    signal_lost: Switch = field(default=Switch.OFF, metadata=choice(Switch, f"somebody looks first; {PRACTICE}"))
    wait_ms: int = duration(600_000, 1_000, 7_200_000, f"cause gone this long; {PRACTICE}")
    most: int = number(2, 0, 10, f"resets by itself until a person has pressed reset; {PRACTICE}")


@dataclass(frozen=True, slots=True)
class ProtectionSettings:
    """Limits of the trips.  None of them replaces a hard-wired cut-out."""

    high_discharge_pressure_trip_kpa_abs: float = pressure(
        1700.0, 500.0, 7000.0, "below the hard-wired cut-out, which is at most 0.9 of the relief setting (ASHRAE 15)"
    )
    high_discharge_pressure_alarm_kpa_abs: float = pressure(1650.0, 500.0, 7000.0, f"50 kPa before; {PRACTICE}")
    high_discharge_pressure_delay_ms: int = duration(1_000, 0, 10_000, f"longer than a pulsation; {PRACTICE}")
    low_suction_pressure_trip_kpa_abs: float = pressure(
        190.0, 20.0, 3500.0, f"−20 °C saturated ammonia, 10 K below the set point; {PRACTICE}"
    )
    low_suction_pressure_alarm_kpa_abs: float = pressure(220.0, 20.0, 3500.0, f"30 kPa before; {PRACTICE}")
    low_suction_pressure_delay_ms: int = duration(10_000, 0, 120_000, f"rides through a short dip; {PRACTICE}")
    low_suction_bypass_ms: int = duration(60_000, 0, 300_000, f"suction dips after a start; {PRACTICE}")
    high_discharge_temperature_trip_c: float = temperature(105.0, 50.0, 130.0, f"oil and seals; {PRACTICE}")
    high_discharge_temperature_alarm_c: float = temperature(100.0, 50.0, 130.0, f"5 K before; {PRACTICE}")
    high_discharge_temperature_delay_ms: int = duration(5_000, 0, 60_000, f"thermowells are slow anyway; {PRACTICE}")
    low_discharge_superheat_trip_k: float = difference_k(
        6.0, 0.0, 40.0, f"gas as cool as this carries liquid: warm oil alone would hold it above; {PRACTICE}"
    )
    low_discharge_superheat_alarm_k: float = difference_k(10.0, 0.0, 50.0, f"4 K before; {PRACTICE}")
    low_discharge_superheat_delay_ms: int = duration(60_000, 0, 600_000, f"thermowells are slow; {PRACTICE}")
    low_superheat_bypass_ms: int = duration(300_000, 0, 1_800_000, f"a cold machine warms up first; {PRACTICE}")
    oil_difference: OilDifference = field(
        default=OilDifference.SUPPLY_LESS_DISCHARGE,
        metadata=choice(OilDifference, "a full-time pump; without one the difference to suction drives the oil"),
    )
    low_oil_differential_trip_kpa: float = pressure_difference(80.0, 0.0, 1000.0, f"of 190 kPa normal; {PRACTICE}")
    low_oil_differential_alarm_kpa: float = pressure_difference(120.0, 0.0, 1500.0, f"40 kPa before; {PRACTICE}")
    low_oil_differential_delay_ms: int = duration(5_000, 0, 60_000, f"bearings stand seconds; {PRACTICE}")
    low_oil_bypass_ms: int = duration(15_000, 0, 120_000, f"the oil lines fill after a start; {PRACTICE}")
    high_filter_differential_trip_kpa: float = pressure_difference(150.0, 20.0, 500.0, f"of 30 kPa clean; {PRACTICE}")
    high_filter_differential_alarm_kpa: float = pressure_difference(100.0, 10.0, 500.0, f"change it soon; {PRACTICE}")
    high_filter_differential_delay_ms: int = duration(30_000, 0, 600_000, f"cold oil after a start; {PRACTICE}")
    high_oil_temperature_trip_c: float = temperature(70.0, 40.0, 110.0, f"supply, of 48 °C normal; {PRACTICE}")
    high_oil_temperature_alarm_c: float = temperature(62.0, 40.0, 110.0, f"8 K before; {PRACTICE}")
    high_oil_temperature_delay_ms: int = duration(30_000, 0, 300_000, f"oil warms slowly; {PRACTICE}")
    vessel_high_level_delay_ms: int = duration(2_000, 0, 30_000, f"a float that bobs; {PRACTICE}")
    motor_overload_trip_pct: float = percent(115.0, 80.0, 150.0, f"of full-load current; {PRACTICE}")
    motor_overload_alarm_pct: float = percent(110.0, 80.0, 150.0, f"of full-load current; {PRACTICE}")
    motor_overload_delay_ms: int = duration(10_000, 0, 60_000, f"the overload relay is separate; {PRACTICE}")
    failed_start_ms: int = duration(10_000, 1_000, 60_000, f"contactor and acceleration; {PRACTICE}")
    failed_stop_ms: int = duration(3_000, 500, 60_000, f"running feedback with the command off; {PRACTICE}")
    running_feedback_lost_ms: int = duration(2_000, 100, 10_000, f"contactor dropped out; {PRACTICE}")
    signal_lost_delay_ms: int = duration(10_000, 0, 120_000, f"time to unload first; {PRACTICE}")
    discharge_pressure_dead_band_kpa: float = pressure_difference(
        50.0, 0.0, 500.0, "pre-alarm return, 2 % of range (ISA-18.2 starting value, pressure)"
    )
    suction_pressure_dead_band_kpa: float = pressure_difference(
        20.0, 0.0, 250.0, "pre-alarm return, 2 % of range (ISA-18.2 starting value, pressure)"
    )
    discharge_temperature_dead_band_k: float = difference_k(
        1.7, 0.0, 20.0, "pre-alarm return, 1 % of range (ISA-18.2 starting value, temperature)"
    )
    oil_pressure_dead_band_kpa: float = pressure_difference(
        20.0, 0.0, 100.0, f"pre-alarm return of both oil differentials; {PRACTICE}"
    )
    oil_temperature_dead_band_k: float = difference_k(
        1.4, 0.0, 20.0, "pre-alarm return, 1 % of range (ISA-18.2 starting value, temperature)"
    )
    motor_current_dead_band_pct: float = percent(2.0, 0.0, 20.0, f"pre-alarm return; {PRACTICE}")
    classes: TripClasses = field(default_factory=TripClasses)
    automatic_reset: AutomaticResets = field(default_factory=AutomaticResets)


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
    if c.low_discharge_superheat_alarm_k <= c.low_discharge_superheat_trip_k:
        found.append("protection: the low discharge superheat alarm must lie above its trip")
    if c.low_oil_differential_alarm_kpa <= c.low_oil_differential_trip_kpa:
        found.append("protection: the low oil differential alarm must lie above its trip")
    if c.high_filter_differential_alarm_kpa >= c.high_filter_differential_trip_kpa:
        found.append("protection: the high filter differential alarm must lie below its trip")
    if c.high_oil_temperature_alarm_c >= c.high_oil_temperature_trip_c:
        found.append("protection: the high oil temperature alarm must lie below its trip")
    k = c.classes
    for name, kind in (
        ("high_discharge_pressure", k.high_discharge_pressure),
        ("low_oil_differential", k.low_oil_differential),
        ("vessel_high_level", k.vessel_high_level),
    ):
        if kind < TripClass.CONTROLLED_STOP:
            found.append(f"protection: the class of {name} must stop the machine")
    if k.signal_lost < TripClass.FORCED_UNLOAD:
        found.append("protection: the class of signal_lost must at least unload: the machine is blind")
    return found
