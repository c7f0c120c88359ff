"""A whole day of public weather and logged load: the story that scenarios/library/real_day.toml promises."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from controller.registry import SHIPPED
from scenarios.load_log import load_log
from scenarios.preparation import prepare
from scenarios.runner import RunResult, execute
from scenarios.weather_log import day_of_year, weather_log

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
HOUR_ROWS = 3600


@cache
def run(controller: str, seed: int = 41) -> RunResult:
    sheet = LIBRARY / "sheets" / f"demo_{controller}.toml"
    return execute(prepare([LIBRARY / "real_day.toml"], controller=controller, settings=sheet, seed=seed)[0], None)


@pytest.mark.parametrize("controller", SHIPPED)
def test_weather_and_load_arrive_hour_by_hour_as_their_files_have_them(controller: str) -> None:
    trace = run(controller).trace
    log = weather_log(LIBRARY / "weather" / "upland_town_may_tmy3.csv")
    first = 24 * day_of_year("05-11")
    assert len(trace["time_ms"]) == 24 * HOUR_ROWS + 1
    for hour in range(1, 25):
        assert trace["wet_bulb_temperature_k"][hour * HOUR_ROWS] == pytest.approx(
            log.wet_bulb_k[first + hour], abs=1e-6
        )
    half_past = 0.5 * (log.wet_bulb_k[first + 9] + log.wet_bulb_k[first + 10])
    assert trace["wet_bulb_temperature_k"][9 * HOUR_ROWS + HOUR_ROWS // 2] == pytest.approx(half_past, abs=1e-6)
    load = load_log(LIBRARY / "loads" / "fish_hall_whole_day.csv")
    at = np.searchsorted(load.time_ms, trace["time_ms"], side="right") - 1
    played = np.array(load.load_w)[at]
    assert np.mean(np.abs(trace["load_heat_w"] - played) < 1.0) > 0.99  # a row that falls between two is a second late


@pytest.mark.parametrize("controller", SHIPPED)
def test_condensing_follows_the_weather_and_the_volume_ratio_follows_both(controller: str) -> None:
    trace = run(controller).trace
    settled = slice(HOUR_ROWS, None)
    wet, discharge = trace["wet_bulb_temperature_k"][settled], trace["discharge_pressure_pa"][settled]
    assert np.ptp(wet) > 13.0
    assert np.corrcoef(wet, discharge)[0, 1] > 0.9
    assert discharge.max() / discharge.min() > 1.5
    ratio, attainable = trace["volume_ratio"][settled], trace["volume_ratio_attainable"][settled]
    assert np.ptp(ratio) > 0.8
    assert np.sqrt(np.mean((ratio / attainable - 1.0) ** 2)) < 0.06


@pytest.mark.parametrize("seed", [41, 410])  # the file's, and ten times it
@pytest.mark.parametrize("controller", SHIPPED)
def test_the_day_is_held_as_its_file_expects(controller: str, seed: int) -> None:
    result = run(controller, seed)
    scores = result.scores
    assert result.failure is None
    assert scores.violations == ()
    assert scores.value("trips_count") == scores.value("starts_per_h") == 0.0
    within, mismatch, motor = (
        scores.value(n) for n in ("time_within_1_k_pct", "mismatch_energy_kwh", "motor_energy_kwh")
    )
    assert within is not None
    assert within > 99.0
    assert mismatch is not None
    assert motor is not None
    assert mismatch < 0.01 * motor
    # the day's cooling is the day's load: 7205 kWh of the record, less what the rooms keep
    load = load_log(LIBRARY / "loads" / "fish_hall_whole_day.csv")
    logged_kwh = float(np.sum(np.array(load.load_w[:-1]) * np.diff(load.time_ms))) / 3.6e9
    assert scores.value("cooling_energy_kwh") == pytest.approx(logged_kwh, rel=0.005)
