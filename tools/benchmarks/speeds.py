"""The candidates of the speed table: every kind of controller and engine on the same demo shift."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from scenarios.entries import PythonEntry, interpreted_entry
from scenarios.session import Session
from tools.benchmarks.demo import (
    foreign_session,
    new_session,
    play_whole,
    prepared_shift,
    shipped_entry,
)
from tools.benchmarks.lsoda_engine import WAYS, LsodaSession
from tools.benchmarks.python_control import METHODS, Loop, by_python_control, by_step, loop_at
from tools.benchmarks.timing import Candidate, Work

ROOT = Path(__file__).resolve().parents[2]
C_SOURCE = ROOT / "tests" / "scenarios" / "foreign" / "plain_steps.c"
PYTHON_CLASS = C_SOURCE.with_suffix(".py")
COMPILED = "compiled, scheduled_pi"
# without a machine the load warms the rooms, and after 40 min the vessel's pressure is past the property tables
LONGEST_AT_REST_MS = 1_800_000
LONGEST_IN_PYTHON_MS = 1_200_000


def empty_scan(_inputs: Inputs, _outputs: Outputs, _now_ms: int) -> int:
    """A controller in plain Python that does nothing: what is left is the price of calling back."""
    return 0


def _candidate(name: str, text: str, duration_ms: int, session: Callable[[], Session]) -> Candidate:
    def fresh() -> Work:
        opened = session()
        opened.warm_up()
        return lambda: play_whole(opened)

    return Candidate(name, text, duration_ms / 1000.0, fresh)


def shipped_candidates(duration_ms: int) -> list[Candidate]:
    """Each shipped controller compiled, logging once a second and every scan."""
    found = []
    for log_ms in (1000, 100):
        for controller in SHIPPED:
            prepared = prepared_shift(controller, duration_ms, log_ms)
            every = "1 s" if log_ms == 1000 else "every scan"
            found.append(
                _candidate(
                    f"compiled, {controller}" + ("" if log_ms == 1000 else ", scan log"),
                    f"plant and shipped controller compiled, a row {every}",
                    duration_ms,
                    lambda prepared=prepared: new_session(prepared, shipped_entry(prepared)),  # type: ignore[misc]
                )
            )
    return found


def build_c_controller(folder: Path) -> Path | None:
    """The C example as a shared library in `folder`; None where gcc or the example is missing."""
    if shutil.which("gcc") is None or not C_SOURCE.is_file():
        return None
    library = folder / "plain_steps.so"
    header = ROOT / "controller" / "foreign"
    flags = ["-O2", "-ffp-contract=off", "-shared", "-fPIC", f"-I{header}"]
    subprocess.run(["gcc", *flags, "-o", str(library), str(C_SOURCE)], check=True)
    return library


def other_controllers(duration_ms: int, folder: Path) -> list[Candidate]:
    """Controllers that are not compiled by us, and the whole engine interpreted."""
    prepared = prepared_shift("scheduled_pi", duration_ms)
    at_rest_ms = min(duration_ms, LONGEST_AT_REST_MS)
    at_rest = prepared_shift("scheduled_pi", at_rest_ms)
    controller = SHIPPED["scheduled_pi"]
    found = [
        _candidate(
            "empty Python controller",
            "compiled plant calls back a Python scan that does nothing; the machine stays at rest",
            at_rest_ms,
            lambda: new_session(at_rest, PythonEntry(empty_scan)),
        ),
        _candidate(
            "interpreted scheduled_pi",
            "compiled plant calls back the scheduled PI, run by Python",
            duration_ms,
            lambda: new_session(prepared, interpreted_entry(controller, prepared.settings)),
        ),
        _candidate(
            "all interpreted",
            "plant and scheduled PI run by Python, the same kernels on dataclasses",
            duration_ms,
            lambda: new_session(prepared),
        ),
    ]
    if PYTHON_CLASS.is_file():
        in_python = prepared_shift(f"{PYTHON_CLASS}:PlainSteps", duration_ms)
        found.insert(
            1,
            _candidate(
                "Python class",
                "compiled plant calls back the same small step controller as a Python class",
                duration_ms,
                lambda: foreign_session(in_python),
            ),
        )
    library = build_c_controller(folder)
    if library is not None:
        in_c = prepared_shift(str(library), duration_ms)
        found.insert(
            0,
            _candidate(
                "C controller",
                "compiled plant calls a small step controller in a shared library",
                duration_ms,
                lambda: foreign_session(in_c),
            ),
        )
    return found


def lsoda_candidates(duration_ms: int) -> list[Candidate]:
    """The LSODA engine in each way that SciPy offers it; in plain Python only the shift's first 20 minutes."""
    found = []
    for way in WAYS:
        in_python = way.endswith("Python")
        part_ms = min(duration_ms, LONGEST_IN_PYTHON_MS) if in_python else duration_ms
        prepared = prepared_shift("scheduled_pi", part_ms)
        language = "in Python" if in_python else "compiled"
        found.append(
            _candidate(
                f"LSODA, {way}",
                f"the same cycle, plant integrated by LSODA restarted each scan, right-hand side {language}, rtol 1e-6",
                part_ms,
                lambda prepared=prepared, way=way: LsodaSession(prepared, shipped_entry(prepared), way),  # type: ignore[misc]
            )
        )
    return found


def loop_candidates(duration_s: float, loop: Loop | None = None) -> list[Candidate]:
    """The continuous PI loop by the plant's own step and by python-control."""
    at = loop_at() if loop is None else loop
    found = [
        Candidate(
            "PI loop, own step",
            "plant step and PI in turns, no scan",
            duration_s,
            lambda: lambda: by_step(at, duration_s),
        )
    ]
    for method in METHODS:
        found.append(
            Candidate(
                f"PI loop, python-control {method}",
                "the same equations and gains as an interconnected NonlinearIOSystem, compiled right-hand side, rtol 1e-6",
                duration_s,
                lambda method=method: lambda: by_python_control(at, duration_s, method),  # type: ignore[misc]
            )
        )
    return found
