"""The quantities that trips, pre-alarms and inhibits watch, formed from a log as the logic forms them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from controller.process_image import Trip
from controller.protection_settings import OilDifference
from controller.saturation import saturation_temperature_c
from controller.settings import CommonSettings
from scenarios.logged_data.records import Floats, LoggedData, Times


@dataclass(frozen=True, slots=True)
class Watched:
    """One limit: `direction` +1 acts at or above, −1 at or below; needs: the series it is formed from."""

    cause: Trip
    kind: str  # "trip", "alarm", "hold", "unload"
    quantity: str
    unit: str
    direction: int
    limit: float
    delay_ms: int
    needs: tuple[str, ...]
    running_only: bool


def common_of(settings: Any) -> CommonSettings:
    """The common part of a shipped controller's settings.  TypeError for settings that have none."""
    common = getattr(settings, "common", settings)
    if not isinstance(common, CommonSettings):
        raise TypeError(f"{type(settings).__name__} has no common settings")
    return common


def watched_limits(settings: Any) -> list[Watched]:
    """Every limit on an analog quantity that the settings hold."""
    c = common_of(settings)
    p, h = c.protection, c.inhibit
    ps, pd = ("suction_pressure_kpa_abs",), ("discharge_pressure_kpa_abs",)
    td, to, i = ("discharge_temperature_c",), ("oil_temperature_c",), ("motor_current_a",)
    below = ps if p.oil_difference == OilDifference.SUPPLY_LESS_SUCTION else pd
    oil = ("oil_pressure_kpa_abs", *below)
    filt = ("oil_pressure_before_filter_kpa_abs", "oil_pressure_kpa_abs")
    rows: list[tuple[Trip, str, str, int, tuple[str, ...], bool, float, float, int]] = [
        (Trip.HIGH_DISCHARGE_PRESSURE, "discharge pressure", "kPa", 1, pd, False, p.high_discharge_pressure_trip_kpa_abs,
         p.high_discharge_pressure_alarm_kpa_abs, p.high_discharge_pressure_delay_ms),
        (Trip.LOW_SUCTION_PRESSURE, "suction pressure", "kPa", -1, ps, True, p.low_suction_pressure_trip_kpa_abs,
         p.low_suction_pressure_alarm_kpa_abs, p.low_suction_pressure_delay_ms),
        (Trip.HIGH_DISCHARGE_TEMPERATURE, "discharge temperature", "°C", 1, td, False, p.high_discharge_temperature_trip_c,
         p.high_discharge_temperature_alarm_c, p.high_discharge_temperature_delay_ms),
        (Trip.LOW_DISCHARGE_SUPERHEAT, "discharge superheat", "K", -1, (*td, *pd), True, p.low_discharge_superheat_trip_k,
         p.low_discharge_superheat_alarm_k, p.low_discharge_superheat_delay_ms),
        (Trip.LOW_OIL_DIFFERENTIAL, "oil differential", "kPa", -1, oil, True, p.low_oil_differential_trip_kpa,
         p.low_oil_differential_alarm_kpa, p.low_oil_differential_delay_ms),
        (Trip.HIGH_FILTER_DIFFERENTIAL, "oil-filter differential", "kPa", 1, filt, True, p.high_filter_differential_trip_kpa,
         p.high_filter_differential_alarm_kpa, p.high_filter_differential_delay_ms),
        (Trip.HIGH_OIL_TEMPERATURE, "oil temperature", "°C", 1, to, False, p.high_oil_temperature_trip_c,
         p.high_oil_temperature_alarm_c, p.high_oil_temperature_delay_ms),
        (Trip.MOTOR_OVERLOAD, "motor current", "% of full "
                                               "load", 1, i, True, p.motor_overload_trip_pct, p.motor_overload_alarm_pct,
         p.motor_overload_delay_ms),
    ]  # fmt: skip
    out = []
    for cause, quantity, unit, direction, needs, running, trip, alarm, delay_ms in rows:
        out.append(Watched(cause, "trip", quantity, unit, direction, trip, delay_ms, needs, running))
        out.append(Watched(cause, "alarm", quantity, unit, direction, alarm, 0, needs, running))
    for cause, quantity, unit, direction, needs, hold, unload in (
        (Trip.HIGH_DISCHARGE_PRESSURE, "discharge "
                                       "pressure", "kPa", 1, pd, h.discharge_pressure_hold_kpa_abs,
                                       h.discharge_pressure_unload_kpa_abs),
        (Trip.LOW_SUCTION_PRESSURE, "suction pressure", "kPa", -1, ps, h.suction_hold_kpa_abs, h.suction_unload_kpa_abs),
        (Trip.HIGH_DISCHARGE_TEMPERATURE, "discharge "
                                          "temperature", "°C", 1, td, h.discharge_temperature_hold_c,
                                          h.discharge_temperature_unload_c),
        (Trip.MOTOR_OVERLOAD, "motor current", "% of full load", 1, i, h.current_hold_pct, h.current_unload_pct),
    ):  # fmt: skip
        out.append(Watched(cause, "hold", quantity, unit, direction, hold, 0, needs, True))
        out.append(Watched(cause, "unload", quantity, unit, direction, unload, 0, needs, True))
    return out


def quantity_of(data: LoggedData, one: Watched, settings: Any) -> tuple[Times, Floats] | None:
    """The watched quantity at the times of its first series; None if the log lacks one of its series."""
    if any(name not in data.series for name in one.needs):
        return None
    times, first = data.series[one.needs[0]].good()
    if len(one.needs) == 1:
        if one.cause is Trip.MOTOR_OVERLOAD:
            full_a = common_of(settings).motor.full_load_current_a
            return (times, 100.0 * first / full_a) if full_a > 0.0 else None
        return times, first
    second, _ = data.series[one.needs[1]].held(times)
    if one.cause is Trip.LOW_DISCHARGE_SUPERHEAT:
        table = common_of(settings).refrigerant.saturation_c
        known = np.isfinite(second)
        dew = np.full(len(second), np.nan)
        grid = np.linspace(20.0, 2400.0, 800)
        curve = np.array([saturation_temperature_c(table, float(p)) for p in grid])
        dew[known] = np.interp(second[known], grid, curve)
        return times, first - dew
    return times, first - second
