"""Naming a controller: a shipped one by name, anyone's by file.

    three_position          shipped
    my_logic.py:Mine        a class with reset() and scan(inputs, outputs, now_ms): plain Python
    my_kernels.py:MINE      a `controller.contract.Controller` value: in the kernel subset, compiled
    my_logic.so             a shared library with the C ABI of controller/foreign/twoslide_controller.h

Foreign and Python code is loaded only inside the child process of its run (scenarios/child.py).
"""

from __future__ import annotations

import ctypes
import difflib
import hashlib
import importlib.util
import inspect
import linecache
import sys
import traceback
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from controller.contract import Controller
from controller.process_image import ABI_VERSION
from controller.registry import SHIPPED
from scenarios.errors import InputRefused, Problem
from scenarios.library_format import why_it_does_not_load

SCAN_WANTED = "it is called as scan(inputs, outputs, now_ms)"


class Kind(Enum):
    """What stands behind a controller's name."""

    SHIPPED = "shipped"
    FILE = "python file"  # a class or a Controller value: known only once the file is loaded
    LIBRARY = "shared library"


@dataclass(frozen=True, slots=True)
class Named:
    """A controller as named by a scenario or on the command line; nothing of it is loaded yet."""

    name: str
    kind: Kind
    path: Path | None = None
    attribute: str = ""

    @property
    def sha256(self) -> str:
        """Hash of the file; of a shipped controller the kernel hash says it."""
        return hashlib.sha256(self.path.read_bytes()).hexdigest() if self.path else ""

    @property
    def full(self) -> str:
        """The name with the whole path of its file: the same from every folder."""
        if self.path is None:
            return self.name
        return f"{self.path}:{self.attribute}" if self.attribute else str(self.path)

    @property
    def stem(self) -> str:
        """A short name for folders and tables."""
        return self.attribute or (self.path.stem if self.path else self.name)


def _refuse(message: str, way_out: str = "", value: str = "") -> InputRefused:
    return InputRefused(Problem(message, value=value, way_out=way_out))


def name_controller(text: str, folder: Path) -> Named:
    """Resolve a controller's name; a relative path counts from `folder`.  Raises InputRefused."""
    if text in SHIPPED:
        return Named(text, Kind.SHIPPED)
    file, separator, attribute = text.rpartition(":")
    if not separator or not file.endswith(".py"):
        file, attribute = text, ""
    path = (folder / file).resolve()
    if path.suffix in (".so", ".dylib", ".dll"):
        kind = Kind.LIBRARY
    elif path.suffix == ".py":
        kind = Kind.FILE
        if not attribute:
            raise _refuse(f"controller {text!r} names a Python file but not what is in it", "write FILE.py:NAME", text)
    else:
        close = difflib.get_close_matches(text, SHIPPED, 1)
        hint = f"did you mean {close[0]!r}? " if close else ""
        ways = f"{hint}shipped are {', '.join(sorted(SHIPPED))}; or give FILE.py:NAME or a shared library"
        raise _refuse(f"no controller {text!r}", ways, text)
    if not path.is_file():
        raise _refuse(f"controller file {path} does not exist", "check the path; it counts from the file that names it")
    return Named(text, kind, path, attribute)


@dataclass(frozen=True, slots=True)
class Loaded:
    """A controller's code in memory: exactly one of the three is set."""

    kernels: Controller | None = None
    python: Any = None  # an object with reset() and scan()
    library: Any = None


def _import_file(named: Named) -> ModuleType:
    if named.path is None:
        raise _refuse(f"controller {named.name!r} has no file")
    spec = importlib.util.spec_from_file_location(f"plugged_in_{named.path.stem}", named.path)
    if spec is None or spec.loader is None:
        raise _refuse(f"controller file {named.path} cannot be loaded as Python")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    sys.path.insert(0, str(named.path.parent))  # so that it can import its neighbours, as when run by itself
    try:
        spec.loader.exec_module(module)
    except BaseException as error:
        problem = Problem(f"controller does not import: {_said(error)}")
        raise InputRefused(problem.at(str(named.path), *_place_in(error, named.path))) from error
    return module


def _place_in(error: BaseException, path: Path) -> tuple[int, int]:
    """Line and column of the last place in `path` that an error came through; 0 for none.

    Python tells where an error arose in bytes of the line: with letters beyond ASCII before it the column is counted.
    """
    if isinstance(error, SyntaxError) and error.filename == str(path):
        return error.lineno or 0, error.offset or 0
    line = column = 0
    for frame in traceback.extract_tb(error.__traceback__):
        if Path(frame.filename) == path:
            line, at = frame.lineno or 0, getattr(frame, "colno", None)
            before = (linecache.getline(str(path), line).encode()[:at]) if at is not None else b""
            column = len(before.decode(errors="replace")) + 1 if at is not None else 0
    return line, column


def _said(error: BaseException) -> str:
    """An error's kind and words; of a mistake in the code's form without the place, which stands before them."""
    return f"{type(error).__name__}: {error.msg if isinstance(error, SyntaxError) else error}"


def load(named: Named) -> Loaded:
    """Load a controller's code.  Raises InputRefused when it cannot be one."""
    if named.kind is Kind.SHIPPED:
        return Loaded(kernels=SHIPPED[named.name])
    if named.kind is Kind.LIBRARY:
        return Loaded(library=_load_library(named))
    module = _import_file(named)
    if not hasattr(module, named.attribute):
        offers = [
            n
            for n, v in vars(module).items()
            if isinstance(v, Controller) or (inspect.isclass(v) and hasattr(v, "scan"))
        ]
        close = f"it has {', '.join(offers)}" if offers else "no class with scan() and no Controller value is in it"
        raise _refuse(f"{named.path} has no {named.attribute!r}", close, named.attribute)
    thing = getattr(module, named.attribute)
    if isinstance(thing, Controller):
        return Loaded(kernels=thing)
    if (
        not inspect.isclass(thing)
        or not callable(getattr(thing, "scan", None))
        or not callable(getattr(thing, "reset", None))
    ):
        raise _refuse(
            f"{named.name}: expected a Controller value, or a class with reset() and scan(inputs, outputs, now_ms)"
        )
    path = named.path or Path()
    try:
        instance: Any = thing()
        instance.reset()
    except Exception as error:
        problem = Problem(f"controller does not reset: {_said(error)}")
        raise InputRefused(problem.at(str(path), *_place_in(error, path))) from error
    try:
        inspect.signature(instance.scan).bind(None, None, 0)
    except TypeError as error:
        problem = Problem(f"scan() of {named.attribute!r} cannot be called: {error}", way_out=SCAN_WANTED)
        line = getattr(getattr(getattr(thing, "scan", None), "__code__", None), "co_firstlineno", 0)
        raise InputRefused(problem.at(str(path), line)) from error
    except ValueError:
        pass  # nothing that Python can look into: it is found out in the first scan
    return Loaded(python=instance)


def _load_library(named: Named) -> Any:
    try:
        library = ctypes.CDLL(str(named.path))
    except OSError as error:
        why, way_out = why_it_does_not_load(named.path or Path())
        if not why:
            # the head is right: what lacks is inside it, or beside it, and the system's own words say what
            why, way_out = str(error).rpartition(f"{named.path}: ")[2], "see that everything it needs is installed"
        raise _refuse(f"{named.path} is not a shared library for this machine: {why}", way_out) from error
    for symbol in ("twoslide_abi_version", "twoslide_state_bytes", "twoslide_scan"):
        if not hasattr(library, symbol):
            raise _refuse(f"{named.path} does not export {symbol}", "see controller/foreign/twoslide_controller.h")
    library.twoslide_abi_version.restype = ctypes.c_int32
    library.twoslide_state_bytes.restype = ctypes.c_int64
    version = library.twoslide_abi_version()
    if version != ABI_VERSION:
        raise _refuse(
            f"{named.path} was built for ABI version {version}, this is {ABI_VERSION}",
            "rebuild it with the current header",
        )
    if not 0 <= library.twoslide_state_bytes() <= 2**30:
        raise _refuse(f"{named.path} asks for {library.twoslide_state_bytes()} bytes of state", "0 to 2^30 are given")
    return library


def library_settings_of(library: Any) -> str:
    """The shipped controller whose settings record a library reads; "" for none."""
    if not hasattr(library, "twoslide_settings_name"):
        return ""
    library.twoslide_settings_name.restype = ctypes.c_char_p
    name = (library.twoslide_settings_name() or b"").decode("utf-8", "replace")
    if name not in SHIPPED:
        raise _refuse(f"the library wants the settings of {name!r}", f"known are {', '.join(sorted(SHIPPED))}", name)
    return name


def library_state(library: Any) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Zeroed memory of the size that the library asks for, 16-byte aligned (numpy's allocations are)."""
    return np.zeros(max(16, int(library.twoslide_state_bytes())), dtype=np.uint8)
