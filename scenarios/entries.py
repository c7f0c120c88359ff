"""How any controller becomes the one C function that the engine calls.

A shipped controller is compiled (numba `cfunc`, kept in the kernel cache), a shared library gives its own address, and a
plain Python object is reached through a callback.  Whatever an entry needs to stay alive is held by the entry.
"""

from __future__ import annotations

import ctypes
import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from numba import cfunc, from_dtype, types
from numba.np.numpy_support import carray
from numpy.typing import NDArray

from controller.contract import Controller
from controller.process_image import Inputs, Outputs
from scenarios.guarded_memory import Memory, flat
from scenarios.kernel_cache import kernel_folder
from scenarios.python_outputs import output_check
from scenarios.records import RecordArray, codec_of, dtype_of, to_array

SCAN_TYPE = ctypes.CFUNCTYPE(
    ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_uint32
)
STATUS_RAISED = -1  # what a callback returns when Python code raised; the exception is kept in the entry


class PythonController(Protocol):
    """A controller written in plain Python."""

    def reset(self) -> None:
        """Back to a fresh start, as if just switched on."""
        ...

    def scan(self, inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        """One scan: read `inputs`, change `outputs` (the record of the last scan), keep what is needed in `self`."""
        ...


class Entry:
    """An address to call, with the memory of settings and state behind it."""

    address: int
    settings: NDArray[Any] | None = None
    state: NDArray[Any] | None = None
    error: BaseException | None = None  # what Python code raised, if it did

    def place(self, record: RecordArray) -> RecordArray:
        """Where a record of the process image shall lie: itself, or a copy in memory of the entry's own choice."""
        return record

    def attach(self, inputs: RecordArray, outputs: RecordArray) -> None:
        """Told once where the process image lies, before the first scan."""

    def strayed(self) -> str:
        """What the controller has written outside of its records, in words; "" for nothing."""
        return ""


class CompiledEntry(Entry):
    """A controller in the kernel subset, compiled."""

    def __init__(self, controller: Controller, settings: Any, cached: bool = True) -> None:
        self.settings = to_array(settings)
        self.state = to_array(controller.state_type())
        self._function = compiled_scan(controller, cached)
        self.address = self._function.address


class ForeignEntry(Entry):
    """A shared library with the C ABI of `controller/foreign/`.

    guarded: its records end where a page without rights begins, so that the first write behind one ends the process.
    """

    def __init__(self, library: Any, scan_symbol: str, settings: Any, state: Any, guarded: bool = False) -> None:
        self._library = library
        self._guarded = guarded
        self._memories: list[Memory] = []
        self.settings = None if settings is None else self.place(settings)
        self.state = None if state is None else self.place(state)
        self.address = int(ctypes.cast(getattr(library, scan_symbol), ctypes.c_void_p).value or 0)

    def place(self, record: NDArray[Any]) -> NDArray[Any]:
        if not self._guarded:
            return record
        aligned_bytes = 16 if record.dtype.names is None else 8  # a state is the library's own: it may hold anything
        self._memories.append(Memory(flat(record), flush=aligned_bytes))
        return self._memories[-1].bytes.view(record.dtype)

    def strayed(self) -> str:
        found = any(memory.overrun() for memory in self._memories)
        return "the controller wrote outside of its settings, state, inputs or outputs" if found else ""


class PythonEntry(Entry):
    """A plain Python controller, called back each scan.

    An exception inside a callback would be swallowed by C, so it is caught here, kept, and turned into a status.
    """

    def __init__(self, scan: Callable[[Inputs, Outputs, int], Any]) -> None:
        self._scan = scan
        self._inputs, self._outputs = Inputs(), Outputs()
        self._load, self._store = codec_of(Inputs).load, codec_of(Outputs).store
        self._check = output_check(Outputs)
        self._callback = SCAN_TYPE(self._call)
        self.address = int(ctypes.cast(self._callback, ctypes.c_void_p).value or 0)

    def attach(self, inputs: RecordArray, outputs: RecordArray) -> None:
        self._in, self._out = inputs.view("u1").data, outputs.view("u1").data

    def _call(self, _settings: int, _state: int, _inputs: int, _outputs: int, now_ms: int) -> int:
        try:
            self._load(self._inputs, self._in)
            status = self._scan(self._inputs, self._outputs, now_ms)
            wrong = self._check(self._outputs)
            if wrong is not None:
                self.error = wrong
                return STATUS_RAISED
            self._store(self._outputs, self._out)
            if status is None:
                return 0
            if type(status) is not int or not -(2**31) <= status < 2**31:
                raise TypeError(f"scan returned {status!r}: nothing, or a whole number of 32 bits, is expected")
        except BaseException as error:
            self.error = error
            return STATUS_RAISED
        return status


def interpreted_entry(controller: Controller, settings: Any) -> PythonEntry:
    """A kernel-subset controller run by Python behind the compiled plant: slower, and the same result."""
    state = controller.state_type()
    scan = controller.scan
    return PythonEntry(lambda inputs, outputs, now_ms: scan(settings, state, inputs, outputs, now_ms))


_ENTRY = '''\
"""Made by twoslide: the compiled entry of one controller.  A file of its own, because numba caches by file."""
from numpy.typing import NDArray
from numba import carray
from {module} import {attribute}
_scan = {attribute}{suffix}
def entry(settings, state, inputs, outputs, now_ms):
    return _scan(carray(settings, 1)[0], carray(state, 1)[0], carray(inputs, 1)[0], carray(outputs, 1)[0], now_ms)
'''


def _signature(controller: Controller) -> Any:
    records = (controller.settings_type, controller.state_type, Inputs, Outputs)
    pointer: Any = types.CPointer
    pointers = [pointer(from_dtype(dtype_of(kind))) for kind in records]
    return types.int32(*pointers, types.uint32)


def compiled_scan(controller: Controller, cached: bool = True) -> Any:
    """The cfunc of a controller; `.address` is what the engine calls.

    A shipped controller is cached on disk.  Someone's own is compiled afresh each time: its imports are not ours to hash.
    """
    scan = controller.scan
    module, attribute = scan.__module__, scan.__name__
    if cached:
        source = _ENTRY.format(module=module, attribute=attribute, suffix="")
        path = kernel_folder() / f"entry_{controller.name}.py"
        _write_once(path, source)
        spec = importlib.util.spec_from_file_location(f"twoslide_entry_{controller.name}", path)
        if spec is None or spec.loader is None:
            raise ImportError(f"cannot load the entry of controller {controller.name} from {path}")
        loaded = importlib.util.module_from_spec(spec)
        sys.modules[spec.name] = loaded  # numba looks the module up by name when it loads from its cache
        spec.loader.exec_module(loaded)
        return cfunc(_signature(controller), cache=True)(loaded.entry)

    def entry(settings: Any, state: Any, inputs: Any, outputs: Any, now_ms: int) -> Any:
        return scan(carray(settings, 1)[0], carray(state, 1)[0], carray(inputs, 1)[0], carray(outputs, 1)[0], now_ms)

    return cfunc(_signature(controller))(entry)


def _write_once(path: Path, text: str) -> None:
    """Write unless it stands there already: a new time stamp would make numba compile again."""
    if path.is_file() and path.read_text(encoding="utf-8") == text:
        return
    path.write_text(text, encoding="utf-8")
