"""What a scan of each kind of controller costs, with the machine running: against no controller at all.

No controller is a C function that returns at once, so the commands stay as they were.  Each kind is played to a running
machine and put back there before every burst, objects of Python included.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numba import cfunc, types

from controller.registry import SHIPPED
from scenarios.controllers import library_state, load
from scenarios.entries import Entry, ForeignEntry, PythonEntry
from scenarios.preparation import Prepared
from scenarios.records import from_record
from tools.benchmarks.demo import OpenSession, new_session, prepared_shift, shipped_entry
from tools.benchmarks.paired import SCANS, Interval, Moment, bursts_in_turns, difference
from tools.benchmarks.plants import AFTER_MS, ROOM_MS
from tools.benchmarks.speeds import PYTHON_CLASS, build_c_controller, empty_scan

INTERPRETED, EMPTY = "interpreted scheduled_pi", "empty Python controller"
_NONE = "without: "


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of controller and what its scan costs, over no controller."""

    name: str
    text: str
    cost: Interval


class _NoEntry(Entry):
    """A C function that says «go on»."""

    def __init__(self) -> None:
        pointer: Any = types.voidptr
        signature = types.int32(pointer, pointer, pointer, pointer, types.uint32)
        self._function = cfunc(signature)(lambda a, b, c, d, e: 0)
        self.address = int(self._function.address or 0)


def _prepared(controller: str) -> Prepared:
    return prepared_shift(controller, AFTER_MS + ROOM_MS)


def _moment(prepared: Prepared, entry: Entry) -> Moment:
    session = new_session(prepared, entry)
    session.world.start_all()
    session.advance(AFTER_MS)
    return Moment(session)


class _Kinds:
    """Moments, and for each burst a fresh entry that stands where the controller stood at the moment."""

    def __init__(self, names: Iterable[str] | None) -> None:
        self.wanted = None if names is None else set(names)
        self.texts: dict[str, str] = {}
        self.bursts: dict[str, Callable[[int], float]] = {}
        self.none = _NoEntry()

    def asks_for(self, name: str) -> bool:
        return self.wanted is None or name in self.wanted

    def add(self, name: str, text: str, moment: Moment, fresh: Callable[[OpenSession], Entry]) -> None:
        self.texts[name] = text

        def burst(entry_of: Callable[[OpenSession], Entry]) -> Callable[[int], float]:
            def run(scans: int) -> float:
                genuine = moment.session.entry
                moment.session.entry = entry_of(moment.session)
                try:
                    return moment.burst(scans)
                finally:
                    moment.session.entry = genuine

            return run

        self.bursts[name] = burst(fresh)
        self.bursts[_NONE + name] = burst(lambda _session: self.none)


def _attached(session: OpenSession, scan: Callable[..., Any]) -> Entry:
    entry = PythonEntry(scan)
    entry.attach(session.records[0], session.records[1])
    return entry


def _add_compiled(kinds: _Kinds, name: str) -> None:
    prepared = _prepared(name)
    entry = shipped_entry(prepared)
    kinds.add(f"compiled, {name}", "shipped, compiled", _moment(prepared, entry), lambda _session: entry)


def _add_python(kinds: _Kinds) -> None:
    """The scheduled PI run by Python, from the state that the compiled one has reached, and a scan that does nothing."""
    prepared = _prepared("scheduled_pi")
    controller, entry = SHIPPED["scheduled_pi"], shipped_entry(prepared)
    moment = _moment(prepared, entry)
    if entry.state is None:
        raise TypeError("a shipped controller has a state")
    state = entry.state.copy()

    def interpreted(session: OpenSession) -> Entry:
        own: Any = from_record(controller.state_type, state[0])
        return _attached(session, lambda i, o, now_ms: controller.scan(prepared.settings, own, i, o, now_ms))

    if kinds.asks_for(INTERPRETED):
        kinds.add(INTERPRETED, "the same law, run by Python", moment, interpreted)
    if kinds.asks_for(EMPTY):
        text = "calling back into Python, and the process image there and back"
        kinds.add(EMPTY, text, moment, lambda session: _attached(session, empty_scan))


def controller_costs(
    folder: Path, rounds: int = 150, scans: int = SCANS, names: Iterable[str] | None = None
) -> list[Kind]:
    """Every kind's cost; `names` takes a few; `folder` takes the library that is built, where there is a C compiler.

    Raises RuntimeError where a machine does not run.
    """
    kinds = _Kinds(names)
    for name in SHIPPED:
        if kinds.asks_for(f"compiled, {name}"):
            _add_compiled(kinds, name)
    if kinds.asks_for(INTERPRETED) or kinds.asks_for(EMPTY):
        _add_python(kinds)
    if kinds.asks_for("C controller") and (library := build_c_controller(folder)) is not None:
        prepared = _prepared(str(library))
        loaded = load(prepared.named).library
        foreign = ForeignEntry(loaded, "twoslide_scan", None, library_state(loaded))
        kinds.add(
            "C controller", "a small step control in a shared library", _moment(prepared, foreign), lambda _: foreign
        )
    if kinds.asks_for("Python class") and PYTHON_CLASS.is_file():
        prepared = _prepared(f"{PYTHON_CLASS}:PlainSteps")
        mine = load(prepared.named).python
        moment = _moment(prepared, PythonEntry(mine.scan))
        kept = deepcopy(mine)
        text = "the same small step control as a Python class"
        kinds.add("Python class", text, moment, lambda session: _attached(session, deepcopy(kept).scan))
    found = bursts_in_turns({name: lambda burst=burst: burst(scans) for name, burst in kinds.bursts.items()}, rounds)  # type: ignore[misc]
    return [Kind(name, text, difference(found, name, _NONE + name)) for name, text in kinds.texts.items()]
