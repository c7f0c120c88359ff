"""What would have held: the event in closed loop, again and again with what the log leaves open.

Each member of an ensemble draws the plant's neighbourhood from what the residuals left of it, moves the load with it (as
the balance does), draws the fault's size and the instruments' noise, and runs under the same settings as every other.
First with the settings of that time: if those do not bring the logged trip back, the model does not know enough of the
event, and nothing is concluded from it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from controller.process_image import Trip
from plant_model.derived import Parameters
from scenarios.chance import generator
from scenarios.limits import Limits, limits_of
from scenarios.load_log import LoadLog
from scenarios.preparation import Prepared
from scenarios.records import from_record
from scenarios.row import INDEX
from scenarios.session import Session, memory_buffers
from scenarios.shared_entry import SharedEntry
from tools.replay.fitting import NEIGHBOURHOOD, Evidence
from tools.replay.load import Load

LOG_MS = 5_000
REPRODUCED = 0.5  # of the ensemble must bring the logged trip back
SAME_TRIP_S = 420.0  # and within this of its time
SAVED, LOST = 0.2, 0.5  # share that trips: below "rides through", above "trips", between "open"


@dataclass(slots=True)
class Variant:
    """One way it might have gone, over the ensemble."""

    name: str
    trips: list[Trip]
    trip_s: list[float]  # NaN for none; from the scenario's start
    nearest: float = math.nan  # median room to the logged trip's limit at its least, in the unit of `unit`
    unit: str = ""
    problem: str = ""

    @property
    def count(self) -> int:
        """How many runs."""
        return len(self.trips)

    @property
    def tripped(self) -> int:
        """How many tripped."""
        return sum(trip is not Trip.NONE for trip in self.trips)

    @property
    def verdict(self) -> str:
        """ "rides through", "trips" or "open"."""
        if not self.count:
            return "open"
        share = self.tripped / self.count
        return "rides through" if share <= SAVED else "trips" if share >= LOST else "open"


@dataclass(slots=True)
class WhatIf:
    """The sanity run and what followed from it."""

    original: Variant
    reproduced: bool
    variants: list[Variant] = field(default_factory=list)
    words: list[str] = field(default_factory=list)


def members_of(evidence: Evidence, load: Load, covariance: Any, count: int, seed: int) -> list[dict[str, float]]:
    """Draws of the neighbourhood: factors by name; the first is the best estimate."""
    names = list(evidence.columns)
    draws = generator(seed, "replay ensemble").standard_normal((count, len(names)))
    factor = np.linalg.cholesky(covariance + 1.0e-12 * np.eye(len(names)))
    out = []
    for k in range(count):
        moved = factor @ draws[k] if k else np.zeros(len(names))
        out.append(
            {
                name: float(np.clip(load.factors[name] + NEIGHBOURHOOD[name] * moved[i], 0.5, 1.5))
                for i, name in enumerate(names)
                if name in NEIGHBOURHOOD
            }
        )
    return out


def _with_load(prepared: Prepared, factor: float) -> Prepared:
    logs = {
        name: LoadLog(log.time_ms, tuple(factor * w for w in log.load_w), log.notes, log.path, log.sha256)
        for name, log in prepared.scenario.load_logs.items()
    }
    start = prepared.scenario.start
    moved = start.model_copy(update={"load_w": factor * (start.load_w or 0.0)})
    return replace(prepared, scenario=replace(prepared.scenario, load_logs=logs, start=moved))


def run_variant(
    name: str, prepared: Prepared, settings: Any, controller: str, evidence: Evidence, load: Load,
    members: list[dict[str, float]], watch: Trip, progress: Callable[[], None] | None = None,
) -> Variant:  # fmt: skip
    """One variant over all members; members that the plant model cannot follow count as trips of no cause and are told."""
    trips: list[Trip] = []
    times: list[float] = []
    rooms: list[float] = []
    lost = 0
    for number, factors in enumerate(members):
        parameters = from_record(Parameters, evidence.player.scaled(factors)[0])
        # of two machines that give one pressure the larger one carried the more load
        share = factors.get("displacement", 1.0) / load.factors.get("displacement", 1.0)
        one = _with_load(prepared, share)
        one = replace(
            one,
            parameters=parameters,
            settings=settings,
            limits=limits_of(settings) or Limits(),
            seed=1000 + number,
            log_ms=LOG_MS,
            plant=replace(one.plant, parameters=parameters.plant),
        )
        buffers = memory_buffers(one.scenario.duration_ms, one.scan_ms, one.log_ms)
        try:
            session = Session(one, SharedEntry(controller, settings), buffers)
            session.play()
        except Exception as error:
            if not isinstance(error, ValueError):
                raise
            lost += 1
            continue
        edges = buffers.edges[: int(buffers.run[0]["edge_count"])]
        came = edges[(edges[:, 1] == INDEX["trip_first_out"]) & (edges[:, 3] > 0.0)]
        trips.append(Trip(int(came[0, 3])) if len(came) else Trip.NONE)
        times.append(float(came[0, 0]) / 1000.0 if len(came) else math.nan)
        rows = buffers.rows[: int(buffers.run[0]["row_count"])]
        rooms.append(_room(rows, one.limits, watch))
        if progress:
            progress()
    problem = f"{lost} of {len(members)} members have no start in the model" if lost else ""
    room = float(np.nanmedian(rooms)) if rooms and np.isfinite(rooms).any() else math.nan
    known = limits_of(settings)
    watched = known.trip(watch) if known is not None else None
    return Variant(name, trips, times, room, watched.unit if watched is not None else "", problem)


def _room(rows: Any, limits: Limits, trip: Trip) -> float:
    """Least room to the trip's limit over a run in service, in people's unit; NaN where it is not known."""
    limit = limits.trip(trip)
    if limit is None or not len(rows):
        return math.nan
    running = (rows[:, INDEX["motor_running"]] > 0.5) & (rows[:, INDEX["time_ms"]] >= limit.bypass_ms)
    values = rows[running, INDEX[limit.column]]
    if not len(values):
        return math.nan
    room = limit.direction * (limit.limit - (values.max() if limit.direction > 0 else values.min()))
    return float(room * limit.factor)


def judge(original: Variant, logged: Trip, trip_s: float) -> bool:
    """Whether the settings of that time bring the logged trip back, in time."""
    if logged is Trip.NONE:
        return original.count > 0 and original.tripped / original.count < 0.5
    same = [
        trip is logged and abs(at - trip_s) <= SAME_TRIP_S
        for trip, at in zip(original.trips, original.trip_s, strict=True)
    ]
    return bool(same) and sum(same) / len(same) >= REPRODUCED


def in_words(found: WhatIf, logged: Trip) -> list[str]:
    """The what-if in plain words."""
    cause = logged.name.replace("_", " ").lower() if logged is not Trip.NONE else "no trip"
    one = found.original
    if not found.reproduced:
        return [
            f"With the settings of that time the model brings the logged event ({cause}) back in too few "
            f"of {one.count} runs ({one.tripped} tripped at all). So nothing is said of other settings."
        ]
    lines = [f"With the settings of that time {one.tripped} of {one.count} runs trip, as the log did ({cause})."]
    for variant in found.variants:
        room = ""
        if math.isfinite(variant.nearest) and variant.unit:
            room = f"; at its nearest {variant.nearest:.3g} {variant.unit} were left, in the middle of the runs"
        lines.append(f"{variant.name}: would have tripped in {variant.tripped} of {variant.count}{room}.")
    return lines
