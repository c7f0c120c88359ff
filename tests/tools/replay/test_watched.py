"""What trips, alarms and inhibits watch, formed from a log."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from controller.process_image import Trip
from controller.protection_settings import OilDifference
from controller.registry import SHIPPED
from scenarios.logged_data.records import LoggedData, Series
from tools.replay.watched import Watched, common_of, quantity_of, watched_limits

SETTINGS = SHIPPED["scheduled_pi"].settings_type()


def log(**values: float) -> LoggedData:
    times = np.arange(5, dtype=np.int64) * 1000
    made = {
        name: Series(name, times, np.full(5, value), np.zeros(5, dtype=np.uint8), 1000.0, False, f"t.csv: {name}")
        for name, value in values.items()
    }
    return LoggedData(made, [], {}, (Path("t.csv"),))


def one_of(cause: Trip, kind: str = "trip", settings: object = SETTINGS) -> Watched:
    return next(w for w in watched_limits(settings) if w.cause is cause and w.kind == kind)


def value(cause: Trip, data: LoggedData, settings: object = SETTINGS) -> float:
    found = quantity_of(data, one_of(cause, settings=settings), settings)
    assert found is not None
    return float(found[1][-1])


def test_superheat_is_over_the_dew_point_of_the_discharge() -> None:
    """Ammonia at 1350.8 kPa is saturated at 35.0 °C (CoolProp); the controller's own table may be 0.2 K off."""
    data = log(discharge_temperature_c=75.0, discharge_pressure_kpa_abs=1350.8)
    assert value(Trip.LOW_DISCHARGE_SUPERHEAT, data) == pytest.approx(40.0, abs=0.3)


def test_oil_is_watched_against_what_the_sheet_says() -> None:
    data = log(oil_pressure_kpa_abs=1500.0, suction_pressure_kpa_abs=290.0, discharge_pressure_kpa_abs=1350.0)
    protection = SETTINGS.common.protection
    for choice, less in ((OilDifference.SUPPLY_LESS_SUCTION, 290.0), (OilDifference.SUPPLY_LESS_DISCHARGE, 1350.0)):
        common = replace(SETTINGS.common, protection=replace(protection, oil_difference=choice))
        assert value(Trip.LOW_OIL_DIFFERENTIAL, data, replace(SETTINGS, common=common)) == 1500.0 - less


def test_current_is_a_share_of_the_sheets_full_load() -> None:
    full_a = common_of(SETTINGS).motor.full_load_current_a
    assert value(Trip.MOTOR_OVERLOAD, log(motor_current_a=0.5 * full_a)) == pytest.approx(50.0)


def test_what_the_log_has_not_is_not_watched() -> None:
    assert quantity_of(log(oil_pressure_kpa_abs=1500.0), one_of(Trip.LOW_OIL_DIFFERENTIAL), SETTINGS) is None


@pytest.mark.parametrize("controller", sorted(SHIPPED))
def test_each_alarm_comes_before_its_trip_and_holding_before_unloading(controller: str) -> None:
    limits = {(w.cause, w.kind): w for w in watched_limits(SHIPPED[controller].settings_type())}
    assert sum(kind == "trip" for _, kind in limits) == 8
    for (cause, kind), one in limits.items():
        later = {"alarm": "trip", "hold": "unload", "unload": "trip"}.get(kind)
        if later:
            assert one.direction * (limits[cause, later].limit - one.limit) > 0.0, (cause, kind)


def test_settings_without_a_common_part_are_no_settings() -> None:
    with pytest.raises(TypeError):
        common_of(object())
