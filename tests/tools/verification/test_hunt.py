"""The hunt: all of its space is valid, it shrinks, it goes on where it was, and the same seed gives the same rounds."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tools.verification.hunt as hunt_module
import tools.verification.hunt_round as module
from controller.registry import CROSS_CHECKS
from scenarios.errors import InputRefused
from scenarios.preparation import SCAN_MS, prepare
from tools.verification.draws import alone, both_ends, draw
from tools.verification.findings import Finding, Verdict
from tools.verification.ground import Ground, base_settings, moved_settings
from tools.verification.hunt import Found, run
from tools.verification.hunt_round import one_round
from tools.verification.pack import load_pack
from tools.verification.trial import (
    LAST_S,
    TEMPLATES,
    Happening,
    Trial,
)
from tools.verification.trial_judge import player_of

LIBRARY = Path(__file__).resolve().parents[3] / "scenarios" / "library"
GROUND = Ground(LIBRARY / "plants" / "harrow_ness.toml", "scheduled_pi", LIBRARY / "sheets" / "demo_scheduled_pi.toml")


def of(name: str, end: int, at_s: int = 600) -> Happening:
    return Happening(name, at_s, tuple(size[end] for size in TEMPLATES[name].sizes))


@pytest.mark.parametrize("end", [1, 2])
def test_every_happening_is_a_valid_event_at_both_ends_of_its_sizes(end: int, tmp_path: Path) -> None:
    trial = Trial(50, -5, 4, 1, tuple(of(name, end, 30 * k) for k, name in enumerate(TEMPLATES)))
    path = tmp_path / "all.toml"
    GROUND.write(trial, path)
    (prepared,) = prepare([path], log_ms=SCAN_MS)
    assert len(prepared.scenario.events) == len(TEMPLATES)
    starts = [event.starts_ms for event in prepared.scenario.events]
    assert starts == [30_000 * k for k in range(len(TEMPLATES))]


def full(**more: Any) -> Trial:
    """A trial that moves everything."""
    settings = (("common.sequence.pre_lubrication", 60), ("common.protection.failed_stop", 200))
    return Trial(50, -4, 4, 7, (of("stop button", 1, 300),), 250, 3, settings, **more)


def test_what_a_trial_moves_is_in_its_files(tmp_path: Path) -> None:
    path = tmp_path / "one" / "trial.toml"
    GROUND.write(full(), path)
    (moved,) = prepare([path], log_ms=SCAN_MS)
    GROUND.write(Trial(50, -4, 4, 7, ()), tmp_path / "plain.toml")
    (plain,) = prepare([tmp_path / "plain.toml"], log_ms=SCAN_MS)
    assert moved.clock_offset_ms == 2**32 - 250_000
    assert moved.settings.common.sequence.pre_lubrication_ms == 0.6 * plain.settings.common.sequence.pre_lubrication_ms
    assert moved.settings.common.protection.failed_stop_ms == 2 * plain.settings.common.protection.failed_stop_ms
    drawn, own = moved.plant.parameters, plain.plant.parameters
    assert drawn.suction_vessel.volume_m3 != own.suction_vessel.volume_m3
    assert drawn.motor == own.motor
    # nothing is left of the trial but its files
    assert sorted(p.relative_to(tmp_path / "one").as_posix() for p in path.parent.rglob("*.toml")) == [
        "plants/trial.toml", "sheets/trial.toml", "trial.toml",
    ]  # fmt: skip


@given(st.integers(0, 2**32))
def test_moved_settings_never_contradict_each_other(seed: int) -> None:
    trial = draw(random.Random(seed))
    settings, kept = moved_settings(GROUND, trial)
    assert CROSS_CHECKS[type(settings)](settings) == []
    assert set(kept) <= set(trial.settings)


def test_a_move_that_contradicts_the_sheet_is_left_out() -> None:
    """A back-spin guard twice as long as the stop-to-start wait would let the machine start while it turns."""
    moves = (("common.sequence.stop_to_start", 40), ("common.sequence.spin_down", 200))
    settings, kept = moved_settings(GROUND, Trial(50, -4, 4, 7, (), settings=moves))
    assert kept == [("common.sequence.spin_down", 200)]
    assert settings.common.sequence.stop_to_start_ms == base_settings(GROUND).common.sequence.stop_to_start_ms


def test_a_saved_trial_is_played_again_bit_for_bit(tmp_path: Path) -> None:
    traces = []
    for name in ("first", "second"):
        GROUND.write(full(), tmp_path / name / f"{name}.toml")
        (prepared,) = prepare([tmp_path / name / f"{name}.toml"], log_ms=SCAN_MS)
        traces.append(player_of(tmp_path)(prepared)[0])
    for column, values in traces[0].values.items():
        assert np.array_equal(values, traces[1].values[column], equal_nan=True), column


DIPS = ("power dip", "safety chain", "valves closed", "contactor open")


class Fake:
    """Judges by the happenings alone: a stop button after a dip breaks A-1; B-1's margin is the distance to 900 s."""

    def __init__(self, *_: Any) -> None:
        self.runs = 0

    def lacks(self, _trial: Trial) -> dict[str, float]:
        return {}

    def __call__(self, trial: Trial) -> list[Finding]:
        self.runs += 1
        dips = [h.at_s for h in trial.happenings if h.name in DIPS]
        stops = [h.at_s for h in trial.happenings if h.name == "stop button"]
        wrong = bool(dips and stops and max(stops) > min(dips))
        near = min((abs(h.at_s - 900) for h in trial.happenings), default=LAST_S)
        return [
            Finding("A-1", Verdict.FAILED if wrong else Verdict.HELD, exercised=1),
            Finding("B-1", Verdict.HELD, float(near), "s", exercised=1, share=near / 1000.0 + 0.01),
        ]


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "Judge", Fake)
    monkeypatch.setattr(hunt_module, "_check", lambda ground: None)


@pytest.mark.usefixtures("fake")
def test_the_smallest_sequence_is_two_happenings_long_and_the_optimiser_comes_nearer() -> None:
    pack, found = load_pack(), Found()
    first = one_round(GROUND, 3, 0, pack)
    for number in range(80):
        found.add(one_round(GROUND, 3, number, pack))
    assert len(found.broken["A-1"].happenings) == 2
    smallest = found.broken["A-1"]
    assert [h.name in (*DIPS, "stop button") for h in smallest.happenings] == [True, True]
    assert (smallest.settings, smallest.plant) == ((), 0), "what does not matter is not moved"
    assert found.nearest["B-1"].margin <= first.nearest["B-1"].margin
    assert found.drawn == 80 * module.DRAWS_A_ROUND
    bound = found.zero_failure
    assert bound is not None
    assert bound.failures == found.failed_drawn


class Far(Fake):
    """C-1 counts from where a load step takes 60 % off."""

    def lacks(self, trial: Trial) -> dict[str, float]:
        off_pct = max((-h.sizes[0] for h in trial.happenings if h.name == "load step"), default=-50)
        return {"C-1": max(0, 60 - off_pct) / 200.0}

    def __call__(self, trial: Trial) -> list[Finding]:
        lack = self.lacks(trial)["C-1"]
        verdict = Verdict.NOT_EXERCISED if lack else Verdict.HELD
        return [Finding("C-1", verdict, exercised=int(not lack))]


def test_steps_go_towards_a_requirement_that_nothing_exercised(monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps alone, from a trial that has nothing to do with it."""
    monkeypatch.setattr(module, "STEPS_A_ROUND", 2000)
    out, judge = module.Round(0), Far()
    start = Trial(50, -5, 4, 0, (Happening("reset", 600),))
    module._towards(out, judge, random.Random(1), [start], ["A-1", "C-1"])  # type: ignore[arg-type]
    assert out.exercised["C-1"] > 0


def test_the_first_rounds_try_every_happening_alone_once() -> None:
    first = module._first_rounds(9)
    places = [place for number in range(first + 3) for place in module._places(9, number)]
    assert places == list(range(len(places)))
    rng = random.Random(0)
    alone_at_first = [alone(rng, 9, place) for place in places[: len(both_ends(9))]]
    assert {t.happenings[0].name for t in alone_at_first} == set(TEMPLATES)
    assert all(len(t.happenings) == 1 and not t.settings and not t.plant for t in alone_at_first)


def test_aims_go_round_over_all_requirements() -> None:
    pack = load_pack()
    n = len(pack.requirements)
    assert {module.aims(pack, 2, k)[0] for k in range(2 * n) if k % 3} == {one.id for one in pack.requirements}
    assert sorted(module.aims(pack, 2, 7)) == sorted(one.id for one in pack.requirements)


@pytest.mark.usefixtures("fake")
def test_the_same_round_gives_the_same_whatever_came_before() -> None:
    pack = load_pack()
    alone = one_round(GROUND, 5, 4, pack)
    one_round(GROUND, 5, 3, pack)
    again = one_round(GROUND, 5, 4, pack)
    assert alone == again
    assert one_round(GROUND, 6, 4, pack) != alone


@pytest.mark.usefixtures("fake")
def test_finished_rounds_are_kept_and_those_of_other_inputs_are_not_taken(tmp_path: Path) -> None:
    first = run(GROUND, 1, tmp_path, 0.5)
    assert first.rounds > 0
    again = run(GROUND, 1, tmp_path, 0.0)
    assert again == first
    assert run(GROUND, 2, tmp_path, 0.0).rounds == 0
    (tmp_path / "rounds" / "00000.json").write_text("half a fi", encoding="utf-8")
    assert run(GROUND, 1, tmp_path, 0.0).rounds == first.rounds - 1


@pytest.mark.usefixtures("fake")
def test_a_hunt_that_was_ended_has_what_is_left_of_its_time(tmp_path: Path) -> None:
    run(GROUND, 1, tmp_path, 0.3)
    for path in (tmp_path / "rounds").glob("*.json"):
        path.write_text(json.dumps({**json.loads(path.read_text()), "spent_s": 1e4}), encoding="utf-8")
    before = run(GROUND, 1, tmp_path, 0.0).rounds
    assert run(GROUND, 1, tmp_path, 60.0).rounds == before


def test_a_real_round_on_a_correct_controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A draw and a happening alone, played on the plant with the clock's wrap on the way, judged by the shipped packs."""
    monkeypatch.setattr(module, "DRAWS_A_ROUND", 1)
    monkeypatch.setattr(module, "ALONE_AT_FIRST", 1)
    found = one_round(GROUND, 1, 0, load_pack())
    assert found.drawn == 1
    assert found.runs >= 2
    assert {"RN-01", "ST-01"} <= set(found.exercised)
    assert all(near.margin >= 0.0 for near in found.nearest.values())


PLAIN = f"{Path(__file__).resolve().parents[2] / 'scenarios' / 'foreign' / 'plain_steps.py'}:PlainSteps"


def test_a_plug_in_is_judged_by_the_limits_of_the_sheet_that_is_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It starts after a minute of oil, and says nothing: requirements with limits are asked, and some are broken."""
    monkeypatch.setattr(module, "DRAWS_A_ROUND", 0)
    monkeypatch.setattr(module, "ALONE_AT_FIRST", 1)
    monkeypatch.setattr(module, "_shrink", lambda *_: None)
    ground = Ground(GROUND.plant, PLAIN, GROUND.sheet)
    found = one_round(ground, 1, 0, load_pack())
    assert {"ST-01", "ST-03"} <= set(found.exercised), "both ask for settings"
    hunt_module._check(ground)


def test_a_controller_that_tells_no_limits_is_refused() -> None:
    with pytest.raises(InputRefused, match="tells no limits"):
        run(Ground(GROUND.plant, PLAIN, None), 1, None, 1.0)
