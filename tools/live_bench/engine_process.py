"""The process in which a session runs: it plays by the clock, obeys commands, and puts what it has to tell into a pipe.

A command is (ticket, do, payload); what is told is (kind, ticket, JSON text).  Whoever reads the pipe decides who sees
it; nobody who is slow to look can hold up the engine, because the server always reads.  When the pipe closes, it ends.
"""

from __future__ import annotations

import json
import os
import signal
import time
import traceback
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

TICK_S = 0.1
SCORE_S, SCORE_SHARE = 2.0, 20.0  # a score every so often, and never more than a twentieth of the time for it
SAVE_S = 10.0


def play_session(pipe: Connection, folder: str) -> None:
    """Run until the pipe closes.  The first thing told is "ready" with the session's facts, or "failed".

    An error that nobody foresaw is the last thing told, as "gone" with its words.
    """
    from scenarios.child import leave_with_parent
    from scenarios.errors import TwoslideError
    from tools.live_bench.bench import Bench

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which then closes the pipe
    leave_with_parent()  # a plug-in that never comes back would outlive a killed server
    os.dup2(2, 1)  # what a plug-in prints must not mix with our own output
    try:
        bench = Bench(Path(folder))
    except (TwoslideError, OSError) as error:
        pipe.send(("failed", 0, str(error)))
        return
    try:
        _Loop(pipe, bench).run()
    except (EOFError, BrokenPipeError, ConnectionResetError):
        bench.save()
    except Exception as error:
        traceback.print_exc()
        pipe.send(("gone", 0, f"an error in twoslide itself, told in the terminal: {type(error).__name__}: {error}"))


class _Loop:
    """The pipe, the bench, and when what is due next."""

    def __init__(self, pipe: Connection, bench: Any) -> None:
        self.pipe, self.bench = pipe, bench
        self.number = 0  # of the last frame
        self.score_at_s = self.save_at_s = 0.0
        self.unscored = True

    def tell(self, kind: str, data: dict[str, Any], ticket: int = 0) -> None:
        """Put something into the pipe."""
        text = json.dumps({"kind": kind, **data}, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        self.pipe.send((kind, ticket, text))

    def frame(self, data: dict[str, Any]) -> None:
        """A frame, with its number: whoever misses one can see it."""
        self.number += 1
        self.tell("frame", {"n": self.number, **data})

    def run(self) -> None:
        """Play and obey; ends with EOFError when nobody is at the other end any more."""
        self.tell("ready", self.bench.facts())
        next_s = time.monotonic()
        while True:
            next_s = max(next_s + TICK_S, time.monotonic() - TICK_S)
            while self.pipe.poll(max(0.0, next_s - time.monotonic())):
                self.obey(*self.pipe.recv())
            now_s = time.monotonic()
            frame = self.bench.tick(now_s)
            if frame:
                self.frame(frame)
                self.unscored = True
            self.look_after(now_s)

    def look_after(self, now_s: float) -> None:
        """Score, and what is written to disk now and then."""
        if self.unscored and now_s >= self.score_at_s:
            self.tell("score", {"scores": self.bench.scores()})
            cost_s = time.monotonic() - now_s
            self.score_at_s = now_s + max(SCORE_S, SCORE_SHARE * cost_s)
            self.unscored = False
        if not self.bench.running:
            return
        if now_s >= self.save_at_s:
            self.bench.save()
            self.save_at_s = now_s + SAVE_S
        else:
            self.bench.note_time()

    def obey(self, ticket: int, do: str, data: dict[str, Any]) -> None:
        """One command; whatever is wrong with it is told, and the session goes on."""
        from scenarios.errors import InputRefused, TwoslideError

        if do == "end":
            raise EOFError
        if do == "history":
            self.tell("history", {"n": self.number, **self.bench.history()}, ticket)
            return
        try:
            text = self.done(do, data)
        except InputRefused as error:
            words = ["; ".join(part for part in (p.message, p.limit, p.way_out) if part) for p in error.problems]
            self.tell("reply", {"ok": False, "text": " · ".join(words)}, ticket)
        except (TwoslideError, OSError) as error:
            self.tell("reply", {"ok": False, "text": str(error)}, ticket)
        else:
            self.tell("reply", {"ok": True, "text": text}, ticket)

    def done(self, do: str, data: dict[str, Any]) -> str:
        """Do it; what to say about it."""
        bench, now_s = self.bench, time.monotonic()
        text = ""
        if do == "run":
            bench.run(now_s)
        elif do == "pause":
            bench.pause()
        elif do == "scan":
            self.frame(bench.scan() or bench.standing())
            self.unscored = True
            return f"scan at {bench.time_ms / 1000.0 - 0.1:.1f} s"
        elif do == "speed":
            bench.set_speed(data["factor"], now_s)
        elif do == "mark":
            bench.mark(data["name"])
            self.tell("moments", {"moments": bench.moments()})
            text = f"kept: {data['name']}"
        elif do == "back":
            bench.back(data["moment"])
            self.unscored = True
            self.tell("rewound", {"n": self.number, **bench.history()})
            text = f"back at {bench.time_ms / 1000.0:.1f} s"
        elif do == "act":
            text = bench.act([data["event"]])
        elif do == "settings":
            text = bench.act([{"kind": "settings_change", **change} for change in data["changes"]])
            self.tell("settings", {"settings": bench.settings()})
        elif do == "keep":
            return str(bench.kept())
        elif do == "export":
            return str(bench.export())
        self.frame(bench.standing())
        return text
