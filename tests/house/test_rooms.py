"""What the rooms may use beyond import-linter's layers: a cabinet has no files, no clock and no chance."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FORBIDDEN = {"time", "datetime", "random", "secrets", "os", "io", "pathlib", "socket", "subprocess", "threading"}


def imports(path: Path) -> set[str]:
    """Top-level names of the modules that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", sorted((ROOT / "controller").rglob("*.py")), ids=lambda path: path.stem)
def test_the_cabinet_knows_the_standard_library_and_numba_only(path: Path) -> None:
    used = imports(path)
    assert used <= {"controller", "numba"} | set(sys.stdlib_module_names)
    assert not used & FORBIDDEN
    text = path.read_text(encoding="utf-8")
    if "numba" in used:
        assert "from numba.extending import register_jitable as kernel" in text
    assert "open(" not in text


@pytest.mark.parametrize("path", sorted((ROOT / "plant_model").rglob("*.py")), ids=lambda path: path.stem)
def test_the_plant_has_no_clock_and_no_chance(path: Path) -> None:
    assert not imports(path) & {"time", "datetime", "random", "secrets", "simpy"}


def test_nothing_else_stands_at_the_top() -> None:
    shown = {path.name for path in ROOT.iterdir() if not path.name.startswith(".") and path.name != "__pycache__"}
    fixed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "controller",
        "plant_model",
        "scenarios",
        "tests",
        "tools",
    }
    assert shown - fixed <= {"twoslide-runs"}
