"""Every physical name ends in its unit, and every setting says its unit, its range and the reason for its default.

The units of suffixes are those that files are read by (scenarios/record_fields.py); a few are used inside kernels only.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator
from dataclasses import MISSING, Field, fields, is_dataclass
from enum import IntEnum
from typing import Annotated, Any, get_args, get_origin, get_type_hints

import pytest

import controller
import plant_model
from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.record_fields import UNIT_SUFFIXES, suffix_of
from scenarios.row import COLUMNS, FORMS
from scenarios.units import find_unit

INSIDE_ONLY = ("w_a2", "pa_s2_kg2")  # products that no file and no column shows

# Numbers without a unit in their name, each with the reason.  By `Record.field`, or by field where it is always the same.
RATIO, COUNT, BITS, SIGN = "a ratio", "a count", "a word of bits", "+1, −1 or 0"
LEVEL = "an index: 0 free, 1 hold, 2 unload"
FIT = "a coefficient or an abscissa of a fitted table, without dimension"
FOLDED = "a constant folded from several units, used in one kernel and documented where it is derived"
DIMENSIONLESS = {
    "volume_ratio": RATIO,
    "volume_ratio_full_load": RATIO,
    "full_load_volume_ratio": RATIO,
    "volume_ratio_ideal": RATIO,
    "volume_ratio_attainable": RATIO,
    "volume_ratio_low": RATIO,
    "volume_ratio_high": RATIO,
    "volume_ratio_slope": "of a ratio against travel: dimensionless",
    "trapped_slope": "of a fraction against travel: dimensionless",
    "isentropic_exponent": "an exponent",
    "gate_radius_ratio": RATIO,
    "centre_distance_ratio": RATIO,
    "gain_multiplier": RATIO,
    "pressure_scale": RATIO,
    "feed_forward_gain": "% of demand per % of load",
    "leakage_built_in_share": "a share",
    "leakage_speed_factor": RATIO,
    "discharge_port_loss": "a loss coefficient: of the velocity head",
    "through_path_discharge": "a coefficient of discharge",
    "direction": SIGN,
    "last_direction": SIGN,
    "CapacityState.request": SIGN,
    "trip_word": BITS,
    "alarm_word": BITS,
    "switches": BITS,
    "starts_per_hour": "a count; its name says per what",
    "start_count": COUNT,
    "fault_kind": "the number of a Fault",
    "noise": "standard normal draws",
    "lagged": "sensors as fractions of their span",
    "InhibitState.current": LEVEL,
    "InhibitState.discharge_pressure": LEVEL,
    "InhibitState.suction": LEVEL,
    "InhibitState.discharge_temperature": LEVEL,
    "PiState.last_error": "in the unit of whatever the caller controls",
    "breakdown_slip_squared": RATIO,
    "counts_per_milliamp": "a count; its name says per what",
    "milliamp_per_count": "the unit is written out",
    "milliamp": "the unit is the name",
    "held_milliamp": "the unit is written out",
    "load_factor": FOLDED,
    "unload_factor": FOLDED,
    "suction_drop_factor": FOLDED,
    "feed_factor": FOLDED,
    "per_feed_band": "1 over a fraction",
    "pump_alpha": "a share of the way in one step",
    "alpha": "shares of the way in one step",
    "InstrumentConstants.low": "fifteen channels, each in its own unit",
    "InstrumentConstants.per_span": "fifteen channels, each in its own unit",
    "log_critical_pressure": "a logarithm",
    "root_mid": FIT,
    "root_scale": FIT,
    "superheat_scale": FIT,
    "coordinate": FIT,
    "exponent": FIT,
    "scale": FIT,
    "groups": COUNT,
    "per_separation_height": "1 over a fraction",
    "thermal_alpha": "a share of the way in one step",
    "thermal_rest_alpha": "a share of the way in one step",
    "thermal_rest_factor": RATIO,
    "fan_stages": COUNT,
    "fan_stages_on": COUNT,
    "trapped_fraction": RATIO,
    "starts_1_h": "per hour: the unit is written out",
    "row_hp": "horsepower, as the table of the standard has it",
    "ratio": RATIO,
    "mass_flow": "coefficients, in the units that `units` names",
    "power": "coefficients, in the units that `units` names",
    "mass_flow_factor": RATIO,
    "power_factor": RATIO,
    "defrost": "the number of a phase",
    "viscosity_ratio": RATIO,
    "starts": COUNT,
    "inputs_mark": "a sum that changes when a switched input does",
    "phase": "the number of a phase",
    "automatic_resets": COUNT,
    "present": BITS,
    "stopping_word": BITS,
    "hold_word": BITS,
    "unload_word": BITS,
    "AutomaticResets.most": COUNT,
    "Stillness.value": "in the unit of the signal watched",
    "failures": COUNT,
    "pressure_ratio": RATIO,
}


def records() -> Iterator[type]:
    for room in (controller, plant_model):
        for module in pkgutil.walk_packages(room.__path__, f"{room.__name__}."):
            for thing in vars(importlib.import_module(module.name)).values():
                if isinstance(thing, type) and is_dataclass(thing) and thing.__module__ == module.name:
                    yield thing


def element(hint: Any) -> Any:
    """The type of a field, or of the elements of its tuple or list."""
    if get_origin(hint) is Annotated:
        hint = get_args(hint)[0]
    return get_args(hint)[0] if get_origin(hint) in (tuple, list) else hint


def numbers() -> list[tuple[str, str]]:
    """(record, field) of every int and float."""
    found = []
    for record in records():
        hints = get_type_hints(record, include_extras=True)
        for f in fields(record):
            if element(hints[f.name]) in (int, float):
                found.append((record.__name__, f.name))
    return found


NUMBERS = numbers()


def test_there_are_names_to_look_at() -> None:
    assert len(NUMBERS) > 300
    assert {"Inputs", "PlantState", "Rates", "SequenceSettings", "OilParameters"} <= {record for record, _ in NUMBERS}


@pytest.mark.parametrize("record", sorted({record for record, _ in NUMBERS}))
def test_every_number_of_a_record_ends_in_its_unit(record: str) -> None:
    bare = [
        name
        for owner, name in NUMBERS
        if owner == record
        and not suffix_of(name)
        and not any(name.endswith(f"_{suffix}") for suffix in INSIDE_ONLY)
        and name not in DIMENSIONLESS
        and f"{owner}.{name}" not in DIMENSIONLESS
    ]
    assert bare == []


def test_every_column_ends_in_its_unit() -> None:
    words = {name for name in COLUMNS if FORMS[name] is bool or issubclass(FORMS[name], IntEnum)}
    assert [n for n in COLUMNS if not suffix_of(n) and n not in DIMENSIONLESS and n not in words] == []
    assert {"mode", "motor_run", "capacity_load"} <= words


def test_the_list_of_exceptions_has_no_dead_entry_and_no_unit_in_it() -> None:
    seen = {name for _, name in NUMBERS} | {f"{owner}.{name}" for owner, name in NUMBERS} | set(COLUMNS)
    assert sorted(set(DIMENSIONLESS) - seen) == []
    assert [name for name in DIMENSIONLESS if suffix_of(name)] == []
    assert all(reason for reason in DIMENSIONLESS.values())


def test_the_two_rooms_keep_to_their_own_units() -> None:
    """SI in the plant; kPa, °C, A, kW and % in the cabinet."""
    cabinet_only, si_only = {"kpa_abs", "kpa", "c", "kw", "pct", "kpa_s"}, {"pa", "frac", "w", "j", "kg", "m3"}
    for record in records():
        room = record.__module__.split(".")[0]
        foreign = cabinet_only if room == "plant_model" else si_only
        found = [f.name for f in fields(record) if suffix_of(f.name) in foreign]
        # shares of a volume and of a ratio, which have no unit to convert
        assert [n for n in found if n not in ("trapped_fraction_frac", "through_path_margin_frac")] == [], (
            record.__name__
        )


LEAST_REASON = 4  # "4 mA": a transmitter's range says which end it is


def settings() -> Iterator[tuple[str, Field[Any], Any, Any]]:
    """(where, field, element type, default) of every leaf of the settings and of the plant's parameters."""

    def leaves(record: Any, where: str) -> Iterator[tuple[str, Field[Any], Any, Any]]:
        hints = get_type_hints(type(record), include_extras=True)
        for f in fields(record):
            value, place = getattr(record, f.name), f"{where}.{f.name}"
            if is_dataclass(value):
                yield from leaves(value, place)
            else:
                yield place, f, element(hints[f.name]), value

    for name, shipped in SHIPPED.items():
        yield from leaves(shipped.settings_type(), name)
    yield from leaves(PlantParameters(), "plant")


LEAVES = {where: (f, kind, value) for where, f, kind, value in settings()}


@pytest.mark.parametrize("where", LEAVES)
def test_a_setting_says_unit_range_and_reason(where: str) -> None:
    f, kind, value = LEAVES[where]
    m = f.metadata
    if kind is bool or (isinstance(kind, type) and issubclass(kind, IntEnum)):
        assert len(m["why"].strip()) >= LEAST_REASON
        return
    assert kind in (int, float)
    assert {"unit", "low", "high", "why"} <= set(m)
    assert len(m["why"].strip()) >= LEAST_REASON
    assert m["low"] < m["high"]
    for number in value if isinstance(value, tuple) else (value,):
        assert m["low"] <= number <= m["high"]
        assert type(number) is kind
    assert find_unit(m["unit"]) is not None
    suffix = suffix_of(f.name)
    if suffix:
        unit, of = UNIT_SUFFIXES[suffix]
        assert find_unit(m["unit"]).factor == find_unit(unit).factor
        assert not of or m["of"] == of
    if m["unit"] in ("kPa", "Pa", "°C", "K"):
        assert m["of"] in ("absolute", "difference")


def test_no_setting_is_without_a_default() -> None:
    assert len(LEAVES) > 200
    assert [where for where, (f, _, _) in LEAVES.items() if f.default is MISSING and f.default_factory is MISSING] == []


@pytest.mark.parametrize("record", [Inputs, Outputs])
def test_the_process_image_says_its_units(record: type) -> None:
    hints = get_type_hints(record)
    for f in fields(record):
        if hints[f.name] is float or f.name.endswith("_ms"):
            unit, _ = UNIT_SUFFIXES[suffix_of(f.name)]
            assert f.metadata["unit"] == unit
            assert f.metadata["low"] < f.metadata["high"]
