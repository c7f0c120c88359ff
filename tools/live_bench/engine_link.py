"""The server's end of the pipe to the engine's process: a thread that always reads, and commands with tickets."""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from scenarios.errors import InputRefused, InternalError, Problem
from tools.live_bench.engine_process import play_session

READY_S = 600.0  # the first time on a machine the engine has to be compiled, and a machine may be busy
END_S = 5.0

Heard = Callable[[str, int, str], None]


class EngineLink:
    """A session's engine in a process of its own.  `heard` is called in the reading thread: (kind, ticket, JSON text)."""

    def __init__(self, folder: Path) -> None:
        context = multiprocessing.get_context("spawn")
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
        if not self._pipe.poll(READY_S):
            self.end()
            raise InternalError(f"the engine was not ready after {READY_S:.0f} s")
        try:
            kind, _, text = self._pipe.recv()
        except EOFError as error:
            raise InternalError("the engine ended before it was ready") from error
        if kind == "failed":
            raise InputRefused(Problem(str(text)))
        return str(text)

    def listen(self, heard: Heard) -> None:
        """Begin to read, in a thread; the last thing heard is "gone"."""

        def read() -> None:
            while True:
                try:
                    kind, ticket, text = self._pipe.recv()
                except (EOFError, OSError):
                    break
                heard(kind, ticket, text)
            heard("gone", 0, "")

        threading.Thread(target=read, daemon=True, name="engine reader").start()

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
        self.send(0, "end", {})  # to close the pipe would not do: the reading thread keeps it open
        self._process.join(END_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join(END_S)
        with contextlib.suppress(OSError):
            self._pipe.close()
