"""Any work on anyone's controller, in a process of its own: what hangs or crashes there is told, and takes nobody along.

    found = run_isolated("tools.check_controller:in_child", {"controller": "my_logic.so"})

The task is a function of (job, heart); it gets plain data and gives plain data.  Its heart lies in a file that both
processes map: what is being done, the scan, and how far it has come.  A heart that stands still for longer than the
patience is a hang.  For whole runs with their rows there is scenarios/child.py.
"""

from __future__ import annotations

import json
import mmap
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

from scenarios.child import (
    COMPILE_PATIENCE_S,
    TICK_S,
    as_dict,
    death_in_words,
    leave_with_parent,
    load_patience_s,
    patience_s,
)
from scenarios.errors import InputRefused, InternalError, Problem

_NUMBERS = 4
_TEXT_BYTES = 400
_SIZE = 8 * _NUMBERS + _TEXT_BYTES
_PHASES = ("preparing", "loading", "scanning")
LOADING = "while loading"  # the place of a fault before the first scan: what is no controller


class Heart:
    """Where the work stands, in memory that may be shared.

    `scan[0]` is written at every scan, so it is a bare memoryview; the rest is told through the methods.
    """

    def __init__(self, memory: Any = None) -> None:
        view = memoryview(bytearray(_SIZE) if memory is None else memory)
        numbers = view[: 8 * _NUMBERS].cast("q")
        self.scan = numbers[0:1]
        self._rest = numbers
        self._text = view[8 * _NUMBERS : _SIZE]

    def phase(self, name: str) -> None:
        """One of preparing, loading, scanning: each has a patience of its own."""
        self._rest[1] = _PHASES.index(name)
        self._rest[3] += 1

    def begin(self, text: str) -> None:
        """A new sequence of scans begins; `text` says which, for the words about a hang."""
        data = text.encode()[:_TEXT_BYTES].ljust(_TEXT_BYTES, b"\0")
        self._text[:] = data
        self.scan[0] = 0
        self._rest[3] += 1

    def come(self, share: float) -> None:
        """How much of the work is done, 0 to 1."""
        self._rest[2] = int(1e6 * share)

    @property
    def told(self) -> tuple[int, ...]:
        """All numbers, to see whether anything has moved."""
        return tuple(self._rest)

    @property
    def place(self) -> str:
        """Where the work stands, in words."""
        if self._rest[1] < 2:
            return f"while {_PHASES[self._rest[1]]}"
        text = bytes(self._text).rstrip(b"\0").decode(errors="replace")
        return f"in scan {self.scan[0]} of {text}"


@dataclass(frozen=True, slots=True)
class Isolated:
    """What came back.  `fault`: why nothing did, "" for none; then `place` says where."""

    answer: dict[str, Any]
    fault: str = ""
    place: str = ""


def run_isolated(task: str, job: dict[str, Any], progress: Callable[[float], None] | None = None) -> Isolated:
    """Do a task in a child.  task: "module:function".

    Raises InputRefused for what the task refused and InternalError for what it did not foresee; a controller that
    crashed, left or hung is a result.
    """
    folder = Path(tempfile.mkdtemp(prefix="twoslide-"))
    try:
        return _run(task, job, folder, progress)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _run(task: str, job: dict[str, Any], folder: Path, progress: Callable[[float], None] | None) -> Isolated:
    (folder / "job.json").write_text(json.dumps({"task": task, "job": job}), encoding="utf-8")
    (folder / "heart.bin").write_bytes(bytes(_SIZE))
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with open(folder / "heart.bin", "r+b") as file, open(folder / "said.txt", "wb") as said:
        heart = Heart(mmap.mmap(file.fileno(), _SIZE))
        child = subprocess.Popen(
            [sys.executable, "-m", "scenarios.isolated", str(folder)],
            stdin=subprocess.DEVNULL,
            stdout=said,  # what a plug-in prints must not mix with our own output
            stderr=subprocess.STDOUT,
            env=environment,
            start_new_session=True,  # Ctrl-C reaches the parent, which then decides
        )
        try:
            hung = _watch(child, heart, folder, progress)
        finally:
            if child.poll() is None:
                os.killpg(child.pid, signal.SIGKILL)
            child.wait()
        if hung:
            return Isolated({}, hung, heart.place)
        if (folder / "answer.json").is_file():
            return _read(json.loads((folder / "answer.json").read_text(encoding="utf-8")))
        return Isolated({}, death_in_words(child.returncode), heart.place)


def _watch(child: subprocess.Popen[bytes], heart: Heart, folder: Path, progress: Callable[[float], None] | None) -> str:
    """Wait for the child; "" when it ended by itself, else why it was given up."""
    last, since = heart.told, time.monotonic()
    while child.poll() is None:
        time.sleep(TICK_S)
        told, now = heart.told, time.monotonic()
        if told != last:
            last, since = told, now
            if progress:
                progress(min(1.0, told[2] * 1e-6))
        given_s = (COMPILE_PATIENCE_S, load_patience_s(), patience_s())[told[1]]
        if now - since > given_s and not (folder / "answer.json").exists():
            return f"the controller hung: nothing moved for {given_s:g} s"
    return ""


def _read(answer: dict[str, Any]) -> Isolated:
    if "refused" in answer:
        raise InputRefused([Problem(**problem) for problem in answer["refused"]])
    if "internal" in answer:
        raise InternalError(str(answer["internal"]))
    return Isolated(answer["answer"])


def _child_main(folder: Path) -> NoReturn:
    leave_with_parent()
    written = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    with open(folder / "heart.bin", "r+b") as file:
        heart = Heart(mmap.mmap(file.fileno(), _SIZE))
    answer: dict[str, Any]
    try:
        module, _, function = written["task"].partition(":")
        answer = {"answer": getattr(import_module(module), function)(written["job"], heart)}
    except InputRefused as error:
        answer = {"refused": [as_dict(problem) for problem in error.problems]}
    except Exception:
        answer = {"internal": traceback.format_exc()}
    temporary = folder / "answer.tmp"
    temporary.write_text(json.dumps(answer), encoding="utf-8")
    temporary.rename(folder / "answer.json")
    os._exit(0)  # past whatever threads or exit handlers a plug-in has


if __name__ == "__main__":
    _child_main(Path(sys.argv[1]))
