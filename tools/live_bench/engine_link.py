"""The server's end of the pipe to the engine's process: a thread that always reads, and commands with tickets.

An engine whose plug-in hangs is ended here; what the session came to is then written into its folder.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from scenarios.errors import InputRefused, InternalError, Problem, TwoslideError
from tools.live_bench.engine_process import play_session
from tools.live_bench.plug_in_watch import Watch

READY_S = 600.0  # the first time on a machine the engine has to be compiled, and a machine may be busy
END_S = 5.0
LOOK_S = 0.25

Heard = Callable[[str, int, str], None]


class EngineLink:
    """A session's engine in a process of its own.  `heard` is called in the reading thread: (kind, ticket, JSON text)."""

    def __init__(self, folder: Path) -> None:
        context = multiprocessing.get_context("spawn")
        self._watch = Watch(folder)
        self._ending = False
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=play_session, args=(theirs, str(folder)), daemon=True)
        self._process.start()
        theirs.close()
        self._lock = threading.Lock()

    @property
    def pid(self) -> int:
        """Of the engine's process."""
        return int(self._process.pid or 0)

    def wait_ready(self) -> str:
        """The session's facts, as JSON.  InputRefused if the session cannot be opened, InternalError if the engine died."""
        last_s = time.monotonic() + READY_S
        while not self._pipe.poll(LOOK_S):
            hung = self._watch.hung()
            if hung or time.monotonic() > last_s:
                self._process.kill()
                self.end()
                if hung:
                    raise InputRefused(Problem(hung, way_out="mend the controller"))
                raise InternalError(f"the engine was not ready after {READY_S:.0f} s")
        try:
            kind, _, text = self._pipe.recv()
        except EOFError as error:
            self._process.join(END_S)
            death = self._watch.death(self._process.exitcode or 0)
            self.end()
            if death:
                raise InputRefused(Problem(death, way_out="mend the controller")) from error
            raise InternalError("the engine ended before it was ready") from error
        if kind == "failed":
            raise InputRefused(Problem(str(text)))
        return str(text)

    def listen(self, heard: Heard) -> None:
        """Begin to read, in a thread; the last thing heard is "gone", with why as its text where a plug-in is why."""

        def read() -> None:
            why = ""
            while not why:
                try:
                    if not self._pipe.poll(LOOK_S):
                        why = self._watch.hung()
                        continue
                    kind, ticket, text = self._pipe.recv()
                except (EOFError, OSError):
                    break
                if kind == "gone":
                    why = text
                else:
                    heard(kind, ticket, text)
            heard("gone", 0, "" if self._ending else self._last_words(why))

        threading.Thread(target=read, daemon=True, name="engine reader").start()

    def _last_words(self, why: str) -> str:
        """Why the engine is gone and what was kept; "" where it was no plug-in's doing."""
        self._process.kill()
        self._process.join(END_S)
        why = why or self._watch.death(self._process.exitcode or 0)
        if not why:
            return ""
        try:
            kept = self._watch.keep_rows(why)
        except (TwoslideError, OSError) as error:
            kept = f"what was logged could not be written: {error}"
        return f"{why}; the session up to then: {kept}" if kept else why

    def send(self, ticket: int, do: str, data: dict[str, Any]) -> bool:
        """A command; False where there is no engine any more."""
        try:
            with self._lock:
                self._pipe.send((ticket, do, data))
        except OSError:
            return False
        return True

    def kill(self) -> None:
        """End the engine at once, as a crash would; for tests of what then happens."""
        self._process.kill()

    def wait_ended(self) -> None:
        """Come back when the engine's process has ended, or after some seconds."""
        self._process.join(2.0 * END_S)

    def end(self) -> None:
        """Let the engine save and end; end it by force where it does not."""
        self._ending = True
        self.send(0, "end", {})  # to close the pipe would not do: the reading thread keeps it open
        self._process.join(END_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join(END_S)
        with contextlib.suppress(OSError):
            self._pipe.close()
        self._watch.clear()
