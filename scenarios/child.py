"""A run with foreign or Python code lives in a process of its own, which this file starts, watches and, if need be, ends.

Rows, edges and the run's clock lie in files mapped by both processes: whatever happens to the child, what it wrote up to
then is there.  The clock is the heartbeat: a controller that holds one scan for longer than the patience is hung.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from scenarios.controllers import load
from scenarios.errors import InputRefused, InternalError, Problem
from scenarios.session import Buffers, file_buffers
from scenarios.trace import Event

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

PATIENCE_S = 10.0  # for one scan; `TWOSLIDE_PATIENCE_S` changes it
LOAD_PATIENCE_S = 60.0  # to import the controller and reset it; the patience of a scan if that is longer
COMPILE_PATIENCE_S = 300.0  # the first time, to compile the engine
TICK_S = 0.05
NOTED = "noted.jsonl"


@dataclass(frozen=True, slots=True)
class ChildResult:
    """What came back: the buffers as far as they were filled, and what went wrong, "" for nothing."""

    buffers: Buffers
    noted: list[Event]
    failure: str
    engine_note: str
    wall_s: float  # of the run itself, without starting the process; 0 when the child did not live to tell


def patience_s() -> float:
    """How long one scan may take."""
    return float(os.environ.get("TWOSLIDE_PATIENCE_S", PATIENCE_S))


def load_patience_s() -> float:
    """How long importing and resetting may take."""
    return patience_s() if "TWOSLIDE_PATIENCE_S" in os.environ else LOAD_PATIENCE_S


def leave_with_parent() -> None:
    """End this process when its parent has gone: a killed command must not leave a controller running."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def run_in_child(
    prepared: Prepared, job: dict[str, Any], folder: Path, progress: Callable[[float], None] | None
) -> ChildResult:
    """Run a prepared scenario in a child.  `job` is what the child needs to prepare it again.

    Raises InputRefused when the controller cannot be loaded, or hangs or crashes meanwhile; a controller that fails
    while running is a result.
    """
    duration_ms = prepared.scenario.duration_ms
    buffers = file_buffers(folder, duration_ms, prepared.scan_ms, prepared.log_ms, create=True)
    (folder / "job.json").write_text(json.dumps({**job, "folder": str(folder)}), encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    with open(folder / "said.txt", "wb") as said:  # what the plug-in prints must not mix with our own output
        child = subprocess.Popen(
            [sys.executable, "-m", "scenarios.child", str(folder / "job.json")],
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            env=environment,
            start_new_session=True,  # Ctrl-C reaches the parent, which then decides
        )
        try:
            hung = _watch(child, buffers, folder, duration_ms, progress)
        finally:
            if child.poll() is None:
                os.killpg(child.pid, signal.SIGKILL)
            child.wait()
    answer: dict[str, Any] = {}
    if (folder / "answer.json").is_file():
        answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
    if answer.get("refused"):
        raise InputRefused([Problem(**problem) for problem in answer["refused"]])
    if answer.get("internal"):
        raise InternalError(str(answer["internal"]))
    failure = hung or str(answer.get("failure", ""))
    loading = _is_loading(folder)
    if not failure and not answer:
        at_s = int(buffers.run[0]["time_ms"]) / 1000.0
        failure = death_in_words(child.returncode, "while it was loaded" if loading else f"in the scan at {at_s:.1f} s")
    if failure and loading:
        raise InputRefused(Problem(f"{prepared.named.name}: {failure}", value=prepared.named.name))
    return ChildResult(
        buffers, noted_events(folder), failure, str(answer.get("engine_note", "")), float(answer.get("wall_s", 0.0))
    )


def _is_loading(folder: Path) -> bool:
    return (folder / "loading").exists() and not (folder / "loaded").exists()


def _watch(
    child: subprocess.Popen[bytes],
    buffers: Buffers,
    folder: Path,
    duration_ms: int,
    progress: Callable[[float], None] | None,
) -> str:
    """Wait for the child; "" when it ended by itself, else why it was given up."""
    last, since = (False, False, -1), time.monotonic()
    while child.poll() is None:
        time.sleep(TICK_S)
        started = (folder / "started").exists()
        loading = _is_loading(folder)
        scans = int(buffers.run[0]["scans"]) if started else -1
        told, now = (started, loading, scans), time.monotonic()
        if told != last:  # each phase has its patience from its own beginning
            last, since = told, now
            if progress and scans >= 0:
                progress(min(1.0, int(buffers.run[0]["time_ms"]) / duration_ms))
        given_s = patience_s() if started else load_patience_s() if loading else COMPILE_PATIENCE_S
        # done but for the farewell: the interpreter may take a moment to close
        if now - since > given_s and not (folder / "answer.json").exists():
            if not started:
                return f"the controller did not load within {given_s:g} s"
            at_s = int(buffers.run[0]["time_ms"]) / 1000.0
            return f"the controller hung: the scan at {at_s:.1f} s did not return within {given_s:g} s"
    return ""


def death_in_words(returncode: int, where: str = "") -> str:
    """How the process of a controller ended by itself, from its exit status; `where` says in which scan."""
    where = f" {where}" if where else ""
    if returncode < 0:
        try:
            name = signal.Signals(-returncode).name
        except ValueError:
            name = f"signal {-returncode}"
        # a library's outputs, state and settings end at a page that nobody may touch
        stray = ": memory that is not its own" if name in ("SIGSEGV", "SIGBUS") else ""
        return f"the controller crashed its process{where} ({name}{stray})"
    return f"the controller ended its process{where} (exit status {returncode})"


def noted_events(folder: Path) -> list[Event]:
    """The events that a NotingList has left in `folder`, whatever became of its process."""
    path = folder / NOTED
    if not path.is_file():
        return []
    events = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            time_ms, kind, source, text = json.loads(line)
        except ValueError:
            break  # the last line of a child that was killed while writing
        events.append(Event(int(time_ms), str(kind), str(source), str(text)))
    return events


class NotingList(list[Event]):
    """A session's list of noted events, each also in a file of `folder` at once."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._out = open(folder / NOTED, "a", encoding="utf-8", buffering=1)  # noqa: SIM115 - lives as long as the process

    def append(self, event: Event) -> None:
        super().append(event)
        self._out.write(json.dumps(list(event), ensure_ascii=False) + "\n")


def _child_main(job_path: Path) -> None:
    from scenarios.runner import failure_text, open_session, prepare_job

    job = json.loads(job_path.read_text(encoding="utf-8"))
    folder = Path(job["folder"])
    leave_with_parent()
    answer: dict[str, Any]
    try:
        prepared = prepare_job(job)
        import scenarios.compiled  # noqa: F401 - takes a second, which is not the controller's

        (folder / "loading").write_text("")
        if job.get("only_load"):
            load(prepared.named)
            _answer(folder, {"failure": ""})
        buffers = file_buffers(folder, prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms, create=False)
        session, note = open_session(prepared, buffers)
        (folder / "loaded").write_text("")
        session.note_into(NotingList(folder))
        session.warm_up()
        (folder / "started").write_text("")
        began = time.perf_counter()
        failure = failure_text(session, session.play())
        answer = {"failure": failure, "engine_note": note, "wall_s": time.perf_counter() - began}
    except InputRefused as error:
        answer = {"refused": [as_dict(problem) for problem in error.problems]}
    except Exception:
        answer = {"internal": traceback.format_exc()}
    _answer(folder, answer)


def _answer(folder: Path, answer: dict[str, Any]) -> NoReturn:
    """Leave the answer for the parent and end, past whatever threads or exit handlers a plug-in has."""
    temporary = folder / "answer.tmp"
    temporary.write_text(json.dumps(answer), encoding="utf-8")
    temporary.rename(folder / "answer.json")
    os._exit(0)


def as_dict(problem: Problem) -> dict[str, Any]:
    """A problem as plain data."""
    return {name: getattr(problem, name) for name in Problem.__dataclass_fields__}


if __name__ == "__main__":
    _child_main(Path(sys.argv[1]))
