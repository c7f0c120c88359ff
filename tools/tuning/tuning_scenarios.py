"""Scenarios for a plant that brings none: eight invented hours for the search, and as many as wanted for the proof.

Loads are shares of what the machine takes at full travel, so that the same hours fit any plant.  The search sees what a
controls engineer would try by hand: rest, steps, batches, a ramp, warm weather, a start, and low load.  The proof's hours
are drawn: load, number, kind, size and time of events.  Each file stands in a folder beside a copy of the plant's file and
can be run by itself; chance follows from its text, so no path of this machine may be in it.
Shares and times are common practice, no source.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

from scenarios.chance import generator
from scenarios.quantities import format_quantity
from scenarios.settings_sheet import write_whole

HOUR_MIN = 60
LOWEST_SHARE, HIGHEST_SHARE = 0.2, 0.8  # of full capacity: outside it the slide stands at a stop or the machine stops
LEAST_BATCH_SHARE = 0.02  # less than that is no batch

_SEARCH: tuple[tuple[str, float, str, tuple[dict[str, Any], ...]], ...] = (
    ("Steady half load", 0.45, "running", ()),
    (
        "Step up and back",
        0.35,
        "running",
        (
            {"kind": "load_step", "at": 20, "change": 0.28},
            {"kind": "load_step", "at": 42, "change": -0.28},
        ),
    ),
    ("Step down", 0.75, "running", ({"kind": "load_step", "at": 20, "change": -0.4},)),
    (
        "Batches",
        0.4,
        "running",
        ({"kind": "batch_arrivals", "from": 5, "until": 55, "every": 7, "heat": 0.1, "lasting": 5},),
    ),
    (
        "Ramp up and down",
        0.3,
        "running",
        (
            {"kind": "load_ramp", "at": 8, "to": 0.78, "over": 15},
            {"kind": "load_ramp", "at": 35, "to": 0.35, "over": 10},
        ),
    ),
    (
        "Warm weather and batches",
        0.5,
        "running",
        (
            {"kind": "wet_bulb_drift", "from": 5, "until": 50, "by": 4.0},
            {"kind": "batch_arrivals", "from": 5, "until": 55, "every": 10, "heat": 0.12, "lasting": 6},
        ),
    ),
    ("Start from rest", 0.5, "stopped", ({"kind": "load_step", "at": 40, "change": 0.15},)),
    (
        "Low load and up",
        0.5,
        "running",
        (
            {"kind": "load_step", "at": 12, "change": -0.3},
            {"kind": "load_step", "at": 38, "change": 0.22},
        ),
    ),
)


def _value(key: str, value: Any, capacity_w: float) -> str:
    if key in ("kind",):
        return json.dumps(value)
    if key in ("at", "from", "until", "every", "lasting", "over"):
        return f'"{value:g} min"'
    if key == "by":
        return f'"{value:+.2g} K"'
    sign = "+" if key == "change" and value > 0.0 else ""
    return f'"{sign}{0.001 * value * capacity_w:.1f} kW"'


def scenario_text(
    title: str, plant: Path, controller: str, load: float, machine: str, events: tuple[dict[str, Any], ...],
    capacity_w: float, suction_kpa_abs: float, seed: int, purpose: str,
) -> str:  # fmt: skip
    """A scenario file; loads and changes are shares of `capacity_w`, times minutes.  The plant's file lies beside it."""
    lines = [
        f"title = {json.dumps(title, ensure_ascii=False)}",
        f"purpose = {json.dumps(purpose, ensure_ascii=False)}",
        'expects = "Holds suction near its set point with few movements of the slides, and no trip."',
        f"plant = {json.dumps(plant.name, ensure_ascii=False)}",
        f'controller = "{controller}"',
        f'duration = "{HOUR_MIN} min"',
        f"seed = {seed}",
        "",
        "[start]",
        f'machine = "{machine}"',
        f'load = "{0.001 * load * capacity_w:.1f} kW"',
        f'suction_pressure = "{format_quantity(round(suction_kpa_abs, 1), "kPa")}"',
    ]
    for event in events:
        lines += ["", "[[event]]", *(f"{key} = {_value(key, v, capacity_w)}" for key, v in event.items())]
    return "\n".join(lines) + "\n"


def copy_plant(folder: Path, plant: Path) -> None:
    """The plant's file, byte for byte, in the folder of its scenarios."""
    text, there = plant.read_bytes(), folder / plant.name
    if not there.is_file() or there.read_bytes() != text:
        write_whole(there, text.decode())


def _write(folder: Path, name: str, text: str) -> Path:
    path = folder / f"{name}.toml"
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        write_whole(path, text)
    return path


def write_search_scenarios(
    folder: Path, plant: Path, controller: str, capacity_w: float, suction_kpa_abs: float, seed: int
) -> list[Path]:
    """The eight hours of the search."""
    copy_plant(folder, plant)
    out = []
    for k, (title, load, machine, events) in enumerate(_SEARCH):
        text = scenario_text(
            title, plant, controller, load, machine, events, capacity_w, suction_kpa_abs, seed + k,
            "One of the eight hours that tuning searches on where no scenario is named.",
        )  # fmt: skip
        out.append(_write(folder, f"search_{k + 1}", text))
    return out


def most_at_once(every: float, lasting: float) -> int:
    """Batches that stand there together but for 1 % of the time: Poisson of mean lasting/every (M/G/infinity queue)."""
    from scipy.stats import poisson

    return max(1, int(poisson.ppf(0.99, lasting / every)))


def drawn_hour(seed: int, number: int) -> tuple[float, tuple[dict[str, Any], ...]]:
    """Load at the start and the events of one unseen hour.

    The load stays between LOWEST_SHARE and HIGHEST_SHARE, batches included but for the 1 % that `most_at_once` leaves.
    """
    r = generator(seed, "tuning proof hour", number)
    load = start = round(float(r.uniform(0.3, 0.7)), 3)
    batches = batches_until = 0.0  # the most that batches add, and until which minute
    events: list[dict[str, Any]] = []
    times = sorted(float(t) for t in r.uniform(6.0, 52.0, int(r.integers(1, 5))))
    for k, at in enumerate(times):
        kind = str(r.choice(["load_step", "load_step", "load_ramp", "batch_arrivals"]))
        at = round(at, 1)
        batches = batches if at < batches_until else 0.0
        highest = HIGHEST_SHARE - batches
        if kind == "load_ramp" and batches:
            kind = (
                "load_step"  # a ramp's end counts the batches in progress, and these would be taken off it afterwards
            )
        if kind == "load_step":
            low, high = max(LOWEST_SHARE - load, -0.35), min(highest - load, 0.35)
            change = round(float(r.uniform(low, high)), 3)
            load += change
            events.append({"kind": kind, "at": at, "change": change})
        elif kind == "load_ramp":
            load = round(float(r.uniform(LOWEST_SHARE, HIGHEST_SHARE)), 3)
            over = round(float(r.uniform(2.0, 15.0)), 1)
            # the next event waits for the end, so that shares stay what they say
            if k + 1 < len(times):
                over = round(max(0.1, min(over, times[k + 1] - at - 0.1)), 1)
            events.append({"kind": kind, "at": at, "to": load, "over": over})
        else:
            heat = float(r.uniform(0.03, 0.1))
            every, lasting = (round(float(r.uniform(*between)), 1) for between in ((4.0, 12.0), (3.0, 8.0)))
            until = round(min(58.0, at + float(r.uniform(10.0, 40.0))), 1)
            together = most_at_once(every, lasting)
            heat = math.floor(1000.0 * min(heat, (highest - load) / together)) / 1000.0
            if heat < LEAST_BATCH_SHARE:
                continue
            batches, batches_until = batches + together * heat, max(batches_until, until + lasting)
            events.append({"kind": kind, "from": at, "until": until, "every": every, "heat": heat, "lasting": lasting})
    if r.random() < 0.4:
        by = round(float(r.uniform(-5.0, 5.0)), 1)
        events.append({"kind": "wet_bulb_drift", "from": 2.0, "until": 55.0, "by": by})
    return start, tuple(events)


def write_proof_scenarios(
    folder: Path, plant: Path, controller: str, capacity_w: float, suction_kpa_abs: float, seed: int, count: int
) -> list[Path]:
    """`count` drawn hours that no search has seen; hour k is the same whatever the count."""
    copy_plant(folder, plant)
    out = []
    for k in range(count):
        load, events = drawn_hour(seed, k)
        text = scenario_text(
            f"Unseen hour {k + 1}", plant, controller, load, "running", events, capacity_w, suction_kpa_abs,
            seed + 1000 + k, "Drawn by chance for the proof; the search has not seen it.",
        )  # fmt: skip
        out.append(_write(folder, f"unseen_{k + 1:03d}", text))
    return out
