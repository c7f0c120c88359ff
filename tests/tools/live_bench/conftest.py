"""A session on the demo plant with the machine running, and a server with its engine for the tests that need one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from scenarios.preparation import prepare
from tools.live_bench.bench import Bench
from tools.live_bench.session_folder import open_folder

LIBRARY = Path(__file__).resolve().parents[3] / "scenarios" / "library"


def scenario_file(folder: Path, events: str = "", duration: str = "24 h") -> Path:
    """A scenario on the demo plant that begins with the machine running."""
    path = folder / "opening.toml"
    path.write_text(
        f'title = "Bench"\npurpose = "for a test"\nexpects = "what the test says"\n'
        f'plant = "{LIBRARY}/plants/harrow_ness.toml"\ncontroller = "scheduled_pi"\n'
        f'settings = "{LIBRARY}/sheets/demo_scheduled_pi.toml"\nduration = "{duration}"\nseed = 4\n'
        f'[start]\nmachine = "running"\nsuction_pressure = "-9 °C sat"\nload = "380 kW"\n{events}',
        encoding="utf-8",
    )
    return path


@pytest.fixture
def session_folder(tmp_path: Path) -> Path:
    """A new session's folder."""
    folder = tmp_path / "session"
    open_folder(folder, prepare([scenario_file(tmp_path)])[0], open_ended=False)
    return folder


@pytest.fixture
def bench(session_folder: Path) -> Bench:
    """A bench that stands at its start."""
    return Bench(session_folder)


@pytest.fixture
def bench_with(tmp_path: Path) -> Callable[..., Bench]:
    """A bench from a scenario with events of its own."""

    def make(events: str, duration: str = "24 h") -> Bench:
        folder = tmp_path / "session"
        open_folder(folder, prepare([scenario_file(tmp_path, events, duration)])[0], open_ended=False)
        return Bench(folder)

    return make
