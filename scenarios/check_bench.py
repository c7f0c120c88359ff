"""A bench for one controller: it is called scan by scan through the one C signature, its memory between guard bytes.

Whatever kind it is (compiled, interpreted, plain Python, shared library), the bench gives it the same bytes and keeps
what it answered.  It runs in this process: a controller that may hang or crash belongs into a child.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.contract import TIME_MASK
from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from scenarios.controllers import Loaded
from scenarios.entries import SCAN_TYPE, CompiledEntry, Entry, ForeignEntry, PythonEntry
from scenarios.guarded_memory import Memory, flat
from scenarios.isolated import Heart
from scenarios.records import RecordArray, dtype_of, to_array

Longs = NDArray[np.int64]


class Subject:
    """One instance of the controller under check."""

    def __init__(self, entry: Entry, reset: Callable[[], None], settings: Any = None, state: Any = None) -> None:
        self.entry, self._reset = entry, reset
        self.settings = None if settings is None else Memory(flat(settings))
        self.state = None if state is None else Memory(flat(state))
        entry.settings = self.settings.bytes if self.settings else None
        entry.state = self.state.bytes if self.state else None
        self.overrun = ""  # what was written behind its end
        self.copied: Callable[[], Callable[[], None]] | None = None  # where the state is a record of Python
        self.heart = Heart()  # told of every scan; a child puts the one there that its parent looks at

    def restart(self) -> None:
        """Reset: state as at the beginning.  Raises what a Python controller's own reset() raises."""
        if self.state:
            self.state.restore()
        self._reset()

    def keep(self) -> Callable[[], None] | None:
        """A copy of the state, as a function that puts it back; None for a Python object, which nobody can copy."""
        if self.copied is not None:
            return self.copied()
        memory = self.state
        if memory is None:
            return None
        held = memory.bytes.copy()

        def put_back() -> None:
            memory.bytes[:] = held

        return put_back

    def look_at_guards(self) -> None:
        """Note whether settings or state have been written outside their size."""
        for name, memory in (("settings", self.settings), ("state", self.state)):
            if memory and memory.overrun():
                self.overrun = name


def subject_maker(loaded: Loaded, settings: Any, interpreted: bool) -> Callable[[], Subject]:
    """A function that makes fresh instances.  `settings` is a record, or None where the controller has none."""

    def nothing() -> None: ...

    kernels = loaded.kernels
    if kernels is not None and interpreted:

        def interpret() -> Subject:
            held = [kernels.state_type()]

            def fresh() -> None:
                held[0] = kernels.state_type()

            def copied() -> Callable[[], None]:
                kept = deepcopy(held[0])

                def put_back() -> None:
                    held[0] = deepcopy(kept)

                return put_back

            entry = PythonEntry(lambda i, o, now_ms: kernels.scan(settings, held[0], i, o, now_ms))
            subject = Subject(entry, fresh, to_array(settings))
            subject.copied = copied
            return subject

        return interpret
    if kernels is not None:
        shipped = any(kernels is own for own in SHIPPED.values())
        return _sharing(CompiledEntry(kernels, settings, cached=shipped), settings, to_array(kernels.state_type()))
    if loaded.library is not None:
        state = np.zeros(max(1, int(loaded.library.twoslide_state_bytes())), dtype=np.uint8)
        return _sharing(ForeignEntry(loaded.library, "twoslide_scan", None, None), settings, state)

    def instance() -> Subject:
        controller = type(loaded.python)()
        controller.reset()
        return Subject(PythonEntry(controller.scan), lambda: controller.reset())

    return instance


class _Shared(Entry):
    """Machine code that several instances share, each with a memory of its own."""

    def __init__(self, code: Entry) -> None:
        self._code, self.address = code, code.address


def _sharing(code: Entry, settings: Any, state: Any) -> Callable[[], Subject]:
    array = None if settings is None else to_array(settings)
    return lambda: Subject(_Shared(code), lambda: None, array, state)


@dataclass(frozen=True, slots=True)
class Sequence:
    """Inputs, one record a scan, and the controller's clock at each, unwrapped."""

    name: str
    inputs: RecordArray
    time_ms: Longs

    def cut(self, scans: int) -> Sequence:
        """The first scans of it."""
        return Sequence(self.name, self.inputs[:scans], self.time_ms[:scans])


@dataclass(frozen=True, slots=True)
class Played:
    """A sequence and the answers to it, as far as they came.  `ended`: why no more came, "" if all did."""

    sequence: Sequence
    outputs: RecordArray
    ended: str
    inputs_written: int | None = None  # the first scan that changed its inputs
    outputs_overrun: bool = False

    @property
    def inputs(self) -> RecordArray:
        """The inputs that were answered."""
        return self.sequence.inputs[: len(self.outputs)]

    @property
    def time_ms(self) -> Longs:
        """The clock at each answer."""
        return self.sequence.time_ms[: len(self.outputs)]


def _end_text(entry: Entry, status: int) -> str:
    if status == 0:
        return ""
    error = entry.error
    return f"status {status}" if error is None else f"{type(error).__name__}: {error}"


def play(subject: Subject, sequence: Sequence, offset_ms: int = 0) -> Played:
    """Give a sequence to an instance as it stands; outputs begin as a fresh record, and carry over from scan to scan."""
    inputs, outputs = Memory(flat(to_array(Inputs()))), Memory(flat(to_array(Outputs())))
    entry, size = subject.entry, inputs.bytes.nbytes
    entry.error = None
    entry.attach(inputs.bytes.view(dtype_of(Inputs)), outputs.bytes.view(dtype_of(Outputs)))
    scan: Any = SCAN_TYPE(entry.address)
    pointers = [None if m is None else m.bytes.ctypes.data for m in (subject.settings, subject.state, inputs, outputs)]
    said, answered = inputs.bytes.data, outputs.bytes.data
    given = sequence.inputs.tobytes()
    answers, status, written = bytearray(), 0, None
    subject.heart.begin(sequence.name)
    beat = subject.heart.scan
    for k, time_ms in enumerate(sequence.time_ms.tolist()):
        row = given[k * size : (k + 1) * size]
        said[:] = row
        beat[0] = k
        status = scan(*pointers, (time_ms + offset_ms) & TIME_MASK)
        if written is None and said.tobytes() != row:
            written = k
        if status != 0:
            break
        answers += answered
    subject.look_at_guards()
    log = np.frombuffer(bytes(answers), dtype=dtype_of(Outputs))
    return Played(sequence, log, _end_text(entry, status), written, outputs.overrun() or inputs.overrun())


class Recorder(Entry):
    """An entry that passes each scan on to another and keeps its inputs and outputs: for closed loops.

    The other sees inputs and outputs in guarded memory, not the engine's own.
    """

    def __init__(self, subject: Subject, scans: int) -> None:
        inner = subject.entry
        self._beat = subject.heart.scan
        self._inner, self.settings, self.state = inner, inner.settings, inner.state
        self._given, self._answer = Memory(flat(to_array(Inputs()))), Memory(flat(to_array(Outputs())))
        inner.attach(self._given.bytes.view(dtype_of(Inputs)), self._answer.bytes.view(dtype_of(Outputs)))
        self._inputs = np.zeros((scans, self._given.bytes.nbytes), dtype=np.uint8)
        self._outputs = np.zeros((scans, self._answer.bytes.nbytes), dtype=np.uint8)
        self._times: list[int] = []
        self._ended = ""
        self._written: int | None = None
        self._scan: Any = SCAN_TYPE(inner.address)
        self._callback = SCAN_TYPE(self._call)
        self.address = int(ctypes.cast(self._callback, ctypes.c_void_p).value or 0)

    def attach(self, inputs: RecordArray, outputs: RecordArray) -> None:
        self._in, self._out = inputs.view(np.uint8), outputs.view(np.uint8)

    def _call(self, settings: int, state: int, _inputs: int, _outputs: int, now_ms: int) -> int:
        k = len(self._times)
        if k >= len(self._inputs):
            return 1
        self._beat[0] = k
        given, answer = self._given.bytes, self._answer.bytes
        self._inputs[k] = given[:] = self._in
        status = int(self._scan(settings, state, given.ctypes.data, answer.ctypes.data, now_ms))
        if self._written is None and not np.array_equal(self._inputs[k], given):
            self._written = k
        self._ended = _end_text(self._inner, status)
        if status == 0:
            self._outputs[k] = self._out[:] = answer
            self._times.append(now_ms)
        return status

    def played(self, name: str) -> Played:
        """What was recorded; the inputs end with the last answer."""
        n = len(self._times)
        inputs = self._inputs[:n].reshape(-1).view(dtype_of(Inputs))
        outputs = self._outputs[:n].reshape(-1).view(dtype_of(Outputs))
        sequence = Sequence(name, inputs, np.array(self._times, dtype=np.int64))
        overrun = self._given.overrun() or self._answer.overrun()
        return Played(sequence, outputs, self._ended, self._written, overrun)
