"""The row: its columns, their units, and that `write_row` fills each from the right place."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from enum import IntEnum
from typing import Any

import numpy as np
import pytest

from controller.process_image import Inhibit, Inputs, Mode, Outputs, StartRefused, StopReason, Trip
from plant_model.state import Disturbances, PlantState
from scenarios.engine import Run
from scenarios.record_fields import UNIT_SUFFIXES, suffix_of
from scenarios.row import COLUMNS, EDGE_COLUMNS, FORMS, INDEX, TEXTS, UNITS, Row, RowView, is_state, write_row

# architecture.md, "A run's folder": the columns that a trace has at least; time_s is derived when it is written
DEMANDED = (
    "time_ms", "suction_pressure_pa", "suction_pressure_measured_pa", "discharge_pressure_pa",
    "discharge_temperature_k", "oil_temperature_k", "oil_differential_pa", "capacity_travel_frac",
    "capacity_demand_frac", "trapped_fraction_frac", "volume_ratio_travel_frac", "volume_ratio",
    "volume_ratio_ideal", "volume_ratio_attainable", "mass_flow_kg_s", "shaft_power_w", "motor_current_a",
    "load_heat_w", "vessel_level_frac", "motor_running", "mode", "inhibit", "trip_first_out", "capacity_load_on_ms",
    "capacity_unload_on_ms", "volume_ratio_increase_on_ms", "volume_ratio_decrease_on_ms",
)  # fmt: skip


def test_every_demanded_column_is_there() -> None:
    assert set(DEMANDED) <= set(COLUMNS)
    assert COLUMNS[0] == "time_ms"
    assert [name for name in ("mode", "inhibit", "trip_first_out") if not is_state(name)] == []
    assert not is_state("suction_pressure_pa")
    assert len(set(COLUMNS)) == len(COLUMNS) == len(INDEX)
    assert set(EDGE_COLUMNS) <= set(COLUMNS)


@pytest.mark.parametrize("name", COLUMNS)
def test_a_column_has_the_unit_of_its_name_and_a_text(name: str) -> None:
    suffix = suffix_of(name)
    assert UNITS[name] == (UNIT_SUFFIXES[suffix][0] if suffix else "1")
    assert len(TEXTS[name]) > 8
    assert FORMS[name] in (float, int, bool) or issubclass(FORMS[name], IntEnum)


def test_a_view_and_its_values_are_one_memory() -> None:
    values = np.zeros(len(COLUMNS))
    row = RowView(values)
    row.suction_pressure_pa = 290_600.0
    row.motor_run = True
    row.mode = Mode.AUTOMATIC
    assert values[INDEX["suction_pressure_pa"]] == 290_600.0
    assert (values[INDEX["motor_run"]], values[INDEX["mode"]]) == (1.0, 5.0)
    values[INDEX["load_heat_w"]] = 7.0
    assert row.load_heat_w == 7.0
    with pytest.raises(KeyError):
        row.no_such_column = 1.0


def _fill(record: Any, next_number: list[float]) -> None:
    """Give every number of a record a value of its own."""
    for f in fields(record):
        value = getattr(record, f.name)
        if is_dataclass(value):
            _fill(value, next_number)
        elif type(value) is float:
            next_number[0] += math.sqrt(2.0)
            setattr(record, f.name, next_number[0])
        elif type(value) is int:
            next_number[0] += 7.0
            setattr(record, f.name, int(next_number[0]))


def _written(**outputs: Any) -> dict[str, float]:
    plant, disturbances, inputs, answer, run = PlantState(), Disturbances(), Inputs(), Outputs(), Run()
    number = [1000.0]
    for record in (plant, disturbances, inputs, answer, run):
        _fill(record, number)
    for name, value in outputs.items():
        setattr(inputs if name in Inputs.__dataclass_fields__ else answer, name, value)
    values = np.full(len(COLUMNS), np.nan)
    write_row(RowView(values), plant, disturbances, inputs, answer, run)
    return dict(zip(COLUMNS, values.tolist(), strict=True))


def test_write_row_fills_every_column_each_from_its_own_source() -> None:
    row = _written()
    assert [name for name, value in row.items() if math.isnan(value)] == []
    numbers = {name: value for name, value in row.items() if FORMS[name] in (float, int)}
    assert len(set(numbers.values())) == len(numbers), "two columns show one quantity"
    assert all(value != 0.0 for value in numbers.values())


@pytest.mark.parametrize(
    "name",
    ["capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease", "motor_run", "oil_pump",
     "motor_running"],
)  # fmt: skip
def test_a_contact_is_in_its_own_column_only(name: str) -> None:
    quiet, active = _written(), _written(**{name: True})
    assert [column for column in COLUMNS if quiet[column] != active[column]] == [name]
    assert (quiet[name], active[name]) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("name", "state"),
    [("mode", Mode.TRIPPED), ("inhibit", Inhibit.SUCTION_HOLD), ("trip_first_out", Trip.MOTOR_OVERLOAD),
     ("start_refused", StartRefused.OIL_COLD), ("stop_reason", StopReason.IDLE)],
)  # fmt: skip
def test_a_state_is_its_number(name: str, state: IntEnum) -> None:
    assert _written(**{name: state})[name] == float(state)
    assert FORMS[name] is type(state)


def test_cabinet_units_become_si() -> None:
    row = _written(
        suction_pressure_kpa_abs=290.6,
        discharge_temperature_c=70.0,
        capacity_position_pct=45.0,
        capacity_position_opposite_pct=46.0,
        discharge_pressure_kpa_abs=1200.0,
        oil_pressure_kpa_abs=1390.0,
        oil_pressure_before_filter_kpa_abs=1420.0,
        oil_temperature_c=48.0,
        motor_current_a=250.0,
        volume_ratio_position_pct=35.0,
        capacity_demand_pct=50.0,
        volume_ratio_demand_pct=60.0,
        suction_set_point_kpa_abs=292.2,
    )
    assert row["suction_pressure_measured_pa"] == pytest.approx(290_600.0, rel=1e-15)
    assert row["discharge_temperature_measured_k"] == pytest.approx(343.15, rel=1e-15)
    assert row["capacity_travel_measured_frac"] == pytest.approx(0.45, rel=1e-15)
    assert row["volume_ratio_travel_measured_frac"] == pytest.approx(0.35, rel=1e-15)
    assert row["capacity_travel_opposite_measured_frac"] == pytest.approx(0.46, rel=1e-15)
    assert row["discharge_pressure_measured_pa"] == 1.2e6
    assert row["oil_pressure_measured_pa"] == 1.39e6
    assert row["oil_pressure_before_filter_measured_pa"] == 1.42e6
    assert row["oil_temperature_measured_k"] == pytest.approx(321.15, rel=1e-15)
    assert row["motor_current_measured_a"] == 250.0
    assert row["capacity_demand_frac"] == 0.5
    assert row["volume_ratio_demand_frac"] == 0.6
    assert row["suction_set_point_pa"] == pytest.approx(292_200.0, rel=1e-15)


def test_a_drifting_wet_bulb_is_shown_at_its_moment() -> None:
    values = np.zeros(len(COLUMNS))
    weather = Disturbances(wet_bulb_k=295.0, wet_bulb_rate_k_s=0.01, wet_bulb_since_ms=60_000)
    write_row(RowView(values), PlantState(), weather, Inputs(), Outputs(), Run(time_ms=160_000))
    assert values[INDEX["wet_bulb_temperature_k"]] == pytest.approx(296.0, abs=1e-12)


def test_a_fresh_row_is_zero() -> None:
    assert all(getattr(Row(), name) == 0.0 for name in COLUMNS)
