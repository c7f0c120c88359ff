"""Pre-alarms of the causes beyond the first ones: limit, dead band on the way back, and the bypass after a start."""

from __future__ import annotations

from typing import Any

import pytest

from controller.process_image import Mode, Trip

CASES = [
    (Trip.LOW_OIL_DIFFERENTIAL, "oil_pressure_kpa_abs", (1350 + 121, 1350 + 119, 1350 + 138, 1350 + 141)),
    (
        Trip.HIGH_FILTER_DIFFERENTIAL,
        "oil_pressure_before_filter_kpa_abs",
        (1540 + 99, 1540 + 101, 1540 + 81, 1540 + 79),
    ),
    (Trip.HIGH_OIL_TEMPERATURE, "oil_temperature_c", (61.9, 62.1, 60.7, 60.5)),
    (Trip.LOW_SUCTION_PRESSURE, "suction_pressure_kpa_abs", (221.0, 219.0, 239.0, 241.0)),
    (Trip.MOTOR_OVERLOAD, "motor_current_a", (409.0, 410.0, 402.0, 401.0)),
    (Trip.HIGH_DISCHARGE_TEMPERATURE, "discharge_temperature_c", (99.9, 100.0, 98.4, 98.2)),
    (Trip.VESSEL_HIGH_LEVEL, "vessel_high_high_level", (False, True, True, False)),
]


@pytest.mark.parametrize(("trip", "name", "values"), CASES)
def test_an_alarm_comes_at_its_limit_and_goes_by_its_dead_band(
    bench: Any, trip: Trip, name: str, values: tuple[float, ...]
) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.run(20.0)
    fixed = {"discharge_pressure_kpa_abs": 1350.0, "oil_pressure_kpa_abs": 1540.0}
    words = [bench.scan(**(fixed | {name: v})).alarm_word & 1 << trip != 0 for v in values]
    assert words == [False, True, True, False]
    assert bench.outputs.trip_word == 0


def test_low_superheat_alarms_after_its_bypass(bench: Any) -> None:
    bench.until(Mode.AUTOMATIC)
    cool = {"discharge_pressure_kpa_abs": 1350.0, "discharge_temperature_c": 44.0}  # 35 °C saturated: 9 K
    assert bench.scan(**cool).alarm_word & 1 << Trip.LOW_DISCHARGE_SUPERHEAT == 0
    bench.run(300.0)
    assert bench.scan(**cool).alarm_word & 1 << Trip.LOW_DISCHARGE_SUPERHEAT
    cool["discharge_temperature_c"] = 46.0  # 11 K: inside the dead band of 1.7 K
    assert bench.scan(**cool).alarm_word & 1 << Trip.LOW_DISCHARGE_SUPERHEAT
    cool["discharge_temperature_c"] = 47.0
    assert bench.scan(**cool).alarm_word & 1 << Trip.LOW_DISCHARGE_SUPERHEAT == 0


def test_at_rest_only_what_can_be_wrong_at_rest_alarms(bench: Any) -> None:
    bench.overrides = {"selection": 0, "suction_pressure_kpa_abs": 100.0, "oil_pressure_kpa_abs": 900.0}
    bench.run(2.0)
    assert bench.outputs.alarm_word == 0
