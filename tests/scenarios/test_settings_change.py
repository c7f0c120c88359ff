"""A setting changed while the controller runs: found, read and checked as in a sheet, and acting from the next scan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from controller.registry import CROSS_CHECKS, SHIPPED
from controller.setting_fields import rows as setting_rows
from scenarios.errors import InputRefused
from scenarios.limits import limits_of, loosest
from scenarios.preparation import prepare
from scenarios.quantities import Site
from scenarios.row import INDEX
from scenarios.runner import execute
from scenarios.session import Session, memory_buffers
from scenarios.settings_change import Change, change_problems, changed_setting, setting_keys, setting_value

Write = Callable[..., Path]
SITE = Site(101325.0, lambda k: 3e5)
PI = SHIPPED["scheduled_pi"].settings_type()
RUNNING = 'machine = "running"\nsuction_pressure = "-10 °C sat"\nload = "350 kW"'


def change(at: str, setting: str, value: str) -> str:
    return f'[[event]]\nkind = "settings_change"\nat = "{at}"\nsetting = "{setting}"\nvalue = {value}\n'


def test_a_change_is_a_new_record_and_is_told_in_words() -> None:
    new, words = changed_setting(PI, "pi.integral_time", "45 s", SITE)
    assert new == replace(PI, pi=replace(PI.pi, integral_time_ms=45_000))
    assert words == "pi.integral_time: 30 s → 45 s"
    assert PI.pi.integral_time_ms == 30_000


def test_every_setting_of_every_shipped_controller_has_a_key() -> None:
    for controller in SHIPPED.values():
        settings = controller.settings_type()
        keys = setting_keys(settings)
        assert len(keys) == len(list(setting_rows(controller.settings_type)))
        for key in keys:
            setting_value(settings, key)


def test_a_table_an_enumeration_and_what_is_neither() -> None:
    flat = [1.0] * 11
    assert changed_setting(PI, "pi.gain_multiplier", flat, SITE)[0].pi.gain_multiplier == tuple(flat)
    with pytest.raises(InputRefused, match="array of 11 values, got 3 values"):
        changed_setting(PI, "pi.gain_multiplier", [1.0] * 3, SITE)
    new, words = changed_setting(PI, "common.calibration.low_stop", "off", SITE)
    assert words.endswith("→ off")
    assert new.common.calibration.low_stop == 0
    with pytest.raises(InputRefused, match="not one of the choices"):
        changed_setting(PI, "common.calibration.low_stop", "maybe", SITE)


@pytest.mark.parametrize(
    ("setting", "value", "words"),
    [
        ("pi.integral_tim", "45 s", "unknown setting.*did you mean"),
        ("pi", "45 s", "unknown setting"),
        ("pi.integral_time", "45 h", "out of range"),
        ("pi.integral_time", "45 kW", "kW"),
        ("pi.integral_time", 45, "has no unit"),
        ("common.protection.high_discharge_pressure_trip", "5 kPa", "out of range"),
    ],
)
def test_what_a_sheet_would_not_have_is_refused(setting: str, value: object, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        changed_setting(PI, setting, value, SITE)


def test_changes_of_one_moment_are_checked_together() -> None:
    check = CROSS_CHECKS[type(PI)]
    hold, point = "common.inhibit.suction_hold", "common.capacity.suction_set_point"
    up, both = Change(5, hold, "300 kPa", 0), Change(5, point, "320 kPa", 1)
    second = Change(5, "common.capacity.second_set_point", "310 kPa", 2)
    assert change_problems([both, second, up], PI, check, SITE) == []
    ((number, problem), *_) = change_problems([up], PI, check, SITE)
    assert number == 0
    assert "set point" in problem.message
    # later is too late: in between the settings contradicted each other
    assert change_problems([up, both._replace(time_ms=6), second._replace(time_ms=6)], PI, check, SITE) != []


def test_a_scenario_places_the_problem_at_its_line(scenario: Write) -> None:
    with pytest.raises(InputRefused, match=r"made\.toml:14:9: integral_time: .*out of range"):
        prepare([scenario(change("1 min", "pi.integral_time", '"5 h"'))])
    with pytest.raises(InputRefused, match=r"suction_hold|set point"):
        prepare([scenario(change("1 min", "common.inhibit.suction_hold", '"300 kPa"'))])


def test_only_a_shipped_controller_has_settings_to_change(scenario: Write, tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text("class Own:\n    def reset(self): ...\n    def scan(self, i, o, t): ...\n")
    event = change("1 min", "pi.integral_time", '"50 s"')
    with pytest.raises(InputRefused, match="own business"):
        prepare([scenario(event, controller="own.py:Own")])


def test_it_acts_from_the_next_scan_and_without_a_bump(scenario: Write) -> None:
    """A gain or an integral time moves nothing by itself: the law is in velocity form."""
    calm = execute(prepare([scenario(start=RUNNING, minutes=6)], log_ms=100)[0], None).trace
    events = change("2 min", "pi.proportional_band", '"35 kPa"') + change("2 min", "pi.integral_time", '"20 s"')
    changed = execute(prepare([scenario(events, start=RUNNING, minutes=6)], log_ms=100)[0], None).trace
    before = calm["time_ms"] < 120_000
    assert np.array_equal(calm["capacity_demand_frac"][before], changed["capacity_demand_frac"][before])
    at = int(np.flatnonzero(calm["time_ms"] == 120_000)[0])
    assert abs(changed["capacity_demand_frac"][at] - changed["capacity_demand_frac"][at - 1]) < 2e-3
    told = [e for e in changed.events if e.source == "settings_change"]
    assert [(e.time_ms, e.text) for e in told] == [
        (120_000, "pi.proportional_band: 55 kPa → 35 kPa"), (120_000, "pi.integral_time: 30 s → 20 s")
    ]  # fmt: skip


def test_a_new_set_point_is_ramped_to_and_reached(scenario: Write) -> None:
    events = change("1 min", "common.capacity.suction_set_point", '"-9 °C sat"')
    trace = execute(prepare([scenario(events, start=RUNNING, minutes=25)])[0], None).trace
    set_point = trace["suction_set_point_pa"]
    assert set_point[0] == pytest.approx(290.6e3, rel=1e-3)
    assert set_point[-1] == pytest.approx(302.4e3, rel=2e-3)  # −9 °C saturated ammonia, CoolProp
    assert np.abs(np.diff(set_point)).max() < 2e3
    assert abs(trace["suction_pressure_pa"][-1] - set_point[-1]) < 6e3


def test_interpreted_and_compiled_agree(scenario: Write) -> None:
    prepared = prepare([scenario(change("1 min", "pi.proportional_band", '"30 kPa"'), start=RUNNING)])[0]
    shipped = SHIPPED["scheduled_pi"]
    compiled = execute(prepared, None).trace
    buffers = memory_buffers(180_000, 100, 1000)
    session = Session(prepared, None, buffers, shipped.scan, prepared.settings, shipped.state_type())
    session.play()
    name = "capacity_travel_measured_frac"
    assert np.array_equal(buffers.rows[:181, INDEX[name]], compiled[name][:181])
    assert session.settings_now.pi.proportional_band_kpa == 30.0


def test_the_loosest_of_limits_that_were_changed_on_the_way() -> None:
    base = limits_of(PI)
    tight, _ = changed_setting(PI, "common.protection.high_discharge_pressure_trip", "1500 kPa", SITE)
    later, _ = changed_setting(tight, "common.sequence.start_to_start", "900 s", SITE)
    several = [limits_of(PI), limits_of(later)]
    assert base is not None
    assert all(several)
    joined = loosest([one for one in several if one])
    assert joined.start_to_start_ms == min(one.start_to_start_ms or 0 for one in several if one)
    assert {t.cause: t.limit for t in joined.trips} == {t.cause: t.limit for t in base.trips}
    assert loosest([base, base]) == base


def test_a_run_with_changed_limits_says_how_it_is_judged(scenario: Write) -> None:
    event = change("1 min", "common.sequence.start_to_start", '"15 min"')
    prepared = prepare([scenario(event)])[0]
    assert any("loosest" in note for note in prepared.scenario.notes)
    other = prepare([scenario(change("1 min", "pi.integral_time", '"50 s"'))])[0]
    assert not any("loosest" in note for note in other.scenario.notes)
