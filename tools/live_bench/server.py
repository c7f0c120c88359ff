"""The local server: one page, its scripts, three files of the session's folder, and the WebSocket.

Safe by default: it listens on the loopback address and answers only requests that name it by a loopback name, so that
no page of another site can reach it under a name of its own.  On another address a token is asked for instead.  A
WebSocket from a page of another origin is refused.  Nothing that a page sends names a file.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import jinja2
import tornado.httpserver
import tornado.netutil
import tornado.web

from scenarios.errors import InputRefused, Problem
from tools.live_bench.engine_link import EngineLink
from tools.live_bench.forms import FORMS, GROUPS
from tools.live_bench.frames import COLUMNS_SHOWN
from tools.live_bench.handlers import Download, Nothing, Page, Socket, Text
from tools.live_bench.hub import Hub, Viewer, told
from tools.live_bench.messages import (
    FOR_EVERYBODY,
    SPEEDS,
    Ask,
    HandOver,
    MessageRefused,
    Take,
    read_message,
)
from tools.live_bench.trends import TRENDS, trend_parts
from tools.output import say

LOOPBACK = ("127.0.0.1", "localhost", "::1")
LARGEST_EVER_BYTES = 1_000_000  # beyond the limit of messages.py a page is told so; beyond this it is cut off


class LiveServer:
    """A session's server.  `host` other than a loopback address makes a token; `port` 0 takes any free one."""

    def __init__(self, folder: Path, host: str = "127.0.0.1", port: int = 0) -> None:
        self.folder, self.host, self.port = folder, host, port
        self._sockets = self._bound()  # before the engine is started, which takes a second
        self.token = "" if host in LOOPBACK else secrets.token_urlsafe(24)
        self.engine = EngineLink(folder)
        self.facts = json.loads(self.engine.wait_ready())
        self.hub = Hub(self._ask_history)
        self.engine_gone = ""  # why, or only that
        self.failure = ""  # what a plug-in, or we, did to the engine
        self.score = told("score", scores=[])  # the last, for who comes later
        self._waiting: dict[int, tuple[int, int]] = {}  # our ticket: viewer, his ticket
        self._ticket = 0
        self._http: tornado.httpserver.HTTPServer | None = None

    def _bound(self) -> list[Any]:
        try:
            sockets = tornado.netutil.bind_sockets(self.port, self.host)
        except OSError as error:
            problem = Problem(
                f"cannot listen on {self.host}:{self.port} ({error.strerror})",
                value=str(self.port),
                way_out="is another bench running? write --port 0 for any free port",
            )
            raise InputRefused(problem) from error
        self.port = sockets[0].getsockname()[1]
        return sockets

    @property
    def address(self) -> str:
        """What to open in a browser."""
        end = f"?token={self.token}" if self.token else ""
        host = f"[{self.host}]" if ":" in self.host and not self.host.startswith("[") else self.host
        return f"http://{host}:{self.port}/{end}"

    def start(self) -> None:
        """Listen; call it in a running event loop."""
        loop = asyncio.get_running_loop()

        def heard(kind: str, ticket: int, text: str) -> None:
            with contextlib.suppress(RuntimeError):  # the loop has ended, and nobody watches any more
                loop.call_soon_threadsafe(self.heard, kind, ticket, text)

        self.engine.listen(heard)
        self._http = tornado.httpserver.HTTPServer(self._application(), max_body_size=1000, max_header_size=16_000)
        self._http.add_sockets(self._sockets)

    def stop(self) -> None:
        """Let every viewer go and end the engine, which saves."""
        if self._http:
            self._http.stop()
        for viewer in list(self.hub.viewers.values()):
            viewer.line.close(1001, "the bench was closed")  # type: ignore[attr-defined]
        self.engine.end()

    def _application(self) -> tornado.web.Application:
        script, places = trend_parts()
        template = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
        here = files("tools.live_bench")
        page = template.from_string(here.joinpath("page.html").read_text("utf-8")).render(
            facts=self.facts, forms=FORMS, groups=GROUPS, speeds=SPEEDS, places=places, trends=TRENDS,
            columns_data=[one._asdict() for one in COLUMNS_SHOWN],
        )  # fmt: skip
        plots = files("bokeh").joinpath("server", "static", "js", "bokeh.min.js")
        texts = {
            "bench.css": ("text/css", here.joinpath("bench.css").read_text("utf-8")),
            "bench.js": ("text/javascript", here.joinpath("bench.js").read_text("utf-8")),
            "doing.js": ("text/javascript", here.joinpath("doing.js").read_text("utf-8")),
            "figures.css": ("text/css", files("tools.figures").joinpath("figures.css").read_text("utf-8")),
            "figures.js": ("text/javascript", files("tools.figures").joinpath("figures.js").read_text("utf-8")),
            "trends.js": ("text/javascript", script),
            "plots.js": ("text/javascript", plots.read_text("utf-8")),
        }
        known = {"server": self}
        return tornado.web.Application(
            [
                (r"/", Page, {**known, "page": page}),
                (r"/live", Socket, known),
                (r"/file/([a-z.]{1,20})", Download, known),
                (r"/([a-z]+\.(?:css|js))", Text, {**known, "texts": texts}),
                (r"/.*", Nothing, known),
            ],
            compress_response=True,
            websocket_max_message_size=LARGEST_EVER_BYTES,
            websocket_ping_interval=10,
            log_function=lambda handler: None,
        )

    def allowed(self, request: Any) -> bool:
        """Whether a request names this server as it may be named, or presents the token."""
        if self.token:
            return True  # each handler that shows anything asks for it
        return (urlsplit(f"//{request.host}").hostname or "") in LOOPBACK

    def token_fits(self, given: str) -> bool:
        """Whether the token, where there is one, was presented."""
        return not self.token or hmac.compare_digest(given.encode(), self.token.encode())

    # What comes from the engine.

    def _ask_history(self, number: int) -> None:
        self._ticket += 1
        self._waiting[self._ticket] = (number, 0)
        self.engine.send(self._ticket, "history", {})

    def heard(self, kind: str, ticket: int, text: str) -> None:
        """Something from the engine: an answer to one, or news for all."""
        if kind == "gone":
            self.engine_gone = text or "the engine of this session has ended"
            self.hub.tell_all(told("engine", alive=False, text=self.engine_gone))
            if text:
                self.failure = text
                say(text)
        elif not ticket:
            self.hub.tell_all(text)
            if kind == "score":
                self.score = text
        else:
            number, his = self._waiting.pop(ticket, (0, 0))
            if kind == "history":
                self.hub.history(number, text)
                self.hub.tell(number, self.score)
            else:
                self.hub.tell(number, json.dumps({**json.loads(text), "ticket": his}, ensure_ascii=False))

    # What comes from a page.

    def said(self, viewer: Viewer, raw: str | bytes) -> None:
        """A message of a viewer: it is obeyed, or answered with what is wrong."""
        try:
            message = read_message(raw)
        except MessageRefused as error:
            self.hub.tell(viewer.number, told("reply", ok=False, text=str(error), ticket=0))
            return
        refused = self._refusal(viewer, message)
        if refused is not None:
            self.hub.tell(viewer.number, told("reply", ok=not refused, text=refused, ticket=message.ticket))
            return
        self._ticket += 1
        self._waiting[self._ticket] = (viewer.number, message.ticket)
        data = message.model_dump(exclude={"do", "ticket"})
        if not self.engine.send(self._ticket, message.do, data):
            self._waiting.pop(self._ticket, None)
            self.hub.tell(viewer.number, told("engine", alive=False, text=self.engine_gone))

    def _refusal(self, viewer: Viewer, message: Any) -> str | None:
        """What this server answers by itself: a refusal, "" for done; None for what the engine is to do."""
        hub = self.hub
        if not isinstance(message, FOR_EVERYBODY) and hub.holder != viewer.number:
            who = f"viewer {hub.holder} holds control" if hub.holder else "nobody holds control: take it first"
            return f"not done, because {who}"
        if isinstance(message, Take):
            if hub.holder and hub.holder != viewer.number:
                return f"viewer {hub.holder} holds control; ask for it"
            return hub.hand_over(viewer.number)
        if isinstance(message, Ask):
            hub.tell_control(asking=viewer.number)
            return ""
        if isinstance(message, HandOver):
            return hub.hand_over(message.to)
        return None
