"""Where a scan's time goes, each part in its place: the whole block against the block without the part, burst by burst.

`kernel_times` times each part alone in a loop instead.  In place a part is dearer where it waits for data or mispredicted
branches, cheaper where the processor does it beside something else, so the two differ, and shares are taken in place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from tools.benchmarks.paired import SCANS, WITH_NOISE, Interval, Moment, bursts_in_turns, difference, interval
from tools.benchmarks.plants import VARIANTS, session_of
from tools.benchmarks.stubs import block_without, nothing, yes, zero

REST = "loop, checks, watches, and what overlaps"
NOISE = "drawing the noise (NumPy, in chunks)"


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the cycle; `level` 1 is inside the part above it; `instead`: what stands in its place, by kernel."""

    name: str
    level: int
    instead: Mapping[str, Callable[..., Any]]


PARTS = (
    Part("plant step", 0, {"step": zero}),
    Part("compression", 1, {"compress": nothing}),
    Part("pressures of vessel and condenser", 1, {"close_volume": yes}),
    Part("separator, suction line, rooms", 1,
         {"close_separator": nothing, "close_suction": nothing, "close_rooms": nothing}),
    Part("oil pressures and drag", 1, {"close_oil": nothing, "add_viscous_drag": nothing}),
    Part("flows and rates", 1, {"fluxes": nothing}),
    Part("integration and ledger", 1, {"_integrate": nothing}),
    Part("slides, shaft, oil pump, fans", 1,
         {"step_slides": nothing, "step_motor": nothing, "step_oil_pump": nothing, "step_fans": nothing}),
    Part("sensors' lags", 1, {"sense": nothing}),
    Part("instruments: current loops", 0, {"measure": nothing}),
    Part("wiring, both ways", 0, {"wire_inputs": nothing, "wire_outputs": nothing}),
    Part("controller scan", 0, {"call_scan": zero}),
    Part("row, at a row a second", 0, {"write_row": nothing, "_log_row": nothing}),
    Part("changes of state", 0, {"_note_edges": nothing, "_note_on_times": nothing}),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """A part and what the block is cheaper without it."""

    name: str
    level: int
    cost: Interval


def places(
    rounds: int = 300, scans: int = SCANS, names: Iterable[str] | None = None, draw_scans: int = WITH_NOISE
) -> tuple[Interval, list[Place], float]:
    """A whole scan with its noise drawn, each part's place in it, and µs of a call of the block; `names` takes a few.

    Compiles for a minute.
    """
    wanted = None if names is None else set(names)
    moment = Moment(session_of(VARIANTS[0]))
    genuine = moment.session.block
    chosen = [part for part in PARTS if wanted is None or part.name in wanted]
    blocks = {"": genuine} | {part.name: block_without(part.instead) for part in chosen}

    def burst(block: Callable[..., Any]) -> Callable[[], float]:
        def run() -> float:
            moment.session.block = block
            return moment.burst(scans)

        return run

    def whole(drawing: bool) -> Callable[[], float]:
        def run() -> float:
            moment.session.block = genuine
            return moment.burst(draw_scans, drawing)

        return run

    found = bursts_in_turns({name: burst(block) for name, block in blocks.items()}, rounds)
    drawn = bursts_in_turns({"whole": whole(True), "spared": whole(False)}, max(5, rounds // 4))
    noise = difference(drawn, "whole", "spared")
    out = [Place(part.name, part.level, difference(found, "", part.name)) for part in chosen]
    out.append(Place(NOISE, 0, noise))
    # a burst is one call of the block, which a run makes only at events; it is in every burst alike
    moment.session.block = genuine
    call_ns = moment.call_ns()
    whole_ns = interval([value + noise.ns - call_ns / scans for value in found[""]])
    rest_ns = whole_ns.ns - sum(place.cost.ns for place in out if place.level == 0)
    if wanted is None:
        out.append(Place(REST, 0, Interval(rest_ns, rest_ns, rest_ns)))
    return whole_ns, out, 1e-3 * call_ns
