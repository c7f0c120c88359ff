"""Peak memory of a day: 24 h at a 100 ms scan, in a process of its own.  `python -m tools.benchmarks.memory MS MS` is it.

The day is the demo shift with its batches going on to the end, run by `runner.execute` into a folder, as the command does.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DAY_MS = 86_400_000
_UNIT_BYTES = 1 if sys.platform == "darwin" else 1024  # of ru_maxrss


@dataclass(frozen=True, slots=True)
class Peak:
    """Peak resident memory, MB (10⁶ bytes): with everything imported and loaded, and at the end; and the run's speed."""

    log_ms: int
    duration_ms: int
    loaded_mb: float
    peak_mb: float
    rows: int
    events: int
    simulated_s_per_s: float


def _peak_mb() -> float:
    """Peak resident memory of this program.

    Linux starts ru_maxrss of a new process at the size of the one that started it, so its own high-water mark is read.
    """
    status = Path("/proc/self/status")
    if status.is_file():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024 / 1e6
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _UNIT_BYTES / 1e6


def _child(duration_ms: int, log_ms: int) -> None:
    from scenarios.runner import execute
    from tools.benchmarks.demo import new_session, play_whole, prepared_day, prepared_shift, shipped_entry

    warm = prepared_shift("scheduled_pi", 60_000)
    play_whole(new_session(warm, shipped_entry(warm)))
    loaded_mb = _peak_mb()
    prepared = prepared_day("scheduled_pi", duration_ms, log_ms)
    with tempfile.TemporaryDirectory(prefix="twoslide-benchmark-") as folder:
        result = execute(prepared, Path(folder) / "run")
    if result.failure:
        raise RuntimeError(result.failure)
    rows = len(result.trace["time_ms"])
    print(loaded_mb, _peak_mb(), rows, len(result.trace.events), result.simulated_s_per_s)


def measure_memory(duration_ms: int = DAY_MS, log_ms: int = 1000) -> Peak:
    """Peak resident memory of one run in a child process, after a short one that leaves the kernels compiled.

    Compiling takes some 50 to 80 MB itself, which the first run after an edit pays on top.
    """

    def child(length_ms: int) -> str:
        command = [sys.executable, "-m", __name__, str(length_ms), str(log_ms)]
        return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout

    child(10_000)
    loaded, peak, rows, events, speed = child(duration_ms).split()
    return Peak(log_ms, duration_ms, float(loaded), float(peak), int(rows), int(events), float(speed))


if __name__ == "__main__":
    _child(int(sys.argv[1]), int(sys.argv[2]))
