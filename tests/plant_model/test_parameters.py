"""The plant's parameters: every field documented and inside its limits, and the checks between fields."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from enum import IntEnum
from typing import Any

import pytest

from plant_model.oil_parameters import CoolerKind
from plant_model.parameters import InstrumentsParameters, OilParameters, PlantParameters, cross_check
from plant_model.slide_drive_parameters import DriveKind


def leaves(record: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    for f in fields(record):
        value = getattr(record, f.name)
        if is_dataclass(value):
            yield from leaves(value, f"{path}{f.name}.")
        else:
            yield path + f.name, f, value


LEAVES = list(leaves(PlantParameters()))


@pytest.mark.parametrize(("path", "f", "value"), LEAVES, ids=[path for path, _, _ in LEAVES])
def test_each_field_says_unit_limits_and_reason(path: str, f: Any, value: Any) -> None:
    assert f.metadata["why"]
    if isinstance(value, bool):
        return
    values = value if isinstance(value, tuple) else (value,)
    if not isinstance(value, IntEnum):
        assert all(f.metadata["low"] <= one <= f.metadata["high"] for one in values)
    unit = f.metadata["unit"]
    if unit in ("Pa", "K"):
        assert f.metadata["of"] in ("absolute", "difference")
    suffix = {
        "Pa": "_pa",
        "K": "_k",
        "ms": "_ms",
        "W": "_w",
        "W/K": "_w_k",
        "J/K": "_j_k",
        "kg": "_kg",
        "kg/s": "_kg_s",
        "m³": "_m3",
        "m³/s": "_m3_s",
        "A": "_a",
        "V": "_v",
    }.get(unit)
    assert suffix is None or f.name.endswith(suffix), path


def test_the_demo_plant_makes_sense() -> None:
    assert cross_check(PlantParameters()) == []


def changed(section: str, **change: Any) -> PlantParameters:
    plant = PlantParameters()
    return replace(plant, **{section: replace(getattr(plant, section), **change)})


@pytest.mark.parametrize(
    ("plant", "word"),
    [
        (changed("suction_vessel", high_high_level_frac=0.42), "high-high level"),
        (changed("suction_vessel", level_set_frac=0.05), "run dry"),
        (changed("capacity_drive", rated_hydraulic_pa=1.0e5), "capacity_drive"),
        (changed("volume_ratio_drive", friction_pa=2.0e6), "volume_ratio_drive"),
        (changed("oil", set_point_k=290.0), "coolant"),
        (changed("oil", charge_kg=300.0), "overfills"),
        (changed("oil", circulation_ms=200_000), "on their way round"),
        (changed("oil", circulation_ms=120_000), "cover the outlet"),
        (changed("oil", viscosity_at_100c_m2_s=80.0e-6), "viscosity"),
        (changed("motor", coupling_torque_frac=2.0), "coupling"),
        (changed("rating", use=True), "check coefficients"),
    ],
)
def test_contradictions_are_named(plant: PlantParameters, word: str) -> None:
    found = cross_check(plant)
    assert len(found) == 1
    assert word in found[0]


@pytest.mark.parametrize("name", [f.name for f in fields(InstrumentsParameters)][:15])
def test_an_upside_down_span_is_named(name: str) -> None:
    instrument = getattr(InstrumentsParameters(), name)
    low, high = (f.name for f in fields(instrument)[:2])
    turned = replace(instrument, **{low: getattr(instrument, high), high: getattr(instrument, low)})
    plant = changed("instruments", **{name: turned})
    assert [text.split(":")[0] for text in cross_check(plant)] == [f"instruments.{name}"]


def test_a_channel_keeps_its_own_defaults_when_one_value_is_given() -> None:
    kind = type(InstrumentsParameters().oil_pressure)
    assert kind(lag_ms=900).high_pa == InstrumentsParameters().oil_pressure.high_pa


def test_a_motorised_drive_asks_for_no_oil_pressure_and_other_coolers_for_no_cold_water() -> None:
    assert cross_check(changed("capacity_drive", kind=DriveKind.MOTORISED, rated_hydraulic_pa=1.0e5)) == []
    for kind in (CoolerKind.THERMOSIPHON, CoolerKind.LIQUID_INJECTION):
        assert cross_check(changed("oil", cooler=kind, coolant_k=330.0)) == []


def test_no_pump_is_a_plant() -> None:
    assert cross_check(replace(PlantParameters(), oil=OilParameters(pump_rise_pa=0.0))) == []
