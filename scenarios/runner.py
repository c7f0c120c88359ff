"""Running: from scenario files to a run's folder.

    prepared = prepare([Path("demo_shift.toml")])
    result = execute(prepared[0], Path("out"))

Shipped controllers run in this process, compiled; anybody else's code in a child (scenarios/child.py).
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from polars.exceptions import PolarsError

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.plant import explain
from scenarios.child import run_in_child
from scenarios.controllers import Kind, library_settings_of, library_state, load
from scenarios.engine import BlockEnd, Run
from scenarios.errors import InputRefused, Problem, StorageFailed
from scenarios.limits import Limits
from scenarios.preparation import Prepared, prepare, settings_for
from scenarios.row import COLUMNS, RowView, write_row
from scenarios.scoring import Scores, read_scores, score
from scenarios.session import Buffers, Session, memory_buffers
from scenarios.trace import Event, Floats, Trace, partial_folder, publish, read_trace, trace_of, write_trace

__all__ = [
    "RunResult",
    "check_place",
    "check_plug_in",
    "execute",
    "failure_text",
    "finished_run",
    "open_session",
    "play_prepared",
    "prepare",
    "prepare_job",
]


@dataclass(frozen=True, slots=True)
class RunResult:
    """A finished run.  `failure` says why it ended early; a trip is no failure."""

    trace: Trace
    scores: Scores
    limits: Limits
    folder: Path | None
    failure: str | None
    engine: str
    engine_note: str
    simulated_s_per_s: float
    facts: dict[str, str]


def open_session(prepared: Prepared, buffers: Buffers) -> tuple[Session, str]:
    """A session with the controller's code loaded, and a word on how fast it will be and why."""
    from scenarios.entries import CompiledEntry, Entry, ForeignEntry, PythonEntry
    from scenarios.records import to_array

    loaded = load(prepared.named)
    entry: Entry
    if loaded.kernels is not None:
        settings, shipped = prepared.settings, prepared.named.kind is Kind.SHIPPED
        if not shipped:
            settings = settings_for(prepared, loaded.kernels.settings_type, loaded.kernels.name)
        entry = CompiledEntry(loaded.kernels, settings, cached=shipped)
        note = "controller and plant compiled" if shipped else "compiled afresh: only shipped controllers are cached"
    elif loaded.library is not None:
        wanted = library_settings_of(loaded.library)
        array = to_array(settings_for(prepared, SHIPPED[wanted].settings_type, wanted)) if wanted else None
        entry = ForeignEntry(loaded.library, "twoslide_scan", array, library_state(loaded.library), guarded=True)
        note = "shared library called each scan by the compiled plant, in a child process"
    else:
        entry = PythonEntry(loaded.python.scan)
        note = "the controller is plain Python, called back each scan by the compiled plant, in a child process"
    return Session(prepared, entry, buffers), note


def prepare_job(job: dict[str, Any]) -> Prepared:
    """Prepare one scenario again, in the child, from what the parent wrote down."""
    sheet = Path(job["settings"]) if job["settings"] else None
    found = prepare(
        [Path(job["scenario"])], controller=job["controller"], settings=sheet, seed=job["seed"], log_ms=job["log_ms"]
    )
    return replace(found[0], clock_offset_ms=job["clock_offset_ms"])


_FAULTS = {
    BlockEnd.CONTROLLER_NOT_FINITE: "the controller put out a demand that is no finite number",
    BlockEnd.CONTROLLER_BOTH_DRIVES: "the controller energised both drives of one slide at once",
}


def failure_text(session: Session, end: BlockEnd) -> str:
    """Why a run ended before its time, in words; "" if it did not."""
    at_s = session.time_ms / 1000.0
    if end is BlockEnd.REACHED:
        strayed = session.entry.strayed() if session.entry else ""
        return f"{strayed}, found at {at_s:.1f} s" if strayed else ""
    if end in _FAULTS:
        return f"{_FAULTS[end]}, in the scan at {at_s:.1f} s"
    status = session.run.status
    if end is BlockEnd.PLANT:
        words = explain(status, session.plant_state(), session.prepared.parameters)
        return f"the plant left what its model can describe at {at_s:.1f} s: {words}"
    error = session.entry.error if session.entry else None
    if isinstance(error, KeyboardInterrupt):
        raise error
    if error is not None:
        return f"the controller raised {type(error).__name__}: {error}{_place(error)}, in the scan at {at_s:.1f} s"
    return f"the controller returned status {status} in the scan at {at_s:.1f} s"


def _place(error: BaseException) -> str:
    trace = error.__traceback__
    while trace and trace.tb_next:
        trace = trace.tb_next
    return f" ({Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno})" if trace else ""


def play_prepared(
    prepared: Prepared, folder: Path, progress: Callable[[float], None] | None = None
) -> tuple[Trace, str, str, str, float]:
    """Run; returns trace, failure, engine, note, simulated seconds per second of wall time.

    `folder` holds the shared files of a child; it must exist and is left to the caller to clear.
    """
    began = time.perf_counter()
    if prepared.named.kind is Kind.SHIPPED:
        buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
        session, note = open_session(prepared, buffers)
        session.warm_up()
        began = time.perf_counter()
        failure = failure_text(session, session.play(progress))
        noted, engine, wall_s = session.noted, "compiled", time.perf_counter() - began
    else:
        result = run_in_child(prepared, _job(prepared), folder, progress)
        buffers, noted, failure = result.buffers, result.noted, result.failure
        engine, note, wall_s = "child process", result.engine_note, result.wall_s or time.perf_counter() - began
    run = buffers.run[0]
    rows, edges = int(run["row_count"]), int(run["edge_count"])
    if failure:
        noted = [*noted, Event(int(run["time_ms"]), "run", "fault", failure)]
    if int(run["edges_lost"]):
        noted = [*noted, Event(int(run["time_ms"]), "run", "events", f"{int(run['edges_lost'])} changes not recorded")]
    data = buffers.rows[:rows] if rows else _state_before_any_scan(prepared)
    trace = trace_of(data, buffers.edges[:edges], noted, dict(prepared.facts))
    return trace, failure, engine, note, int(run["time_ms"]) / 1000.0 / max(wall_s, 1e-9)


def _state_before_any_scan(prepared: Prepared) -> Floats:
    """One row of the plant at its start and outputs that say nothing: for a controller that failed in its first scan."""
    values = np.zeros(len(COLUMNS))
    write_row(RowView(values), prepared.initial_state(), prepared.disturbances(), Inputs(), Outputs(), Run())
    return values.reshape(1, -1)


def _job(prepared: Prepared) -> dict[str, Any]:
    sheet_path = prepared.scenario.sheet_path
    return {
        "scenario": str(prepared.scenario.path.resolve()),
        "controller": prepared.named.full,
        "settings": str(sheet_path.resolve()) if sheet_path else "",
        "seed": prepared.seed,
        "log_ms": prepared.log_ms,
        "clock_offset_ms": prepared.clock_offset_ms,
    }


RUN_FILES = {"trace.parquet", "events.csv", "scores.json", "report.html"}


def check_place(out: Path) -> None:
    """Raises InputRefused for a place that is not a run's own: nothing but a run's folder is ever replaced."""
    if not out.exists():
        return
    if not out.is_dir():
        raise InputRefused(Problem(f"--out {out} is a file", value=str(out), way_out="name a folder"))
    strange = sorted(path.name for path in out.iterdir() if path.name not in RUN_FILES)
    if strange:
        raise InputRefused(
            Problem(
                f"--out {out} holds other files ({strange[0]}), and a run replaces its folder whole",
                value=str(out),
                way_out="name a new folder",
            )
        )


def finished_run(prepared: Prepared, out: Path) -> RunResult | None:
    """The run that stands at `out`, if it came from exactly these inputs and this version; else None.

    So a folder of scenarios that was interrupted goes on where it stopped.  A run that ended in a fault is run again.
    """
    if not all((out / name).is_file() for name in RUN_FILES) or prepared.named.kind is not Kind.SHIPPED:
        return None  # what a plug-in imports is not ours to hash
    try:
        trace, scores = read_trace(out), read_scores(out)
    except (OSError, ValueError, KeyError, PolarsError):
        return None  # not readable as a run of this version: it is replaced
    same = all(trace.metadata.get(key) == value for key, value in prepared.facts.items())
    if not same or any(event.kind == "run" and event.source == "fault" for event in trace.events):
        return None
    note = "finished before from the same inputs, not run again"
    return RunResult(trace, scores, prepared.limits, out, None, "kept", note, 0.0, dict(prepared.facts))


def check_plug_in(prepared: Prepared) -> None:
    """Load a plug-in's code in a child and throw it away.  Raises InputRefused when it is no controller."""
    if prepared.named.kind is Kind.SHIPPED:
        return
    work = Path(tempfile.mkdtemp(prefix="twoslide-"))
    try:
        run_in_child(prepared, {**_job(prepared), "only_load": True}, work, None)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def execute(
    prepared: Prepared,
    out: Path | None,
    progress: Callable[[float], None] | None = None,
    finish: Callable[[Path, RunResult], None] | None = None,
) -> RunResult:
    """Run one prepared scenario and, with `out`, leave its folder there.

    `finish(folder, result)` may add files (the report) before the folder gets its name.  Raises InputRefused for a
    controller that does not load, StorageFailed when the folder cannot be written; a controller that fails while
    running is a result whose folder is complete up to the fault.
    """
    if out is not None:
        check_place(out)
    work = Path(tempfile.mkdtemp(prefix="twoslide-"))
    try:
        trace, failure, engine, note, speed = play_prepared(prepared, work, progress)
        scores = score(trace, prepared.limits, prepared.refrigerant)
        result = RunResult(
            trace, scores, prepared.limits, None, failure or None, engine, note, speed, dict(prepared.facts)
        )
        if out is None:
            return result
        try:
            partial = partial_folder(out)
            try:
                write_trace(trace, partial)
                (partial / "scores.json").write_text(scores.to_json(), encoding="utf-8")
                if finish:
                    finish(partial, result)
                publish(partial, out)
            except BaseException:
                shutil.rmtree(partial, ignore_errors=True)
                raise
        except OSError as error:
            raise StorageFailed(f"{out} could not be written: {error.strerror or error}") from error
        return replace(result, folder=out)
    finally:
        shutil.rmtree(work, ignore_errors=True)
