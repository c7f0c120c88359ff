"""Pre-alarms: what is close to its trip, with a dead band on the way back, and everything else that needs a person."""

from __future__ import annotations

from numba.extending import register_jitable as kernel

from controller.process_image import Inputs
from controller.protection_settings import ProtectionSettings
from controller.signals import SignalState
from controller.trip_causes import (
    HIGH_DISCHARGE_PRESSURE,
    HIGH_DISCHARGE_TEMPERATURE,
    HIGH_FILTER_DIFFERENTIAL,
    HIGH_OIL_TEMPERATURE,
    LOW_DISCHARGE_SUPERHEAT,
    LOW_OIL_DIFFERENTIAL,
    LOW_SUCTION_PRESSURE,
    MOTOR_OVERLOAD,
    SIGNAL_LOST,
    SLIDE_LOST,
    VESSEL_HIGH_LEVEL,
    Quantities,
)


@kernel
def exceeds(value: float, limit: float, dead_band: float, was_above: bool) -> bool:
    """Whether the value is at or above the limit, or has not yet come back by the dead band."""
    return value >= limit or (was_above and value > limit - dead_band)


@kernel
def pre_alarms(
    settings: ProtectionSettings,
    quantities: Quantities,
    signals: SignalState,
    inputs: Inputs,
    last: int,
    commanded: bool,
    since_start_ms: int,
) -> int:
    """The alarm word of this scan, less what trips and sequence add; `last` is the word of the scan before."""
    c = settings
    q = quantities
    word = 0
    if exceeds(
        signals.discharge_pressure_kpa_abs,
        c.high_discharge_pressure_alarm_kpa_abs,
        c.discharge_pressure_dead_band_kpa,
        last & HIGH_DISCHARGE_PRESSURE != 0,
    ):
        word |= HIGH_DISCHARGE_PRESSURE
    if exceeds(
        signals.discharge_temperature_c,
        c.high_discharge_temperature_alarm_c,
        c.discharge_temperature_dead_band_k,
        last & HIGH_DISCHARGE_TEMPERATURE != 0,
    ):
        word |= HIGH_DISCHARGE_TEMPERATURE
    if exceeds(
        signals.oil_temperature_c,
        c.high_oil_temperature_alarm_c,
        c.oil_temperature_dead_band_k,
        last & HIGH_OIL_TEMPERATURE != 0,
    ):
        word |= HIGH_OIL_TEMPERATURE
    if commanded:
        if exceeds(
            -signals.suction_pressure_kpa_abs,
            -c.low_suction_pressure_alarm_kpa_abs,
            c.suction_pressure_dead_band_kpa,
            last & LOW_SUCTION_PRESSURE != 0,
        ):
            word |= LOW_SUCTION_PRESSURE
        # the inrush of a start is no overload: the alarm waits as long as a start may take
        if since_start_ms >= c.failed_start_ms and exceeds(
            q.current_pct, c.motor_overload_alarm_pct, c.motor_current_dead_band_pct, last & MOTOR_OVERLOAD != 0
        ):
            word |= MOTOR_OVERLOAD
        if since_start_ms >= c.low_superheat_bypass_ms and exceeds(
            -q.superheat_k,
            -c.low_discharge_superheat_alarm_k,
            c.discharge_temperature_dead_band_k,
            last & LOW_DISCHARGE_SUPERHEAT != 0,
        ):
            word |= LOW_DISCHARGE_SUPERHEAT
        if since_start_ms >= c.low_oil_bypass_ms and exceeds(
            -q.oil_differential_kpa,
            -c.low_oil_differential_alarm_kpa,
            c.oil_pressure_dead_band_kpa,
            last & LOW_OIL_DIFFERENTIAL != 0,
        ):
            word |= LOW_OIL_DIFFERENTIAL
        if exceeds(
            q.filter_differential_kpa,
            c.high_filter_differential_alarm_kpa,
            c.oil_pressure_dead_band_kpa,
            last & HIGH_FILTER_DIFFERENTIAL != 0,
        ):
            word |= HIGH_FILTER_DIFFERENTIAL
    if inputs.vessel_high_high_level:
        word |= VESSEL_HIGH_LEVEL
    if not (signals.all_good and signals.oil_good):
        word |= SIGNAL_LOST
    if signals.capacity_stops.refused or signals.volume_ratio_stops.refused:
        word |= SLIDE_LOST
    return word
