"""Where compiled kernels are kept, so that a stale one can never run.

numba keys a cached function on the file that holds it and does not notice an edit in a file that it calls.  So the whole
cache lives in a folder named after a hash of every source that can reach a kernel, and after the versions of numba and
Python: an edit anywhere opens a new, empty folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
import time
from functools import cache
from importlib.metadata import version
from pathlib import Path

import platformdirs

_ROOMS = Path(__file__).resolve().parent.parent
_LIBRARY = _ROOMS / "scenarios" / "library"
_ENGINE = (
    "call_scan",
    "compiled",
    "engine",
    "entries",
    "errors",
    "guarded_memory",
    "python_outputs",
    "records",
    "row",
    "wiring",
)  # a test holds it to the imports
_SPARED_S = 48 * 3600.0  # a folder that may still serve a process that runs for long
_KEPT = 4  # folders of earlier sources that stay, so that switching between two branches does not compile each time


def kernel_sources() -> list[Path]:
    """Every source file that can reach a kernel, in a fixed order."""
    rooms = [path for room in ("controller", "plant_model") for path in (_ROOMS / room).rglob("*.py")]
    return sorted([*rooms, *(_ROOMS / "scenarios" / f"{name}.py" for name in _ENGINE)])


@cache
def kernel_hash() -> str:
    """Hash of the kernel sources with the versions that compile them: 16 hex digits, also written into each trace."""
    digest = hashlib.sha256(f"{version('numba')} {version('numpy')} {sys.version}".encode())
    for path in kernel_sources():
        digest.update(path.relative_to(_ROOMS).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def source_hash() -> str:
    """Hash of every source of the project: what else a finished run depends on.  16 hex digits."""
    digest = hashlib.sha256()
    for room in ("controller", "plant_model", "scenarios", "tools"):
        for path in sorted((_ROOMS / room).rglob("*.*")):
            if path.suffix in (".py", ".html") and _LIBRARY not in path.parents:  # people keep their own files there
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def cache_root() -> Path:
    """`TWOSLIDE_CACHE` if set, else the user's cache folder of this platform."""
    named = os.environ.get("TWOSLIDE_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("twoslide"))


@cache
def kernel_folder() -> Path:
    """The folder for these sources, made if need be; a temporary one where the cache cannot be written."""
    folder = cache_root() / "kernels" / kernel_hash()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".probe-{os.getpid()}"
        probe.write_text("")
        probe.unlink()
    except OSError:
        return Path(tempfile.mkdtemp(prefix="twoslide-kernels-"))
    _drop_old(folder)
    return folder


def _drop_old(current: Path) -> None:
    with contextlib.suppress(OSError):  # another process may be doing the same
        os.utime(current)
        others = [path for path in current.parent.iterdir() if path.is_dir() and path != current]
        others.sort(key=lambda path: path.stat().st_mtime, reverse=True)
        for path in others[_KEPT:]:
            if time.time() - path.stat().st_mtime > _SPARED_S:
                shutil.rmtree(path, ignore_errors=True)
