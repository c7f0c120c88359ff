"""A scenario to open a session on, a server with its engine in a thread, and a page's line to it."""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from pathlib import Path
from typing import Any

from tornado.httpclient import HTTPRequest
from tornado.websocket import websocket_connect

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


class Page:
    """A page's line, without a page."""

    def __init__(self, connection: Any) -> None:
        self.connection, self.ticket, self.me = connection, 0, 0

    async def hear(self, kind: str, within_s: float = 15.0) -> dict[str, Any]:
        """The next message of a kind."""
        end_s = time.monotonic() + within_s
        while True:
            raw = await asyncio.wait_for(self.connection.read_message(), max(0.01, end_s - time.monotonic()))
            if raw is None:
                raise EOFError("the line was closed")
            message = json.loads(raw)
            if message["kind"] == "hello":
                self.me = message["you"]
            if message["kind"] == kind:
                return dict(message)

    async def do(self, do: str, **more: Any) -> dict[str, Any]:
        """Ask for something; its answer."""
        self.ticket += 1
        await self.connection.write_message(json.dumps({"do": do, "ticket": self.ticket, **more}))
        while True:
            answer = await self.hear("reply")
            if answer["ticket"] == self.ticket:
                return answer

    async def raw(self, text: str | bytes) -> dict[str, Any]:
        """Say anything; the answer."""
        await self.connection.write_message(text, binary=isinstance(text, bytes))
        return await self.hear("reply")


async def page_of(server: LiveServer, origin: str | None = None, query: str = "", host: str | None = None) -> Page:
    headers = {"Origin": origin or f"http://127.0.0.1:{server.port}"}
    if host:
        headers["Host"] = host
    request = HTTPRequest(f"ws://127.0.0.1:{server.port}/live{query}", headers=headers)
    page = Page(await websocket_connect(request))
    await page.hear("hello")
    return page


def play(work: Callable[[], Coroutine[Any, Any, Any]]) -> Any:
    return asyncio.run(work())
