"""A copy of `controller/` with one defect in it, loaded as a package of its own, and runs of it on the compiled plant.

The copy is run as plain Python behind the compiled engine, because compiling it would take longer than most of the runs
that find its defect.  Kernels give the same interpreted as compiled (tests/scenarios/test_engine.py).
"""

from __future__ import annotations

import importlib
import itertools
import sys
from pathlib import Path

from controller.contract import Controller
from scenarios.entries import PythonEntry
from scenarios.preparation import Prepared
from scenarios.runner import failure_text
from scenarios.session import Session, memory_buffers
from scenarios.trace import Event, Trace, trace_of
from tests.tools.verification.defects.catalogue import Defect

CONTROLLER = Path(__file__).resolve().parents[4] / "controller"
_SHARED = ("contract", "process_image")  # a copy of these would be other types for the same things
_KERNEL = "from numba.extending import register_jitable as kernel\n"
_PLAIN = "def kernel(function):\n    return function\n"
_numbers = itertools.count(1)


def patched(defect: Defect) -> str:
    """The text of the defect's file with its change.  Raises ValueError unless the old text stands there exactly once."""
    text = (CONTROLLER / defect.file).read_text(encoding="utf-8")
    if text.count(defect.old) != 1:
        raise ValueError(f"{defect.name}: its text stands {text.count(defect.old)} times in {defect.file}")
    return text.replace(defect.old, defect.new)


def build(defect: Defect | None, folder: Path, controller: str = "") -> Controller:
    """The controller with the defect, imported from a copy in `folder`; None: the copy as it is."""
    package = f"defective_{next(_numbers)}"
    place = folder / package
    place.mkdir(parents=True)
    for path in sorted(CONTROLLER.glob("*.py")):
        if path.stem in _SHARED:
            continue
        text = patched(defect) if defect is not None and path.name == defect.file else path.read_text(encoding="utf-8")
        text = text.replace(_KERNEL, _PLAIN).replace("from controller", f"from {package}")
        for shared in _SHARED:
            text = text.replace(f"from {package}.{shared} import", f"from controller.{shared} import")
        (place / path.name).write_text(text, encoding="utf-8")
    sys.path.insert(0, str(folder))
    try:
        module = importlib.import_module(f"{package}.{controller or (defect.controller if defect else '')}")
    finally:
        sys.path.remove(str(folder))
    made: Controller = module.CONTROLLER
    return made


def play(made: Controller, prepared: Prepared) -> tuple[Trace, str]:
    """Run a prepared scenario with a copy; its trace at every scan, and why it ended early, "" for not."""
    state = made.state_type()
    entry = PythonEntry(lambda i, o, now_ms: made.scan(prepared.settings, state, i, o, now_ms))
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    session = Session(prepared, entry, buffers)
    failure = failure_text(session, session.play())
    run = buffers.run[0]
    noted = list(session.noted)
    if failure:
        noted.append(Event(int(run["time_ms"]), "run", "fault", failure))
    rows, edges = int(run["row_count"]), int(run["edge_count"])
    return trace_of(buffers.rows[:rows], buffers.edges[:edges], noted, dict(prepared.facts)), failure
