"""Who answers a request: the page, its scripts, three files of the session, and a viewer's WebSocket."""

from __future__ import annotations

import asyncio
import time
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import tornado.web
import tornado.websocket

from tools.live_bench.hub import MOST_VIEWERS, Viewer, told

if TYPE_CHECKING:
    from tools.live_bench.server import LiveServer

MESSAGES_A_SECOND = 40
DOWNLOADS = ("session.toml", "log.csv", "events.csv")
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class _Handler(tornado.web.RequestHandler):
    """Base: our headers, nothing for strangers, and errors in one line."""

    def initialize(self, server: LiveServer) -> None:
        self.server = server

    def set_default_headers(self) -> None:
        for name, value in HEADERS.items():
            self.set_header(name, value)
        self.clear_header("Server")

    def prepare(self) -> None:
        if not self.server.allowed(self.request):
            raise tornado.web.HTTPError(403, reason="this bench answers on its loopback address only")

    def ask_token(self) -> None:
        """403 unless the token was presented."""
        if not self.server.token_fits(self.get_query_argument("token", "")):
            raise tornado.web.HTTPError(403, reason="open the address with its token as printed in the terminal")

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(f"{status_code}: {self._reason}\n")


class Page(_Handler):
    """The page."""

    def initialize(self, server: LiveServer, page: str) -> None:  # type: ignore[override]
        self.server, self.page = server, page

    def get(self) -> None:
        """The page."""
        self.ask_token()
        self.finish(self.page)


class Text(_Handler):
    """Scripts and style, all of them in memory since the start."""

    def initialize(self, server: LiveServer, texts: dict[str, tuple[str, str]]) -> None:  # type: ignore[override]
        self.server, self.texts = server, texts

    def get(self, name: str) -> None:
        """One of them."""
        if name not in self.texts:
            raise tornado.web.HTTPError(404)
        kind, text = self.texts[name]
        self.set_header("Content-Type", f"{kind}; charset=utf-8")
        self.finish(text)


class Download(_Handler):
    """Three files of the session's folder, by name."""

    def get(self, name: str) -> None:
        """One of them, as a file to keep."""
        self.ask_token()
        if name not in DOWNLOADS or not (self.server.folder / name).is_file():
            raise tornado.web.HTTPError(404, reason="no such file yet")
        self.set_header("Content-Type", "text/csv" if name.endswith(".csv") else "application/toml")
        self.set_header("Content-Disposition", f'attachment; filename="{name}"')
        self.finish((self.server.folder / name).read_bytes())


class Nothing(_Handler):
    """Whatever else is asked for is not there."""

    def prepare(self) -> None:
        super().prepare()
        raise tornado.web.HTTPError(404)


class Socket(tornado.websocket.WebSocketHandler):
    """A viewer's line.  One task sends, at the viewer's own speed."""

    def initialize(self, server: LiveServer) -> None:
        self.server = server
        self.viewer: Viewer | None = None
        self._woken = asyncio.Event()
        self._heard_at: list[float] = []

    def check_origin(self, origin: str) -> bool:
        """Only a page of this very server may speak to it."""
        return urlsplit(origin).netloc == self.request.host and urlsplit(origin).scheme in ("http", "https")

    def prepare(self) -> None:
        """Refused before the handshake: strangers, who has no token, and who finds no room."""
        if not self.server.allowed(self.request) or not self.server.token_fits(self.get_query_argument("token", "")):
            raise tornado.web.HTTPError(403)
        if len(self.server.hub.viewers) >= MOST_VIEWERS:
            raise tornado.web.HTTPError(503, reason=f"{MOST_VIEWERS} viewers are watching already")

    def open(self, *_args: str, **_kwargs: str) -> None:
        """A new viewer."""
        self.viewer = self.server.hub.join(self, self._woken.set)
        self.server.hub.tell(self.viewer.number, told("hello", you=self.viewer.number, facts=self.server.facts))
        if self.server.engine_gone:
            self.server.hub.tell(self.viewer.number, told("engine", alive=False, text=self.server.engine_gone))
        self._sender = asyncio.create_task(self._send(self.viewer))

    async def put(self, text: str) -> None:
        """Send; comes back when the text has left."""
        await self.write_message(text)

    async def _send(self, viewer: Viewer) -> None:
        while not viewer.gone:
            self._woken.clear()
            text = self.server.hub.next_for(viewer)
            if text is None:
                await self._woken.wait()
                continue
            try:
                await self.put(text)
            except (tornado.websocket.WebSocketClosedError, OSError):
                return
        self.close(1008, "too many answers were left unread")

    def on_message(self, message: str | bytes) -> None:
        """A viewer says something."""
        if self.viewer is None:
            return
        now_s = time.monotonic()
        self._heard_at = [at for at in self._heard_at if now_s - at < 1.0]
        if len(self._heard_at) >= MESSAGES_A_SECOND:
            text = f"not done: more than {MESSAGES_A_SECOND} messages a second"
            self.server.hub.tell(self.viewer.number, told("reply", ok=False, text=text, ticket=0))
            return
        self._heard_at.append(now_s)
        self.server.said(self.viewer, message)

    def on_close(self) -> None:
        """A viewer has gone."""
        if self.viewer is not None:
            self.server.hub.leave(self.viewer)
