"""The limits that a controller is set to, in SI, as checks, scores and reports need them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from controller.process_image import Inputs, Trip
from controller.protection_settings import TripClass
from controller.setting_fields import Switch
from controller.settings import CommonSettings
from scenarios.wiring import Wiring

_ANALOGS = tuple(f.name for f in fields(Inputs) if isinstance(f.default, float))  # in channel order


@dataclass(frozen=True, slots=True)
class TripLimit:
    """One trip as the cabinet is set: `direction` +1 trips at or above `limit`, −1 at or below; SI units."""

    cause: Trip
    column: str  # of the trace
    direction: int
    limit: float
    delay_ms: int
    span: float  # of its transmitter
    unit: str  # for people: kPa, K, A
    factor: float  # people's unit / SI unit
    bypass_ms: int = 0  # after the start, while it is blocked
    readable_to: float = math.inf  # SI: a reading beyond is a failed current loop (NE 43), not a value


@dataclass(frozen=True, slots=True)
class Limits:
    """The set limits that checks, scores and report need.  None: this controller does not tell."""

    trips: tuple[TripLimit, ...] = ()
    capacity_start_frac: float | None = None
    volume_ratio_start_frac: float | None = None
    minimum_demand_frac: float | None = None
    pre_lubrication_ms: int | None = None
    start_to_start_ms: int | None = None
    guard_ms: int | None = None
    unload_timeout_ms: int | None = None
    low_end_frac: float | None = None  # of travel as read: what counts as the low end stop
    low_reading_frac: float | None = None  # most that a calibrated slide may read at its low stop
    suction_hold_pa: float | None = None
    suction_unload_pa: float | None = None
    discharge_hold_pa: float | None = None
    discharge_unload_pa: float | None = None

    def trip(self, cause: Trip) -> TripLimit | None:
        """The limit of one cause, if known."""
        return next((limit for limit in self.trips if limit.cause == cause), None)


def ends_of(field_name: str, wiring: Wiring | None = None) -> tuple[float, float]:
    """Readings of an analog input at 4 and 20 mA, in its cabinet unit: as the card is scaled, else the usual ones."""
    if wiring is not None:
        place = _ANALOGS.index(field_name)
        return wiring.low[place], wiring.high[place]
    metadata = Inputs.__dataclass_fields__[field_name].metadata
    return float(metadata["low"]), float(metadata["high"])


def span_of(field_name: str, wiring: Wiring | None = None) -> float:
    """Span of an analog input's transmitter, in its cabinet unit."""
    low, high = ends_of(field_name, wiring)
    return high - low


def _common_in(record: Any) -> CommonSettings | None:
    if isinstance(record, CommonSettings):
        return record
    if is_dataclass(record):
        for member in fields(record):
            found = _common_in(getattr(record, member.name))
            if found is not None:
                return found
    return None


def failed_above(field_name: str, wiring: Wiring | None = None) -> float:
    """Reading at 21 mA, in the cabinet's unit: from there on NE 43 calls the loop failed."""
    return ends_of(field_name, wiring)[1] + (21.0 - 20.0) / 16.0 * span_of(field_name, wiring)


def _trips(common: CommonSettings, wiring: Wiring | None) -> tuple[TripLimit, ...]:
    """The trips that stop the motor: at once, or after unloading, which takes until its timeout at most.

    A cause whose class only alarms, holds or unloads stops nothing and is left out.
    """
    trip, run = common.protection, common.sequence
    kinds, full_load_a = trip.classes, common.motor.full_load_current_a
    limits = (
        (
            kinds.high_discharge_pressure,
            TripLimit(
                Trip.HIGH_DISCHARGE_PRESSURE,
                "discharge_pressure_pa",
                1,
                1e3 * trip.high_discharge_pressure_trip_kpa_abs,
                trip.high_discharge_pressure_delay_ms,
                1e3 * span_of("discharge_pressure_kpa_abs", wiring),
                "kPa",
                1e-3,
            ),
        ),
        (
            kinds.low_suction_pressure,
            TripLimit(
                Trip.LOW_SUCTION_PRESSURE,
                "suction_pressure_measured_pa",
                -1,
                1e3 * trip.low_suction_pressure_trip_kpa_abs,
                trip.low_suction_pressure_delay_ms,
                1e3 * span_of("suction_pressure_kpa_abs", wiring),
                "kPa",
                1e-3,
                trip.low_suction_bypass_ms,
            ),
        ),
        (
            kinds.high_discharge_temperature,
            TripLimit(
                Trip.HIGH_DISCHARGE_TEMPERATURE,
                "discharge_temperature_measured_k",
                1,
                trip.high_discharge_temperature_trip_c + 273.15,
                trip.high_discharge_temperature_delay_ms,
                span_of("discharge_temperature_c", wiring),
                "K",
                1.0,
                readable_to=failed_above("discharge_temperature_c", wiring) + 273.15,
            ),
        ),
        (
            kinds.motor_overload,
            TripLimit(
                Trip.MOTOR_OVERLOAD,
                "motor_current_a",
                1,
                0.01 * trip.motor_overload_trip_pct * full_load_a,
                trip.motor_overload_delay_ms,
                span_of("motor_current_a", wiring),
                "A",
                1.0,
                # blocked while the motor accelerates, which is over by then or has become a failed start
                trip.failed_start_ms + run.start_confirm_ms,
            ),
        ),
    )
    stopping = {TripClass.IMMEDIATE_STOP: 0, TripClass.CONTROLLED_STOP: run.unload_timeout_ms}
    return tuple(replace(limit, delay_ms=limit.delay_ms + stopping[kind]) for kind, limit in limits if kind in stopping)


def limits_of(settings: Any, wiring: Wiring | None = None) -> Limits | None:
    """The limits in a shipped controller's settings, in SI; None where settings are the controller's own business.

    wiring: how the plant's input cards are scaled; without it the transmitters are the usual ones.
    """
    common = _common_in(settings)
    if common is None:
        return None
    hold, run = common.inhibit, common.sequence
    low_stop_known = common.calibration.low_stop == Switch.ON
    return Limits(
        trips=_trips(common, wiring),
        capacity_start_frac=0.01 * run.start_limit_pct,
        volume_ratio_start_frac=0.01 * run.start_limit_pct,
        minimum_demand_frac=0.01 * common.capacity.minimum_load_pct,
        pre_lubrication_ms=run.pre_lubrication_ms,
        start_to_start_ms=run.start_to_start_ms,
        guard_ms=max(common.capacity.drive.end_stop_guard_ms, common.volume_ratio.drive.end_stop_guard_ms),
        unload_timeout_ms=run.unload_timeout_ms,
        low_end_frac=0.01 * min(common.capacity.drive.low_end_pct, common.volume_ratio.drive.low_end_pct),
        low_reading_frac=0.01 * common.calibration.low_window_pct if low_stop_known else 0.0,
        suction_hold_pa=1e3 * hold.suction_hold_kpa_abs,
        suction_unload_pa=1e3 * hold.suction_unload_kpa_abs,
        discharge_hold_pa=1e3 * hold.discharge_pressure_hold_kpa_abs,
        discharge_unload_pa=1e3 * hold.discharge_pressure_unload_kpa_abs,
    )


_LEAST = frozenset(
    ("minimum_demand_frac", "pre_lubrication_ms", "start_to_start_ms", "suction_hold_pa", "suction_unload_pa")
)


def loosest(several: Sequence[Limits]) -> Limits:
    """Limits for a run whose settings were changed on the way: of each, the one that forbids least.

    A breach of a limit that was tighter for a part of the run goes unseen; none is told that was not one.  A trip that
    did not stop the motor all the time is left out.
    """
    made: dict[str, Any] = {}
    for f in fields(Limits):
        values = [getattr(limits, f.name) for limits in several]
        if f.name == "trips":
            continue
        made[f.name] = None if None in values else min(values) if f.name in _LEAST else max(values)
    trips = []
    for first in several[0].trips:
        same = [limits.trip(first.cause) for limits in several]
        known = [trip for trip in same if trip is not None]
        if len(known) == len(several):
            ends = [trip.direction * trip.limit for trip in known]
            trips.append(
                replace(
                    first,
                    limit=first.direction * max(ends),
                    delay_ms=max(trip.delay_ms for trip in known),
                    bypass_ms=max(trip.bypass_ms for trip in known),
                )
            )
    return Limits(trips=tuple(trips), **made)
