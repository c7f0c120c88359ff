"""What each component of the plant costs: the demo plant with and without it, burst by burst."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tools.benchmarks.paired import SCANS, WITH_NOISE, Interval, Moment, bursts_in_turns, difference, interval
from tools.benchmarks.plants import BASE, chosen, session_of


@dataclass(frozen=True, slots=True)
class Cost:
    """A component, and how much dearer a scan is with it; negative: cheaper."""

    name: str
    text: str
    against: str
    cost: Interval


def component_costs(
    rounds: int = 400, scans: int = SCANS, names: Iterable[str] | None = None
) -> tuple[Interval, list[Cost]]:
    """A scan of the demo plant, and every component's difference to it; `names` takes a few of them.

    Raises RuntimeError for a variant whose machine does not run.
    """
    variants = chosen(names)
    stage = session_of(variants[0])
    moments = {v.name: Moment(session_of(v), stage) for v in variants}
    found = bursts_in_turns({v.name: _burst(moments[v.name], scans, v.drawing) for v in variants}, rounds)
    costs = [Cost(v.name, v.text, v.against, difference(found, v.name, v.against)) for v in variants if not v.fixed]
    return interval(found[BASE]), costs


def _burst(moment: Moment, scans: int, drawing: bool) -> Callable[[], float]:
    return lambda: moment.burst(max(scans, WITH_NOISE) if drawing else scans, drawing)
