"""What columns say of each other: each contradiction takes a unit into question, and silence takes none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scenarios.logged_data.matching import Proposal, propose_columns
from scenarios.logged_data.records import RawColumn, RawFile
from scenarios.logged_data.relations import (
    UNCONFIRMED,
    check_relations,
    contradictions,
    saturation_of,
    settle_references,
)

BAROMETRIC_PA = 101_325.0
ROWS = 200
SOUND = {  # ammonia at −10/35 °C; saturation from CoolProp: 290.8 kPa and 1350 kPa
    "Suction pressure [bar(a)]": 2.91, "Discharge pressure [bar(a)]": 13.5, "Suction temp [°C]": -5.0,
    "Discharge temp [°C]": 72.0, "Oil pressure [bar(a)]": 15.5, "Oil temp [°C]": 48.0, "Motor current [A]": 205.0,
    "Motor power [kW]": 112.0, "Room temp [°C]": -2.0,
}  # fmt: skip
SOUND_C = {"suction_temp": -5.0, "discharge_temp": 72.0, "oil_temp": 48.0, "room_temp": -2.0}
WARM: dict[str, float | str] = {"suction_pressure": 5.2, "suction_temp": 9.0}


def proposals(**changed: float | str) -> dict[str, Proposal]:
    """Proposals by header without its unit, with values or whole headers changed."""
    columns = []
    wave = 1.0 + 0.004 * np.sin(np.arange(ROWS) / 9.0)
    for header, value in SOUND.items():
        name, _, unit = header.removesuffix("]").partition(" [")
        key = name.replace(" ", "_").lower()
        if key in changed and changed[key] == "":
            continue
        unit = str(changed.get(f"{key}_unit", unit))
        columns.append(RawColumn(name, unit, values=float(changed.get(key, value)) * wave))
    raw = RawFile(
        Path("x.csv"), "", "trends", "wide", np.arange(ROWS, dtype=np.int64) * 1000, np.arange(ROWS), columns, [], {}
    )
    found = propose_columns(raw, BAROMETRIC_PA)
    saturation = saturation_of("R717")
    settle_references(raw, found, saturation, BAROMETRIC_PA)
    check_relations(found, saturation, BAROMETRIC_PA)
    return {p.column.name: p for p in found}


def test_a_sound_machine_raises_no_question() -> None:
    assert {name: p.unit for name, p in proposals().items() if p.asks} == {}


@pytest.mark.parametrize(
    ("changed", "doubted", "words"),
    [
        (WARM | {"discharge_pressure": 5.1}, {"Suction pressure", "Discharge pressure"}, "would be below suction"),
        ({"suction_temp": -20.0}, {"Suction temp", "Suction pressure"}, "K of superheat"),
        ({"oil_temp": 65.0, "discharge_temp": 55.0}, {"Oil temp", "Discharge temp"}, "hotter than the discharge"),
        (
            {"discharge_temp": 38.0, "discharge_pressure": 18.5, "oil_pressure": 19.5, "oil_temp": 37.0},
            {"Discharge temp", "Discharge pressure"},
            "below saturation",
        ),
        (WARM | {"oil_pressure": 4.9, "discharge_pressure": 8.0}, {"Oil pressure"}, "below suction"),
        ({"oil_pressure": 24.0}, {"Oil pressure", "Discharge pressure"}, "do not belong together"),
        ({"motor_power": 15.0}, {"Motor power", "Motor current"}, "too little power"),
        ({"room_temp": 20.0}, {"Room temp"}, "above the saturated suction"),
    ],
)
def test_a_contradiction_is_asked_about(changed: dict[str, float | str], doubted: set[str], words: str) -> None:
    found = proposals(**changed)
    for name in doubted:
        assert found[name].unit == "?", name
        assert words in " ".join(found[name].reasons), name
    assert found["Motor current"].asks == ("Motor current" in doubted)


def test_fahrenheit_is_asked_about_even_where_the_pressures_reference_is_open() -> None:
    hot = {k: SOUND_C[k] * 1.8 + 32.0 for k in SOUND_C}
    plain = {f"{k}_unit": "bar" for k in ("suction_pressure", "discharge_pressure", "oil_pressure")}
    pressures = {"suction_pressure": 1.91, "discharge_pressure": 12.5, "oil_pressure": 14.5}
    for found in (proposals(**plain, **pressures, **hot), proposals(**hot)):
        for name in ("Suction temp", "Discharge temp", "Oil temp", "Room temp"):
            assert found[name].unit == "?", name
            assert "°F" in found[name].units, name


def test_two_columns_under_each_others_header_are_both_asked_about() -> None:
    found = proposals(motor_power=55.0, motor_current=112.0, oil_temp=13.5, discharge_pressure=48.0)
    for name in ("Oil temp", "Discharge pressure"):
        assert found[name].asks
        assert "under each other's header" in " ".join(found[name].reasons)
    assert not found["Suction temp"].asks


def test_suction_gas_tells_gauge_from_absolute_for_the_whole_file() -> None:
    """Ammonia gas of 6 °C at 4.9 bar has 3 K of superheat as absolute and would be 3 K too cold as gauge; of −5 °C at
    1.91 bar it may be both (5 and 15 K)."""
    plain = {f"{k}_unit": "bar" for k in ("suction_pressure", "discharge_pressure", "oil_pressure")}
    found = proposals(**plain, suction_pressure=4.9, discharge_pressure=12.5, oil_pressure=14.5, suction_temp=6.0)
    assert found["Suction pressure"].unit == "bar(a)"  # as gauge the gas would be colder than saturation
    assert found["Discharge pressure"].unit == "bar(a)"
    both = proposals(**plain, suction_pressure=1.91, discharge_pressure=12.5, oil_pressure=14.5)
    assert both["Suction pressure"].unit == "?"
    assert "does not decide" in " ".join(both["Suction pressure"].reasons)


def test_what_is_not_known_contradicts_nothing() -> None:
    """A pressure whose reference is open has no value yet: no reason may be drawn from it."""
    plain = {f"{k}_unit": "bar" for k in ("suction_pressure", "discharge_pressure", "oil_pressure")}
    found = proposals(**plain, suction_pressure=1.91, discharge_pressure=12.5, oil_pressure=14.5)
    assert found["Discharge pressure"].unit == "?"
    for one in found.values():
        assert "nan" not in " ".join(one.reasons)


def test_without_suction_gas_the_reference_is_told_to_be_unconfirmed() -> None:
    assert UNCONFIRMED in proposals(suction_temp="")["Suction pressure"].reasons
    assert UNCONFIRMED not in proposals()["Suction pressure"].reasons


def test_gauge_and_absolute_in_one_file_are_asked_about() -> None:
    found = proposals(discharge_pressure_unit="bar(g)", discharge_pressure=12.5)
    assert found["Discharge pressure"].unit == found["Oil pressure"].unit == "?"


def test_units_that_somebody_answered_wrongly_are_told_when_the_log_is_read() -> None:
    sound = {
        "suction_pressure_kpa_abs": 291.0, "discharge_pressure_kpa_abs": 1350.0, "oil_pressure_kpa_abs": 1550.0,
        "suction_temperature_c": -5.0, "discharge_temperature_c": 72.0, "oil_temperature_c": 48.0,
    }  # fmt: skip
    saturation = saturation_of("R717")
    assert contradictions(sound, saturation) == []
    assert contradictions({"oil_temperature_c": 48.0}, saturation) == []
    (text,) = contradictions(sound | {"suction_temperature_c": 23.0}, saturation)  # −5 °C in °F, under °C
    assert "33 K of superheat" in text
    assert len(contradictions(sound | {"discharge_pressure_kpa_abs": 200.0}, saturation)) == 1
    assert "hotter" in contradictions(sound | {"discharge_temperature_c": 40.0}, saturation)[0]
    assert (
        "below saturation"
        in contradictions(sound | {"discharge_temperature_c": 20.0, "oil_temperature_c": 20.0}, saturation)[0]
    )
    assert "below suction" in contradictions(sound | {"oil_pressure_kpa_abs": 250.0}, saturation)[0]
