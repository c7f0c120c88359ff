"""The rows of a table of settings."""

from __future__ import annotations

import pytest

from controller.positioner import DriveSettings
from controller.registry import SHIPPED
from controller.setting_fields import rows
from controller.signal_watch import SignalSettings


def test_rows_carry_dotted_names_units_ranges_defaults_and_reasons() -> None:
    found = {row.name: row for row in rows(SHIPPED["scheduled_pi"].settings_type)}
    row = found["common.capacity.drive.stroke_up_ms"]
    assert (row.unit, row.low, row.high, row.default) == ("ms", 5_000, 300_000, 50_000)
    assert row.why
    row = found["common.protection.classes.slide_lost"]
    assert row.default == "controlled_stop"
    assert row.choices == ("alarm", "load_inhibit", "forced_unload", "controlled_stop", "immediate_stop")
    assert found["common.capacity.suction_set_point_kpa_abs"].of == "absolute"
    assert found["common.refrigerant.saturation_c"].default[0] == -64.61
    assert len(found) > 170
    assert all(row.why and row.unit for row in found.values())


def test_the_order_is_that_of_the_record_and_a_switch_reads_off_or_on() -> None:
    assert next(rows(DriveSettings)).name == "stroke_up_ms"
    assert next(rows(SignalSettings)).choices == ("off", "on")


def test_a_type_that_is_no_record_is_refused() -> None:
    with pytest.raises(TypeError):
        list(rows(int))
