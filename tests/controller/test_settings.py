"""Every setting says what it is; the defaults keep their own limits; contradictions between fields are found."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from controller.registry import CROSS_CHECKS, SHIPPED, cross_check
from controller.setting_fields import Switch

UNITS = {"kPa", "°C", "K", "%", "ms", "A", "1"}
SUFFIX = {"°C": "_c", "K": "_k", "%": "_pct", "ms": "_ms", "A": "_a"}


def leaves(record: Any, path: str = "") -> list[tuple[str, Any, Any]]:
    found = []
    for f in fields(record):
        value = getattr(record, f.name)
        where = f"{path}.{f.name}".strip(".")
        found += leaves(value, where) if is_dataclass(value) else [(where, f, value)]
    return found


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_every_setting_has_unit_range_and_reason_and_a_default_inside(name: str) -> None:
    rows = leaves(SHIPPED[name].settings_type())
    assert len(rows) > 170
    for where, f, value in rows:
        m = f.metadata
        assert m["unit"] in UNITS, where
        assert m["why"], where
        values = value if isinstance(value, tuple) else (value,)
        assert all(m["low"] <= v <= m["high"] for v in values), where
        if m["unit"] == "kPa":
            assert where.endswith("_kpa_abs" if m["of"] == "absolute" else "_kpa"), where
        elif m["unit"] in SUFFIX:
            assert where.endswith(SUFFIX[m["unit"]]), where
        if m["unit"] in ("°C", "K"):
            assert m["of"] == ("absolute" if m["unit"] == "°C" else "difference"), where


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_defaults_do_not_contradict_themselves(name: str) -> None:
    assert cross_check(SHIPPED[name].settings_type()) == []
    assert SHIPPED[name].settings_type in CROSS_CHECKS
    assert SHIPPED[name].name == name


FALLING = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.1)
CONTRADICTIONS = [
    ("protection", "high_discharge_pressure_trip_kpa_abs", 1600.0, "forced unload that is to prevent"),
    ("protection", "low_suction_pressure_trip_kpa_abs", 240.0, "forced unload that is to prevent"),
    ("protection", "high_discharge_temperature_trip_c", 96.0, "forced unload that is to prevent"),
    ("protection", "motor_overload_trip_pct", 104.0, "forced unload that is to prevent"),
    ("protection", "high_discharge_pressure_alarm_kpa_abs", 1750.0, "alarm must lie below"),
    ("protection", "low_suction_pressure_alarm_kpa_abs", 150.0, "alarm must lie above"),
    ("inhibit", "current_hold_pct", 110.0, "current hold"),
    ("inhibit", "suction_hold_kpa_abs", 230.0, "low suction hold"),
    ("inhibit", "signal_unload_delay_ms", 20_000, "before it trips"),
    ("sequence", "restart_kpa_abs", 250.0, "restart pressure"),
    ("sequence", "stop_to_start_ms", 10_000, "stop_to_start"),
    ("sequence", "unload_timeout_ms", 20_000, "full unloading stroke"),
    ("capacity", "suction_set_point_kpa_abs", 255.0, "idle-stop"),
    ("capacity", "second_set_point_kpa_abs", 245.0, "low suction hold"),
    ("capacity", "minimum_load_pct", 8.0, "start_limit"),
    ("capacity", "windup_band_pct", 1.0, "windup_band"),
    ("volume_ratio", "trapped_fraction_frac", FALLING, "must rise"),
    ("auxiliaries", "oil_heater_on_c", 50.0, "oil heater"),
    ("auxiliaries", "injection_off_c", 95.0, "injection cooling"),
    ("inhibit", "discharge_pressure_hold_kpa_abs", 1650.0, "discharge pressure hold"),
    ("inhibit", "discharge_temperature_hold_c", 99.0, "discharge temperature hold"),
    ("volume_ratio", "full_load_volume_ratio", FALLING, "must rise"),
    ("refrigerant", "saturation_c", (0.0,) * 21, "saturation table"),
    ("sequence", "idle_stop_kpa_abs", 180.0, "above the low suction pressure trip"),
    ("sequence", "valves_closed_ms", 80_000, "valves_closed"),
    ("slide_watch", "stuck_ms", 2_500, "stuck must be longer"),
    ("calibration", "low_window_pct", 8.0, "low_window"),
    ("calibration", "settle_ms", 10_000, "settle time must be shorter"),
    ("protection", "low_oil_differential_trip_kpa", 600.0, "full-time pump"),
    ("capacity", "minimum_load_pct", 0.5, "low end stop"),
]


@pytest.mark.parametrize(("layer", "name", "value", "words"), CONTRADICTIONS)
def test_a_contradiction_is_found_and_named(layer: str, name: str, value: Any, words: str) -> None:
    for controller in SHIPPED.values():
        settings = controller.settings_type()
        changed = replace(getattr(settings.common, layer), **{name: value})
        settings = replace(settings, common=replace(settings.common, **{layer: changed}))
        assert any(words in line for line in cross_check(settings)), cross_check(settings)


def test_the_high_stop_needs_time_for_both_strokes() -> None:
    settings = SHIPPED["scheduled_pi"].settings_type()
    for high_stop, seconds, found in ((Switch.ON, 60, True), (Switch.ON, 80, False), (Switch.OFF, 60, False)):
        common = replace(
            settings.common,
            calibration=replace(settings.common.calibration, high_stop=high_stop),
            sequence=replace(settings.common.sequence, unload_timeout_ms=1_000 * seconds),
        )
        said = cross_check(replace(settings, common=common))
        assert any("both strokes" in line for line in said) == found


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"minimum_pulse_ms": 5_000}, "minimum_pulse"), ({"maximum_pulse_ms": 20_000}, "maximum_pulse")],
)
def test_the_step_law_contradicts_itself_in_words(changes: dict[str, int], words: str) -> None:
    settings = SHIPPED["three_position"].settings_type()
    assert any(words in line for line in cross_check(replace(settings, step=replace(settings.step, **changes))))
