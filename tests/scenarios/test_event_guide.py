"""The generated guide of a scenario file: nothing of the models is missing, and its ranges are those that hold."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from pydantic import TypeAdapter, ValidationError

from plant_model.instruments import Fault
from scenarios.event_guide import INSTRUMENTS, event_rows, scenario_rows
from scenarios.event_kinds import EVENT_KINDS, AnyEvent
from scenarios.fault_table import FAULTS
from scenarios.guide_rows import OPTIONAL, REQUIRED, GuideRow
from scenarios.instrument_fault_table import INSTRUMENT_FAULTS
from scenarios.preparation import known
from scenarios.quantities import Site
from scenarios.scenario import ScenarioFile, Start

ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyEvent)
ROWS: dict[str, GuideRow] = {row.name: row for row in event_rows()}
FAULTY = {"kind": "instrument_fault", "at": "1 s", "instrument": "oil_level"}


def accepted(keys: dict[str, Any]) -> bool:
    try:
        ADAPTER.validate_python(keys, context={"site": Site(101325.0)})
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_every_key_of_every_kind_is_listed(kind: str) -> None:
    model = EVENT_KINDS[kind]
    assert len(ROWS[f'[[event]] kind = "{kind}"'].why) > 20
    for name, field in model.model_fields.items():
        if name != "kind":
            row = ROWS[f"{kind}.{field.alias or name}"]
            assert row.range, row
            assert len(row.why.split("; for example")[0]) > 8, "a meaning, not an example alone"
            assert not row.why.startswith("for example")
            assert (row.default == REQUIRED) is field.is_required()


def test_units_ranges_and_defaults_are_those_of_a_file() -> None:
    assert ROWS["load_step.change"][1:4] == ("kW", "-100000 kW to 100000 kW", OPTIONAL)
    assert ROWS["condenser_fans.running"][1:3] == ("%", "0 % to 100 %")
    assert ROWS["wet_bulb_step.to"][1:3] == ("°C", "-60 °C to 60 °C")
    assert ROWS["wet_bulb_drift.by"][1:3] == ("K", "-60 K to 60 K")
    assert ROWS["door_traffic.rate"].range == "0 /h to 3600 /h"
    assert ROWS["defrost.group"].range == "1 to 4"
    assert ROWS["weather_log.clock"].default == "00:00"
    assert ROWS["load_log.scale"].default == "1"
    assert "announce_load" in ROWS["operator.action"].range


@pytest.mark.parametrize(
    "keys",
    [
        *({"kind": "plant_fault", "at": "1 s", "fault": name} for name in FAULTS),
        *(FAULTY | {"fault": name} for name in INSTRUMENT_FAULTS),
    ],
    ids=lambda keys: keys["fault"],
)
def test_a_fault_takes_the_sizes_of_its_row(keys: dict[str, str]) -> None:
    row = ROWS[f'{keys["kind"]}.fault = "{keys["fault"]}"']
    specs: dict[str, Any] = {**FAULTS, **INSTRUMENT_FAULTS}
    assert row.why.startswith(specs[keys["fault"]].text)
    if row.range == "takes no size":
        assert accepted(keys)
        assert not accepted(keys | {"size": "10 %"})
        return
    low, high = row.range.split(" to ")
    assert accepted(keys | {"size": low})
    assert accepted(keys | {"size": high})
    for beyond in (f"{float(low.split()[0]) - 1} %", f"{float(high.split()[0]) + 1} %"):
        assert not accepted(keys | {"size": beyond})


def test_the_instrument_faults_are_those_of_model_and_plant() -> None:
    model = EVENT_KINDS["instrument_fault"].model_fields["fault"].annotation
    assert tuple(INSTRUMENT_FAULTS) == get_args(model)
    assert {name.upper() for name in INSTRUMENT_FAULTS} == {fault.name for fault in Fault} - {"NONE"}
    for name, spec in INSTRUMENT_FAULTS.items():
        sized = bool(spec.size)
        assert accepted(FAULTY | {"fault": name, "size": "5 %"}) is sized
        assert accepted(FAULTY | {"fault": name}) is not sized
        assert (ROWS[f'instrument_fault.fault = "{name}"'].range == "takes no size") is not sized


def test_names_that_an_event_may_use_are_those_that_the_loader_knows() -> None:
    assert known().instruments == INSTRUMENTS
    assert ROWS["instrument_fault.instrument"].range == ", ".join(INSTRUMENTS)
    assert ROWS["wait_for.column"].range == ", ".join(known().columns)


def test_what_may_wait_is_what_the_loader_lets_wait() -> None:
    told = ROWS["wait_for.then"].range
    for kind in EVENT_KINDS:
        refused = ""
        try:
            ADAPTER.validate_python({"kind": "wait_for", "column": "x", "above": 1, "then": {"kind": kind}})
        except ValidationError as error:
            refused = str([d["type"] for d in error.errors()])
        assert (kind in told.removeprefix("a table: an event of ").split(", ")) is ("union_tag_invalid" not in refused)


def test_every_key_of_a_scenario_and_of_its_start() -> None:
    rows = {row.name: row for row in scenario_rows()}
    for name, field in ScenarioFile.model_fields.items():
        if name != "event":
            assert rows[field.alias or name].range
    for name, field in Start.model_fields.items():
        assert rows[f"start.{field.alias or name}"].range
    assert all(row.why for row in rows.values()), "a meaning"
    assert rows["duration"].range == "1 ms to 366 d"
    assert rows["seed"].default == "1"
    assert rows["start.machine"][2:4] == ("running, stopped", "stopped")
    assert rows["start.capacity_travel"].range == "0 % to 100 %"
    assert all(kind in rows["[[event]]"].range for kind in EVENT_KINDS)
