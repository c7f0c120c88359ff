"""A scenario that breaks a requirement, made small: what has nothing to do with it goes, and the rest breaks it again."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.preparation import SCAN_MS, prepare
from tools.verification import smaller as module
from tools.verification.campaign import LIBRARY, plan
from tools.verification.findings import Finding, Verdict
from tools.verification.pack import Pack, load_pack
from tools.verification.scenario_copy import Part
from tools.verification.smaller import Smaller
from tools.verification.tried import Tried

TWELVE = LIBRARY / "verification" / "starts_per_hour.toml"
FOULS = LIBRARY / "oil_cooler_fouls_to_discharge_trip.toml"


def pack_of(tmp_path: Path, formula: str = "trip_word == 0", extra: str = "") -> Pack:
    path = tmp_path / "mine.toml"
    path.write_text(
        f'title = "Mine"\n[[requirement]]\nid = "A-1"\ntext = "x"\nseverity = "service"\nformula = "{formula}"\n{extra}'
    )
    return load_pack([path])


class Played:
    """Breaks A-1 where all of these events are left, at a time."""

    def __init__(self, wanted: set[str], failed_ms: int = 1_000) -> None:
        self.wanted, self.failed_ms, self.runs = wanted, failed_ms, 0

    def __call__(self, path: Path) -> list[Finding]:
        self.runs += 1
        (one,) = prepare([path], log_ms=SCAN_MS)
        times = {f"{event.starts_ms // 1000}" for event in one.scenario.events}
        broken = self.wanted <= times and one.scenario.duration_ms > self.failed_ms
        return [Finding("A-1", Verdict.FAILED if broken else Verdict.HELD, failed_ms=self.failed_ms, exercised=1)]


def times_of(scenario: Path) -> list[str]:
    (one,) = prepare([scenario], log_ms=SCAN_MS)
    return [f"{event.starts_ms // 1000}" for event in one.scenario.events]


def shrinker(pack: Pack, play: Played, work: Path) -> Smaller:
    (job,) = plan(pack, [TWELVE]).jobs
    return Smaller(job, 3, pack, play, work)


def test_only_the_events_that_matter_are_left_and_the_end_is_cut(tmp_path: Path) -> None:
    every = times_of(TWELVE)
    wanted = {every[0], every[7]}
    play = Played(wanted, failed_ms=1000 * int(every[7]) + 500)
    pack = pack_of(tmp_path)
    found = shrinker(pack, play, tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert {every[k] for k in found.part.events} == wanted
    assert found.part.duration_ms == 1000 * int(every[7]) + 11_000
    assert play.runs <= module.RUNS_AT_MOST


def test_runs_are_bounded_and_the_smallest_so_far_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "RUNS_AT_MOST", 4)
    play, pack = Played(set(), failed_ms=4_000_000), pack_of(tmp_path)
    found = shrinker(pack, play, tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert len(found.part.events) == len(times_of(TWELVE)) - 3
    assert play.runs == 5, "the end is cut in any case"


def test_what_one_requirement_tried_is_not_run_again_for_another(tmp_path: Path) -> None:
    play, pack = Played({times_of(TWELVE)[0]}), pack_of(tmp_path)
    makes = shrinker(pack, play, tmp_path / "work")
    first = makes.smallest(pack["A-1"])
    runs = play.runs
    assert makes.smallest(pack["A-1"]) == first
    assert play.runs == runs


def test_one_event_from_the_start_stands_for_many_that_hold_until_it(tmp_path: Path) -> None:
    class Holds(Played):
        """Broken with the last event at its time if all others are there, or with it alone from the start."""

        def __call__(self, path: Path) -> list[Finding]:
            super().__call__(path)
            times = times_of(path)
            broken = len(times) == len(every) or times == ["0"]
            return [Finding("A-1", Verdict.FAILED if broken else Verdict.HELD, failed_ms=1_000, exercised=1)]

    every, pack = times_of(TWELVE), pack_of(tmp_path)
    found = shrinker(pack, Holds(set()), tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert (len(found.part.events), found.part.at_start) == (1, True)


def loads_of(path: Path) -> tuple[int, float | None]:
    (one,) = prepare([path], log_ms=SCAN_MS)
    return len(one.scenario.events), one.scenario.start.load_w


def test_little_load_at_the_start_stands_for_all_events(tmp_path: Path) -> None:
    class Idles(Played):
        """Broken with all events, or with so little to do that the machine stops and starts by itself."""

        def __call__(self, path: Path) -> list[Finding]:
            super().__call__(path)
            n, load_w = loads_of(path)
            broken = n == 12 or (load_w is not None and load_w < 100e3)
            return [Finding("A-1", Verdict.FAILED if broken else Verdict.HELD, failed_ms=4_400_000, exercised=1)]

    pack = pack_of(tmp_path)
    found = shrinker(pack, Idles(set()), tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert found.part == Part((), load_w=95e3, duration_ms=4_410_000)


@pytest.mark.parametrize(("change", "after_w"), [('to = "830 kW"', 830e3), ('change = "+80 kW"', 430e3)])
def test_the_load_at_the_start_stands_for_a_step_of_it(change: str, after_w: float, tmp_path: Path) -> None:
    class Loaded(Played):
        """Broken with four events, or with three and the load that comes of the step at the start."""

        def __call__(self, path: Path) -> list[Finding]:
            super().__call__(path)
            broken = loads_of(path) in ((5, 350e3), (4, 350e3), (3, after_w))
            return [Finding("A-1", Verdict.FAILED if broken else Verdict.HELD, failed_ms=6_500_000, exercised=1)]

    text = FOULS.read_text(encoding="utf-8").replace('"plants/', f'"{LIBRARY.as_posix()}/plants/')
    text = text.replace('"sheets/', f'"{LIBRARY.as_posix()}/sheets/').replace('to = "830 kW"', change)
    path = tmp_path / FOULS.name
    path.write_text(text, encoding="utf-8")
    pack = pack_of(tmp_path)
    (job,) = plan(pack, [path]).jobs
    found = Smaller(job, 3, pack, Loaded(set()), tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert (found.part.events, found.part.load_w) == ((0, 1, 3), after_w)


def test_no_requirement_of_the_pack_looks_beyond_the_end(tmp_path: Path) -> None:
    play, pack = Played(set(), failed_ms=0), pack_of(tmp_path, "always[0 s, 20 min] true")
    found = shrinker(pack, play, tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert found.part.duration_ms == 1_210_000


BOUND = 'scenarios = ["starts*"]'


def test_of_a_requirement_of_some_scenarios_only_what_comes_later_goes(tmp_path: Path) -> None:
    """Nobody can tell whether it would be due without its events."""
    at_s = sorted(map(int, times_of(TWELVE)))[4]
    pack, play = pack_of(tmp_path, extra=BOUND), Played(set(), failed_ms=1000 * at_s)
    found = shrinker(pack, play, tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert sorted(int(times_of(TWELVE)[k]) for k in found.part.events)[-1] == at_s
    assert (len(found.part.events), play.runs) == (5, 2)


@pytest.mark.parametrize("due", [True, False])
def test_what_a_requirement_of_some_scenarios_is_due_by_stays(
    due: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without its third event everybody breaks it: the scenario's own controller shows that.  Where that one breaks it
    in the whole scenario too, it shows nothing."""
    every, pack = times_of(TWELVE), pack_of(tmp_path, extra=BOUND)

    class Own(Played):
        def __call__(self, path: Path) -> list[Finding]:
            super().__call__(path)
            held = due and every[2] in times_of(path)
            return [Finding("A-1", Verdict.HELD if held else Verdict.FAILED, failed_ms=1_000, exercised=1)]

    own = Own(set())
    monkeypatch.setattr(module, "played_by", lambda _pack, _job: own)
    (job,) = plan(pack, [TWELVE], "three_position").jobs
    names_itself = module.own_of(pack, job)
    assert names_itself is not None
    makes = Smaller(job, 3, pack, Played({every[0]}, failed_ms=4_000_000), tmp_path / "work", own=names_itself)
    found = makes.smallest(pack["A-1"])
    assert found is not None
    assert found.part.events == ((0, 2) if due else tuple(range(len(every))))
    assert own.runs == (1 if not due else own.runs)


def test_its_own_controller_is_another_one_only_where_the_command_line_says_so(tmp_path: Path) -> None:
    pack = pack_of(tmp_path)
    (same,), (other,) = plan(pack, [TWELVE]).jobs, plan(pack, [TWELVE], "three_position", seed=9).jobs
    assert module.own_of(pack, same) is None
    own = module.own_of(pack, other)
    assert own is not None
    assert (own.controller, own.settings, own.seed) == (None, None, 9)


def test_what_was_interrupted_goes_on(tmp_path: Path) -> None:
    every, pack = times_of(TWELVE), pack_of(tmp_path)
    wanted = {every[1], every[8]}

    class Ends(Played):
        def __call__(self, path: Path) -> list[Finding]:
            if self.runs == 7:
                raise KeyboardInterrupt
            return super().__call__(path)

    def makes(play: Played, name: str, stamp: str = "a") -> Smaller:
        (job,) = plan(pack, [TWELVE]).jobs
        return Smaller(job, 3, pack, play, tmp_path / "work", tried=Tried(tmp_path / name, stamp))

    whole = Played(wanted)
    expected = makes(whole, "never interrupted.json").smallest(pack["A-1"])
    with pytest.raises(KeyboardInterrupt):
        makes(Ends(wanted), "runs.json").smallest(pack["A-1"])
    rest = Played(wanted)
    assert makes(rest, "runs.json").smallest(pack["A-1"]) == expected
    assert rest.runs == whole.runs - 7
    nothing = Played(wanted)
    assert makes(nothing, "runs.json").smallest(pack["A-1"]) == expected
    assert nothing.runs == 0
    for stamp, text in (("b", None), ("a", "{"), ("a", '{"stamp": "a", "runs": [3]}')):
        if text is not None:
            (tmp_path / "runs.json").write_text(text, encoding="utf-8")
        again = Played(wanted)
        assert makes(again, "runs.json", stamp).smallest(pack["A-1"]) == expected
        assert again.runs == whole.runs, "other inputs, or a damaged file: from the start"


def test_what_does_not_break_it_again_is_kept_whole(tmp_path: Path) -> None:
    """A controller that does not answer the same twice."""
    pack = pack_of(tmp_path)
    assert shrinker(pack, Played({"never"}), tmp_path / "work").smallest(pack["A-1"]) is None


def test_a_part_that_is_no_scenario_is_not_taken(tmp_path: Path) -> None:
    class Refuses(Played):
        def __call__(self, path: Path) -> list[Finding]:
            found = super().__call__(path)
            if len(times_of(path)) < 3:
                raise InputRefused([])
            return found

    pack = pack_of(tmp_path)
    found = shrinker(pack, Refuses(set()), tmp_path / "work").smallest(pack["A-1"])
    assert found is not None
    assert len(found.part.events) == 3


def test_what_is_left_is_told() -> None:
    assert Part((1, 2)).told(5) == "2 of its 5 events"
    told = Part((4,), 60_500, True, 47.5e3).told(12)
    assert told == "1 of its 12 events at the start, 47.5 kW of load at the start, its first 60.5 s"


@pytest.mark.parametrize("left", [(), (1,), (0, 1, 2, 3)])
def test_a_copy_has_the_events_that_are_left(left: tuple[int, ...], tmp_path: Path) -> None:
    from tools.verification.scenario_copy import events_of, scenario_copy

    job = plan(load_pack(), [TWELVE], "three_position").jobs[0]
    path = tmp_path / "deep" / "copy.toml"
    path.parent.mkdir()
    path.write_text(scenario_copy(job, 4, path.parent, Part(left, 600_000)), encoding="utf-8")
    assert events_of(path) == len(left)
    if all(int(times_of(TWELVE)[k]) < 600 for k in left):
        (one,) = prepare([path], log_ms=SCAN_MS)
        assert (one.seed, one.controller_name, one.scenario.duration_ms) == (4, "three_position", 600_000)
        assert times_of(path) == [times_of(TWELVE)[k] for k in left]
