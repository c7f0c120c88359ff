"""The scenario schema."""

import json

import pytest
from pydantic import ValidationError

from scenarios.event_kinds import EVENT_KINDS
from scenarios.quantities import Site
from scenarios.scenario import MachineAtStart, ScenarioFile, Start, scenario_schema


def start(**keys: object) -> Start:
    return Start.model_validate(keys, context={"site": Site(100e3)})


def test_schema_for_editors_names_every_key_as_in_the_file() -> None:
    schema = scenario_schema()
    json.dumps(schema)
    assert set(schema["properties"]) == {
        "title", "purpose", "expects", "plant", "controller", "settings", "duration", "seed", "start", "event",
        "controller_clock", "made_from",
    }  # fmt: skip
    assert set(schema["required"]) == {"title", "purpose", "expects", "plant", "controller", "duration"}
    assert schema["additionalProperties"] is False
    assert set(schema["properties"]["event"]["items"]["discriminator"]["mapping"]) == set(EVENT_KINDS)
    assert schema["$defs"]["BatchArrivals"]["properties"]["from"]["type"] == "string"


def test_start_is_stopped_unless_said() -> None:
    assert start().machine is MachineAtStart.STOPPED
    assert start(machine="running").machine == "running"


def test_start_in_gauge() -> None:
    assert start(suction_pressure="1.9 bar(g)").suction_pressure_pa == 290e3


@pytest.mark.parametrize("discharge", ["290 kPa", "200 kPa"])
def test_condensing_below_suction_is_refused(discharge: str) -> None:
    with pytest.raises(ValidationError, match="condensing below suction"):
        start(machine="running", suction_pressure="290 kPa", discharge_pressure=discharge)


def test_a_stopped_plant_may_be_equalised() -> None:
    assert start(suction_pressure="290 kPa", discharge_pressure="290 kPa").discharge_pressure_pa == 290e3


def test_travel_over_100_percent_is_refused() -> None:
    with pytest.raises(ValidationError, match="out of range"):
        start(capacity_travel="140 %")


@pytest.mark.parametrize("seed", [-1, 2**63, 1.0, "1", True])
def test_a_seed_is_a_whole_number_not_negative(seed: object) -> None:
    keys = {"title": "a", "purpose": "a", "expects": "a", "plant": "a", "controller": "a", "duration": "1 s"}
    assert ScenarioFile.model_validate(keys).seed == 1
    with pytest.raises(ValidationError):
        ScenarioFile.model_validate({**keys, "seed": seed})
