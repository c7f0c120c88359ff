"""Nights of invented plants with a known cause: what the blind table is asked about.

Kept apart from tools/: nothing there may read it.  Each night is a run of the engine on a plant drawn from the model's
neighbourhood (displacement ± 2 %, leakage, friction, conductances, vessel and slide friction ± 15 %, evenly), with noise
of its own (half to twice the plant file's), read through the instruments; `logged_night.py` says what a logger keeps of it.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import scenarios.session as session_module
from controller.process_image import Inputs, Outputs, Trip
from plant_model.derived import derive
from plant_model.instruments import Channel
from plant_model.parameters import PlantParameters
from scenarios.chance import generator
from scenarios.engine import BlockEnd
from scenarios.preparation import STEP_MS, Prepared, prepare, wiring_of
from scenarios.records import dtype_of
from scenarios.row import INDEX
from scenarios.runner import open_session
from scenarios.session import memory_buffers

LIBRARY = Path(session_module.__file__).parent / "library"
HEAD = """
title = "A night"
purpose = "An invented night with a cause that the log does not name."
expects = "Nothing: it is looked at afterwards."
plant = "{library}/plants/{plant}.toml"
controller = "scheduled_pi"
settings = "{library}/sheets/demo_scheduled_pi.toml"
duration = "{minutes} min"
seed = {seed}

[start]
machine = "running"
suction_pressure = "-9 °C sat"
load = "{load:.0f} kW"

[[event]]
kind = "batch_arrivals"
from = "3 min"
until = "{minutes} min"
every = "11 min"
heat = "{batch:.0f} kW"
lasting = "6 min"

[[event]]
kind = "wet_bulb_drift"
from = "1 min"
until = "{minutes} min"
by = "{drift:.2f} K"
"""
SPREAD = (
    (("rotor", "tooth_width_m"), 0.02),
    (("machine", "leakage_frac"), 0.15),
    (("machine", "friction_torque_n_m"), 0.15),
    (("evaporator", "conductance_w_k"), 0.15),
    (("discharge_side", "conductance_w_k"), 0.15),
    (("oil", "cooler_conductance_w_k"), 0.15),
    (("suction_vessel", "volume_m3"), 0.15),
    (("capacity_drive", "friction_pa"), 0.15),
    (("volume_ratio_drive", "friction_pa"), 0.15),
)
DRIVES = ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease")
SAMPLINGS = ("1 s", "5 s", "change of value")


@dataclass(frozen=True, slots=True)
class Cause:
    """One kind of truth.  events(chance, onset_min) gives the scenario's lines; settings may change the sheet."""

    name: str
    group: str
    events: Callable[[Any, float], str]
    settings: Callable[[Any, Any, Any], Any] | None = None  # (sheet, start of the drawn plant, chance)
    minutes: int = 75
    plant: str = "harrow_ness"
    load_kw: tuple[float, float] = (330.0, 480.0)


@dataclass(slots=True)
class Night:
    """A finished night: what a logger could have, second by second, and the truth beside it."""

    cause: Cause
    seed: int
    sampling: str
    prepared: Prepared
    nominal: Prepared
    time_ms: Any
    inputs: Any
    outputs: Any
    load_w: Any
    on_ms: dict[str, Any]  # of each drive since the second before
    edges: Any  # (n, 4): ms, column, old, new
    onset_min: float
    trip: Trip
    trip_ms: int


def event(kind: str, **values: str) -> str:
    """One [[event]] of a scenario file."""
    lines = "".join(f'{key.rstrip("_")} = "{value}"\n' for key, value in values.items())
    return f'[[event]]\nkind = "{kind}"\n{lines}'


def with_value(record: Any, path: tuple[str, ...], value: Any) -> Any:
    """A copy of a frozen record with one value deep inside replaced."""
    if len(path) > 1:
        value = with_value(getattr(record, path[0]), path[1:], value)
    return replace(record, **{path[0]: value})


def neighbour(plant: PlantParameters, chance: Any) -> PlantParameters:
    """A plant of the neighbourhood."""
    for path, share in SPREAD:
        nominal: Any = plant
        for name in path:
            nominal = getattr(nominal, name)
        plant = with_value(plant, path, float(nominal) * (1.0 + share * chance.uniform(-1.0, 1.0)))
    return plant


def play(cause: Cause, seed: int, settings: Any = None, sound: bool = False, logged: bool = True) -> Night:
    """Run one night.  For the true answer to a what-if `settings` replaces the night's own, and `sound` leaves out what
    went wrong; chance stays as it is.  Not `logged`: only how it ended, in a tenth of the time."""
    chance = generator(seed, f"night of {cause.name}")
    sampling = SAMPLINGS[int(chance.integers(3))]
    load, batch, drift = chance.uniform(*cause.load_kw), chance.uniform(20.0, 60.0), chance.uniform(-1.5, 1.5)
    onset_min = float(chance.uniform(22.0, 32.0))
    text = HEAD.format(
        library=LIBRARY, plant=cause.plant, minutes=cause.minutes, seed=seed + 1, load=load, batch=batch, drift=drift
    )
    lines = cause.events(chance, onset_min)
    text += "" if sound else lines
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "night.toml"
        path.write_text(text, encoding="utf-8")
        nominal = prepare([path])[0]
    drawn = neighbour(nominal.plant.parameters, chance)
    wet_bulb_k = nominal.plant.parameters.discharge_side.wet_bulb_k + chance.uniform(-3.0, 1.0)
    drawn = with_value(drawn, ("discharge_side", "wet_bulb_k"), wet_bulb_k)
    noise = float(np.exp2(chance.uniform(-1.0, 1.0)))
    for channel in Channel:
        place = ("instruments", channel.name.lower(), "noise_frac")
        drawn = with_value(drawn, place, noise * getattr(getattr(drawn.instruments, place[1]), place[2]))
    own = nominal.settings
    prepared = replace(
        nominal, plant=replace(nominal.plant, parameters=drawn),
        parameters=derive(drawn, nominal.plant.refrigerant, STEP_MS), wiring=wiring_of(drawn.instruments),
    )  # fmt: skip
    if cause.settings is not None:
        own = cause.settings(own, prepared.initial_state(), chance)
    nominal = replace(nominal, settings=own)
    prepared = replace(prepared, settings=settings if settings is not None else own)
    buffers = memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    session, _ = open_session(prepared, buffers)
    session.warm_up()
    times: list[int] = []
    kept: list[Any] = []
    said: list[Any] = []

    session.world.start_all()
    while session.time_ms < session.duration_ms + 1:  # Session.play, with a stop at every whole second
        env = session.world.env
        while env.peek() <= session.time_ms:
            env.step()
        if logged and session.time_ms % 1000 == 0 and session.time_ms > 0:
            times.append(session.time_ms)
            kept.append(session._records[0][0].copy())
            said.append(session._records[1][0].copy())
        session.watches = session.world.watch_table()
        until_ms = min(env.peek(), session.duration_ms + 1)
        if logged:
            until_ms = min(until_ms, (session.time_ms // 1000 + 1) * 1000)
        end = session.advance(int(-(-until_ms // STEP_MS) * STEP_MS))
        if end is BlockEnd.WATCH:
            session.world.fire(int(session.run.watch_fired), session.time_ms)
            session._set_run("watch_fired", -1)
        elif end is not BlockEnd.REACHED:
            break
    rows = buffers.rows[: int(buffers.run[0]["row_count"])]
    at = np.searchsorted(rows[:, 0], np.array(times, dtype=float))
    at = np.minimum(at, len(rows) - 1)
    trips = rows[:, INDEX["trip_first_out"]]
    tripped = np.flatnonzero(trips > 0.0)
    trip_ms = int(rows[tripped[0], 0]) if len(tripped) else -1
    return Night(
        cause, seed, sampling, prepared, nominal, np.array(times, dtype=np.int64),
        np.array(kept, dtype=dtype_of(Inputs)), np.array(said, dtype=dtype_of(Outputs)),
        rows[at, INDEX["load_heat_w"]], {name: rows[at, INDEX[f"{name}_on_ms"]] for name in DRIVES},
        buffers.edges[: int(buffers.run[0]["edge_count"])], onset_min,
        Trip(int(trips[tripped[0]])) if len(tripped) else Trip.NONE, trip_ms,
    )  # fmt: skip
