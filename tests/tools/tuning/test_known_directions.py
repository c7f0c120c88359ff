"""Words on the direction of a change: every pattern meets a setting, and nothing that protects is called tuning."""

from __future__ import annotations

import re

import pytest

from controller.registry import SHIPPED
from scenarios.cross_checks import every_field
from scenarios.sheet_differences import SettingDifference
from tools.tuning.known_directions import _TABLE, NOT_KNOWN, expected, protects

KEYS = sorted(
    {
        re.sub(r"\.(\d+)$", r"[\1]", ".".join(map(str, path)))
        for controller in SHIPPED.values()
        for path, _ in every_field(controller.settings_type)
    }
    | {"pi.gain_multiplier[1]"}
)


def change(key: str, by: float | None) -> SettingDifference:
    return SettingDifference(key, "", "a", "b", by, "")


@pytest.mark.parametrize("row", _TABLE, ids=lambda row: row.pattern)
def test_every_pattern_meets_a_setting(row: object) -> None:
    assert any(re.fullmatch(row.pattern, key) for key in KEYS)  # type: ignore[attr-defined]


def test_up_and_down_are_told_apart() -> None:
    for key in KEYS:
        up, down = expected(change(key, 1.0)), expected(change(key, -1.0))
        assert up == down == NOT_KNOWN or up != down


@pytest.mark.parametrize(
    ("key", "rise"),
    [
        ("common.protection.high_discharge_pressure_trip", "acts later"),
        ("common.protection.low_suction_pressure_trip", "acts earlier"),
        ("common.protection.low_oil_differential_delay", "acts later"),
        ("common.protection.motor_overload_trip", "acts later"),
        ("common.inhibit.suction_hold", "earlier"),
        ("common.inhibit.current_unload", "later"),
    ],
)
def test_limits_act_earlier_or_later_by_what_they_are(key: str, rise: str) -> None:
    assert key in KEYS
    assert protects(key)
    assert rise in expected(change(key, 1.0))
    assert rise not in expected(change(key, -1.0))


def test_a_word_has_no_direction() -> None:
    assert "otherwise" in expected(change("common.protection.oil_difference", None))
    assert not protects("common.capacity.drive.pause")
