"""Complaints about a scenario's events: value and limit, and no sentence of the validation library."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from scenarios.event_kinds import AnyEvent
from scenarios.model_errors import problem_of
from scenarios.quantities import Site

ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyEvent)
DEFROST = {"kind": "defrost", "at": "1 min", "group": 1, "hot_gas": "15 min", "bleed_down": "3 min"}


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (DEFROST | {"group": 7}, "group: 7 is out of range; allowed: at most 4"),
        (DEFROST | {"group": 0}, "group: 0 is out of range; allowed: at least 1"),
        (DEFROST | {"group": "2"}, 'group: "2" is not a whole number, without quotes'),
        (DEFROST | {"hot_gas": "-4 h"}, 'hot_gas: "-4 h" is out of range; allowed: at least 1 ms'),
        ({"kind": "condenser_fans", "at": "1 s", "running": "150 %"}, "at least 0 %, at most 100 %"),
        ({"kind": "condenser_fans", "at": "1 s", "running": "150 %"}, 'running: "150 %" is out of range'),
        ({"kind": "load_log", "file": ""}, "file: must not be empty"),
        ({"kind": "load_log", "file": 3}, "file: 3 is not a text in quotes"),
        ({"kind": "operator", "at": "1 s", "action": "reste"}, '"reste" is not one of the choices; did you mean "reset"?'),
        ({"kind": "instrument_fault", "at": "1 s", "instrument": "x", "fault": "bent"}, "known: bias, drift, open_circuit"),
        ({"kind": "weather_log", "file": "a", "day": "07-14", "clock": "25:00"}, '"25:00" does not have the right form'),
        ({"kind": "wait_for", "column": "x", "above": 1, "then": 4}, "then: 4 is not a table"),
        (
            {"kind": "wait_for", "column": "x", "above": 1, "then": {"kind": "door_traffic"}},
            "then: this kind of event cannot wait for something",
        ),
        ({"kind": "load_step", "at": "1 s"}, 'give either "change" or "to"'),
    ],
)  # fmt: skip
def test_own_words_with_value_and_limit(keys: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        ADAPTER.validate_python(keys, context={"site": Site(101325.0)})
    details = caught.value.errors(include_url=False)
    told = [str(problem_of(d, ".".join(map(str, d["loc"][1:])))) for d in details]
    assert any(words in text for text in told), told
    assert not any("should be" in text or "Input" in text for text in told), told
