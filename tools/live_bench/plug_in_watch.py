"""Somebody else's controller on the bench: what the engine's process leaves for the server, should the controller take it.

The engine puts its rows, its events and what it is doing into files of the session's folder, mapped by both processes.
While it plays, its count of scans must move: a scan that lasts longer than the patience of `twoslide run` is a hang.
A shipped controller needs none of this, and has none of it.
"""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Iterator
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios.child import COMPILE_PATIENCE_S, NotingList, death_in_words, load_patience_s, noted_events, patience_s
from scenarios.controllers import Kind
from scenarios.session import Buffers, file_buffers, memory_buffers
from scenarios.trace import Event, Trace, trace_of
from tools.live_bench.session_folder import keep, note_reached, prepared_with, read_journal, write_log

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

WORK = ".engine"  # in the session's folder, while a plug-in is played
_PULSE = "pulse.bin"


class Doing(IntEnum):
    """What the engine is at; each has a patience of its own."""

    RESTING = 0
    COMPILING = 1
    LOADING = 2
    PLAYING = 3


class Kept:
    """The engine's side: it plays into files where the controller is a plug-in, and says what it is doing."""

    def __init__(self, folder: Path, named_kind: Kind) -> None:
        self._work = folder / WORK
        self._pulse: Any = None
        self._number = 0
        if named_kind is not Kind.SHIPPED:
            shutil.rmtree(self._work, ignore_errors=True)  # of an engine that was killed
            self._work.mkdir()
            self._pulse = np.memmap(self._work / _PULSE, dtype=np.int64, mode="w+", shape=(3,))

    def buffers(self, prepared: Prepared) -> tuple[Buffers, list[Event]]:
        """Where a new session writes its rows, and its events."""
        size = (prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        if self._pulse is None:
            return memory_buffers(*size), []
        self._number += 1  # files of its own: the server may still look at those of the session before
        place = self._work / str(self._number)
        place.mkdir()
        made = file_buffers(place, *size, create=True)
        self._pulse[1] = self._number
        if self._number > 1:
            shutil.rmtree(self._work / str(self._number - 1), ignore_errors=True)
        return made, NotingList(place)

    @contextlib.contextmanager
    def doing(self, what: Doing) -> Iterator[None]:
        """Say what is being done meanwhile."""
        if self._pulse is None:
            yield
            return
        self._pulse[2] += 1
        self._pulse[0] = what
        try:
            yield
        finally:
            self._pulse[0] = Doing.RESTING


class Watch:
    """The server's side: whether a plug-in hangs, why its engine ended, and the rows up to then."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._pulse: Any = None
        self._run: Any = None
        self._number = 0
        self._last: tuple[int, ...] = ()
        self._since = time.monotonic()
        self.clear()  # what an engine left that was killed together with its server

    def clear(self) -> None:
        """Take away what the engine left."""
        self._pulse = self._run = None
        shutil.rmtree(self.folder / WORK, ignore_errors=True)

    def _look(self) -> bool:
        """Map what there is to see; False where no plug-in is played."""
        work = self.folder / WORK
        if self._pulse is None:
            path = work / _PULSE
            if not path.is_file() or path.stat().st_size < 24:
                return False
            self._pulse = np.memmap(path, dtype=np.int64, mode="r", shape=(3,))
        if self._pulse[1] != self._number:
            self._number = int(self._pulse[1])
            self._run = _mapped_run(work / str(self._number))
        return True

    def hung(self) -> str:
        """Why the engine has to be given up, in words; "" for nothing.  To be asked every moment."""
        if not self._look():
            return ""
        doing, scans = Doing(int(self._pulse[0])), -1 if self._run is None else int(self._run[0]["scans"])
        told, now = (int(doing), int(self._pulse[1]), int(self._pulse[2]), scans), time.monotonic()
        if told != self._last or doing is Doing.RESTING:
            self._last, self._since = told, now
        if doing is Doing.PLAYING and now - self._since > patience_s():
            return f"the controller hung: the scan at {self._at_s:.1f} s did not return within {patience_s():g} s"
        if doing is Doing.LOADING and now - self._since > load_patience_s():
            return f"the controller hung: it did not load within {load_patience_s():g} s"
        if doing is Doing.COMPILING and now - self._since > COMPILE_PATIENCE_S:
            return f"the engine was not compiled within {COMPILE_PATIENCE_S:g} s"
        return ""

    @property
    def _at_s(self) -> float:
        return 0.0 if self._run is None else int(self._run[0]["time_ms"]) / 1000.0

    def death(self, exit_code: int) -> str:
        """Why the engine ended by itself, in words; "" where no plug-in was at work."""
        where = {Doing.LOADING: "while it loaded", Doing.PLAYING: f"in the scan at {self._at_s:.1f} s"}
        if not self._look() or int(self._pulse[0]) not in where:
            return ""
        return death_in_words(exit_code, where[Doing(int(self._pulse[0]))])

    def keep_rows(self, why: str) -> str:
        """Write what the session came to, log and scenario, into its folder; returns that in words, "" for nothing."""
        if not self._look() or self._run is None or not int(self._run[0]["row_count"]):
            return ""
        journal = read_journal(self.folder)
        prepared = prepared_with(self.folder, journal.actions)
        at_ms = int(self._run[0]["time_ms"])
        words = write_log(self.folder, self._trace(prepared, why, at_ms))
        note_reached(self.folder, at_ms)
        keep(self.folder, prepared.scenario, journal.actions, at_ms)
        return words

    def _trace(self, prepared: Prepared, why: str, at_ms: int) -> Trace:
        place = self.folder / WORK / str(self._number)
        size = (prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        buffers = file_buffers(place, *size, create=False)
        run = buffers.run[0]
        noted = [*noted_events(place), Event(at_ms, "run", "fault", why)]
        rows, edges = buffers.rows[: int(run["row_count"])], buffers.edges[: int(run["edge_count"])]
        return trace_of(np.array(rows), np.array(edges), noted, dict(prepared.facts))


def _mapped_run(place: Path) -> Any:
    from scenarios.engine import Run
    from scenarios.records import dtype_of

    try:
        return np.memmap(place / "run.bin", dtype=dtype_of(Run), mode="r", shape=(1,))
    except (OSError, ValueError):
        return None  # the engine has gone on to another session meanwhile
