"""A stale compiled kernel never runs: the cache folder is named after every source that can reach one."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

from scenarios.kernel_cache import cache_root, kernel_folder, kernel_hash, kernel_sources

ROOT = Path(__file__).resolve().parents[2]


def imported(path: Path) -> set[Path]:
    """Files of this project that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        for name in names:
            file = ROOT / (name.replace(".", "/") + ".py")
            if file.is_file():
                found.add(file)
    return found


def test_every_file_that_the_engine_imports_is_hashed() -> None:
    todo, seen = [ROOT / "scenarios" / "compiled.py", ROOT / "scenarios" / "entries.py"], set()
    while todo:
        path = todo.pop()
        if path not in seen:
            seen.add(path)
            todo += imported(path)
    seen.discard(ROOT / "scenarios" / "kernel_cache.py")  # says where, not what
    assert seen <= set(kernel_sources())


RUN = """
import sys
from pathlib import Path
from scenarios.runner import execute, prepare
from scenarios.compiled import compiled_block
trace = execute(prepare([Path(sys.argv[1])])[0], None).trace
stats = compiled_block.stats
print(trace["room_temperature_k"][-1].hex(), sum(stats.cache_hits.values()), sum(stats.cache_misses.values()))
"""


def test_an_edit_in_an_inner_file_is_compiled_and_undone_again(short: Path, tmp_path: Path) -> None:
    """numba alone would miss it: the edited file is not the one that holds the compiled function."""
    tree = tmp_path / "tree"
    for room in ("controller", "plant_model", "scenarios"):
        shutil.copytree(ROOT / room, tree / room, ignore=shutil.ignore_patterns("__pycache__"))
    environment = {**os.environ, "TWOSLIDE_CACHE": str(tmp_path / "cache"), "PYTHONPATH": str(tree)}

    def run() -> tuple[str, int, int]:
        done = subprocess.run(
            [sys.executable, "-c", RUN, str(short)],
            env=environment,
            cwd=tree,
            check=True,
            capture_output=True,
            text=True,
        )
        room_k, hits, misses = done.stdout.split()
        return room_k, int(hits), int(misses)

    first = run()
    assert first[1:] == (0, 1)
    inner = tree / "plant_model" / "evaporator.py"
    original = inner.read_text(encoding="utf-8")
    assert "p.plant.evaporator.conductance_w_k" in original
    inner.write_text(original.replace("p.plant.evaporator.conductance_w_k", "0.5 * p.plant.evaporator.conductance_w_k"))
    edited = run()
    assert edited[0] != first[0]
    assert edited[1:] == (0, 1)
    inner.write_text(original, encoding="utf-8")
    assert run() == (first[0], 1, 0)  # the old folder serves again


def test_the_folder_is_named_after_the_sources() -> None:
    assert kernel_folder().name == kernel_hash()
    assert kernel_folder().parent == cache_root() / "kernels"
