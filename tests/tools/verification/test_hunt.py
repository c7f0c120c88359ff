"""The hunt: all of its space is valid, it shrinks, it goes on where it was, and the same seed gives the same rounds."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tools.verification.hunt as hunt_module
import tools.verification.hunt_round as module
from scenarios.errors import InputRefused
from scenarios.preparation import SCAN_MS, prepare
from tools.verification.findings import Finding, Verdict
from tools.verification.ground import Ground
from tools.verification.hunt import Found, run
from tools.verification.hunt_round import draw, one_round
from tools.verification.pack import load_pack
from tools.verification.trial import LAST_S, TEMPLATES, Happening, Trial, from_dict

LIBRARY = Path(__file__).resolve().parents[3] / "scenarios" / "library"
GROUND = Ground(LIBRARY / "plants" / "harrow_ness.toml", "scheduled_pi", LIBRARY / "sheets" / "demo_scheduled_pi.toml")


def of(name: str, end: int, at_s: int = 600) -> Happening:
    return Happening(name, at_s, tuple(size[end] for size in TEMPLATES[name].sizes))


@pytest.mark.parametrize("end", [1, 2])
def test_every_happening_is_a_valid_event_at_both_ends_of_its_sizes(end: int, tmp_path: Path) -> None:
    trial = Trial(300, 30, 1, tuple(of(name, end, 30 * k) for k, name in enumerate(TEMPLATES)))
    path = tmp_path / "all.toml"
    GROUND.write(trial, path)
    (prepared,) = prepare([path], log_ms=SCAN_MS)
    assert len(prepared.scenario.events) == len(TEMPLATES)
    starts = [event.starts_ms for event in prepared.scenario.events]
    assert starts == [30_000 * k for k in range(len(TEMPLATES))]


@given(st.integers(0, 2**32))
def test_a_drawn_trial_is_plain_data_and_stays_in_its_ranges(seed: int) -> None:
    trial = draw(random.Random(seed))
    assert from_dict(json.loads(json.dumps(trial.as_dict()))) == trial
    values, ranges = trial.numbers()
    assert all(low <= v <= high for v, (low, high) in zip(values, ranges, strict=True))
    assert trial.moved(values) == trial
    far = trial.moved([1e9] * len(values)).numbers()[0]
    assert far == [high for _, high in ranges]


class Fake:
    """Judges by the happenings alone: a stop button after a power dip breaks A-1; B-1's margin is the distance to 900 s."""

    def __init__(self, *_: Any) -> None:
        self.runs = 0

    def __call__(self, trial: Trial) -> list[Finding]:
        self.runs += 1
        dips = [h.at_s for h in trial.happenings if h.name == "power dip"]
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
    for number in range(25):
        found.add(one_round(GROUND, 3, number, pack))
    assert len(found.broken["A-1"].happenings) == 2
    assert {h.name for h in found.broken["A-1"].happenings} == {"power dip", "stop button"}
    assert found.nearest["B-1"].margin <= first.nearest["B-1"].margin
    assert found.drawn == 25 * module.TRIALS_A_ROUND // 2
    bound = found.zero_failure
    assert bound is not None
    assert bound.failures == found.failed_drawn


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


def test_a_real_round_on_a_correct_controller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two drawn trials, played on the plant with the clock's wrap in the middle, and judged by the shipped packs."""
    monkeypatch.setattr(module, "TRIALS_A_ROUND", 2)
    monkeypatch.setattr(module, "MOVES_A_ROUND", 2)
    found = one_round(GROUND, 1, 0, load_pack())
    assert found.drawn == 1
    assert found.runs >= 2
    assert {"RN-01", "ST-01"} <= set(found.exercised)
    assert all(near.margin >= 0.0 for near in found.nearest.values())


def test_a_controller_that_tells_no_limits_is_refused(tmp_path: Path) -> None:
    plain = Path(__file__).resolve().parents[2] / "scenarios" / "foreign" / "plain_steps.py"
    with pytest.raises(InputRefused, match="tells no limits"):
        run(Ground(GROUND.plant, f"{plain}:PlainSteps", None), 1, None, 1.0)
