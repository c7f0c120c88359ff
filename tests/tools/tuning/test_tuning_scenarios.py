"""Generated hours: the same wherever they are written, of the plant that was named, and each can be run by itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.derived import derive
from scenarios.preparation import prepare
from tests.tools.tuning.small_study import LIBRARY
from tools.tuning.cases import Bench, case_set
from tools.tuning.plant_defaults import default_settings
from tools.tuning.tuning_inputs import read_plant
from tools.tuning.tuning_scenarios import (
    HIGHEST_SHARE,
    LOWEST_SHARE,
    drawn_hour,
    most_at_once,
    write_proof_scenarios,
    write_search_scenarios,
)

PLANT = LIBRARY / "plants" / "harrow_ness.toml"


def test_the_same_text_in_every_folder_and_the_plants_own_bytes(tmp_path: Path) -> None:
    made = [write_search_scenarios(tmp_path / name, PLANT, "scheduled_pi", 7e5, 292.2, 1) for name in ("a", "b")]
    assert [p.read_bytes() for p in made[0]] == [p.read_bytes() for p in made[1]]
    assert len(made[0]) == 8
    prepared = prepare([tmp_path / "a"])
    assert len(prepared) == 8, "the plant's copy is taken for no scenario"
    assert {p.plant.sha256 for p in prepared} == {read_plant(PLANT).sha256}


def test_an_unseen_hour_is_the_same_whatever_the_count(tmp_path: Path) -> None:
    few = write_proof_scenarios(tmp_path / "few", PLANT, "scheduled_pi", 7e5, 292.2, 5, 3)
    many = write_proof_scenarios(tmp_path / "many", PLANT, "scheduled_pi", 7e5, 292.2, 5, 6)
    assert [p.read_bytes() for p in few] == [p.read_bytes() for p in many[:3]]
    assert len({p.read_bytes() for p in many}) == 6
    assert len(prepare([tmp_path / "many"])) == 6


@given(st.integers(0, 2**31), st.integers(0, 400))
def test_loads_stay_where_the_slide_can_work_batches_included(seed: int, number: int) -> None:
    load, events = drawn_hour(seed, number)
    assert 0.3 <= load <= 0.7
    batches: list[tuple[float, float]] = []  # until which minute, and the most that they add
    for event in events:
        at = event.get("at", event["from"] if event["kind"] == "batch_arrivals" else 0.0)
        batches = [(until, most) for until, most in batches if at < until]
        if event["kind"] == "load_step":
            load += event["change"]
        elif event["kind"] == "load_ramp":
            load = event["to"]
            assert batches == [], "a ramp goes to a load that holds the batches in progress"
        elif event["kind"] == "batch_arrivals":
            most = most_at_once(event["every"], event["lasting"]) * event["heat"]
            batches.append((event["until"] + event["lasting"], most))
        assert load >= LOWEST_SHARE - 1e-9
        assert load + sum(most for _, most in batches) <= HIGHEST_SHARE + 1e-9


def test_batches_that_stand_there_together_are_counted() -> None:
    """Arrivals at Poisson moments, each staying a fixed time: simulated here, against the queue's known distribution."""
    rng = np.random.default_rng(1)
    arrivals = np.cumsum(rng.exponential(4.0, 200_000))
    at = rng.uniform(100.0, arrivals[-1], 100_000)
    there = np.searchsorted(arrivals, at) - np.searchsorted(arrivals, at - 8.0)
    most = most_at_once(4.0, 8.0)
    assert np.mean(there > most) <= 0.01 < np.mean(there > most - 1)


@pytest.mark.parametrize("number", [9, 17, 22])  # with batches that overlap, and ramps or steps among them
def test_the_load_of_a_played_hour_stays_in_its_range(number: int, tmp_path: Path) -> None:
    capacity_w = 7e5
    path = write_proof_scenarios(tmp_path, PLANT, "scheduled_pi", capacity_w, 290.6, 4242, number + 1)[number]
    settings = default_settings("scheduled_pi", derive(read_plant(PLANT).parameters, "R717"))
    bench = Bench(case_set([path], "scheduled_pi", settings, 1, 1, first_draw=0))
    trace, fault = bench.watch(bench.cases[0], settings)
    assert not fault
    share = trace["load_heat_w"] / capacity_w
    assert share.min() >= LOWEST_SHARE - 1e-6
    assert np.mean(share > HIGHEST_SHARE + 1e-6) <= 0.05  # 1 % at any moment, and an hour holds few batches
