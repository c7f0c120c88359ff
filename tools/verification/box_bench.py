"""A controller on the signal simulator: scan by scan, with marks to come back to.

A mark of machine code is a copy of its memory.  Of a plain Python object nobody can copy the state, so a mark is the way
there: the same inputs are given to a fresh one, which by the contract's determinism stands where the other stood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from controller.contract import TIME_MASK
from controller.process_image import Inputs, Outputs, Selection, StartRefused, Trip
from scenarios.check_bench import Subject
from scenarios.entries import SCAN_TYPE
from scenarios.errors import ControllerFailed
from scenarios.guarded_memory import Bytes, Memory, flat
from scenarios.isolated import Heart
from scenarios.preparation import SCAN_MS
from scenarios.records import codec_of, dtype_of, to_array
from tools.verification.signal_box import PULL_KPA, Box

_SCANS_A_S = 1000 // SCAN_MS
_START_S = 900.0  # a healthy machine that has not started by then never will
_REST_S = 5.0
_HALF_PCT = 50.0


class NeverRuns(ControllerFailed):
    """A controller that does not start a healthy machine: there is nothing to see of it."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment to come back to."""

    box: Box
    outputs: Bytes
    put_back: Callable[[], None] | None
    given: int  # scans so far


class BoxBench:
    """One controller and its signal simulator.  `outputs` is what the last scan put out."""

    def __init__(self, make: Callable[[], Subject], box: Box, heart: Heart) -> None:
        self.make, self.box, self.heart = make, box, heart
        self.outputs, self.inputs = Outputs(), Inputs()
        self.set_point_kpa_abs = 0.0  # that it told, or the usual one
        self.started_ms = 0
        self._given: list[bytes] = []
        self._inputs, self._outputs = Memory(flat(to_array(Inputs()))), Memory(flat(to_array(Outputs())))
        self._store, self._load = codec_of(Inputs).store, codec_of(Outputs).load
        self._begin()

    def _begin(self) -> None:
        """A fresh instance, with fresh outputs."""
        subject = self.make()
        self._outputs.restore()
        subject.entry.attach(self._inputs.bytes.view(dtype_of(Inputs)), self._outputs.bytes.view(dtype_of(Outputs)))
        scan: Any = SCAN_TYPE(subject.entry.address)
        memories = (subject.settings, subject.state, self._inputs, self._outputs)
        pointers = [None if m is None else m.bytes.ctypes.data for m in memories]
        self._subject, self._scan, self._pointers = subject, scan, pointers
        self._given = []
        self._replays = subject.keep() is None

    def _answer(self, now_ms: int) -> None:
        self.heart.scan[0] = len(self._given) - 1
        status = int(self._scan(*self._pointers, now_ms))
        if status != 0:
            error = self._subject.entry.error
            what = f"returned status {status}" if error is None else f"raised {type(error).__name__}: {error}"
            raise ControllerFailed(f"the controller {what}, {self.heart.place}")

    def scan(self) -> Outputs:
        """One scan; 100 ms have passed under the last outputs, unless it is the first."""
        if self._given:
            self.box.follow(self.outputs)
        self.box.read(self.inputs)
        self._store(self.inputs, self._inputs.bytes.data)
        if self._replays:
            self._given.append(self._inputs.bytes.tobytes())
        else:
            self._given.append(b"")  # only the count is wanted
        self._answer(self.box.time_ms & TIME_MASK)
        self._load(self.outputs, self._outputs.bytes.data)
        return self.outputs

    def run(self, seconds: float) -> Outputs:
        """Scan for a time."""
        for _ in range(round(seconds * _SCANS_A_S)):
            self.scan()
        return self.outputs

    def until(self, wanted: Callable[[Outputs], bool], most_s: float) -> bool:
        """Scan until something holds; whether it did in time."""
        return any(wanted(self.scan()) for _ in range(round(most_s * _SCANS_A_S)))

    def mark(self) -> Mark:
        """This moment."""
        return Mark(self.box.copy(), self._outputs.bytes.copy(), self._subject.keep(), len(self._given))

    def back(self, mark: Mark) -> None:
        """Stand where `mark` was taken."""
        if mark.put_back is not None:
            mark.put_back()
            self._outputs.bytes[:] = mark.outputs
            del self._given[mark.given :]
        else:
            given = self._given[: mark.given]
            self._begin()
            for k, row in enumerate(given):
                self._inputs.bytes.data[:] = row
                self._given.append(row)
                self._answer((SCAN_MS * k) & TIME_MASK)
        self.box = mark.box.copy()
        self._load(self.outputs, self._outputs.bytes.data)

    def to_rest(self) -> Mark:
        """A healthy machine at rest, switched off."""
        self.heart.begin("a machine at rest")
        self.box.suction_kpa_abs = self.box.healthy.start_suction_kpa_abs
        self.run(_REST_S)
        return self.mark()

    def to_service(self, settled_s: float) -> Mark:
        """From rest: start, load to half travel by hand, then hold the set point until `settled_s` after the start.

        The mark is taken with suction above the set point, so that the law wants to load.  Raises NeverRuns.
        """
        box = self.box
        self.heart.begin("a start from rest")
        box.operator.selection = Selection.LOCAL
        if not self.until(lambda out: bool(out.motor_run), _START_S):
            why = words(StartRefused, self.outputs.start_refused) or words(Trip, self.outputs.trip_first_out)
            told = f" (it says: {why})" if why else ""
            raise NeverRuns(f"the controller did not start a healthy machine within {_START_S:g} s{told}")
        began_ms = self.started_ms = box.time_ms
        self.heart.begin("a run up to half load")
        self.run(1.0)
        self.set_point_kpa_abs = self.outputs.suction_set_point_kpa_abs or box.healthy.suction_kpa_abs
        box.operator.capacity_manual, box.operator.capacity_manual_demand_pct = True, _HALF_PCT
        while box.time_ms - began_ms < 1000.0 * settled_s:
            # one that knows no manual demand has to be pulled there
            deaf = box.time_ms - began_ms > 500.0 * settled_s and box.capacity_pct < 0.5 * _HALF_PCT
            box.suction_kpa_abs = self.set_point_kpa_abs + (PULL_KPA if deaf else 0.0)
            if not self.scan().motor_run:
                raise NeverRuns(f"the controller stopped a healthy machine after {box.time_ms - began_ms} ms")
        box.operator.capacity_manual = False
        self.run(_REST_S)
        box.suction_kpa_abs = self.set_point_kpa_abs + PULL_KPA
        return self.mark()


def words(kind: type[IntEnum], value: int) -> str:
    """A state in words; "" for none, its number where it has no meaning."""
    if value == 0:
        return ""
    return kind(value).name.replace("_", " ").lower() if value in set(kind) else f"number {value}"
