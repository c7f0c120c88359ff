"""Generated hours: the same wherever they are written, of the plant that was named, and each can be run by itself."""

from __future__ import annotations

from pathlib import Path

from scenarios.preparation import prepare
from tests.tools.tuning.small_study import LIBRARY
from tools.tuning.tuning_inputs import read_plant
from tools.tuning.tuning_scenarios import (
    HIGHEST_SHARE,
    LOWEST_SHARE,
    drawn_hour,
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


def test_loads_stay_where_the_slide_can_work() -> None:
    for number in range(60):
        load, events = drawn_hour(3, number)
        assert 0.3 <= load <= 0.7
        for event in events:
            if event["kind"] == "load_step":
                load += event["change"]
            elif event["kind"] == "load_ramp":
                load = event["to"]
            assert LOWEST_SHARE - 1e-9 <= load <= HIGHEST_SHARE + 1e-9
