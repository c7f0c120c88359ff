"""The limits of a controller's settings, in SI."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.process_image import Inputs, Trip
from controller.protection_settings import TripClass
from controller.registry import SHIPPED
from plant_model.instruments import Channel
from plant_model.parameters import PlantParameters
from scenarios.limits import Limits, limits_of, span_of
from scenarios.preparation import wiring_of


@pytest.mark.parametrize("name", SHIPPED)
def test_limits_are_those_of_the_settings_in_si(name: str) -> None:
    settings = SHIPPED[name].settings_type()
    limits = limits_of(settings)
    assert limits is not None
    suction = limits.trip(Trip.LOW_SUCTION_PRESSURE)
    assert suction is not None
    assert suction.limit == pytest.approx(1000.0 * settings.common.protection.low_suction_pressure_trip_kpa_abs)
    assert limits.trip(Trip.STOP_BUTTON) is None
    full_load_a = settings.common.motor.full_load_current_a
    overload = limits.trip(Trip.MOTOR_OVERLOAD)
    assert overload is not None
    assert overload.limit == pytest.approx(full_load_a * settings.common.protection.motor_overload_trip_pct / 100.0)
    assert all(getattr(limits, field) is not None for field in Limits.__dataclass_fields__)


def test_settings_of_somebody_else_have_no_limits() -> None:
    assert limits_of(None) is None
    assert limits_of(Inputs()) is None


def _with_class(kind: TripClass) -> Limits:
    settings = SHIPPED["scheduled_pi"].settings_type()
    protection = settings.common.protection
    protection = replace(protection, classes=replace(protection.classes, low_suction_pressure=kind))
    limits = limits_of(replace(settings, common=replace(settings.common, protection=protection)))
    assert limits is not None
    return limits


@pytest.mark.parametrize("kind", [TripClass.ALARM, TripClass.LOAD_INHIBIT, TripClass.FORCED_UNLOAD])
def test_a_cause_that_stops_nothing_has_no_limit(kind: TripClass) -> None:
    limits = _with_class(kind)
    assert limits.trip(Trip.LOW_SUCTION_PRESSURE) is None
    assert limits.trip(Trip.MOTOR_OVERLOAD) is not None


def test_a_span_is_that_of_the_plants_transmitter_or_the_usual_one() -> None:
    assert span_of("suction_pressure_kpa_abs") == 1000.0
    instruments = PlantParameters().instruments
    for channel in Channel:  # the usual one is the default plant's
        field = next(name for name in Inputs.__dataclass_fields__ if name.startswith(channel.name.lower() + "_"))
        assert span_of(field, wiring_of(instruments)) == pytest.approx(span_of(field))
    wide = replace(instruments, suction_pressure=replace(instruments.suction_pressure, low_pa=1e5, high_pa=4.1e6))
    assert span_of("suction_pressure_kpa_abs", wiring_of(wide)) == pytest.approx(4000.0)
    limits = limits_of(SHIPPED["scheduled_pi"].settings_type(), wiring_of(wide))
    assert limits is not None
    suction, discharge = limits.trip(Trip.LOW_SUCTION_PRESSURE), limits.trip(Trip.HIGH_DISCHARGE_PRESSURE)
    assert suction is not None
    assert discharge is not None
    assert (suction.span, discharge.span) == (pytest.approx(4e6), pytest.approx(2.5e6))
