"""The forms of the page: each, with each of its choices, is an event that the loader knows."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter

from plant_model.instruments import Channel
from scenarios.event_kinds import AnyEvent
from scenarios.fault_table import FAULTS
from scenarios.quantities import Site
from tools.live_bench.bench import BY_HAND
from tools.live_bench.forms import FORMS, GROUPS, Form

ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyEvent)


def sized(event: dict[str, Any]) -> dict[str, Any]:
    """The event with a size where its fault takes one, and without where not."""
    fault = event.get("fault")
    takes = FAULTS[fault].sized if event["kind"] == "plant_fault" else fault in ("bias", "drift", "wrong_span")
    if not takes:
        event.pop("size", None)
    elif "size" not in event:
        event["size"] = "1 %"
    return event


def events_of(form: Form) -> list[dict[str, Any]]:
    """The form as it stands, and with each choice of each list."""
    plain = {**form.event, **{f.key: int(f.default) if f.whole else f.default for f in form.fields if f.default}}
    more = [{**plain, f.key: int(v) if f.whole else v} for f in form.fields for v, _ in f.choices]
    return [sized(dict(event)) for event in (plain, *more)]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.id)
def test_every_choice_is_an_event(form: Form) -> None:
    for event in events_of(form):
        made = ADAPTER.validate_python({**event, "at": "1 s"}, context={"site": Site(101325.0)})
        assert made.kind in BY_HAND
    assert form.group in GROUPS
    assert len({field.key for field in form.fields}) == len(form.fields)


def test_the_forms_offer_every_fault_and_instrument() -> None:
    offered = {v for form in FORMS for field in form.fields for v, _ in field.choices}
    offered |= {value for form in FORMS for value in form.event.values()}
    assert set(FAULTS) <= offered
    assert {channel.name.lower() for channel in Channel} <= offered
    assert len({form.id for form in FORMS}) == len(FORMS)
