"""The proof in blocks: the same figures as case by case, kept, and not played again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from scenarios.demo_sheets import demo_settings
from scenarios.errors import InputRefused
from tests.tools.tuning.small_study import small_cases
from tools.tuning import proof_run
from tools.tuning.cases import Bench
from tools.tuning.proof import upper_bound
from tools.tuning.proof_run import Entrant, bounds_of, play_all, proof_outcome
from tools.tuning.stage_files import StageFiles

TIGHT = demo_settings("scheduled_pi")
TIGHT = replace(TIGHT, pi=replace(TIGHT.pi, rest_zone_kpa=1.0))


@pytest.fixture
def entrants(tmp_path: Path) -> list[Entrant]:
    unseen = {"first_draw": 1, "label": "proof"}
    mine = small_cases(tmp_path / "scenarios", **unseen)
    theirs = small_cases(tmp_path / "scenarios", "three_position", **unseen)
    return [
        Entrant("chosen", mine, TIGHT),
        Entrant("step control", theirs, theirs.base),
        Entrant("sheet given", mine, mine.base),
    ]


def test_blocks_are_the_cases_and_are_kept(
    entrants: list[Entrant], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proof_run, "BLOCK", 3)
    stages, told = StageFiles(tmp_path / "work"), list[float]()
    found = play_all(entrants, stages, 1, told.append)
    bench = Bench(entrants[0].cases)
    assert found["chosen"] == tuple(bench.play(case, TIGHT) for case in bench.cases)
    assert found["chosen"] != found["sheet given"]
    assert told[-1] == pytest.approx(1.0)
    assert told == sorted(told)

    def fail(*_: object) -> None:
        raise AssertionError("what is kept is not played again")

    monkeypatch.setattr(proof_run, "play_block", fail)
    assert play_all(entrants, stages, 1) == found
    other = [Entrant("chosen", entrants[0].cases, demo_settings("scheduled_pi")), *entrants[1:]]
    assert play_all(other, stages, 1)["chosen"] == found["sheet given"], "kept by the settings, not by the name"


def test_two_processes_find_the_same(entrants: list[Entrant], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(proof_run, "BLOCK", 2)
    one = play_all(entrants[:1], StageFiles(tmp_path / "one"), 1)
    two = play_all(entrants[:1], StageFiles(tmp_path / "two"), 2)
    assert one == two


def test_rows_and_bounds(entrants: list[Entrant], tmp_path: Path) -> None:
    figures = play_all(entrants, StageFiles(tmp_path / "work"), 1)
    search = small_cases(tmp_path / "others")
    found = proof_outcome(search, entrants, figures)
    assert found.cases == 4
    assert [row.rival for row in found.rows] == ["step control", "sheet given"]
    row = found.rows[1]
    assert row.rms_ratio.value == pytest.approx(
        row.means["suction_deviation_rms_kpa"] / row.rival_means["suction_deviation_rms_kpa"]
    )
    assert row.wear_ratio.value == pytest.approx(row.means["wear_per_h"] / row.rival_means["wear_per_h"])
    assert row.rms_ratio.low <= row.rms_ratio.value <= row.rms_ratio.high
    assert found.bounds[0].at_most_frac == upper_bound(0, 4)
    failed = [replace(f, trips_count=1.0) for f in figures["chosen"][:1]] + list(figures["chosen"][1:])
    again = proof_outcome(search, entrants, {**figures, "chosen": tuple(failed)})
    assert again.bounds[0].failures == 1
    assert "1 trips" in again.failures[0]
    assert bounds_of([replace(failed[0], fault="left its tables", trips_count=0.0)])[2].failures == 1


def test_cases_that_the_search_has_seen_are_refused(entrants: list[Entrant], tmp_path: Path) -> None:
    figures = play_all(entrants[:1], StageFiles(tmp_path / "work"), 1)
    with pytest.raises(InputRefused, match="own streams"):
        proof_outcome(entrants[0].cases, entrants[:1], figures)
