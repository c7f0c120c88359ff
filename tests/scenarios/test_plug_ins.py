"""One scan signature for everybody: C and Python controllers, and what happens to those that fail."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenarios.c_header import HEADER, header_text
from scenarios.controllers import load, name_controller
from scenarios.errors import InputRefused
from scenarios.preparation import SCAN_MS
from scenarios.runner import RunResult, execute, prepare

Build = Callable[..., Path]
ROOT = Path(__file__).resolve().parents[2]
FOREIGN = Path(__file__).parent / "foreign"
PLAIN = FOREIGN / "plain_steps.py"


def run(scenario: Path, controller: str, out: Path | None = None) -> RunResult:
    return execute(prepare([scenario], controller=controller)[0], out)


UNLOADED_AND_STOPPED = """
[[event]]
kind = "load_ramp"
at = "10 min"
to = "0 kW"
over = "10 s"
[[event]]
kind = "operator"
action = "stop_button"
at = "19 min"
"""


@pytest.mark.parametrize("clock_offset_ms", [0, 2**32 - 200_000])  # the controller's clock wraps while the slides move
def test_c_controller_and_its_python_twin_give_the_same_trace_scan_by_scan(
    short: Path, plain_steps_library: Path, clock_offset_ms: int
) -> None:
    text = short.read_text(encoding="utf-8").replace('duration = "10 min"', 'duration = "20 min"')
    short.write_text(text + UNLOADED_AND_STOPPED, encoding="utf-8")

    def every_scan(controller: str) -> RunResult:
        (prepared,) = prepare([short], controller=controller, log_ms=SCAN_MS)
        return execute(replace(prepared, clock_offset_ms=clock_offset_ms), None)

    in_c, in_python = every_scan(str(plain_steps_library)), every_scan(f"{PLAIN}:PlainSteps")
    assert in_c.failure is None
    assert in_python.failure is None
    assert in_c.trace["time_ms"].tolist() == list(range(0, 1_200_001, SCAN_MS))
    for name, values in in_c.trace.values.items():
        assert values.tobytes() == in_python.trace[name].tobytes(), name
    assert in_c.trace.events == in_python.trace.events
    # and it did something to compare: it started the machine, moved the slide both ways and stopped
    assert in_c.trace["motor_running"].max() == 1.0
    assert in_c.trace["motor_running"][-1] == 0.0
    assert np.count_nonzero(np.diff(in_c.trace["capacity_load"])) > 4
    assert np.count_nonzero(np.diff(in_c.trace["capacity_unload"])) > 4


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Raises", r"raised ValueError: lost count \(plain_steps.py:\d+\)"),
        ("NotANumber", "no finite number"),
        ("BothDrives", "both drives"),
        ("WrongType", r"outputs.capacity_demand_pct = 'sixty' is no finite number"),
        ("TextForBool", r"outputs.oil_pump = 'off' is neither True nor False"),
        ("Hangs", "hung"),
        ("Crashes", "SIGABRT"),
        ("Leaves", "exit status 3"),
        ("Status", "status 7"),
    ],
)
def test_a_failing_controller_leaves_its_rows(
    short: Path, tmp_path: Path, name: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "6")
    result = run(short, f"{PLAIN}:{name}", tmp_path / "out")
    assert result.failure is not None
    assert re.search(words, result.failure), result.failure
    assert result.trace["time_ms"][-1] == 59_000  # the last whole second before the failing scan at 60 s
    assert {path.name for path in (tmp_path / "out").iterdir()} >= {"trace.parquet", "events.csv", "scores.json"}


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("if (now_ms >= 60000) ((double *)(out + 1))[0] = 1.0;", "crashed its process in the scan at 60.0 s (SIGSEGV"),
        ("if (now_ms >= 60000) ((char *)(s + 1))[16] = 1;", "crashed its process in the scan at 60.0 s (SIGSEGV"),
        ("if (now_ms >= 60000) ((double *)out)[-1] = 1.0;", "wrote outside of its settings, state, inputs or outputs"),
    ],
)
def test_a_library_that_writes_beside_its_records_is_told(
    short: Path, tmp_path: Path, build_c: Build, line: str, words: str
) -> None:
    source = (FOREIGN / "plain_steps.c").read_text(encoding="utf-8")
    at = "    return 0;\n}"
    assert source.count(at) == 1
    (tmp_path / "bad.c").write_text(source.replace(at, f"    {line}\n{at}"), encoding="utf-8")
    result = run(short, str(build_c(tmp_path / "bad.c", tmp_path / "bad.so")), tmp_path / "out")
    assert result.failure is not None
    assert words in result.failure
    assert result.trace["time_ms"][-1] >= 59_000  # what was logged before is kept


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("DoesNotReset", "does not reset"),
        ("NOT_A_CONTROLLER", "expected a Controller value, or a class"),
        ("PlainStep", "has no 'PlainStep'"),
    ],
)
def test_what_is_no_controller_is_refused(short: Path, name: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=words):
        run(short, f"{PLAIN}:{name}", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_library_of_another_abi_is_refused(short: Path, tmp_path: Path, build_c: Build) -> None:
    source = (FOREIGN / "plain_steps.c").read_text().replace("return TWOSLIDE_ABI_VERSION", "return 99")
    (tmp_path / "old.c").write_text(source)
    library = build_c(tmp_path / "old.c", tmp_path / "old.so")
    with pytest.raises(InputRefused, match="ABI version 99"):
        run(short, str(library))


def test_a_library_without_the_scan_is_refused(short: Path, tmp_path: Path, build_c: Build) -> None:
    (tmp_path / "none.c").write_text("int nothing(void) { return 0; }\n")
    library = build_c(tmp_path / "none.c", tmp_path / "none.so")
    with pytest.raises(InputRefused, match="does not export"):
        run(short, str(library))


def test_a_text_file_is_no_library(short: Path, tmp_path: Path) -> None:
    (tmp_path / "text.so").write_text("not a library")
    with pytest.raises(InputRefused, match="not a shared library"):
        run(short, str(tmp_path / "text.so"))


def test_the_c_header_is_fresh() -> None:
    """Stale means: the records changed, and `python -m scenarios.c_header` was not run."""
    assert HEADER.read_text(encoding="utf-8") == header_text()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("AtOnce", "raised ValueError: at once"),
        ("WrongStatus", "scan returned 'no'"),
        ("HugeStatus", "scan returned 1099511627776"),
    ],
)
def test_a_controller_that_fails_in_its_first_scan_still_leaves_a_folder(
    short: Path, tmp_path: Path, name: str, words: str
) -> None:
    result = run(short, f"{PLAIN}:{name}", tmp_path / "out")
    assert result.failure is not None
    assert words in result.failure
    assert result.trace["time_ms"].tolist() == [0.0]
    assert (tmp_path / "out" / "trace.parquet").is_file()


DIES = "import os\nos._exit(5)\n"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (f"{PLAIN}:NeverLoads", "did not load within 6 s"),
        ("dies.py:Mine", "the controller ended its process while it was loaded (exit status 5)"),
        ("cut.so", "the controller crashed its process while it was loaded"),
    ],
)
def test_one_that_takes_its_process_along_while_it_loads_is_refused(
    short: Path, tmp_path: Path, plain_steps_library: Path, name: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "6")
    (tmp_path / "dies.py").write_text(DIES, encoding="utf-8")
    (tmp_path / "cut.so").write_bytes(plain_steps_library.read_bytes()[:3000])  # its tables lie behind its end
    with pytest.raises(InputRefused) as refused:
        run(short, str(tmp_path / name), tmp_path / "out")  # PLAIN is a whole path, which stands as it is
    assert words in str(refused.value)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "import os\nx = 'ü'; import no_such_module\n",
            "mine.py:2:10: controller does not import: ModuleNotFoundError",
        ),
        (
            "class Mine:\n    def scan(self:\n        pass\n",
            "mine.py:2:13: controller does not import: SyntaxError: '(' was never closed",
        ),
        ("import os\nraise SystemExit(4)\n", "mine.py:2:1: controller does not import: SystemExit: 4"),
        (
            "class Mine:\n    def reset(self):\n        self.a = 1 / 0\n    def scan(self, i, o, n): ...\n",
            "mine.py:3:18: controller does not reset: ZeroDivisionError: division by zero",
        ),
        (
            "class Mine:\n    def reset(self): ...\n    def scan(self, i): ...\n",
            "mine.py:3: scan() of 'Mine' cannot be called: too many positional arguments; "
            "it is called as scan(inputs, outputs, now_ms)",
        ),
    ],
)
def test_a_file_that_is_no_controller_is_refused_with_its_place(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "mine.py").write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        load(name_controller("mine.py:Mine", tmp_path))
    assert words in str(refused.value)


@pytest.mark.parametrize("scan", ["lambda self, *a: None", "staticmethod(lambda i, o, n: None)", "print"])
def test_any_scan_that_takes_three_is_taken(tmp_path: Path, scan: str) -> None:
    (tmp_path / "mine.py").write_text(
        f"class Mine:\n    reset = lambda self: None\n    scan = {scan}\n", encoding="utf-8"
    )
    assert load(name_controller("mine.py:Mine", tmp_path)).python is not None


def test_a_controller_ends_with_the_command_that_started_it(short: Path, tmp_path: Path) -> None:
    """kill -9 on the parent: the child notices within a second."""
    note = f"open({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid()))"
    text = f"import os, time\nclass Slow:\n    def reset(self): {note}\n"
    (tmp_path / "slow.py").write_text(text + "    def scan(self, i, o, n): time.sleep(0.05)\n")
    code = (
        "import sys; from pathlib import Path; from scenarios.runner import execute, prepare;"
        "execute(prepare([Path(sys.argv[1])], controller=sys.argv[2])[0], None)"
    )
    command = [sys.executable, "-c", code, str(short), f"{tmp_path / 'slow.py'}:Slow"]
    parent = subprocess.Popen(command, env={**os.environ, "PYTHONPATH": str(ROOT)})
    deadline = time.monotonic() + 60.0
    while not (tmp_path / "pid").exists() or not (tmp_path / "pid").read_text():
        assert time.monotonic() < deadline
        time.sleep(0.1)
    child = int((tmp_path / "pid").read_text())
    parent.kill()
    parent.wait()
    gone = time.monotonic() + 10.0
    while time.monotonic() < gone:
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        if Path(f"/proc/{child}/stat").exists() and Path(f"/proc/{child}/stat").read_text().split()[2] == "Z":
            return  # ended, and waiting for somebody to collect it
        time.sleep(0.1)
    raise AssertionError("the child lives on")
