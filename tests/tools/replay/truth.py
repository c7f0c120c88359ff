"""Nights of invented plants with a known cause: what the blind table is asked about.

Kept apart from tools/: nothing there may read it.  Each night is a run of the engine on a plant drawn from the model's
neighbourhood (displacement ± 2 %, leakage, friction, conductances, vessel and slide friction ± 15 %, evenly), with noise
of its own, read through the instruments and thinned as a logger does: every second, every five, or on change of value.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import scenarios.session as session_module
from controller.process_image import Health, Inputs, Outputs, Trip
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.chance import generator
from scenarios.engine import BlockEnd
from scenarios.preparation import STEP_MS, Prepared, prepare, wiring_of
from scenarios.records import dtype_of
from scenarios.row import INDEX
from scenarios.runner import open_session
from scenarios.session import memory_buffers
from tools.replay.gridding import on_grid
from tools.replay.record import Record

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
    trace: Any
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
        nominal = plant
        for name in path:
            nominal = getattr(nominal, name)
        plant = with_value(plant, path, float(nominal) * (1.0 + share * chance.uniform(-1.0, 1.0)))
    return plant


def play(cause: Cause, seed: int, settings: Any = None) -> Night:
    """Run one night.  `settings` replaces the night's own, for the true answer to a what-if."""
    chance = generator(seed, f"night of {cause.name}")
    sampling = SAMPLINGS[int(chance.integers(3))]
    load, batch, drift = chance.uniform(*cause.load_kw), chance.uniform(20.0, 60.0), chance.uniform(-1.5, 1.5)
    onset_min = float(chance.uniform(22.0, 32.0))
    text = HEAD.format(
        library=LIBRARY, plant=cause.plant, minutes=cause.minutes, seed=seed + 1, load=load, batch=batch, drift=drift
    ) + cause.events(chance, onset_min)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "night.toml"
        path.write_text(text, encoding="utf-8")
        nominal = prepare([path])[0]
    drawn = neighbour(nominal.plant.parameters, chance)
    wet_bulb_k = nominal.plant.parameters.discharge_side.wet_bulb_k + chance.uniform(-3.0, 1.0)
    drawn = with_value(drawn, ("discharge_side", "wet_bulb_k"), wet_bulb_k)
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
        if session.time_ms % 1000 == 0 and session.time_ms > 0:
            times.append(session.time_ms)
            kept.append(session._records[0][0].copy())
            said.append(session._records[1][0].copy())
        session.watches = session.world.watch_table()
        until_ms = min(env.peek(), session.duration_ms + 1, (session.time_ms // 1000 + 1) * 1000)
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
        rows[at, INDEX["load_heat_w"]], rows, onset_min,
        Trip(int(trips[tripped[0]])) if len(tripped) else Trip.NONE, trip_ms,
    )  # fmt: skip


TO_SI = {
    "suction_pressure": ("suction_pressure_kpa_abs", 1000.0, 0.0),
    "discharge_pressure": ("discharge_pressure_kpa_abs", 1000.0, 0.0),
    "suction_temperature": ("suction_temperature_c", 1.0, 273.15),
    "discharge_temperature": ("discharge_temperature_c", 1.0, 273.15),
    "oil_pressure_before_filter": ("oil_pressure_before_filter_kpa_abs", 1000.0, 0.0),
    "oil_pressure": ("oil_pressure_kpa_abs", 1000.0, 0.0),
    "oil_temperature": ("oil_temperature_c", 1.0, 273.15),
    "oil_level": ("oil_level_pct", 0.01, 0.0),
    "motor_current": ("motor_current_a", 1.0, 0.0),
    "motor_power": ("motor_power_kw", 1000.0, 0.0),
    "capacity_position": ("capacity_position_pct", 0.01, 0.0),
    "capacity_position_opposite": ("capacity_position_opposite_pct", 0.01, 0.0),
    "volume_ratio_position": ("volume_ratio_position_pct", 0.01, 0.0),
    "volume_ratio_position_opposite": ("volume_ratio_position_opposite_pct", 0.01, 0.0),
    "process_temperature": ("process_temperature_c", 1.0, 273.15),
}
DEAD_BAND = 0.0012  # of span: what a change-of-value logger keeps quiet about


def thinned(values: Any, sampling: str, band: float) -> Any:
    """What the logger wrote, NaN where it wrote nothing."""
    out = np.full(len(values), np.nan)
    if sampling == "1 s":
        return values.copy()
    if sampling == "5 s":
        out[::5] = values[::5]
        return out
    last = None
    for k, value in enumerate(values):
        if last is None or abs(value - last) > band or k % 120 == 0:
            out[k] = last = value
    return out


def raw_log(night: Night, until_s: int = 90) -> dict[str, Any]:
    """The night's signals in SI as the logger has them, from 60 s on to a little after the trip; NaN for no sample."""
    end = len(night.time_ms)
    if night.trip_ms > 0:
        end = min(end, int(np.searchsorted(night.time_ms, night.trip_ms)) + until_s)
    instruments = night.prepared.plant.parameters.instruments
    out: dict[str, Any] = {}
    for name, (field_name, factor, offset) in TO_SI.items():
        values = night.inputs[field_name][:end] * factor + offset
        span = getattr(instruments, name)
        low, high = (getattr(span, f) for f in list(type(span).__dataclass_fields__)[:2])
        out[name] = thinned(values, night.sampling, DEAD_BAND * (high - low))
    return out


def record_of(night: Night, with_on_times: bool = True) -> Record:
    """The night as a record, without the truth: what the log reader would hand on."""
    raw = raw_log(night)
    rows = len(raw["suction_pressure"])
    start_ms = int(night.time_ms[0])
    sample_ms = 5000 if night.sampling == "5 s" else 1000
    measured, frozen, open_, shorted = {}, {}, {}, {}
    for name, values in raw.items():
        kept = np.flatnonzero(np.isfinite(values))
        measured[name], frozen[name] = on_grid(
            start_ms + 1000 * kept, values[kept], start_ms, rows, night.sampling == "change of value", sample_ms
        )
        state = night.inputs[f"{name}_health"][:rows]
        open_[name], shorted[name] = state == Health.UNDER, state == Health.OVER
        measured[name][open_[name] | shorted[name]] = np.nan
    switches = {
        name: night.outputs[name][:rows].astype(bool)
        for name in ("motor_run", "oil_pump", "injection_cooling", "capacity_load", "capacity_unload",
                     "volume_ratio_increase", "volume_ratio_decrease")
    }  # fmt: skip
    for name in ("motor_running", "vessel_high_high_level", "safety_chain_closed", "stop_button_pressed",
                 "capacity_manual", "volume_ratio_manual"):  # fmt: skip
        switches[name] = night.inputs[name][:rows].astype(bool)
    words = {
        name: night.outputs[name][:rows].astype(np.int64) for name in ("mode", "inhibit", "trip_first_out", "trip_word")
    }
    at = np.searchsorted(night.trace[:, 0], night.time_ms[:rows])
    at = np.minimum(at, len(night.trace) - 1)
    on_ms = (
        {
            name: night.trace[at, INDEX[f"{name}_on_ms"]]
            for name in ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease")
        }
        if with_on_times
        else {}
    )
    tripped = np.flatnonzero(words["trip_first_out"] > 0)
    trip_row = int(tripped[0]) if len(tripped) else -1
    trip = Trip(int(words["trip_first_out"][trip_row])) if trip_row >= 0 else Trip.NONE
    return Record(
        start_ms, measured, frozen, open_, shorted, switches, words, on_ms, sample_ms,
        night.sampling == "change of value", trip, trip_row,
    )  # fmt: skip
