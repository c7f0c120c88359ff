"""`python -m tools.benchmarks [--quick] [--part NAME] [--out FILE] [--json FILE]`: tables, one HTML page, JSON."""

from __future__ import annotations

import json
import os
import platform
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.console import Console

from tools.benchmarks.agreement import compare, open_loop
from tools.benchmarks.components import component_costs
from tools.benchmarks.controller_kinds import controller_costs
from tools.benchmarks.demo import SHIFT_MS, new_session, play_whole, prepared_shift, shipped_entry
from tools.benchmarks.growth import Growth, by_duration, by_event_rate, by_log_interval
from tools.benchmarks.kernel_times import part_times
from tools.benchmarks.lookups import lookup_costs
from tools.benchmarks.lsoda_engine import SOLVE_IVP, LsodaSession
from tools.benchmarks.memory import DAY_MS, Peak, measure_memory
from tools.benchmarks.page import write_page
from tools.benchmarks.paired import Moment
from tools.benchmarks.places import places as measure_places
from tools.benchmarks.plants import VARIANTS, session_of
from tools.benchmarks.python_control import by_python_control, by_step, loop_at
from tools.benchmarks.results import Results, Verdicts
from tools.benchmarks.speeds import (
    COMPILED,
    loop_candidates,
    lsoda_candidates,
    other_controllers,
    shipped_candidates,
)
from tools.benchmarks.start_up import StartUp, measure_start_up
from tools.benchmarks.tables import all_tables
from tools.benchmarks.timing import Speed, in_turns, ratio
from tools.benchmarks.what_limits import what_limits

PARTS = ("scan", "components", "controllers", "growth", "start", "memory", "engines")  # the longest last
TARGETS = {  # of the specification, each with the unit of its figure
    "shipped controllers, 1 s log, simulated s per s": 100_000.0,
    "empty Python controller, simulated s per s": 12_000.0,
    "against solve_ivp LSODA restarted each scan, times": 150.0,
    "against the fastest way of calling LSODA, times": 150.0,
    "first step of a warm start, s, at most": 1.5,
    "peak of a day at 1 s log, MB, at most": 400.0,
}


def fastest(speeds: list[Speed], start: str) -> Speed:
    """The fastest by processor time of those whose name starts so."""
    return max((s for s in speeds if s.name.startswith(start)), key=lambda s: s.cpu)


def measure_speeds(duration_ms: int, rounds: int, loop_s: float) -> tuple[list[Speed], list[Speed]]:
    """All engines on the demo shift, and the continuous loops, each set in turns."""
    with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder:
        candidates = shipped_candidates(duration_ms) + other_controllers(duration_ms, Path(folder))
        engines = in_turns(candidates + lsoda_candidates(duration_ms), rounds)
    return engines, in_turns(loop_candidates(loop_s), rounds)


def measure_agreement(duration_ms: int, way: str, loop_s: float) -> dict[str, Any]:
    """How far the compared engines are apart in suction pressure."""
    prepared = prepared_shift("scheduled_pi", duration_ms)
    own, other = new_session(prepared, shipped_entry(prepared)), LsodaSession(prepared, shipped_entry(prepared), way)
    play_whole(own)
    play_whole(other)
    loop = loop_at()
    a, b = by_step(loop, loop_s, at_once=True)[::10], by_python_control(loop, loop_s)
    return {
        "lsoda_open_loop": asdict(open_loop(min(duration_ms, 1_200_000), way)),
        "lsoda_closed_loop": asdict(compare(own, other)),
        "python_control": {
            "largest_pa": float(np.abs(a - b).max()),
            "rms_pa": float(np.sqrt(np.mean((a - b) ** 2))),
            "swing_pa": float(np.ptp(a)),
        },
    }


def verdicts(engines: list[Speed], start: StartUp, peaks: list[Peak]) -> Verdicts:
    """Measured figure, target, and whether it was reached; speeds by processor time, others may share the cores."""
    named = {s.name: s for s in engines}
    # a plain name, without ", scan log", is a shipped controller at a row a second
    slowest = min(
        (s for s in engines if s.name.startswith("compiled, ") and s.name.count(",") == 1), key=lambda s: s.cpu
    )
    by_solve_ivp = ratio(named[COMPILED], named[f"LSODA, {SOLVE_IVP}"])[1]
    by_fastest = ratio(named[COMPILED], fastest(engines, "LSODA"))[1]
    python = named["empty Python controller"].cpu
    values = (slowest.cpu, python, by_solve_ivp, by_fastest, start.to_first_step_s, peaks[0].peak_mb)
    out = {}
    for (name, target), value in zip(TARGETS.items(), values, strict=True):
        out[name] = (value, target, value <= target if "at most" in name else value >= target)
    return out


def _load() -> float | None:
    return round(os.getloadavg()[0], 2) if hasattr(os, "getloadavg") else None


def _machine() -> dict[str, Any]:
    versions = {name: version(name) for name in ("numba", "numpy", "scipy", "control")}
    return {"python": platform.python_version(), "processors": os.cpu_count(), "load_average": _load(), **versions}


def _say_agreement(console: Console, agreement: dict[str, Any]) -> None:
    for name, found in agreement.items():
        share = 100.0 * found["largest_pa"] / found["swing_pa"]
        rms_pa = found["rms_pa"]
        console.print(f"{name}: largest {found['largest_pa']:.1f} Pa, {share:.3f} % of the swing, RMS {rms_pa:.1f} Pa")
    console.print("closed loop, two runs may come to rest anywhere within the controller's neutral zone")


def measure(parts: Sequence[str], quick: bool, rounds: int) -> Iterator[Results]:
    """What `parts` asks for, one after the other; each time all that there is until then, so that a stop loses little."""
    found = Results(_machine(), quick)
    duration_ms, loop_s, day_ms = (600_000, 60.0, 3_600_000) if quick else (SHIFT_MS, 600.0, DAY_MS)
    short, some, many = (5, 20, 40) if quick else (25, 150, 400)
    for part in parts:
        click.echo(f"measuring: {part}", err=True)
        if part == "scan":
            found.whole, found.places, found.call_us = measure_places(many)
            found.alone = part_times(rounds=short)
            found.lookups = lookup_costs(Moment(session_of(VARIANTS[0])), rounds=short)
        elif part == "components":
            found.components = component_costs(many)[1]
        elif part == "controllers":
            with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder:
                found.controllers = controller_costs(Path(folder), some)
        elif part == "growth":
            found.by_duration, found.by_log_interval, found.by_event_rate = measure_growth(quick, 2 if quick else 7)
        elif part == "start":
            found.start = measure_start_up(1 if quick else 7)
        elif part == "memory":
            found.peaks = [measure_memory(day_ms, log_ms) for log_ms in (1000, 100)]
            if not quick:
                found.peaks += [measure_memory(ms, log_ms) for ms, log_ms in ((DAY_MS, 60_000), (SHIFT_MS, 1000))]
        elif part == "engines":
            found.engines, found.loops = measure_speeds(duration_ms, rounds, loop_s)
            found.fastest_lsoda = fastest(found.engines, "LSODA").name.removeprefix("LSODA, ")
            found.agreement = measure_agreement(duration_ms, found.fastest_lsoda, loop_s)
        if found.engines and found.start is not None and found.peaks:
            found.targets = verdicts(found.engines, found.start, found.peaks)
        found.limits = what_limits(found)
        found.machine |= {"load_average_afterwards": _load()}
        yield found


def measure_growth(quick: bool, rounds: int) -> tuple[list[Growth], list[Growth], list[Growth]]:
    """By duration, by log interval, by rate of events."""
    if quick:
        return (
            by_duration(rounds, (300_000, 3_600_000)),
            by_log_interval(rounds, duration_ms=600_000),
            by_event_rate(rounds, (0, 60, 600), 600_000),
        )
    return by_duration(rounds), by_log_interval(rounds), by_event_rate(rounds)


@click.command()
@click.option("--quick", is_flag=True, help="Minutes instead of the shift, few rounds: for a look, not for figures.")
@click.option(
    "--part", "parts", type=click.Choice(PARTS), multiple=True, help="Only this; may be repeated.  [default: all]"
)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Also write tables and plots to this HTML file."
)
@click.option(
    "--json", "json_file", type=click.Path(path_type=Path, dir_okay=False), help="Also write everything to this file."
)
@click.option("--rounds", type=click.IntRange(min=1), help="Rounds of the engines' table.  [default: 5, quick 1]")
def main(quick: bool, parts: tuple[str, ...], out: Path | None, json_file: Path | None, rounds: int | None) -> None:
    """Measure the engine: what a run and its parts cost, and what it can be compared with."""
    for file in (out, json_file):
        if file is not None and not file.absolute().parent.is_dir():
            raise click.BadParameter(f"the folder of {file} does not exist; make it, or name another")
    console = Console(highlight=False)
    console = console if console.is_terminal else Console(highlight=False, width=150)
    found = None
    said: set[str] = set()
    for found in measure([part for part in PARTS if part in (parts or PARTS)], quick, rounds or (1 if quick else 5)):
        for table in all_tables(found):
            if str(table.title) not in said:
                console.print(table)
                said.add(str(table.title))
        if json_file is not None:
            _write_whole(json_file, json.dumps(found.to_json(), ensure_ascii=False, indent=1))
        if out is not None:
            write_page(out, found)
    if found is None:
        return
    if found.agreement:
        _say_agreement(console, found.agreement)
    console.print(", ".join(f"{name.replace('_', ' ')} {value}" for name, value in found.machine.items()))
    for line in found.limits:
        console.print(line)


def _write_whole(path: Path, text: str) -> None:
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


if __name__ == "__main__":
    main()
