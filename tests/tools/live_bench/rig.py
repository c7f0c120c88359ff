"""A scenario to open a session on, and a server with its engine in a thread."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from pathlib import Path

from scenarios.preparation import prepare
from tools.live_bench.server import LiveServer
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


def new_folder(folder: Path, events: str = "", duration: str = "24 h") -> Path:
    """The folder of a new session, under `folder`."""
    made = folder / "session"
    open_folder(made, prepare([scenario_file(folder, events, duration)])[0], open_ended=False)
    return made


@contextlib.contextmanager
def serving(folder: Path, port: int = 0, host: str = "127.0.0.1") -> Iterator[LiveServer]:
    """A server with its engine, in a thread with a loop of its own; ended at the end."""
    server = LiveServer(folder, host, port)
    loop = asyncio.new_event_loop()

    async def begin() -> None:
        server.start()

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        asyncio.run_coroutine_threadsafe(begin(), loop).result(600)
        yield server
    finally:
        loop.call_soon_threadsafe(server.stop)
        server.engine.wait_ended()
        loop.call_soon_threadsafe(loop.stop)
        thread.join(60)
