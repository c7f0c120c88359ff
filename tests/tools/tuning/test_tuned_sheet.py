"""The sheet of a tuning run: complete, read back as it was, and never over the one that was given."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.cross_checks import every_field
from scenarios.demo_sheets import demo_settings
from scenarios.errors import InputRefused
from scenarios.plant_draws import value_at
from scenarios.quantities import Site
from scenarios.settings_sheet import load_sheet
from tools.tuning.tuned_sheet import CAUTION, check_not_overwritten, setting_rows, sheet_path, write_tuned_sheet

SITE = Site(101325.0, lambda kelvin: 3e5)


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_rows_hold_every_setting_and_the_sheet_comes_back(name: str, tmp_path: Path) -> None:
    before = demo_settings(name)
    capacity = replace(before.common.capacity, measurement_filter_ms=900)
    chosen = replace(before, common=replace(before.common, capacity=capacity))
    path = "common.capacity.measurement_filter_ms"
    rows = setting_rows(chosen, before, {path}, {}, "as in the sheet given")
    kind = SHIPPED[name].settings_type
    leaves = [key for key, rule in every_field(kind) if not (rule.is_record and not rule.length)]
    assert sorted(row.key for row in rows) == sorted(".".join(map(str, key)) for key in leaves)
    changed = [row for row in rows if row.value != row.previous]
    assert [(row.path, row.unit, row.previous, row.value) for row in changed] == [(path, "ms", 500.0, 900.0)]
    assert changed[0].tuned
    assert changed[0].because == "searched"
    for row in rows:
        value = value_at(chosen, tuple(row.path.split(".")))
        assert row.value == value or isinstance(row.value, str) or row.value == tuple(map(float, value))
        assert row.why or row.unit == "" or row.low is not None
    file = sheet_path(tmp_path, name)
    stamp = write_tuned_sheet(file, name, chosen, "A plant", "Tuned for it.")
    read = load_sheet(file, name, kind, SITE, CROSS_CHECKS[kind])
    assert read.settings == chosen
    assert read.stamp == stamp
    assert CAUTION in file.read_text(encoding="utf-8")


def test_a_reason_goes_before_searched() -> None:
    settings = demo_settings("scheduled_pi")
    rows = setting_rows(settings, settings, set(), {"pi.gain_multiplier": "fitted"}, "default")
    row = next(r for r in rows if r.path == "pi.gain_multiplier")
    assert row.because == "fitted"
    assert row.tuned
    assert isinstance(row.value, tuple)


def test_the_given_sheet_is_never_written_over(tmp_path: Path) -> None:
    given = tmp_path / "tuned_scheduled_pi.toml"
    check_not_overwritten(None, tmp_path)
    check_not_overwritten(given, tmp_path)  # not there
    given.write_text("")
    check_not_overwritten(given, tmp_path / "other")
    with pytest.raises(InputRefused, match="written anew"):
        check_not_overwritten(given, tmp_path)
