"""Naming and loading a controller: what each name means, and what is refused with which words."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from controller.contract import Controller
from controller.registry import SHIPPED
from scenarios.controllers import Kind, Named, library_settings_of, library_state, load, name_controller
from scenarios.errors import InputRefused

FOREIGN = Path(__file__).parent / "foreign"


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_name(name: str) -> None:
    named = name_controller(name, Path("/nowhere"))
    assert named == Named(name, Kind.SHIPPED)
    assert load(named).kernels is SHIPPED[name]
    assert (named.sha256, named.stem) == ("", name)


def test_a_relative_path_counts_from_the_naming_file() -> None:
    named = name_controller("foreign/broken.py:Sound", FOREIGN.parent)
    assert (named.kind, named.path, named.attribute) == (Kind.FILE, FOREIGN / "broken.py", "Sound")
    assert named.stem == "Sound"
    assert named.sha256 == hashlib.sha256((FOREIGN / "broken.py").read_bytes()).hexdigest()


def test_a_library_is_known_by_its_ending(plain_steps_library: Path) -> None:
    named = name_controller(plain_steps_library.name, plain_steps_library.parent)
    assert (named.kind, named.stem) == (Kind.LIBRARY, "plain_steps")
    library = load(named).library
    state = library_state(library)
    assert state.nbytes == max(16, library.twoslide_state_bytes())
    assert not state.any()
    assert state.ctypes.data % 16 == 0
    assert library_settings_of(library) == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("sheduled_pi", "did you mean 'scheduled_pi'"),
        ("pid", "shipped are model_based, scheduled_pi, three_position"),
        ("broken.py", "names a Python file but not what is in it"),
        ("missing.py:Mine", "does not exist"),
        ("missing.so", "does not exist"),
        ("", "no controller ''"),
        ("logic.exe", "no controller 'logic.exe'"),
    ],
)
def test_a_name_that_means_nothing_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        name_controller(text, FOREIGN)


def test_a_class_and_a_controller_value_load() -> None:
    python = load(name_controller("broken.py:Sound", FOREIGN))
    assert python.kernels is None
    assert callable(python.python.scan)
    kernels = load(name_controller("broken.py:KERNEL", FOREIGN)).kernels
    assert isinstance(kernels, Controller)
    assert kernels.name == "kernel"


@pytest.mark.parametrize(
    ("text", "name", "words", "line"),
    [
        ("x = 1\ny = x +\n", "Mine", "does not import: SyntaxError", 2),
        ("x = 1\n\nraise ValueError('no')\n", "Mine", "does not import: ValueError: no", 3),
        ("import sys\nsys.exit(3)\n", "Mine", "does not import: SystemExit", 2),
        ("class Other:\n    def reset(self): ...\n    def scan(self, i, o, t): ...\n", "Mine", "it has Other", 0),
        ("x = 1\n", "Mine", "no class with scan", 0),
        ("class Mine:\n    def scan(self, i, o, t): ...\n", "Mine", "a class with reset", 0),
        ("class Mine:\n    scan = 3\n    def reset(self): ...\n", "Mine", "a class with reset", 0),
        ("class Mine:\n    def scan(self, i, o, t): ...\n    def reset(self):\n        1 / 0\n", "Mine", "not reset", 4),
        ("class Mine:\n    def __init__(self, x): ...\n    def scan(self): ...\n    def reset(self): ...\n", "Mine",
         "does not reset: TypeError", 0),
    ],
)  # fmt: skip
def test_a_file_that_is_no_controller_is_refused_at_its_line(
    tmp_path: Path, text: str, name: str, words: str, line: int
) -> None:
    (tmp_path / "own.py").write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused, match=words) as caught:
        load(name_controller(f"own.py:{name}", tmp_path))
    assert caught.value.problems[0].line == line


def test_a_controller_may_import_its_neighbours(tmp_path: Path) -> None:
    (tmp_path / "neighbour_of_a_test.py").write_text("LIMIT = 5\n")
    (tmp_path / "own_with_neighbour.py").write_text(
        "from neighbour_of_a_test import LIMIT\n"
        "class Mine:\n    limit = LIMIT\n    def reset(self): ...\n    def scan(self, i, o, t): ...\n"
    )
    assert load(name_controller("own_with_neighbour.py:Mine", tmp_path)).python.limit == 5
