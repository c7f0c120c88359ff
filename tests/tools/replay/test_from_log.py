"""A read log becomes the record that is replayed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from controller.process_image import Trip
from scenarios.logged_data.records import LoggedData, Quality, Series
from tools.replay.from_log import missing_signals, record_of

START = 1_700_000_000_000


def series(name: str, values: np.ndarray, step_ms: int = 2000) -> Series:
    times = START + step_ms * np.arange(len(values), dtype=np.int64)
    return Series(name, times, values.astype(float), np.zeros(len(values), dtype=np.uint8), step_ms, False, "x")


def a_log() -> LoggedData:
    n = 600
    wave = np.sin(np.arange(n) / 9.0)
    found = {
        "suction_pressure_kpa_abs": 290.0 + wave, "discharge_pressure_kpa_abs": 1200.0 + 5.0 * wave,
        "capacity_position_pct": 50.0 + wave, "volume_ratio_position_pct": 70.0 + wave,
        "discharge_temperature_c": 92.0 - 10.0 * wave,
        "motor_running": np.where(np.arange(n) < 550, 1.0, 0.0),
    }  # fmt: skip
    return LoggedData({name: series(name, values) for name, values in found.items()}, [], {}, (Path("x.csv"),))


def test_units_rows_and_the_trip() -> None:
    record = record_of(a_log(), START + 1_100_000, Trip.HIGH_DISCHARGE_PRESSURE)
    assert record.trip_row == 1100
    assert record.rows == 1131
    assert record.measured["suction_pressure"][0] == pytest.approx(290.0e3)
    assert record.measured["capacity_position"][0] == pytest.approx(0.5)
    assert record.measured["discharge_temperature"][0] == pytest.approx(365.15)
    assert record.switches["motor_running"][1000]
    assert not record.switches["motor_running"][1120]
    assert record.sample_ms == 2000
    assert not record.change_of_value


def test_injection_follows_its_switching_points_where_it_is_not_logged() -> None:
    record = record_of(a_log(), START + 1_100_000, Trip.NONE, (363.15, 359.15))
    on = record.switches["injection_cooling"]
    temperature = record.measured["discharge_temperature"]
    assert on[temperature >= 363.15].all()
    assert not on[temperature <= 359.15].any()
    assert on.any()
    assert not on.all()


def test_a_failed_loop_is_open_and_not_believed() -> None:
    log = a_log()
    one = log.series["suction_pressure_kpa_abs"]
    one.values[100:110] = -30.0
    one.quality[100:110] = Quality.OUT_OF_RANGE
    record = record_of(log, START + 1_100_000, Trip.NONE)
    assert record.open_["suction_pressure"][200]
    assert np.isnan(record.measured["suction_pressure"][200])


def test_what_is_missing_is_named() -> None:
    log = a_log()
    del log.series["capacity_position_pct"]
    assert missing_signals(log) == ["capacity_position_pct"]
    with pytest.raises(ValueError, match="capacity_position_pct"):
        record_of(log, START + 1_100_000, Trip.NONE)
