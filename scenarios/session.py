"""One run in memory: the records, the SimPy spine that says when something happens outside, and the engine between.

SimPy holds only what happens from outside, in integer milliseconds; the engine runs to the next such event in one call.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import simpy

from controller.frame import attach_running
from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.instruments import Channel
from plant_model.plant import measure
from plant_model.state import Actuators, PlantState, Readings
from scenarios.chance import noise_block
from scenarios.engine import NOISE_ROWS, BlockEnd, Run, run_block
from scenarios.entries import Entry
from scenarios.errors import InternalError
from scenarios.records import RecordArray, dtype_of, from_record, to_array, write_into
from scenarios.row import COLUMNS, EDGE_COLUMNS, INDEX, Row, RowView
from scenarios.scenario import MachineAtStart
from scenarios.settings_change import changed_setting
from scenarios.trace import Event, Floats
from scenarios.wiring import wire_inputs
from scenarios.world import World

if TYPE_CHECKING:
    from scenarios.preparation import Prepared

R = TypeVar("R")

_LONGEST_BLOCK_MS = 1_200_000  # so that progress shows and Ctrl-C is heard: some 10 ms of computing
_EDGES_A_SCAN = 4  # room for that many changes at every scan, and more is counted, not stored
_EDGES_AT_MOST = 4_000_000  # 128 MB, of which only what is written is ever used


@dataclass(slots=True)
class Buffers:
    """Where the engine writes.  In a child process these are files in shared memory, which outlive a crash."""

    run: RecordArray
    rows: Floats
    edges: Floats


def buffer_shapes(duration_ms: int, scan_ms: int, log_ms: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Shapes of the rows and of the edges of a run."""
    return (duration_ms // log_ms + 2, len(COLUMNS)), (
        min(_EDGES_A_SCAN * (duration_ms // scan_ms), _EDGES_AT_MOST) + 1000,
        4,
    )


def memory_buffers(duration_ms: int, scan_ms: int, log_ms: int) -> Buffers:
    """Buffers in this process's memory; pages that are never written cost nothing."""
    rows, edges = buffer_shapes(duration_ms, scan_ms, log_ms)
    return Buffers(to_array(Run()), np.empty(rows), np.empty(edges))


def file_buffers(folder: Path, duration_ms: int, scan_ms: int, log_ms: int, create: bool) -> Buffers:
    """Buffers in files of `folder`, shared between a run's child process and the parent that watches it."""
    rows, edges = buffer_shapes(duration_ms, scan_ms, log_ms)

    def mapped(name: str, dtype: Any, shape: tuple[int, ...]) -> Any:
        return np.memmap(folder / name, dtype=dtype, mode="w+" if create else "r+", shape=shape)

    run = mapped("run.bin", dtype_of(Run), (1,))
    if create:
        write_into(Run(), run)
    return Buffers(run, mapped("rows.bin", np.float64, rows), mapped("edges.bin", np.float64, edges))


class Session:
    """The engine with everything it works on.  `entry` drives the compiled engine; a `scan` callable the interpreted."""

    def __init__(
        self,
        prepared: Prepared,
        entry: Entry | None,
        buffers: Buffers,
        scan: Callable[..., int] | None = None,
        settings: Any = None,
        state: Any = None,
        clock_offset_ms: int = 0,
    ) -> None:
        scenario = prepared.scenario
        self.prepared = prepared
        self.entry = entry
        self.buffers = buffers
        self.seed = prepared.seed
        self.scan_ms = prepared.scan_ms
        self.duration_ms = scenario.duration_ms
        self._scan, self._settings, self._state = scan, settings, state
        self.compiled = entry is not None
        self._names = tuple(channel.name.lower() for channel in Channel)
        self._noisy = tuple(noise > 0.0 for noise in prepared.noise_std)
        self._noise = np.zeros((NOISE_ROWS, len(self._names)))
        self.noted: list[Event] = []
        self.settings_now: Any = prepared.settings  # of a shipped controller; None where they are its own business

        operator, disturbances = prepared.operator(), prepared.disturbances()
        run = Run(
            scan_ms=prepared.scan_ms,
            step_ms=prepared.step_ms,
            log_ms=prepared.log_ms,
            clock_offset_ms=clock_offset_ms or prepared.clock_offset_ms,
            noise_start_ms=-NOISE_ROWS * prepared.scan_ms,  # the first scan asks for its chunk
            row_capacity=len(buffers.rows),
            edge_capacity=len(buffers.edges),
        )
        plant: PlantState = prepared.initial_state()
        objects: tuple[Any, ...] = (Inputs(), Outputs(), prepared.wiring, operator, prepared.parameters, plant)
        objects += (disturbances, Actuators(), Readings())
        self._edge_columns = np.array([INDEX[name] for name in EDGE_COLUMNS], dtype=np.int64)
        self._last = np.zeros(len(EDGE_COLUMNS))
        if scenario.start.machine is MachineAtStart.RUNNING:
            self._take_over_running(*objects)
        self.watches: Floats = np.zeros((0, 3))
        write_into(run, buffers.run)
        if entry is not None:
            row = to_array(Row())
            self.values: Floats = row.view(np.float64)
            self._records: list[Any] = [to_array(item) for item in objects]
            self._records[:2] = [entry.place(record) for record in self._records[:2]]
            entry.attach(self._records[0], self._records[1])
            self._run: Any = buffers.run
            self._row: Any = row
            from scenarios.compiled import compiled_block

            self._block: Callable[..., int] = compiled_block
        else:
            self.values = np.zeros(len(COLUMNS))
            self._records = list(objects)
            self._run, self._row = run, RowView(self.values)
            self._block = run_block
        self.world = World(
            simpy.Environment(), operator, disturbances, self.values, self.noted, scenario, prepared.seed,
            self.change_setting,
        )  # fmt: skip

    def _take_over_running(
        self, inputs: Any, outputs: Any, wiring: Any, operator: Any, parameters: Any, plant: Any, disturbances: Any,
        _actuators: Any, readings: Any,
    ) -> None:  # fmt: skip
        """Make the fresh controller one that has led this running machine for hours; only shipped ones can be told."""
        measure(parameters, plant, disturbances, readings)
        wire_inputs(wiring, operator, readings, inputs)
        name = self.prepared.named.name
        if self.entry is None:
            attach_running(self._state.common, inputs, outputs)
        elif self.entry.state is None or name not in SHIPPED:
            raise InternalError(f"a run of {name!r} cannot begin with the machine running: its state is not ours")
        else:
            state: Any = SHIPPED[name].state_type()
            attach_running(state.common, inputs, outputs)
            write_into(state, self.entry.state)
        for k, column in enumerate(EDGE_COLUMNS):  # being in service is no change, so it is no event of the first scan
            self._last[k] = float(inputs.motor_running if column == "motor_running" else getattr(outputs, column))

    def change_setting(self, setting: str, value: Any) -> str:
        """Somebody changes one setting of the running controller, from the next scan on; returns it in words.

        The controller's state stays as it is.  InputRefused for a controller whose settings are its own business.
        """
        self.settings_now, words = changed_setting(self.settings_now, setting, value, self.prepared.scenario.plant.site)
        if self.entry is None:
            self._settings = self.settings_now
        elif self.entry.settings is not None:
            write_into(self.settings_now, self.entry.settings)
        return words

    def note_into(self, noted: list[Event]) -> None:
        """Let what the event processes note go into another list (a child's, which is also on disk)."""
        self.noted = self.world.noted = noted

    def _copy(self, cls: type[R], record: Any) -> R:
        return from_record(cls, record[0] if self.compiled else to_array(record)[0])

    @property
    def run(self) -> Run:
        """A copy of where the run stands."""
        return self._copy(Run, self._run)

    @property
    def time_ms(self) -> int:
        """Simulated time reached."""
        return int(self._run[0]["time_ms"] if self.compiled else self._run.time_ms)

    def plant_state(self) -> PlantState:
        """A copy of the plant's state."""
        return self._copy(PlantState, self._records[5])

    def outputs(self) -> Outputs:
        """A copy of the controller's last outputs."""
        return self._copy(Outputs, self._records[1])

    def warm_up(self) -> None:
        """Compile or load the engine without moving time, so that a heartbeat means a scan from here on."""
        if self.compiled:
            self._call(self.time_ms)

    def _set_run(self, name: str, value: int) -> None:
        if self.compiled:
            self._run[0][name] = value
        else:
            setattr(self._run, name, value)

    def _call(self, until_ms: int) -> int:
        world, entry = self.world, self.entry
        if entry is not None:
            write_into(world.operator, self._records[3])
            write_into(world.disturbances, self._records[6])
            settings = 0 if entry.settings is None else entry.settings.ctypes.data
            state = 0 if entry.state is None else entry.state.ctypes.data
            controller = (entry.address, settings, state)
        else:
            controller = (self._scan, self._settings, self._state)  # type: ignore[assignment]
        return int(
            self._block(
                *controller,
                *self._records,
                self._run,
                self._row,
                self.values,
                self._noise,
                self.buffers.rows,
                self.buffers.edges,
                self._edge_columns,
                self._last,
                self.watches,
                until_ms,
            )
        )

    def _draw_noise(self) -> None:
        chunk = self.time_ms // (NOISE_ROWS * self.scan_ms)
        self._noise = noise_block(self.seed, self._names, self._noisy, chunk, NOISE_ROWS)
        self._set_run("noise_start_ms", chunk * NOISE_ROWS * self.scan_ms)

    def advance(self, until_ms: int) -> BlockEnd:
        """Run the engine to `until_ms`, or to what ends it earlier."""
        while True:
            end = BlockEnd(self._call(until_ms))
            if end is not BlockEnd.NOISE_USED:
                return end
            self._draw_noise()

    def begin(self) -> None:
        """Start the process of every event of the scenario; once, before anything is played."""
        self.world.start_all()

    def play(self, progress: Callable[[float], None] | None = None) -> BlockEnd:
        """Run to the end of the scenario, or to the fault that ends it; REACHED is a full run."""
        self.begin()
        return self.play_to(self.duration_ms + 1, progress)  # one more, so that the row at the very end is there

    def play_to(self, end_ms: int, progress: Callable[[float], None] | None = None) -> BlockEnd:
        """Go on to the first boundary not before `end_ms`; where a run is cut into such pieces changes nothing in it.

        Between two calls `world.start_later` may add an event.
        """
        world, env = self.world, self.world.env
        step_ms = self.prepared.step_ms
        while True:
            while env.peek() <= self.time_ms:
                env.step()
            if progress:
                progress(min(1.0, self.time_ms / self.duration_ms))
            if self.time_ms >= end_ms:
                return BlockEnd.REACHED
            self.watches = world.watch_table()
            until_ms = min(env.peek(), end_ms, self.time_ms + _LONGEST_BLOCK_MS)
            boundary_ms = int(-(-until_ms // step_ms) * step_ms)
            end = self.advance(boundary_ms)
            if end is BlockEnd.WATCH:
                world.fire(int(self.run.watch_fired), self.time_ms)
                self._set_run("watch_fired", -1)
            elif end is BlockEnd.ROWS_FULL:
                raise InternalError(f"the trace outgrew its buffer of {len(self.buffers.rows)} rows")
            elif end is not BlockEnd.REACHED:
                return end
