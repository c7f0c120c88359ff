"""The compiled engine.  Import this module only where a run starts: it opens the kernel cache and loads numba's part."""

from __future__ import annotations

from typing import Any

import numba
from numba import njit

from scenarios.engine import run_block
from scenarios.kernel_cache import kernel_folder

# read when a cached function is declared, so it comes before the declaration
numba_config: Any = numba.config
numba_config.CACHE_DIR = str(kernel_folder())


@njit(cache=True)
def compiled_block(
    entry: Any,
    settings: Any,
    state: Any,
    inputs: Any,
    outputs: Any,
    wiring: Any,
    operator: Any,
    parameters: Any,
    plant: Any,
    disturbances: Any,
    actuators: Any,
    readings: Any,
    run: Any,
    row: Any,
    values: Any,
    noise: Any,
    rows: Any,
    edges: Any,
    edge_columns: Any,
    last: Any,
    watches: Any,
    until_ms: Any,
) -> Any:
    """`run_block` on one-element structured arrays; `entry`, `settings`, `state` are addresses."""
    return run_block(
        entry,
        settings,
        state,
        inputs[0],
        outputs[0],
        wiring[0],
        operator[0],
        parameters[0],
        plant[0],
        disturbances[0],
        actuators[0],
        readings[0],
        run[0],
        row[0],
        values,
        noise,
        rows,
        edges,
        edge_columns,
        last,
        watches,
        until_ms,
    )
