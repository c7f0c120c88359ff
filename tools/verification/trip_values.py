"""Loop currents that prove a trip: worked out from the sheet's limits and the transmitters' ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from controller.process_image import Trip
from controller.protection_settings import OilDifference, TripClass
from controller.saturation import saturation_temperature_c
from controller.scaling import to_milliampere
from tools.verification.causes import ANALOG_TRIPS, Signal
from tools.verification.signal_box import INDEX, LEAST_MA, MOST_MA, UNITS, Box

STEP_MA = 0.01  # that a calibrator can set
SHORT_OF_MA = 0.05  # on the safe side of a limit, where nothing may happen yet


@dataclass(frozen=True, slots=True)
class TripValue:
    """One trip that a current proves.  Limits are in the signal's own unit; `rule` says what they are of."""

    trip: Trip
    signal: Signal
    alarm: float
    limit: float
    delay_s: float
    bypass_s: float
    kind: TripClass
    rule: str

    def milliamp(self, box: Box, value: float) -> float:
        """The first current of a calibrator at or beyond a limit."""
        k = INDEX[self.signal.name]
        exact = to_milliampere(value, box.ranges.low[k], box.ranges.high[k]) / STEP_MA
        # a limit that lies on a step must not move to the next because of rounding in the last binary digit
        steps = math.ceil(exact - 1e-6) if self.signal.side > 0 else math.floor(exact + 1e-6)
        return STEP_MA * steps

    def unreachable(self, box: Box) -> str:
        """Why no live transmitter can show the trip's limit; "" where one can."""
        milliamp = self.milliamp(box, self.limit)
        if LEAST_MA <= milliamp <= MOST_MA:
            return ""
        k = INDEX[self.signal.name]
        unit = UNITS[k]
        return (
            f"the limit of {self.limit:.4g} {unit} would be {milliamp:.2f} mA: the transmitter's range is "
            f"{box.ranges.low[k]:g} to {box.ranges.high[k]:g} {unit}, so this trip can never come"
        )


def trip_values(settings: Any, box: Box) -> list[TripValue]:
    """Every trip with a limit on an analog signal.  settings: with a `common` record, as shipped controllers have it."""
    common = settings.common
    p, kinds = common.protection, common.protection.classes
    dew_c = saturation_temperature_c(common.refrigerant, box.plain_value("discharge_pressure"))
    over_suction = p.oil_difference == OilDifference.SUPPLY_LESS_SUCTION
    base = box.plain_value("suction_pressure" if over_suction else "discharge_pressure")
    of_base = "suction" if over_suction else "discharge"
    oil, amps = box.plain_value("oil_pressure"), 0.01 * common.motor.full_load_current_a
    table: dict[Trip, tuple[float, float, float, str]] = {  # alarm, trip, bypass after a start, rule
        Trip.HIGH_DISCHARGE_PRESSURE: (
            p.high_discharge_pressure_alarm_kpa_abs, p.high_discharge_pressure_trip_kpa_abs, 0.0, "discharge pressure",
        ),
        Trip.LOW_SUCTION_PRESSURE: (
            p.low_suction_pressure_alarm_kpa_abs, p.low_suction_pressure_trip_kpa_abs, p.low_suction_bypass_ms,
            "suction pressure",
        ),
        Trip.HIGH_DISCHARGE_TEMPERATURE: (
            p.high_discharge_temperature_alarm_c, p.high_discharge_temperature_trip_c, 0.0, "discharge temperature",
        ),
        Trip.LOW_DISCHARGE_SUPERHEAT: (
            dew_c + p.low_discharge_superheat_alarm_k, dew_c + p.low_discharge_superheat_trip_k, p.low_superheat_bypass_ms,
            f"superheat {p.low_discharge_superheat_trip_k:g} K over the dew point of {dew_c:.1f} °C",
        ),
        Trip.LOW_OIL_DIFFERENTIAL: (
            base + p.low_oil_differential_alarm_kpa, base + p.low_oil_differential_trip_kpa, p.low_oil_bypass_ms,
            f"{p.low_oil_differential_trip_kpa:g} kPa over {of_base} at {base:.0f} kPa",
        ),
        Trip.HIGH_FILTER_DIFFERENTIAL: (
            oil + p.high_filter_differential_alarm_kpa, oil + p.high_filter_differential_trip_kpa, 0.0,
            f"{p.high_filter_differential_trip_kpa:g} kPa over the filter, after it {oil:.0f} kPa",
        ),
        Trip.HIGH_OIL_TEMPERATURE: (
            p.high_oil_temperature_alarm_c, p.high_oil_temperature_trip_c, 0.0, "oil temperature",
        ),
        Trip.MOTOR_OVERLOAD: (
            amps * p.motor_overload_alarm_pct, amps * p.motor_overload_trip_pct, p.failed_start_ms,
            f"{p.motor_overload_trip_pct:g} % of {common.motor.full_load_current_a:g} A",
        ),
    }  # fmt: skip
    found = []
    for signal, _, trip, delay in ANALOG_TRIPS:
        alarm, limit, bypass_ms, rule = table[trip]
        kind = TripClass(getattr(kinds, trip.name.lower()))
        found.append(TripValue(trip, signal, alarm, limit, 0.001 * getattr(p, delay), 0.001 * bypass_ms, kind, rule))
    return found
