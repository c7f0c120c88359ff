"""The non-linear plant on a test rig: a few lines of Python hold the drives, and everything else stays as it is.

The engine itself runs (`scenarios.engine`, compiled), with a plain callback in the controller's place: what it sees comes
through instruments and wiring, what it commands goes through the drives.  No protection runs: nothing but the callback
and the plant's own limits ends a test.  An engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from controller.process_image import Inputs, Outputs
from plant_model.instruments import Channel
from plant_model.plant import explain
from plant_model.state import Actuators, PlantState, Readings
from scenarios.chance import noise_block
from scenarios.engine import BlockEnd, Run
from scenarios.entries import PythonEntry
from scenarios.preparation import wiring_of
from scenarios.records import from_record, to_array
from scenarios.row import COLUMNS, EDGE_COLUMNS, INDEX, Row
from scenarios.wiring import Operator
from tools.tuning.linearisation import Float, PointError, SteadyPoint

SCAN_MS = 100
Scan = Callable[[Inputs, Outputs, int], None]  # may change the slides' drives; motor and oil pump run


class RigTrace:
    """One row a scan; columns by their names in the trace."""

    def __init__(self, rows: Float) -> None:
        self._rows = rows

    def __getitem__(self, column: str) -> Float:
        return np.asarray(self._rows[:, INDEX[column]])

    @property
    def time_s(self) -> Float:
        """Time of the rows, s."""
        return self["time_ms"] / 1000.0


def play(point: SteadyPoint, scan: Scan, duration_ms: int, seed: int | None = None) -> RigTrace:
    """Run the plant from a steady point with `scan` on the drives; without a seed the instruments have no noise.

    Raises PointError where the plant leaves its tables, and whatever the callback raised.
    """
    from scenarios.compiled import compiled_block  # loads the compiled engine: only who runs waits

    block: Callable[..., int] = compiled_block

    p = point.parameters
    state, disturbances = point.copy()
    scans = duration_ms // SCAN_MS + 1
    names = tuple(channel.name.lower() for channel in Channel)
    noise = np.zeros((scans, len(names)))
    if seed is not None:
        noise = noise_block(seed, names, tuple(std > 0.0 for std in p.derived.instruments.noise_frac), 0, scans)
    run = to_array(Run(scan_ms=SCAN_MS, step_ms=p.derived.h_ms, log_ms=SCAN_MS, row_capacity=scans, edge_capacity=0))
    row = to_array(Row())
    rows = np.empty((scans, len(COLUMNS)))

    def running(inputs: Inputs, outputs: Outputs, now_ms: int) -> None:
        outputs.motor_run = outputs.oil_pump = True
        scan(inputs, outputs, now_ms)

    entry = PythonEntry(running)
    inputs, outputs = to_array(Inputs()), to_array(Outputs(motor_run=True, oil_pump=True))
    entry.attach(inputs, outputs)
    records = [inputs, outputs, to_array(wiring_of(p.plant.instruments)), to_array(Operator()), to_array(p)]
    records += [to_array(state), to_array(disturbances), to_array(Actuators(motor_run=True, oil_pump=True))]
    records.append(to_array(Readings()))
    edge_columns = np.array([INDEX[name] for name in EDGE_COLUMNS], dtype=np.int64)
    end = BlockEnd(
        block(
            entry.address, 0, 0, *records, run, row, row.view(np.float64), noise, rows, np.zeros((0, 4)),
            edge_columns, np.zeros(len(EDGE_COLUMNS)), np.zeros((0, 3)), (scans - 1) * SCAN_MS + 1,
        )
    )  # fmt: skip
    if entry.error is not None:
        raise entry.error
    if end is BlockEnd.PLANT:
        raise PointError(explain(int(run[0]["status"]), from_record(PlantState, records[5][0]), p))
    if end is not BlockEnd.REACHED:
        raise RuntimeError(f"the rig ended with {end.name}")  # the callback commands both drives: our own fault
    return RigTrace(rows[: int(run[0]["row_count"])])
