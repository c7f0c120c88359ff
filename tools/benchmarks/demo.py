"""The demo shift as benchmark object: one scenario for every candidate, so that all do the same work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from controller.registry import SHIPPED
from scenarios.engine import NOISE_ROWS, BlockEnd
from scenarios.entries import CompiledEntry, Entry
from scenarios.preparation import Prepared, prepare
from scenarios.runner import failure_text, open_session
from scenarios.session import Session, memory_buffers

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
SHIFT = LIBRARY / "demo_shift.toml"
SHIFT_MS = 7_200_000


class OpenSession(Session):
    """A session that lets a benchmark see the records the engine works on, and spare the drawing of the noise."""

    drawing = True

    def _draw_noise(self) -> None:
        """A chunk of noise; with `drawing` off the last one again, which costs nothing and disturbs no short burst."""
        if self.drawing:
            super()._draw_noise()
        else:
            chunk_ms = NOISE_ROWS * self.scan_ms
            self._set_run("noise_start_ms", self.time_ms // chunk_ms * chunk_ms)

    @property
    def records(self) -> list[Any]:
        """Inputs, outputs, wiring, operator, parameters, plant, disturbances, actuators, readings."""
        return self._records

    @property
    def run_record(self) -> Any:
        """Where the run stands, as the engine has it."""
        return self._run

    @property
    def row_record(self) -> Any:
        """The row of the last scan, as the engine has it."""
        return self._row

    @property
    def outside(self) -> tuple[Any, ...]:
        """What a run has beside its records: the world of its events, watches, and which instruments are noisy."""
        return self.world, self.watches, self._noisy

    @outside.setter
    def outside(self, outside: tuple[Any, ...]) -> None:
        self.world, self.watches, self._noisy = outside

    @property
    def block(self) -> Callable[..., int]:
        """The compiled block, which a benchmark may exchange."""
        return self._block

    @block.setter
    def block(self, block: Callable[..., int]) -> None:
        self._block = block

    def call(self, until_ms: int) -> int:
        """One call of the block, without SimPy; returns its BlockEnd."""
        return self._call(until_ms)


def prepared_shift(controller: str, duration_ms: int = SHIFT_MS, log_ms: int = 1000, plant: str = "demo") -> Prepared:
    """The demo shift under `controller` (any name that `--controller` takes), cut or stretched to `duration_ms`.

    Events that come later than the end never happen.  `plant` says whose settings sheet it is.
    """
    sheet = LIBRARY / "sheets" / f"{plant}_{controller}.toml"
    found = prepare([SHIFT], controller=controller, settings=sheet if sheet.is_file() else None, log_ms=log_ms)[0]
    return replace(
        found,
        scenario=replace(found.scenario, duration_ms=duration_ms),
        facts={**found.facts, "duration_ms": str(duration_ms)},
    )


def prepared_day(controller: str, duration_ms: int, log_ms: int = 1000) -> Prepared:
    """The demo shift with its batches of goods going on to the end, so that a day is as busy as its first two hours."""
    found = prepared_shift(controller, duration_ms, log_ms)
    events = tuple(
        event.model_copy(update={"until_ms": duration_ms}) if event.kind == "batch_arrivals" else event
        for event in found.scenario.events
    )
    return replace(found, scenario=replace(found.scenario, events=events))


def shipped_entry(prepared: Prepared) -> Entry:
    """The compiled entry of a shipped controller."""
    return CompiledEntry(SHIPPED[prepared.named.name], prepared.settings)


def new_session(prepared: Prepared, entry: Entry | None = None) -> OpenSession:
    """A fresh session: compiled with `entry`, else interpreted with the shipped controller that was prepared."""
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    if entry is not None:
        return OpenSession(prepared, entry, buffers)
    controller = SHIPPED[prepared.named.name]
    return OpenSession(prepared, None, buffers, controller.scan, prepared.settings, controller.state_type())


def foreign_session(prepared: Prepared) -> Session:
    """A session with whatever controller was named, loaded into this process (a run would put it into a child)."""
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    return open_session(prepared, buffers)[0]


def play_whole(session: Session) -> None:
    """Play to the end; a benchmark of a run that broke off would be worthless, so that raises RuntimeError."""
    end = session.play()
    if end is not BlockEnd.REACHED:
        raise RuntimeError(f"the benchmarked run broke off: {failure_text(session, end)}")


def running_session(after_ms: int, controller: str = "scheduled_pi") -> OpenSession:
    """A compiled session that has played the shift to `after_ms`, with the machine running where it should by then."""
    prepared = prepared_shift(controller, after_ms)
    session = new_session(prepared, shipped_entry(prepared))
    play_whole(session)
    return session
