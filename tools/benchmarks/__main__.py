"""`python -m tools.benchmarks [--quick] [--json FILE]`: everything, as tables and as JSON."""

from __future__ import annotations

import json
import os
import platform
import tempfile
from dataclasses import asdict
from importlib.metadata import version
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.console import Console
from rich.table import Table

from tools.benchmarks.agreement import compare, open_loop
from tools.benchmarks.demo import SHIFT_MS, new_session, play_whole, prepared_shift, shipped_entry
from tools.benchmarks.kernel_times import PartTime, part_times
from tools.benchmarks.lsoda_engine import SOLVE_IVP, LsodaSession
from tools.benchmarks.memory import DAY_MS, Peak, measure_memory
from tools.benchmarks.python_control import by_python_control, by_step, loop_at
from tools.benchmarks.speeds import (
    COMPILED,
    loop_candidates,
    lsoda_candidates,
    other_controllers,
    shipped_candidates,
)
from tools.benchmarks.start_up import StartUp, measure_start_up
from tools.benchmarks.timing import Speed, in_turns, ratio

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


def speed_table(title: str, speeds: list[Speed], base: str) -> Table:
    """One line a candidate; the ratio says how many times faster the base is."""
    table = Table(
        title=title, caption=f"{len(speeds[0].per_wall_s)} rounds in turns, medians; base: {base}", pad_edge=False
    )
    table.add_column("candidate")
    for head in ("per wall s", "best", "per CPU s", "base is faster, wall", "CPU"):
        table.add_column(head, justify="right")
    reference = next(s for s in speeds if s.name == base)
    for s in speeds:
        wall, cpu = ratio(reference, s)
        table.add_row(s.name, f"{s.wall:,.0f}", f"{s.best:,.0f}", f"{s.cpu:,.0f}", f"{wall:,.3g} ×", f"{cpu:,.3g} ×")
    return table


def part_table(parts: list[PartTime]) -> Table:
    """Where a scan's time goes."""
    table = Table(title="where a scan's time goes: scheduled_pi, machine running", pad_edge=False)
    table.add_column("part")
    table.add_column("ns", justify="right")
    for part in parts:
        table.add_row("  " * part.level + part.name, f"{part.ns:,.0f}")
    return table


def start_table(start: StartUp) -> Table:
    """Start-up by stage, and the dearest imports."""
    table = Table(title="warm start of `run`, to the first step", pad_edge=False)
    table.add_column("stage")
    table.add_column("s", justify="right")
    for name, seconds in start.stages_s.items():
        table.add_row(name, f"{seconds:.3f}")
    table.add_section()
    for name, seconds in (
        ("to the first step, median", start.to_first_step_s),
        ("to the first step, least", start.least_s),
        ("processor time of it", start.cpu_s),
        ("whole `run` of the demo shift, report included", start.whole_command_s),
    ):
        table.add_row(name, f"{seconds:.3f}")
    table.add_section()
    for name, seconds in list(start.imports_s.items())[:8]:
        table.add_row(f"importing {name}, own part", f"{seconds:.3f}")
    return table


def memory_table(peaks: list[Peak]) -> Table:
    """Peak memory of long runs."""
    table = Table(title="peak resident memory, 100 ms scan", pad_edge=False)
    for head in ("simulated h", "row every ms", "loaded MB", "peak MB", "rows", "events"):
        table.add_column(head, justify="right")
    for p in peaks:
        table.add_row(
            f"{p.duration_ms / 3.6e6:g}",
            str(p.log_ms),
            f"{p.loaded_mb:.0f}",
            f"{p.peak_mb:.0f}",
            f"{p.rows:,}",
            f"{p.events:,}",
        )
    return table


def verdicts(engines: list[Speed], start: StartUp, peaks: list[Peak]) -> dict[str, tuple[float, float, bool]]:
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


def verdict_table(found: dict[str, tuple[float, float, bool]]) -> Table:
    """Targets against figures."""
    table = Table(title="targets", pad_edge=False)
    for head in ("what", "measured", "target", ""):
        table.add_column(head, justify="left" if head == "what" else "right")
    for name, (value, target, good) in found.items():
        table.add_row(name, f"{value:,.4g}", f"{target:,.4g}", "reached" if good else "MISSED")
    return table


def _speeds_json(speeds: list[Speed]) -> list[dict[str, Any]]:
    return [
        {
            "name": s.name,
            "text": s.text,
            "wall": s.wall,
            "cpu": s.cpu,
            "per_wall_s": s.per_wall_s,
            "per_cpu_s": s.per_cpu_s,
        }
        for s in speeds
    ]


def _machine() -> dict[str, Any]:
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    versions = {name: version(name) for name in ("numba", "numpy", "scipy", "control")}
    return {"python": platform.python_version(), "processors": os.cpu_count(), "load_average": load, **versions}


@click.command()
@click.option("--quick", is_flag=True, help="Minutes instead of the shift, one round: for a look, not for figures.")
@click.option("--json", "json_file", type=click.Path(path_type=Path), help="Also write everything to this file.")
@click.option("--rounds", type=click.IntRange(min=1), help="Rounds of the speed tables.  [default: 5, quick 1]")
def main(quick: bool, json_file: Path | None, rounds: int | None) -> None:
    """Measure the engine in turns with what it can be compared with."""
    console = Console(highlight=False)
    console = console if console.is_terminal else Console(highlight=False, width=120)
    duration_ms, loop_s, day_ms = (600_000, 60.0, 3_600_000) if quick else (SHIFT_MS, 600.0, DAY_MS)
    rounds = rounds or (1 if quick else 5)
    before = _machine()
    console.print(", ".join(f"{name} {value}" for name, value in before.items()))
    engines, loops = measure_speeds(duration_ms, rounds, loop_s)
    console.print(speed_table("simulated s per s, demo shift, 100 ms scan", engines, COMPILED))
    console.print(speed_table("simulated s per s, continuous PI loop without a scan", loops, "PI loop, own step"))
    way = fastest(engines, "LSODA").name.removeprefix("LSODA, ")
    agreement = measure_agreement(duration_ms, way, loop_s)
    for name, found in agreement.items():
        share = 100.0 * found["largest_pa"] / found["swing_pa"]
        rms_pa = found["rms_pa"]
        console.print(f"{name}: largest {found['largest_pa']:.1f} Pa, {share:.3f} % of the swing, RMS {rms_pa:.1f} Pa")
    console.print("closed loop, two runs may come to rest anywhere within the controller's neutral zone")
    parts = part_times(rounds=5 if quick else 25)
    console.print(part_table(parts))
    start = measure_start_up(1 if quick else 7)
    console.print(start_table(start))
    peaks = [measure_memory(day_ms, 1000), measure_memory(day_ms, 100)]
    console.print(memory_table(peaks))
    reached = verdicts(engines, start, peaks)
    console.print(verdict_table(reached))
    if json_file is not None:
        everything = {
            "format_version": 1,
            "quick": quick,
            "machine": before,
            "engines": _speeds_json(engines),
            "loops": _speeds_json(loops),
            "fastest_lsoda": way,
            "agreement": agreement,
            "parts": [asdict(part) for part in parts],
            "start_up": asdict(start),
            "memory": [asdict(peak) for peak in peaks],
            "targets": {name: {"value": v, "target": t, "reached": r} for name, (v, t, r) in reached.items()},
        }
        json_file.write_text(json.dumps(everything, ensure_ascii=False, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
