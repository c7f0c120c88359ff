"""Reset rules on the closed loop, and contradictions between protection settings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.process_image import Mode, Trip
from controller.protection_settings import AutomaticResets, ProtectionSettings, TripClass, cross_check
from controller.registry import SHIPPED
from controller.setting_fields import Switch

ON, OFF = Switch.ON, Switch.OFF


def tripping(toys: Any, again: AutomaticResets, cause: dict[str, Any]) -> Any:
    controller = SHIPPED["scheduled_pi"]
    settings = toys.quick(controller.settings_type())
    p = replace(settings.common.protection, automatic_reset=again, high_oil_temperature_delay_ms=1_000)
    bench = toys.Bench(controller, replace(settings, common=replace(settings.common, protection=p)))
    bench.until(Mode.AUTOMATIC)
    bench.overrides = dict(cause)
    bench.until(Mode.TRIPPED, 100.0)
    return bench


CAUSES = [
    ("low_suction_pressure", {"suction_pressure_kpa_abs": 150.0}),
    ("high_oil_temperature", {"oil_temperature_c": 80.0}),
    ("signal_lost", {"suction_pressure_health": 1}),
]


@pytest.mark.parametrize(("name", "cause"), CAUSES)
def test_an_automatic_reset_waits_with_the_cause_gone_and_is_counted(
    toys: Any, name: str, cause: dict[str, Any]
) -> None:
    bench = tripping(toys, AutomaticResets(**{name: ON}, wait_ms=20_000, most=1), cause)
    bench.run(40.0)
    assert bench.outputs.trip_word, "not while the cause stands"
    bench.overrides = {}
    bench.run(10.0)
    bench.scan(**cause)
    bench.run(20.0)
    assert bench.outputs.trip_word, "the wait starts again when the cause comes back"
    bench.run(0.3)
    assert bench.outputs.trip_word == 0
    bench.until(Mode.AUTOMATIC)
    bench.overrides = dict(cause)
    bench.until(Mode.TRIPPED, 100.0)
    bench.overrides = {}
    bench.run(60.0)
    assert bench.outputs.trip_word, "one was allowed until somebody presses reset"
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word == 0
    assert bench.state.common.protection.automatic_resets == 0


@pytest.mark.parametrize(("name", "cause"), CAUSES)
def test_another_cause_beside_it_or_no_permission_keeps_the_latch(toys: Any, name: str, cause: dict[str, Any]) -> None:
    for again, both in (
        (AutomaticResets(**{name: ON}, wait_ms=1_000), {**cause, "stop_button_pressed": True}),
        (AutomaticResets(wait_ms=1_000), cause),
    ):
        bench = tripping(toys, again, both)
        bench.scan(**cause)
        bench.run(12.0)
        bench.overrides = {}
        bench.run(30.0)
        assert bench.outputs.trip_word != 0


@pytest.mark.parametrize(
    "cause", [{"stop_button_pressed": True}, {"safety_chain_closed": False}, {"vessel_high_high_level": True}]
)
def test_a_standing_button_chain_or_level_keeps_the_latch(bench: Any, cause: dict[str, bool]) -> None:
    bench.until(Mode.AUTOMATIC)
    bench.overrides = dict(cause)
    bench.run(3.0)
    assert bench.outputs.trip_word
    bench.scan(reset_pressed=True)
    assert bench.outputs.trip_word
    bench.overrides = {}
    bench.scan()
    assert bench.scan(reset_pressed=True).trip_word == 0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"low_discharge_superheat_alarm_k": 3.0}, "superheat"),
        ({"low_oil_differential_alarm_kpa": 30.0}, "oil differential"),
        ({"high_filter_differential_alarm_kpa": 200.0}, "filter"),
        ({"high_oil_temperature_alarm_c": 90.0}, "oil temperature"),
    ],
)
def test_alarms_beyond_their_trips_are_found(changes: dict[str, float], words: str) -> None:
    assert any(words in line for line in cross_check(replace(ProtectionSettings(), **changes)))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("high_discharge_pressure", TripClass.FORCED_UNLOAD),
        ("low_oil_differential", TripClass.ALARM),
        ("vessel_high_level", TripClass.LOAD_INHIBIT),
        ("signal_lost", TripClass.LOAD_INHIBIT),
    ],
)
def test_a_class_too_weak_for_its_cause_is_refused(name: str, kind: TripClass) -> None:
    c = ProtectionSettings()
    assert any(name in line for line in cross_check(replace(c, classes=replace(c.classes, **{name: kind}))))
    assert cross_check(c) == []


def test_the_trip_numbers_fit_the_bits_of_a_word() -> None:
    assert max(Trip) == 17
