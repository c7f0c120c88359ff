"""One scan signature for everybody: C and Python controllers, and what happens to those that fail."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from scenarios.c_header import HEADER, header_text
from scenarios.errors import InputRefused
from scenarios.runner import RunResult, execute, prepare

Build = Callable[..., Path]
FOREIGN = Path(__file__).parent / "foreign"
PLAIN = FOREIGN / "plain_steps.py"


def run(scenario: Path, controller: str, out: Path | None = None) -> RunResult:
    return execute(prepare([scenario], controller=controller)[0], out)


def test_c_controller_and_its_python_twin_give_the_same_trace(short: Path, plain_steps_library: Path) -> None:
    in_c, in_python = run(short, str(plain_steps_library)), run(short, f"{PLAIN}:PlainSteps")
    assert in_c.failure is None
    assert in_python.failure is None
    for name, values in in_c.trace.values.items():
        assert np.array_equal(values, in_python.trace[name]), name
    assert in_c.trace.events == in_python.trace.events
    assert in_c.trace["motor_running"].max() == 1.0  # and it did start the machine


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Raises", r"raised ValueError: lost count \(plain_steps.py:\d+\)"),
        ("NotANumber", "no finite number"),
        ("BothDrives", "both drives"),
        ("WrongType", "raised error: "),
        ("Hangs", "hung"),
        ("Crashes", "SIGABRT"),
        ("Leaves", "exit status 3"),
        ("Status", "status 7"),
    ],
)
def test_a_failing_controller_leaves_its_rows(
    short: Path, tmp_path: Path, name: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TWOSLIDE_PATIENCE_S", "1.5")
    result = run(short, f"{PLAIN}:{name}", tmp_path / "out")
    assert result.failure is not None
    assert re.search(words, result.failure), result.failure
    assert result.trace["time_ms"][-1] == 59_000  # the last whole second before the failing scan at 60 s
    assert {path.name for path in (tmp_path / "out").iterdir()} >= {"trace.parquet", "events.csv", "scores.json"}


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
