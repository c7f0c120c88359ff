"""Property lookups: how many a scan makes, and what one costs.

The counts come from the interpreted plant, with counting functions in place of the lookups; the times from compiled loops.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numba import njit

import scenarios.compiled  # noqa: F401  opens the kernel cache before the functions below are declared
from plant_model import properties
from plant_model.plant import step
from plant_model.properties import (
    isentropic_exponent_at,
    pressure_coordinate,
    saturated_slopes,
    vapour_at,
    vapour_enthalpy_j_kg,
)
from plant_model.state import Actuators, Disturbances
from scenarios.records import from_record
from tools.benchmarks.paired import Interval, Moment, bursts_in_turns, interval
from tools.benchmarks.stubs import rebuilt

LOOKUPS = {  # kernel: what it is
    "saturated_slopes": "saturated states and their slopes, for the pressures of vessel and condenser",
    "vapour_at": "suction vapour",
    "isentropic_exponent_at": "exponent of the compression",
    "vapour_enthalpy_j_kg": "enthalpy of the discharge gas",
}


@njit(cache=True)
def _slopes(r: Any, n: Any) -> Any:
    p, s = r[4][0], r[5][0]
    total = 0.0
    for k in range(n):
        saturated_slopes(p.refrigerant, 290.0e3 + k, s.vessel.zone.saturation, s.vessel.zone.slopes)
        total += s.vessel.zone.slopes.t_k_pa
    return total


@njit(cache=True)
def _vapour(r: Any, n: Any) -> Any:
    p, s = r[4][0], r[5][0]
    x = pressure_coordinate(p.refrigerant, 290.0e3)
    total = 0.0
    for k in range(n):
        vapour_at(p.refrigerant, 290.0e3 + k, x + 1.0e-6 * k, 3.0, s.compression.vapour)
        total += s.compression.vapour.v_m3_kg
    return total


@njit(cache=True)
def _exponent(r: Any, n: Any) -> Any:
    p = r[4][0]
    x1, x2 = pressure_coordinate(p.refrigerant, 290.0e3), pressure_coordinate(p.refrigerant, 1.35e6)
    total = 0.0
    for k in range(n):
        total += isentropic_exponent_at(p.refrigerant, x1 + 1.0e-6 * k, x2, 3.0)
    return total


@njit(cache=True)
def _enthalpy(r: Any, n: Any) -> Any:
    p = r[4][0]
    total = 0.0
    for k in range(n):
        total += vapour_enthalpy_j_kg(p.refrigerant, 1.35e6 + k, 45.0)
    return total


LOOPS = {
    "saturated_slopes": _slopes,
    "vapour_at": _vapour,
    "isentropic_exponent_at": _exponent,
    "vapour_enthalpy_j_kg": _enthalpy,
}


@dataclass(frozen=True, slots=True)
class Lookup:
    """A lookup: how often in a scan, and nanoseconds each, alone in a loop."""

    name: str
    text: str
    per_scan: float
    each: Interval

    @property
    def ns(self) -> float:
        """Nanoseconds a scan."""
        return self.per_scan * self.each.ns


def lookups_per_scan(moment: Moment, scans: int = 200) -> dict[str, float]:
    """Mean number of lookups in a scan of the running plant, by name."""
    moment.restore()
    session = moment.session
    counts = dict.fromkeys(LOOKUPS, 0)

    def counted(name: str) -> Any:
        genuine = getattr(properties, name)

        def call(*arguments: Any) -> Any:
            counts[name] += 1
            return genuine(*arguments)

        return call

    counting = rebuilt(step, {name: counted(name) for name in LOOKUPS})
    plant = session.plant_state()
    disturbances = from_record(Disturbances, session.records[6][0])
    actuators = from_record(Actuators, session.records[7][0])
    for _ in range(scans):
        status = counting(session.prepared.parameters, plant, disturbances, actuators, session.prepared.step_ms)
        if status != 0:
            raise RuntimeError(f"the counted plant broke off with status {status}")
    return {name: count / scans for name, count in counts.items()}


def lookup_costs(moment: Moment, rounds: int = 25, n: int = 20_000) -> list[Lookup]:
    """Count and cost of each lookup."""
    import time

    records = tuple(moment.session.records)

    def burst(name: str) -> Any:
        def run() -> float:
            moment.restore()
            began = time.thread_time_ns()
            LOOPS[name](records, n)
            return (time.thread_time_ns() - began) / n

        return run

    counts = lookups_per_scan(moment)
    found = bursts_in_turns({name: burst(name) for name in LOOKUPS}, rounds)
    return [Lookup(name, text, counts[name], interval(found[name])) for name, text in LOOKUPS.items()]
