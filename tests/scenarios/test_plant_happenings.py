"""Faults and happenings of machine and plant: each writes what it says, when it says, and heals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import simpy
from pydantic import TypeAdapter

from plant_model.state import Disturbances
from scenarios.event_kinds import AnyEvent
from scenarios.fault_table import FAULTS
from scenarios.plant_happenings import HAPPENINGS
from scenarios.quantities import Site
from scenarios.wiring import Operator
from scenarios.world import World

ADAPTER: TypeAdapter[Any] = TypeAdapter(AnyEvent)


class Bare:
    """Just what a World needs of a scenario: its events."""

    def __init__(self, events: list[Any]) -> None:
        self.events = tuple(events)
        self.thresholds: dict[int, Any] = {}
        self.load_logs: dict[str, Any] = {}


def world(*tables: dict[str, Any]) -> World:
    events = [ADAPTER.validate_python(t, context={"site": Site(101325.0)}) for t in tables]
    made = World(simpy.Environment(), Operator(), Disturbances(), np.zeros(80), [], Bare(events), 1)  # type: ignore[arg-type]
    made.start_all()
    return made


def at(made: World, seconds: float) -> Disturbances:
    made.env.run(until=round(seconds * 1000) + 1)
    return made.disturbances


def read(record: Any, path: tuple[str, ...]) -> Any:
    for name in path:
        record = getattr(record, name)
    return record


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_changes_its_own_disturbance_and_heals(name: str) -> None:
    spec = FAULTS[name]
    table = {"kind": "plant_fault", "at": "10 s", "fault": name, "lasting": "20 s"}
    made = world({**table, "size": "30 %"} if spec.sized else table)
    healthy = Disturbances()
    assert at(made, 9) == healthy
    now = at(made, 15)
    assert read(now, spec.path) != read(healthy, spec.path)
    expected: dict[str, Any] = {"lost": 0.3, "left": 0.7, "per_minute": 0.3 / 60.0, "switch": True}
    assert read(now, spec.path) == pytest.approx(expected[spec.form])
    spec.apply(now, 0.0)
    assert now == healthy, "it touched something else"
    assert at(made, 31) == healthy
    assert [event.source for event in made.noted] == [name, name]


def test_a_growing_fault_is_half_way_at_half_time() -> None:
    made = world({"kind": "plant_fault", "at": "0 s", "fault": "strainer_fouling", "size": "60 %", "over": "100 s"})
    assert at(made, 50.5).strainer_fouling_frac == pytest.approx(0.30, abs=0.031)
    assert at(made, 100.5).strainer_fouling_frac == pytest.approx(0.60)


def test_a_defrost_goes_through_its_phases() -> None:
    made = world({"kind": "defrost", "at": "5 s", "group": 3, "hot_gas": "10 s", "bleed_down": "4 s"})
    phases = [at(made, t).defrost[2] for t in (4, 6, 14.5, 16, 18.5, 20)]
    assert phases == [0, 1, 1, 2, 2, 0]
    assert made.disturbances == Disturbances()


def test_groups_surges_and_losses_come_and_go() -> None:
    made = world(
        {"kind": "evaporator_group", "at": "1 s", "group": 1, "open": "20 %", "load": "+30 kW", "lasting": "5 s"},
        {"kind": "liquid_surge", "at": "2 s", "flow": "2 kg/s", "lasting": "3 s"},
        {"kind": "liquid_surge", "at": "3 s", "flow": "1 kg/s", "lasting": "3 s"},
        {"kind": "oil_loss", "at": "2 s", "flow": "0.02 kg/s", "lasting": "3 s"},
        {"kind": "other_compressor", "at": "2 s", "flow": "0.1 m³/s"},
        {"kind": "other_compressor", "at": "8 s", "flow": "0 m³/s"},
    )
    d = at(made, 4)
    assert (d.group_open_frac[0], d.group_load_w[0], d.surge_kg_s) == (0.2, 30e3, 3.0)
    assert (d.oil_loss_kg_s, d.other_compressor_m3_s) == (0.02, 0.1)
    assert at(made, 9) == Disturbances()


def test_the_coolant_follows_its_line() -> None:
    made = world({"kind": "coolant_drift", "from": "10 s", "until": "60 s", "by": "5 K"})
    d = at(made, 30)
    rise_k = d.coolant_rise_k + d.coolant_rise_rate_k_s * (30_000 - d.coolant_since_ms) / 1000.0
    assert rise_k == pytest.approx(2.0)
    d = at(made, 70)
    assert (d.coolant_rise_k, d.coolant_rise_rate_k_s) == (pytest.approx(5.0), 0.0)


def test_a_power_dip_takes_the_cabinet_with_it() -> None:
    made = world(
        {"kind": "power_dip", "at": "1 s", "lasting": "2 s"}, {"kind": "valves_closed", "at": "5 s", "lasting": "1 s"}
    )
    assert not at(made, 2).supply_on
    assert not made.operator.supply_on
    assert at(made, 4).supply_on
    assert made.operator.supply_on
    at(made, 5.5)
    assert not made.operator.valves_open
    at(made, 7)
    assert made.operator.valves_open


def test_scans_are_late_until_the_last_that_holds_them_is_over() -> None:
    made = world(
        {"kind": "late_scan", "at": "10 s", "lasting": "3 s"}, {"kind": "late_scan", "at": "12 s", "lasting": "4 s"}
    )
    seen = []
    for seconds in (9, 11, 14, 17):
        at(made, seconds)
        seen.append(made.operator.scanned)
    assert seen == [True, False, False, True]


def test_every_happening_is_tried_in_this_file() -> None:
    text = __import__("pathlib").Path(__file__).read_text(encoding="utf-8")
    for model in HAPPENINGS:
        kind = model.model_fields["kind"].annotation.__args__[0]
        assert f'"kind": "{kind}"' in text
