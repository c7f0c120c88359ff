"""Everything that one call of the benchmarks has measured; what was not asked for is empty."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from tools.benchmarks.components import Cost
from tools.benchmarks.controller_kinds import Kind
from tools.benchmarks.growth import Growth, event_us
from tools.benchmarks.kernel_times import PartTime
from tools.benchmarks.lookups import Lookup
from tools.benchmarks.memory import Peak
from tools.benchmarks.paired import Interval
from tools.benchmarks.places import Place
from tools.benchmarks.start_up import StartUp
from tools.benchmarks.timing import Speed

Verdicts = dict[str, tuple[float, float, bool]]


@dataclass(slots=True)
class Results:
    """Filled part by part; `whole` is a scan of the running demo plant, noise drawn, ns."""

    machine: dict[str, Any]
    quick: bool = False
    engines: list[Speed] = field(default_factory=list)
    loops: list[Speed] = field(default_factory=list)
    fastest_lsoda: str = ""
    agreement: dict[str, Any] = field(default_factory=dict)
    whole: Interval | None = None
    places: list[Place] = field(default_factory=list)
    call_us: float = 0.0
    alone: list[PartTime] = field(default_factory=list)
    lookups: list[Lookup] = field(default_factory=list)
    components: list[Cost] = field(default_factory=list)
    controllers: list[Kind] = field(default_factory=list)
    by_duration: list[Growth] = field(default_factory=list)
    by_log_interval: list[Growth] = field(default_factory=list)
    by_event_rate: list[Growth] = field(default_factory=list)
    start: StartUp | None = None
    peaks: list[Peak] = field(default_factory=list)
    targets: Verdicts = field(default_factory=dict)
    limits: list[str] = field(default_factory=list)

    def place(self, start: str) -> Place | None:
        """The part whose name starts so."""
        return next((place for place in self.places if place.name.startswith(start)), None)

    def to_json(self) -> dict[str, Any]:
        """As a JSON object; intervals carry what is said of them."""
        return {
            "format_version": 2,
            "quick": self.quick,
            "machine": self.machine,
            "engines": [_speed(s) for s in self.engines],
            "loops": [_speed(s) for s in self.loops],
            "fastest_lsoda": self.fastest_lsoda,
            "agreement": self.agreement,
            "scan": _interval(self.whole) if self.whole else None,
            "places": [{"name": p.name, "level": p.level, **_interval(p.cost)} for p in self.places],
            "block_call_us": self.call_us,
            "parts": [asdict(part) for part in self.alone],
            "lookups": [
                {"name": x.name, "text": x.text, "per_scan": x.per_scan, "ns_a_scan": x.ns, **_interval(x.each)}
                for x in self.lookups
            ],
            "components": [
                {"name": c.name, "text": c.text, "against": c.against, **_interval(c.cost)} for c in self.components
            ],
            "controllers": [{"name": k.name, "text": k.text, **_interval(k.cost)} for k in self.controllers],
            "by_duration": [_growth(g) for g in self.by_duration],
            "by_log_interval": [_growth(g) for g in self.by_log_interval],
            "by_event_rate": [_growth(g) for g in self.by_event_rate],
            "event_us": event_us(self.by_event_rate) if self.by_event_rate else None,
            "start_up": asdict(self.start) if self.start else None,
            "memory": [asdict(peak) for peak in self.peaks],
            "targets": {name: {"value": v, "target": t, "reached": r} for name, (v, t, r) in self.targets.items()},
            "limits": self.limits,
        }


def _interval(found: Interval) -> dict[str, Any]:
    return {"ns": found.ns, "low_ns": found.low_ns, "high_ns": found.high_ns, "word": found.word}


def _growth(found: Growth) -> dict[str, Any]:
    return {**asdict(found), "speed": found.speed, "whole_speed": found.whole_speed, "reliable": found.settled}


def _speed(s: Speed) -> dict[str, Any]:
    return {
        "name": s.name, "text": s.text, "wall": s.wall, "cpu": s.cpu, "per_wall_s": s.per_wall_s,
        "per_cpu_s": s.per_cpu_s, "spread_frac": s.spread_frac, "reliable": s.settled,
    }  # fmt: skip
