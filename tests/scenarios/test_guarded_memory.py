"""Guards: what is written beside the content shows, and what goes farther ends the process."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from scenarios.guarded_memory import GUARD_BYTES, Memory

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("size", [1, 8, 15, 16, 4096, 10_000])
@pytest.mark.parametrize("flush", [0, 8, 16])
def test_the_content_is_there_and_whole(size: int, flush: int) -> None:
    content = np.arange(size, dtype=np.uint32).astype(np.uint8)
    memory = Memory(content, flush)
    assert np.array_equal(memory.bytes, content)
    assert memory.bytes.ctypes.data % (flush or 64) == 0
    assert not memory.overrun()
    assert not memory.changed()
    memory.bytes[:] = 7
    assert not memory.overrun()
    memory.restore()
    assert not memory.changed()


@pytest.mark.parametrize("at", [-1, -GUARD_BYTES, 40, 40 + GUARD_BYTES - 1])
def test_a_byte_beside_the_content_shows(at: int) -> None:
    memory = Memory(np.zeros(40, dtype=np.uint8))
    ctypes.memset(memory.bytes.ctypes.data + at, 0, 1)
    assert memory.overrun()


@pytest.mark.skipif(sys.platform == "win32", reason="no guard page there")
@pytest.mark.parametrize(
    ("flush", "at", "dies"), [(8, 40, True), (8, 39, False), (16, 48, True), (0, 40, False), (0, 99_999, True)]
)
def test_a_write_that_meets_the_guard_page_ends_the_process(flush: int, at: int, dies: bool) -> None:
    code = (
        "import ctypes, numpy as np; from scenarios.guarded_memory import Memory;"
        f"m = Memory(np.zeros(40, dtype=np.uint8), {flush}); ctypes.memset(m.bytes.ctypes.data + {at}, 0, 1)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert (done.returncode < 0) == dies
