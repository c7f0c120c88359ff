"""Who watches a run's child gives each phase its own patience, and counts it from where the phase began."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from scenarios import child
from scenarios.child import COMPILE_PATIENCE_S, NotingList, death_in_words, noted_events
from scenarios.session import Buffers, memory_buffers
from scenarios.trace import Event


class Clock:
    """Time that passes only when somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class Child:
    """A process that does `happenings` (at s, what) by the clock and then ends, or never does."""

    def __init__(self, clock: Clock, happenings: list[tuple[float, Callable[[], object]]], ends_s: float) -> None:
        self.clock, self.happenings, self.ends_s = clock, happenings, ends_s

    def poll(self) -> int | None:
        while self.happenings and self.clock.now_s >= self.happenings[0][0]:
            self.happenings.pop(0)[1]()
        return 0 if self.clock.now_s >= self.ends_s else None


@pytest.fixture
def watched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """A function that watches a child whose phases begin at these times; returns why it was given up, "" for not."""
    clock = Clock()
    monkeypatch.setattr(child, "time", clock)
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "6")
    buffers = memory_buffers(60_000, 100, 1000)

    def watch(loading: float, loaded: float, started: float, scans: list[float], ends: float) -> str:
        phases: list[tuple[float, Callable[[], object]]] = [
            (at_s, (tmp_path / name).touch)
            for name, at_s in (("loading", loading), ("loaded", loaded), ("started", started))
        ]
        phases += [(at_s, lambda: count(buffers)) for at_s in scans]
        return child._watch(Child(clock, phases, ends), buffers, tmp_path, 60_000, None)  # type: ignore[arg-type]

    def count(buffers: Buffers) -> None:
        buffers.run[0]["scans"] += 1
        buffers.run[0]["time_ms"] += 100

    return watch


def test_what_comes_before_a_controller_loads_is_not_counted_against_it(watched: Callable[..., str]) -> None:
    """A busy machine may take long to start an interpreter, to read the files and to compile."""
    assert watched(loading=40.0, loaded=45.0, started=200.0, scans=[205.0, 210.0], ends=215.0) == ""


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ({"loading": 40.0, "loaded": 47.0}, "the controller did not load within 6 s"),
        ({"loading": 1.0, "loaded": 2.0, "started": 3.0, "scans": [4.0, 11.0]}, "the scan at 0.1 s did not return"),
        ({"loading": COMPILE_PATIENCE_S + 1.0}, f"did not load within {COMPILE_PATIENCE_S:g} s"),
    ],
)
def test_a_phase_that_takes_too_long_is_given_up(
    watched: Callable[..., str], times: dict[str, float], words: str
) -> None:
    never = {"loaded": 1e4, "started": 1e4, "scans": [], "ends": 1e4}
    assert words in watched(**{**never, **times})


def test_a_child_that_has_answered_may_take_its_time_to_close(watched: Callable[..., str], tmp_path: Path) -> None:
    (tmp_path / "answer.json").write_text(json.dumps({"failure": ""}), encoding="utf-8")
    assert watched(loading=1.0, loaded=2.0, started=3.0, scans=[4.0], ends=60.0) == ""


def test_how_a_process_ended_in_words() -> None:
    assert death_in_words(-11, "in the scan at 1.0 s") == (
        "the controller crashed its process in the scan at 1.0 s (SIGSEGV: memory that is not its own)"
    )
    assert death_in_words(-200) == "the controller crashed its process (signal 200)"
    assert death_in_words(3) == "the controller ended its process (exit status 3)"


def test_noted_events_outlive_whoever_noted_them(tmp_path: Path) -> None:
    assert noted_events(tmp_path) == []
    noting = NotingList(tmp_path)
    noting.append(Event(5, "operator", "reset", "“reset” · pressed"))
    noting.append(Event(7, "run", "x", "y"))
    assert noted_events(tmp_path) == list(noting)
    with open(tmp_path / child.NOTED, "a", encoding="utf-8") as out:
        out.write('[9, "run", "cut of')  # killed while it was written
    assert noted_events(tmp_path) == list(noting)
