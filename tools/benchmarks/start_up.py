"""How long from a new process to the first simulated step, the compiled kernels lying in the cache.

A child does what `twoslide run` does up to there (import the command line, read and check the files, open the session, load
the compiled engine) and then one scan; the whole command is timed beside it.  `python -m tools.benchmarks.start_up` is the
child.
"""

from __future__ import annotations

import re
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SHIFT = ROOT / "scenarios" / "library" / "demo_shift.toml"
_IMPORT_LINE = re.compile(r"import time:\s+(\d+) \|\s+(\d+) \| +(\S+)")


@dataclass(frozen=True, slots=True)
class StartUp:
    """Seconds: to the first step from the process' start, median and least; of the whole command; of the steps to it."""

    to_first_step_s: float
    least_s: float
    cpu_s: float
    whole_command_s: float
    stages_s: dict[str, float]
    imports_s: dict[str, float]


def _child() -> None:
    """Print how long each stage took, and the processor time of all."""
    began = time.perf_counter()
    stages = {}

    def stage(name: str) -> None:
        nonlocal began
        now = time.perf_counter()
        stages[name] = now - began
        began = now

    import tools.cli  # noqa: F401

    stage("import the command line")
    from scenarios.runner import open_session, prepare
    from scenarios.session import memory_buffers

    stage("import the runner")
    prepared = prepare([SHIFT])[0]
    stage("read and check the files")
    session, _ = open_session(
        prepared, memory_buffers(prepared.scenario.duration_ms, prepared.scan_ms, prepared.log_ms)
    )
    stage("open the session, load the controller")
    session.warm_up()
    stage("load the compiled engine")
    session.advance(prepared.scan_ms)
    stage("first step")
    print(session.time_ms, time.process_time(), *(f"{name}={seconds}" for name, seconds in stages.items()), sep="\t")


def _probe() -> tuple[float, float, dict[str, float]]:
    """Wall time until the child has said that it is there, its processor time, and its stages."""
    began = time.perf_counter()
    with subprocess.Popen([sys.executable, "-m", __name__], cwd=ROOT, stdout=subprocess.PIPE, text=True) as child:
        line = child.stdout.readline() if child.stdout else ""
        wall_s = time.perf_counter() - began
    reached_ms, cpu_s, *stages = line.rstrip("\n").split("\t")
    if child.returncode != 0 or int(reached_ms) <= 0:
        raise RuntimeError(f"the start-up probe failed with exit status {child.returncode}: {line!r}")
    return wall_s, float(cpu_s), {name: float(value) for name, value in (stage.split("=") for stage in stages)}


def _whole_command() -> float:
    with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder:
        command = [sys.executable, "-m", "tools.cli", "run", str(SHIFT), "--out", str(Path(folder) / "run")]
        began = time.perf_counter()
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        return time.perf_counter() - began


def import_times() -> dict[str, float]:
    """Own import time by top-level package, seconds, largest first, as `-X importtime` gives it (it slows imports)."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", __name__], cwd=ROOT, check=True, capture_output=True, text=True
    )
    totals: dict[str, float] = {}
    for line in done.stderr.splitlines():
        if found := _IMPORT_LINE.match(line):
            package = found[3].partition(".")[0]
            totals[package] = totals.get(package, 0.0) + int(found[1]) * 1e-6
    return dict(sorted(totals.items(), key=lambda item: -item[1]))


def measure_start_up(times: int = 7, whole: bool = True) -> StartUp:
    """Median of several starts, after one that fills the caches; `whole` also times complete runs of the command."""
    _probe()
    probes = [_probe() for _ in range(times)]
    walls = [wall_s for wall_s, _, _ in probes]
    stages = {name: statistics.median(p[2][name] for p in probes) for name in probes[0][2]}
    stages["start Python, and what the stages do not see"] = statistics.median(
        w - sum(s.values()) for w, _, s in probes
    )
    command_s = statistics.median(_whole_command() for _ in range(max(1, times // 2))) if whole else float("nan")
    cpu_s = statistics.median(cpu for _, cpu, _ in probes)
    return StartUp(statistics.median(walls), min(walls), cpu_s, command_s, stages, import_times())


if __name__ == "__main__":
    _child()
