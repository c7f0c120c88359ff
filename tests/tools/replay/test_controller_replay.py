"""The logic over a log: where it agrees, and where and why it parts.  The log comes from a run on another plant."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from night_log import Night, play, true_plant

from scenarios.errors import InputRefused
from scenarios.logged_data.records import LoggedData, LoggedEvent, Series
from scenarios.preparation import prepare
from scenarios.settings_sheet import write_sheet
from tools.replay.controller_replay import replay_controller
from tools.replay.timeline import SettingsPeriod

ROOT = Path(__file__).resolve().parents[3]
SCENARIO = """\
title = "An hour"
purpose = "for the tests"
expects = "runs"
plant = "plant.toml"
controller = "scheduled_pi"
settings = "sheet.toml"
duration = "30 min"
seed = 3
[start]
machine = "running"
suction_pressure = "-9.5 °C sat"
discharge_pressure = "31 °C sat"
load = "400 kW"
[[event]]
kind = "load_step"
at = "15 min"
change = "-110 kW"
"""


@pytest.fixture(scope="module")
def hour(tmp_path_factory: pytest.TempPathFactory) -> tuple[Night, Any]:
    folder = tmp_path_factory.mktemp("hour")
    settings = prepare([ROOT / "scenarios" / "library" / "demo_shift.toml"])[0].settings
    (folder / "plant.toml").write_text(true_plant(2), encoding="utf-8")
    write_sheet(folder / "sheet.toml", "scheduled_pi", settings)
    (folder / "hour.toml").write_text(SCENARIO, encoding="utf-8")
    return play(folder / "hour.toml", 1000, 3), settings


NAMES = (
    "suction_pressure_kpa_abs", "discharge_pressure_kpa_abs", "suction_temperature_c", "discharge_temperature_c",
    "oil_pressure_before_filter_kpa_abs", "oil_pressure_kpa_abs", "oil_temperature_c", "oil_level_pct",
    "motor_current_a", "motor_power_kw",
    "capacity_position_pct", "capacity_position_opposite_pct", "volume_ratio_position_pct",
    "volume_ratio_position_opposite_pct",
    "motor_running", "motor_run", "mode", "inhibit", "capacity_demand_pct", "volume_ratio_demand_pct",
    "suction_set_point_kpa_abs",
)  # fmt: skip


def logged(night: Night, step: int = 1, names: tuple[str, ...] = NAMES) -> LoggedData:
    out = LoggedData({}, [], {}, (Path("t.csv"),))
    for name in names:
        values = night.values[name][::step].astype(float)
        times = night.time_ms[::step]
        out.series[name] = Series(
            name, times, values, np.zeros(len(values), dtype=np.uint8), 1000.0 * step, False, f"t.csv: {name}"
        )
    return out


@pytest.mark.parametrize("step", [1, 2])
def test_with_the_right_settings_the_logic_agrees(hour: tuple[Night, Any], step: int) -> None:
    night, settings = hour
    made = replay_controller(logged(night, step), "scheduled_pi", [SettingsPeriod(0, settings, "s")])
    assert {"motor_run", "mode", "inhibit", "capacity_demand_pct"} <= set(made.compared)
    assert made.differences == []
    assert len(made.time_ms) == 18_001


def test_another_setting_is_found_at_its_first_scan(hour: tuple[Night, Any]) -> None:
    night, settings = hour
    other = replace(
        settings,
        common=replace(settings.common, capacity=replace(settings.common.capacity, suction_set_point_kpa_abs=305.0)),
    )
    made = replay_controller(logged(night), "scheduled_pi", [SettingsPeriod(0, other, "s")])
    assert made.first is not None
    assert made.first.output == "suction_set_point_kpa_abs"
    assert made.first.time_ms <= 5 * 60_000


def test_settings_count_from_their_moment_on(hour: tuple[Night, Any]) -> None:
    night, settings = hour
    other = replace(
        settings,
        common=replace(settings.common, capacity=replace(settings.common.capacity, suction_set_point_kpa_abs=305.0)),
    )
    made = replay_controller(
        logged(night), "scheduled_pi", [SettingsPeriod(0, settings, "a"), SettingsPeriod(1_200_000, other, "b")]
    )
    assert made.first is not None
    assert made.first.time_ms >= 1_200_000


def test_a_missing_input_and_a_hand_are_named_as_reasons(hour: tuple[Night, Any]) -> None:
    night, settings = hour
    data = logged(
        night, 1, tuple(n for n in NAMES if n not in ("oil_pressure_kpa_abs", "oil_pressure_before_filter_kpa_abs"))
    )
    data.series["oil_pressure_kpa_abs"] = logged(night, 1, ("oil_pressure_kpa_abs",)).series["oil_pressure_kpa_abs"]
    data.series["oil_pressure_kpa_abs"].values = (
        data.series["discharge_pressure_kpa_abs"].values - 50.0
    )  # a dead pump, as it seems
    data.events = [LoggedEvent(60_000, 60_000, 61_000, "manual", "", "on", "capacity by hand", "a.csv")]
    made = replay_controller(data, "scheduled_pi", [SettingsPeriod(0, settings, "s")])
    assert made.first is not None
    why = " ".join(t for d in made.differences for t in d.why)
    assert "by hand: capacity by hand" in why
    assert "low oil differential" in why


def test_a_log_without_pressures_is_refused(hour: tuple[Night, Any]) -> None:
    night, settings = hour
    data = logged(night, 1, ("motor_current_a",))
    with pytest.raises(InputRefused, match="no suction_pressure_kpa_abs"):
        replay_controller(data, "scheduled_pi", [SettingsPeriod(0, settings, "s")])
