"""What happened round the moment of least margin, thin enough to be kept with the verdict and drawn in the record."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Any

import numpy as np

from scenarios.row import FORMS
from tools.verification.deciding import Clause, decides
from tools.verification.findings import Finding, is_share
from tools.verification.monitor import Monitor
from tools.verification.pack import Requirement

BEFORE_MS, AFTER_MS = 60_000.0, 30_000.0
POINTS = 160
LANES_AT_MOST = 6


@dataclass(frozen=True, slots=True)
class Excerpt:
    """Both sides of the deciding comparison over time (in people's unit), and lanes of states as (from, to, word).

    Times in s since the start of the run; left and right are empty where no number decides.
    """

    time_s: list[float]
    left: list[float]
    right: list[float]
    unit: str
    clause: str
    at_s: float
    lanes: dict[str, list[tuple[float, float, str]]]

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def excerpt(monitor: Monitor, requirement: Requirement, finding: Finding) -> Excerpt | None:
    """The neighbourhood of a finding's moment; None for one that has none."""
    if finding.time_ms is None:
        return None
    place = round((finding.time_ms - monitor.first_ms) / monitor.scan_ms)
    clause = decides(monitor, requirement.formula, place)
    ahead = round(AFTER_MS / monitor.scan_ms)
    if clause is not None:
        ahead = max(ahead, clause.place - place + ahead // 2)
    before = round(BEFORE_MS / monitor.scan_ms)
    first = max(0, min(place - before, clause.place - before // 2 if clause is not None else place))
    last = min(monitor.n - 1, place + ahead)
    times = monitor.trace["time_ms"] / 1000.0
    left: list[float] = []
    right: list[float] = []
    kept: list[float] = []
    unit = ""
    if clause is not None and math.isfinite(clause.difference):
        kept, left, right, unit = _sides(monitor, clause, times, first, last, place)
    lanes = _lanes(monitor, requirement, times, first, last)
    return Excerpt(kept, left, right, unit, clause.term.said if clause else "", finding.time_ms / 1000.0, lanes)


def _sides(
    monitor: Monitor, clause: Clause, times: Any, first: int, last: int, place: int
) -> tuple[list[float], list[float], list[float], str]:
    term = clause.term
    sort = term.parts[0].sort
    factor, unit = sort.shown(1.0)
    offset = 0.0
    if sort.dimension == "number" and not is_share(term):
        factor, unit = 1.0, "1"
    if sort.dimension == "temperature" and sort.of == "absolute":
        unit, offset = "°C", -273.15
    sides = [monitor.number(part) for part in term.parts]
    n = min([last + 1, *(len(side) for side in sides if np.ndim(side))])
    drawn = np.linspace(first, max(first, n - 1), POINTS).round().astype(int)
    always = [k for k in (place, clause.place) if k < n]  # in a long window thinning would miss what decides
    places = np.unique(np.append(drawn, always).astype(int))
    out = []
    for side in sides:
        values = np.full(len(places), float(side)) if np.ndim(side) == 0 else side[places]
        shown = (values + offset) * factor if offset else values * factor
        out.append([float(f"{v:.6g}") if math.isfinite(v) else math.nan for v in shown.tolist()])
    keep = [k for k, (a, b) in enumerate(zip(*out, strict=True)) if not (math.isnan(a) or math.isnan(b))]
    seconds = times[places].tolist()
    return [round(seconds[k], 3) for k in keep], [out[0][k] for k in keep], [out[1][k] for k in keep], unit


def _lanes(
    monitor: Monitor, requirement: Requirement, times: Any, first: int, last: int
) -> dict[str, list[tuple[float, float, str]]]:
    lanes: dict[str, list[tuple[float, float, str]]] = {}
    for name in requirement.columns():
        form = FORMS[name]
        if form is float or (form is int and not name.endswith("_word")) or len(lanes) >= LANES_AT_MOST:
            continue
        values = monitor.trace[name][first : last + 1]
        turns = [0, *(np.flatnonzero(np.diff(values)) + 1).tolist(), len(values)]
        lane = []
        for start, end in pairwise(turns):
            to = min(first + end, monitor.n - 1)
            lane.append((float(times[first + start]), float(times[to]), _word(form, name, values[start])))
        lanes[name] = lane
    return lanes


def _word(form: Any, name: str, value: float) -> str:
    if form is bool:
        return "on" if value else ""
    if issubclass(form, IntEnum):
        known = {int(member): member.name for member in form}
        word = known.get(int(value), f"unknown {int(value)}")
        return "" if word == "NONE" else word.replace("_", " ").lower()
    from controller.process_image import Trip

    bits = [cause.name.replace("_", " ").lower() for cause in Trip if cause and int(value) >> int(cause) & 1]
    return " + ".join(bits)
