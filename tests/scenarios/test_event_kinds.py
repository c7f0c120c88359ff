"""Kinds of events: what each accepts and refuses."""

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from scenarios.event_kinds import EVENT_KINDS, Action, AnyEvent, LoadRamp, Operator, WaitFor
from scenarios.quantities import Site

ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyEvent)


def event(**keys: Any) -> Any:
    if "from_" in keys:
        keys["from"] = keys.pop("from_")
    return ADAPTER.validate_python(keys, context={"site": Site(101325.0)})


COMPLETE: list[dict[str, Any]] = [
    {"kind": "load_step", "at": "1 min", "change": "-50 kW"},
    {"kind": "load_step", "at": "1 min", "to": "300 kW"},
    {"kind": "load_ramp", "at": "1 min", "to": "300 kW", "over": "5 min"},
    {"kind": "batch_arrivals", "from_": "0 s", "until": "1 h", "every": "8 min", "heat": "60 kW", "lasting": "90 s"},
    {"kind": "load_loss", "at": "1 min"},
    {"kind": "load_log", "file": "a.csv", "scale": "80 %"},
    {"kind": "wet_bulb_drift", "from_": "0 s", "until": "1 h", "by": "-4 K"},
    {"kind": "wet_bulb_step", "at": "1 min", "to": "26 °C"},
    {"kind": "operator", "at": "1 min", "action": "remote_demand", "demand": "60 %"},
    {"kind": "instrument_fault", "at": "1 min", "instrument": "x", "fault": "bias", "size": "-3 %", "lasting": "1 h"},
    {"kind": "condenser_fans", "at": "1 min", "running": 0.5},
    {"kind": "safety_chain", "at": "1 min", "lasting": "2 s"},
    {"kind": "plant_fault", "at": "1 min", "fault": "oil_cooler_fouling", "size": "60 %", "over": "10 min"},
    {"kind": "plant_fault", "at": "1 min", "fault": "contactor_stuck", "lasting": "5 min"},
    {"kind": "evaporator_group", "at": "1 min", "group": 2, "open": "0 %", "load": "+40 kW"},
    {"kind": "defrost", "at": "1 min", "group": 1, "hot_gas": "15 min", "bleed_down": "3 min"},
    {"kind": "liquid_surge", "at": "1 min", "flow": "2 kg/s", "lasting": "30 s"},
    {"kind": "oil_loss", "at": "1 min", "flow": "0.01 kg/s"},
    {"kind": "other_compressor", "at": "1 min", "flow": "0.1 m³/s"},
    {"kind": "door_traffic", "from_": "0 s", "until": "1 h", "rate": "20 /h", "heat": "15 kW", "lasting": "40 s"},
    {"kind": "weather_log", "file": "a.csv", "day": "07-14", "clock": "06:30"},
    {"kind": "coolant_drift", "from_": "0 s", "until": "1 h", "by": "6 K"},
    {"kind": "power_dip", "at": "1 min", "lasting": "2 s"},
    {"kind": "late_scan", "at": "1 min", "lasting": "300 ms"},
    {"kind": "valves_closed", "at": "1 min"},
    {"kind": "settings_change", "at": "1 min", "setting": "pi.integral_time", "value": "45 s"},
    {"kind": "wait_for", "column": "x_pa", "above": "1 kPa", "then": {"kind": "load_loss"}},
]


@pytest.mark.parametrize(
    "keys",
    [
        {"fault": "oil_cooler_foulin", "size": "60 %"},
        {"fault": "oil_cooler_fouling"},
        {"fault": "oil_cooler_fouling", "size": "160 %"},
        {"fault": "contactor_stuck", "size": "10 %"},
        {"fault": "contactor_stuck", "over": "10 s"},
    ],
)
def test_a_fault_that_is_unknown_or_wrongly_sized_is_refused(keys: dict[str, str]) -> None:
    with pytest.raises(
        ValidationError, match=r"did you mean|needs a size|size of|less than|takes no size|cannot grow|at most|above"
    ):
        event(kind="plant_fault", at="1 min", **keys)


def test_every_kind_is_tried_here() -> None:
    assert {keys["kind"] for keys in COMPLETE} == set(EVENT_KINDS)


@pytest.mark.parametrize("keys", COMPLETE, ids=lambda keys: keys["kind"])
def test_a_complete_event_is_accepted_and_frozen(keys: dict[str, Any]) -> None:
    made = event(**keys)
    assert type(made) is EVENT_KINDS[keys["kind"]]
    assert made.starts_ms == (60_000 if "at" in keys else 0)
    with pytest.raises(ValidationError, match="frozen"):
        made.kind = "other"


@pytest.mark.parametrize("keys", COMPLETE, ids=lambda keys: keys["kind"])
def test_an_unknown_key_is_refused(keys: dict[str, Any]) -> None:
    with pytest.raises(ValidationError, match="Extra inputs are not permitted"):
        event(**keys, wrong=1)


def test_values_arrive_in_their_units() -> None:
    ramp = event(kind="load_ramp", at="1 min", to="300 kW", over="5 min")
    assert ramp == LoadRamp(kind="load_ramp", at="60 s", to="300000 W", over="300 s")  # type: ignore[arg-type]
    assert (ramp.at_ms, ramp.to_w, ramp.over_ms) == (60_000, 300e3, 300_000)
    assert type(ramp.at_ms) is int
    assert event(kind="wet_bulb_step", at="0 s", to="26 °C").to_k == pytest.approx(299.15)
    assert event(kind="wet_bulb_drift", until="1 h", by="-4 K", from_="0 s").by_k == -4.0
    assert event(kind="load_log", file="a.csv").scale == 1.0
    doors = {"kind": "door_traffic", "from_": "1 h", "until": "3 h", "heat": "15 kW", "lasting": "40 s"}
    for written in ("36 /h", "36 1/h", "36/h", "36 per hour", "36.0 an hour"):
        assert event(**doors, rate=written).rate_at_1_s(7.2e6) == pytest.approx(0.01)
    assert event(**doors, rate="0 /h", rate_until="72 /h").rate_at_1_s(7.2e6) == pytest.approx(0.01)
    assert event(**COMPLETE[8]).demand_pct == 60.0
    spans = event(kind="instrument_fault", at="0 s", instrument="x", fault="wrong_span", size="250 %")
    assert spans.size_frac == 2.5, "a transmitter of 0–25 bar on a card set for 0–10 bar"


def test_a_watch_carries_its_event_without_a_time() -> None:
    watch = event(**COMPLETE[-1], after="10 s", within="5 min")
    assert isinstance(watch, WaitFor)
    assert (watch.then.kind, watch.then.at_ms, watch.after_ms, watch.within_ms) == ("load_loss", 0, 10_000, 300_000)


@pytest.mark.parametrize("action", Action)
def test_a_demand_belongs_to_some_actions_only(action: Action) -> None:
    keys = {"kind": "operator", "at": "1 s", "action": action.value}
    wants = action in Operator.WITH_DEMAND
    with pytest.raises(ValidationError, match="needs a demand" if wants else "takes no demand"):
        event(**keys, **({} if wants else {"demand": "5 %"}))
    assert event(**keys, **({"demand": "5 %"} if wants else {})).action is action


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"kind": "load_step", "at": "1 s"}, 'give either "change" or "to"'),
        ({"kind": "load_step", "at": "1 s", "to": "1 kW", "change": "1 kW"}, 'give either "change" or "to"'),
        ({"kind": "load_step", "at": "1 s", "to": "-1 kW"}, "out of range"),
        ({"kind": "load_step", "at": "-1 s", "to": "1 kW"}, "out of range"),
        ({"kind": "load_step", "at": 1, "to": "1 kW"}, "the bare number 1 has no unit"),
        ({"kind": "load_ramp", "at": "1 s", "to": "1 kW", "over": "0 s"}, "out of range"),
        ({**COMPLETE[3], "until": "0 s"}, '"until" must be later than "from"'),
        ({"kind": "door_traffic", "from_": "1 h", "until": "1 h", "rate": "9 /h", "heat": "1 kW", "lasting": "1 s"},
         '"until" must be later than "from"'),
        ({"kind": "door_traffic", "from_": "0 s", "until": "1 h", "rate": "-1 /h", "heat": "1 kW", "lasting": "1 s"},
         'write how often in an hour, for example "20 /h"'),
        ({"kind": "door_traffic", "from_": "0 s", "until": "1 h", "rate": "9999 /h", "heat": "1 kW", "lasting": "1 s"},
         "9999 /h is out of range; allowed: 0 to 3600 /h"),
        ({"kind": "weather_log", "file": "a.csv", "day": "02-29"}, "no day of a typical year"),
        ({"kind": "weather_log", "file": "a.csv", "day": "14 July"}, "no day of a typical year"),
        ({"kind": "weather_log", "file": "a.csv", "day": "07-14", "clock": "24:00"}, "match pattern"),
        ({"kind": "wet_bulb_drift", "from_": "0 s", "until": "1 h", "by": "4 °C"}, 'write "4 K"'),
        ({"kind": "condenser_fans", "at": "1 s", "running": "120 %"}, "out of range"),
        ({"kind": "instrument_fault", "at": "1 s", "instrument": "x", "fault": "stuck", "size": "1 %"}, "to a bias"),
        ({"kind": "instrument_fault", "at": "1 s", "instrument": "x", "fault": "bias"}, "belongs to a bias"),
        ({"kind": "instrument_fault", "at": "1 s", "instrument": "x", "fault": "bias", "size": "120 %"},
         '"120 %" is out of range; allowed: at least -100 %, at most 100 %'),
        ({"kind": "instrument_fault", "at": "1 s", "instrument": "x", "fault": "wrong_span", "size": 0},
         "0 is out of range; allowed: at least 0.01, at most 10"),
        ({"kind": "plant_fault", "at": "1 s", "fault": "strainer_fouling", "size": "99 %"},
         '"99 %" is out of range; allowed: at least 0 %, at most 98 %'),
        ({"kind": "operator", "at": "1 s", "action": "remote_demand", "demand": "-5 %"}, "0 % to 100 %"),
        ({**COMPLETE[-1], "below": "1 kPa"}, 'give either "above" or "below"'),
        ({**COMPLETE[-1], "then": {"kind": "load_loss", "at": "1 s"}}, 'takes no "at"'),
    ],
)  # fmt: skip
def test_what_is_refused(keys: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        event(**keys)
    assert words in str(caught.value)
