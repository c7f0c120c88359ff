"""Files damaged at random: read or refused with a place, never a traceback, never a run that should have been refused.

The quick tests draw from hypothesis, which makes a failing example small; the slow one counts:

    TWOSLIDE_EXAMPLES=20000 TWOSLIDE_SEED=3 pytest -m slow tests/scenarios/test_damaged_files.py
"""

from __future__ import annotations

import os
import random
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.event_kinds import EVENT_KINDS
from scenarios.loader import load_scenarios
from scenarios.runner import prepare
from tests.scenarios.acceptance_oracle import EVENTS, objections
from tests.scenarios.damage_bench import SCENARIOS, SHEETS, Bench
from tests.scenarios.example_files import KNOWN, PLANT, SCENARIO, SHEET, write_all
from tests.scenarios.mutations import VALUES

TEXTS = {"plant": PLANT, "sheet": SHEET, "scenario": SCENARIO}
RUN_ONE_IN = 25  # of the accepted ones, how many are run to their end


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """The real files of the library, one of them damaged at a time."""
    return Bench(tmp_path_factory.mktemp("damage"))


@given(rng=st.randoms(use_true_random=False))
@settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
def test_a_damaged_file_is_refused_with_its_place_or_rightly_accepted(bench: Bench, rng: random.Random) -> None:
    assert bench.trial(rng) == ""


@pytest.mark.slow
def test_very_many_damaged_files(tmp_path: Path) -> None:
    """Figures for the closing note; each example has a number, `Random(f"{seed}:{number}")`, and can be made again."""
    seed = os.environ.get("TWOSLIDE_SEED", "3")
    bench = Bench(tmp_path)
    for number in range(int(os.environ.get("TWOSLIDE_EXAMPLES", "20000"))):
        wrong = bench.trial(random.Random(f"{seed}:{number}"), RUN_ONE_IN)
        if wrong:
            print(f"{seed}:{number} {wrong[:500]}")
    print(bench.tally)
    assert not bench.tally.failures
    assert bench.tally.accepted > 0.1 * bench.tally.refused  # a test of refusals alone would not see a wrong acceptance


@pytest.mark.parametrize("name", SCENARIOS)
def test_whole_files_are_accepted_without_objection(bench: Bench, name: str) -> None:
    (prepared,) = prepare([bench.folder / name])
    assert objections(prepared, bench.folder / "whole" / Path(SHEETS[0]).name) == []


def test_the_text_to_damage_holds_every_kind_that_the_oracle_knows(bench: Bench) -> None:
    data = tomllib.loads((bench.folder / SCENARIOS[0]).read_text(encoding="utf-8"))
    assert {event["kind"] for event in data["event"]} == EVENTS.keys()
    assert EVENTS.keys() == EVENT_KINDS.keys()


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("all_kinds.toml", 'duration = "90 min"', 'duration = "95 min"', "duration"),
        ("all_kinds.toml", "seed = 11", "seed = 12", "seed"),
        ("all_kinds.toml", 'change = "+80 kW"', 'change = "+80 MW"', "load_step.change"),
        ("all_kinds.toml", 'flow = "60 m³/h"', 'flow = "60 m³/s"', "outside"),
        ("all_kinds.toml", 'by = "-3 K"', 'by = "-3 °C"', "temperature difference"),
        ("all_kinds.toml", 'lasting = "400 ms"', 'lasting = "400"', "without unit"),
        ("all_kinds.toml", 'action = "announce_load"', 'action = "reset"', "demand of reset"),
        ("all_kinds.toml", 'until = "80 min"', 'until = "99 min"', "in a run of"),
        ("plants/harrow_ness.toml", 'volume = "5 m³"', 'volume = "5000 m³"', "outside"),
        ("plants/harrow_ness.toml", 'volume = "5 m³"', 'volune = "5 m³"', "stands for 0 fields"),
        ("sheets/demo_scheduled_pi.toml", 'integral_time = "30 s"', 'integral_time = "31 s"', "checksum accepted"),
        ("sheets/demo_scheduled_pi.toml", 'integral_time = "30 s"', 'integral_time = "30 kPa"', "kPa"),
        ("loads/fish_freezing_hall.csv", ";94,4", ";94,5", "stands in no row"),
        ("loads/fish_freezing_hall.csv", "13:02:11;94,4\n", "", "no row"),
    ],
)
def test_the_oracle_objects_to_what_was_not_read_from_the_file(
    bench: Bench, file: str, old: str, new: str, words: str
) -> None:
    """The judge is tried as well: a file that is changed after it was read no longer says what was accepted."""
    (prepared,) = prepare([bench.folder / SCENARIOS[0]])
    path = bench.folder / file
    whole = path.read_text(encoding="utf-8")
    assert old in whole
    path.write_text(whole.replace(old, new, 1), encoding="utf-8")
    try:
        found = objections(prepared, bench.folder / "whole" / Path(SHEETS[0]).name)
    finally:
        path.write_bytes(bench.whole[file] if file in bench.whole else whole.encode())
    assert any(words in text for text in found), found


@given(st.data())
@settings(max_examples=300, deadline=None, derandomize=True)
def test_a_mutated_text_of_invented_records_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    which = data.draw(st.sampled_from(sorted(TEXTS)))
    text = TEXTS[which]
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(start + 25, len(text))))
        piece = data.draw(
            st.sampled_from(["", "\n", "[start]\n", "[[event]]\n", "kind", *VALUES]) | st.text(max_size=4)
        )
        text = text[:start] + piece + text[end:]
    path = write_all(tmp_path_factory.getbasetemp() / "damaged", **{which: text})
    try:
        scenarios = load_scenarios([path], KNOWN)
    except InputRefused as error:
        # either outcome is right, but a refusal says where and why
        assert all(Bench.refusal(problem) == "" for problem in error.problems)  # noqa: PT017
        return
    assert len(scenarios) == 1
