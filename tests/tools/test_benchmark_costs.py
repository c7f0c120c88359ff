"""What the benchmarks say of costs: differences, parts, components, growth.  No figure in seconds is asserted."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.registry import SHIPPED
from plant_model.plant import step as plant_step
from plant_model.state import Actuators, Disturbances, PlantState
from scenarios.engine import run_block
from tools.benchmarks.components import component_costs
from tools.benchmarks.controller_kinds import EMPTY, INTERPRETED, controller_costs
from tools.benchmarks.demo import prepared_shift, running_session
from tools.benchmarks.growth import Growth, by_duration, by_event_rate, by_log_interval, event_us
from tools.benchmarks.lookups import lookup_costs, lookups_per_scan
from tools.benchmarks.paired import Interval, Moment, bursts_in_turns, difference, interval
from tools.benchmarks.places import NOISE, PARTS, Place, places
from tools.benchmarks.plants import BASE, VARIANTS, chosen, session_of
from tools.benchmarks.results import Results
from tools.benchmarks.stubs import rebuilt
from tools.benchmarks.timing import Speed
from tools.benchmarks.what_limits import what_limits

SHORT_MS = 20_000


def test_an_interval_says_when_it_is_wide() -> None:
    tight = interval([100.0, 101.0, 99.0, 100.5, 99.5, 100.0, 100.2, 99.8, 100.1, 99.9])
    assert tight.ns == pytest.approx(100.0, abs=0.1)
    assert (tight.settled, tight.seen, tight.word) == (True, True, "")
    assert interval([-3.0, 4.0, 1.0, -2.0, 2.0, -1.0, 0.5, 0.0]).word == "within noise"
    assert interval([-300.0, 400.0, 100.0, 0.0]).word == "unreliable"
    assert interval([1.0, 9.0, 5.0]) == interval([9.0, 5.0, 1.0])  # of few values, all of them
    assert (interval([1.0, 9.0, 5.0]).low_ns, interval([1.0, 9.0, 5.0]).high_ns) == (1.0, 9.0)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=80))
def test_an_interval_holds_its_median(values: list[float]) -> None:
    found = interval(values)
    assert min(values) <= found.low_ns <= found.ns <= found.high_ns <= max(values)


def test_the_interval_covers_as_often_as_it_says() -> None:
    """Of 2000 samples of 60 skewed values, the true median lies inside in 95 % or more and not always."""
    chance = np.random.default_rng(5)
    truth = math.log(2.0)  # of the exponential distribution, closed form
    inside = 0
    for _ in range(2000):
        found = interval(list(chance.exponential(size=60)))
        inside += found.low_ns <= truth <= found.high_ns
    assert 0.94 < inside / 2000 < 0.99


def test_bursts_in_turns_takes_each_once_a_round_in_changing_order() -> None:
    order: list[str] = []

    def burst(name: str) -> Callable[[], float]:
        def run() -> float:
            order.append(name)
            return float(len(order))

        return run

    found = bursts_in_turns({name: burst(name) for name in "abc"}, rounds=8)
    rounds = [tuple(order[k : k + 3]) for k in range(0, len(order), 3)]
    assert all(sorted(one) == ["a", "b", "c"] for one in rounds)
    assert len(rounds) == 9  # the first is not kept
    assert len(set(rounds)) > 1
    assert difference(found, "a", "a").ns == 0.0
    with pytest.raises(ValueError, match="at least one"):
        bursts_in_turns({}, rounds=0)


@pytest.fixture(scope="module")
def moment() -> Moment:
    return Moment(session_of(VARIANTS[0]))


def test_a_moment_plays_the_same_again(moment: Moment) -> None:
    ends = []
    for _ in range(2):
        moment.burst(50)
        ends.append(moment.session.plant_state())
    assert ends[0] == ends[1]
    assert ends[0].time_ms == moment.start_ms + 5000
    assert moment.call_ns(3) > 0.0


def test_variants_are_what_they_say() -> None:
    """Each switch shows in the plant at the moment of measuring, and its reference does not have it."""
    by_name = {v.name: v for v in VARIANTS}

    def plant(name: str) -> PlantState:
        return Moment(session_of(by_name[name])).session.plant_state()

    assert plant("hot-gas defrost").evaporator.coil_kg[1] > 0.0
    assert plant("through-path open").compression.through_path_kg_s > 0.0
    assert plant("slides by hand, no through-path").compression.through_path_kg_s == 0.0
    assert plant("other compressor").rates.other_kg_s > 0.0
    assert plant("fan stages").discharge.fan_stages_on > 0
    assert plant("oil cooled by liquid injection").rates.injection_kg_s > 0.0
    assert plant("oil cooled by thermosiphon").rates.thermosiphon_w > 0.0
    assert plant("no oil pump").rates.oil_pump_w == 0.0
    assert plant("rating set").rating.mass_flow_factor != 1.0
    # the set is fitted to the computed machine, so that it is the same machine within the fit
    assert plant("rating set").rating.mass_flow_factor == pytest.approx(1.0, abs=0.02)
    demo = plant(BASE)
    assert max(demo.evaporator.coil_kg) == demo.rates.other_kg_s == demo.rates.injection_kg_s == 0.0
    assert len({v.name for v in VARIANTS}) == len(VARIANTS)
    assert {v.against for v in VARIANTS} <= by_name.keys()
    with pytest.raises(KeyError):
        chosen(["no such thing"])


def test_components_are_measured_on_one_memory() -> None:
    whole, costs = component_costs(rounds=2, scans=64, names=["hot-gas defrost", "no noise"])
    assert [c.name for c in costs] == ["hot-gas defrost", "no noise"]
    assert whole.ns > 0.0
    drawn = costs[1].cost  # no figure, only an order: drawing 15 columns of noise costs something
    assert drawn.ns < 0.0


def test_a_stub_takes_the_part_out_and_nothing_else() -> None:
    calls: list[str] = []

    def stub(*_arguments: object) -> None:
        calls.append("compress")

    parameters = prepared_shift("scheduled_pi", SHORT_MS).parameters
    genuine, without = running_session(300_000).plant_state(), running_session(300_000).plant_state()
    before = replace(without.compression)
    assert plant_step(parameters, genuine, Disturbances(), Actuators(motor_run=True, capacity_load=True), 100) == 0
    changed = rebuilt(plant_step, {"compress": stub})
    assert changed(parameters, without, Disturbances(), Actuators(motor_run=True, capacity_load=True), 100) == 0
    assert calls == ["compress"]
    assert without.compression.mass_flow_kg_s == before.mass_flow_kg_s  # as it was left
    assert genuine.compression.mass_flow_kg_s != before.mass_flow_kg_s
    assert without.vessel == genuine.vessel  # the flows of this step were taken before
    assert rebuilt(plant_step, {}) is plant_step
    with pytest.raises(KeyError, match="no_such_part"):
        rebuilt(plant_step, {"no_such_part": stub})


def test_every_part_named_is_in_the_block() -> None:
    for part in PARTS:
        rebuilt(run_block, part.instead)  # raises for a kernel that has been renamed


def test_the_plant_step_has_its_place_in_the_scan() -> None:
    """No figure, only an order that no machine turns round."""
    whole, found, call_us = places(rounds=5, scans=200, names=["plant step"], draw_scans=200)
    assert [p.name for p in found] == ["plant step", NOISE]
    assert 0.0 < found[0].cost.ns < whole.ns
    assert call_us > 0.0


def test_lookups_are_counted(moment: Moment) -> None:
    """Per step: one vapour state, two exponents (mean and bend), one discharge enthalpy, and a saturated state and its
    slopes for each iteration of two volumes: at least two."""
    counts = lookups_per_scan(moment, 50)
    assert (counts["vapour_at"], counts["isentropic_exponent_at"], counts["vapour_enthalpy_j_kg"]) == (1.0, 2.0, 1.0)
    assert 2.0 <= counts["saturated_slopes"] < 4.0
    costs = lookup_costs(moment, rounds=1, n=100)
    assert all(x.each.ns > 0.0 and x.ns == x.per_scan * x.each.ns for x in costs)


def test_controllers_in_python_are_dearer_than_compiled_ones(tmp_path: Path) -> None:
    found = controller_costs(tmp_path, rounds=3, scans=100)
    ns = {k.name: k.cost.ns for k in found}
    assert {f"compiled, {name}" for name in SHIPPED} <= ns.keys()
    # orders of magnitude that no machine turns round
    assert ns["compiled, scheduled_pi"] < ns[EMPTY] < ns[INTERPRETED]
    assert ns["compiled, three_position"] < ns["Python class"]


def test_growth_counts_rows_and_events() -> None:
    by_time = by_duration(1, (20_000, 60_000))
    assert [g.rows for g in by_time] == [21, 61]
    assert all(g.speed > g.whole_speed > 0.0 for g in by_time)
    assert [g.rows for g in by_log_interval(1, (100, 5000), 20_000)] == [201, 5]
    rates = by_event_rate(2, (0, 36_000), 20_000)  # 200 events in 20 s
    assert rates[1].stage_s["play"] > rates[0].stage_s["play"]
    assert event_us(rates) > 0.0


def test_event_time_is_the_slope() -> None:
    def point(per_h: int, play_s: float) -> Growth:
        return Growth(3_600_000, 1000, per_h, 0, {"open": 0.0, "play": play_s, "score": 0.0, "write": 0.0}, 0.0)

    assert event_us([point(0, 1.0), point(1000, 1.05), point(4000, 1.2)]) == pytest.approx(50.0)


def test_speeds_say_when_the_rounds_disagree() -> None:
    assert Speed("a", "", (1.0,) * 4, (100.0, 101.0, 99.0, 100.0)).settled
    assert not Speed("a", "", (1.0,) * 4, (100.0, 200.0, 50.0, 100.0)).settled
    assert not Speed("a", "", (1.0,), (100.0,)).settled  # one round says nothing of itself


def test_what_limits_is_said_from_the_figures() -> None:
    r = Results({})
    assert what_limits(r) == []
    r.whole = Interval(1000.0, 990.0, 1010.0)
    r.places = [Place(name, level, Interval(ns, ns, ns)) for name, level, ns in (
        ("plant step", 0, 500.0), ("compression", 1, 200.0), (NOISE, 0, 200.0), ("controller scan", 0, 100.0))]  # fmt: skip
    said = " ".join(what_limits(r))
    assert "plant step 50 %" in said
    assert "2.00 times as fast" in said  # 1000 / (1000 − 500)
    assert "1.25 times as fast" in said  # without noise: 1000 / 800
    assert "compression 200 ns" in said
