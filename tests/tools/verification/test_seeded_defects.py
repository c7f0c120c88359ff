"""Defects put into copies of the shipped controllers: the shipped packs see them, and the hunt sees the rest.

pytest -m slow -s tests/tools/verification/test_seeded_defects.py      # the whole table, with its figures
"""

from __future__ import annotations

import time
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from controller.registry import SHIPPED
from scenarios.check_bench import subject_maker
from scenarios.controller_checks import check_controller
from scenarios.controllers import Loaded
from scenarios.isolated import Heart
from scenarios.preparation import SCAN_MS, Prepared, prepare
from scenarios.settings_sheet import write_whole
from tests.tools.verification.defects.catalogue import DEFECTS, Defect
from tests.tools.verification.defects.workshop import build, patched, play
from tools.verification.box_bench import BoxBench
from tools.verification.campaign import Campaign, plan
from tools.verification.cause_effect import Matrix, Row, differences, matrix_of
from tools.verification.findings import Finding, Verdict, evaluate
from tools.verification.ground import Ground
from tools.verification.hunt import run
from tools.verification.pack import Pack, load_pack
from tools.verification.scenario_copy import events_of, scenario_copy
from tools.verification.signal_box import Box, healthy_of, usual_ranges
from tools.verification.smaller import Shrunk, Smaller, asked_as, file_name

LIBRARY = Path(__file__).resolve().parents[3] / "scenarios" / "library"
HUNT_S = 300.0
SHORT_MS = 40 * 60_000  # a scenario that the quick table may run
BY_PACK = [d for d in DEFECTS if d.shows]
OTHERS = [d for d in DEFECTS if not d.shows]


@cache
def pack() -> Pack:
    return load_pack()


def places(name: str) -> list[Path]:
    return [p for p in (LIBRARY / f"{name}.toml", LIBRARY / "verification" / f"{name}.toml") if p.is_file()]


@cache
def scenario(name: str, controller: str) -> Prepared:
    """A scenario of the library under a controller, with that controller's sheet."""
    found: Campaign = plan(pack(), places(name), controller)
    return found.prepared[0]


def broken(defect: Defect | None, name: str, controller: str, folder: Path) -> list[str]:
    """The requirements that a scenario shows as broken."""
    prepared = scenario(name, controller)
    trace, _ = play(build(defect, folder, controller), prepared)
    found = evaluate(pack(), trace, prepared.settings, f"{name}.toml")
    return [one.id for one in found if one.verdict is Verdict.FAILED]


def quick() -> list[Defect]:
    """Every third defect that the pack sees, of those whose scenario is short."""
    return BY_PACK[::3]


def test_there_are_enough_and_each_is_one_change() -> None:
    assert len(DEFECTS) >= 40
    assert len({d.name for d in DEFECTS}) == len(DEFECTS)
    for defect in DEFECTS:
        text = patched(defect)  # raises unless its text stands there once
        assert defect.new in text
        assert defect.controller in SHIPPED
        assert len(places(defect.shows)) == bool(defect.shows), f"{defect.shows} is no scenario of the library"
        compile(text, defect.file, "exec")


def test_the_packs_alone_see_nine_of_ten() -> None:
    """By the table; the slow test holds every line of it to be true."""
    assert len(BY_PACK) / len(DEFECTS) >= 0.9


def test_a_copy_without_a_defect_does_what_the_shipped_one_does(tmp_path: Path) -> None:
    """Also the copy breaks nothing: what is seen later is the defect and not the copying."""
    from tools.verification.trial_judge import player_of

    name, controller = "stop_in_run_up", "scheduled_pi"
    prepared = scenario(name, controller)
    copied, _ = play(build(None, tmp_path, controller), prepared)
    shipped, _ = player_of(tmp_path)(prepared)
    for column, values in shipped.values.items():
        assert np.array_equal(values, copied[column]), column
    assert broken(None, name, controller, tmp_path) == []


@pytest.mark.parametrize("defect", quick(), ids=lambda d: d.name)
def test_the_pack_sees_a_defect(defect: Defect, tmp_path: Path) -> None:
    if scenario(defect.shows, defect.controller).scenario.duration_ms > SHORT_MS:
        pytest.skip("its scenario is long: in the slow table")
    assert broken(defect, defect.shows, defect.controller, tmp_path)


@pytest.mark.slow
def test_the_pack_sees_every_defect_of_its_table(tmp_path: Path) -> None:
    missed = []
    for defect in BY_PACK:
        found = broken(defect, defect.shows, defect.controller, tmp_path)
        print(f"{defect.name}: {', '.join(found) or 'NOT SEEN'} in {defect.shows}")
        if not found:
            missed.append(defect.name)
    assert missed == []


@pytest.mark.slow
def test_the_correct_controllers_break_nothing_where_a_defect_is_seen(tmp_path: Path) -> None:
    wrong = {}
    for name, controller in sorted({(d.shows, d.controller) for d in BY_PACK}):
        found = broken(None, name, controller, tmp_path)
        if found:
            wrong[name, controller] = found
    assert wrong == {}


def smallest(defect: Defect, folder: Path) -> tuple[str, Path] | None:
    """The saved scenario with the fewest events that shows a defect, made from the one of its table, and what it breaks."""
    made = build(defect, folder, defect.controller)
    job = plan(pack(), places(defect.shows), defect.controller).jobs[0]

    def played(path: Path) -> list[Finding]:
        (prepared,) = prepare([path], log_ms=SCAN_MS)
        trace, _ = play(made, prepared)
        return evaluate(pack(), trace, prepared.settings, job.scenario.name, prepared.scenario.made_from)

    seed = scenario(defect.shows, defect.controller).seed
    makes = Smaller(job, seed, pack(), played, folder / "attempts", own=job)  # whose controller has no defect
    best: tuple[str, Shrunk] | None = None
    for name in broken(defect, defect.shows, defect.controller, folder):
        found = makes.smallest(pack()[name])
        if found is not None and (best is None or len(found.part.events) < len(best[1].part.events)):
            best = name, found
        if best is not None and len(best[1].part.events) <= 1:
            break
    if best is None:
        return None
    name, found = best
    path = folder / "saved" / file_name(pack()[name], job)
    made_from = asked_as(pack()[name], job.scenario.name)
    write_whole(path, scenario_copy(job, seed, path.parent, found.part, made_from))
    traces = []
    for _ in range(2):
        (prepared,) = prepare([path], log_ms=SCAN_MS)
        traces.append(play(made, prepared)[0])
        again = {
            one.id: one
            for one in evaluate(pack(), traces[-1], prepared.settings, path.name, prepared.scenario.made_from)
        }
        assert again[name] == found.finding
    for column, values in traces[0].values.items():
        assert np.array_equal(values, traces[1][column], equal_nan=True), column
    return name, path


def test_a_saved_scenario_of_a_defect_is_small_and_plays_again_bit_for_bit(tmp_path: Path) -> None:
    """One defect; the slow table has all."""
    defect = next(d for d in BY_PACK if d.name == "closed valves do not refuse the start")
    found = smallest(defect, tmp_path)
    assert found is not None
    assert events_of(found[1]) <= 1 < events_of(places(defect.shows)[0])


@pytest.mark.slow
def test_every_saved_scenario_of_a_defect_has_at_most_three_events(tmp_path: Path) -> None:
    more = []
    for defect in BY_PACK:
        found, before = smallest(defect, tmp_path), events_of(places(defect.shows)[0])
        left = events_of(found[1]) if found else before
        said = f"{left} of {before} events, {found[0]}" if found else f"kept whole, {before} events"
        print(f"{defect.name}: {said}", flush=True)
        if left > 3:
            more.append(defect.name)
    assert more == []


def hunted(defect: Defect, folder: Path, budget_s: float) -> dict[str, int]:
    """Requirements that a hunt on a defective copy breaks, with the happenings of the smallest sequence."""
    ground = Ground(
        LIBRARY / "plants" / "harrow_ness.toml",
        defect.controller,
        LIBRARY / "sheets" / f"demo_{defect.controller}.toml",
    )
    made = build(defect, folder, defect.controller)
    found = run(ground, 1, None, budget_s, player=lambda prepared: play(made, prepared), stop_at_first=True)
    return {name: len(trial.happenings) for name, trial in found.broken.items()}


def contract(defect: Defect, folder: Path) -> list[str]:
    """Promises of the contract suite that a defective copy breaks."""
    made = build(defect, folder, defect.controller)
    return [r.name for r in check_controller(Loaded(kernels=made), interpreted=True) if r.judged and not r.passed]


def matrix_rows(defect: Defect | None, controller: str, folder: Path) -> list[Row]:
    """The cause-and-effect matrix of a copy, run as plain Python."""
    made = build(defect, folder, controller)
    settings, heart = made.settings_type(), Heart()
    make = subject_maker(Loaded(kernels=made), settings, interpreted=True)
    return matrix_of(BoxBench(make, Box(usual_ranges(), healthy_of(settings)), heart), settings, heart)


def matrix_cells(defect: Defect, folder: Path) -> set[str]:
    """Causes whose row differs between the defective copy and one without a defect."""
    one, other = (
        Matrix(name, "", "", (), tuple(matrix_rows(d, defect.controller, folder)))
        for name, d in (("clean", None), ("defective", defect))
    )
    return {d.key for d in differences(one, other)}


@pytest.mark.slow
@pytest.mark.parametrize("defect", OTHERS, ids=lambda d: d.name)
def test_what_the_pack_misses_is_seen_by_another_net(defect: Defect, tmp_path: Path) -> None:
    """The contract suite, the matrix against the correct controller's, or the hunt; which one is printed."""
    began = time.monotonic()
    promises = contract(defect, tmp_path)
    cells = set() if promises else matrix_cells(defect, tmp_path)
    found = {} if promises or cells else hunted(defect, tmp_path, HUNT_S)
    print(f"{defect.name}: contract {promises}, matrix {sorted(cells)}, hunt {found}, {time.monotonic() - began:.0f} s")
    assert promises or cells or found
    assert all(happenings <= 3 for happenings in found.values())


@pytest.mark.slow
@pytest.mark.parametrize("defect", [DEFECTS[0], DEFECTS[35]], ids=lambda d: d.name)
def test_the_hunt_alone_finds_a_defect_and_makes_it_small(defect: Defect, tmp_path: Path) -> None:
    found = hunted(defect, tmp_path, HUNT_S)
    assert found
    assert min(found.values()) <= 3
