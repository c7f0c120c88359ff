"""Who watches, who holds control, and what each has still to be told.

What everybody is told stands once in a ring; each viewer has a place in it and is served at his own speed.  Who falls
so far behind that the ring has gone round is told the whole state anew.  Nobody waits for anybody.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

RING = 600  # what everybody is told in a minute at ten a second
WAITING = 200  # answers that one viewer may have outstanding before he is let go
MOST_VIEWERS = 24


class Line(Protocol):
    """A viewer's connection."""

    async def put(self, text: str) -> None:
        """Send; comes back when the text has left.  Raises OSError or its like when there is nobody."""


@dataclass(eq=False)
class Viewer:
    """One who watches."""

    number: int
    line: Line
    seen: int = 0  # of the ring
    own: deque[str] = field(default_factory=deque)
    waits_for_history: bool = True
    gone: bool = False
    wake: Callable[[], None] = lambda: None


def told(kind: str, **data: Any) -> str:
    """A message of the server's own."""
    return json.dumps({"kind": kind, **data}, ensure_ascii=False)


class Hub:
    """The viewers of one session."""

    def __init__(self, ask_history: Callable[[int], None]) -> None:
        self.viewers: dict[int, Viewer] = {}
        self.holder = 0
        self.count = 0  # of everything that was told to everybody
        self.ring: deque[str] = deque(maxlen=RING)
        self._ask_history = ask_history
        self._next = 1

    def join(self, line: Line, wake: Callable[[], None]) -> Viewer:
        """A new viewer; he holds control if nobody does."""
        viewer = Viewer(self._next, line, wake=wake)
        self._next += 1
        self.viewers[viewer.number] = viewer
        if not self.holder:
            self.holder = viewer.number
        self._ask_history(viewer.number)
        self.tell_control()
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """A viewer has gone; control that he held is free."""
        viewer.gone = True
        self.viewers.pop(viewer.number, None)
        if self.holder == viewer.number:
            self.holder = 0
        self.tell_control()
        viewer.wake()

    def hand_over(self, to: int) -> str:
        """Give control to a viewer, or to nobody (0); what is wrong with that, "" for nothing."""
        if to and to not in self.viewers:
            return f"there is no viewer {to}; watching: {', '.join(map(str, sorted(self.viewers)))}"
        self.holder = to
        self.tell_control()
        return ""

    def tell_control(self, asking: int = 0) -> None:
        """Tell everybody who watches and who holds control."""
        self.tell_all(told("control", holder=self.holder, viewers=sorted(self.viewers), asking=asking))

    def tell_all(self, text: str) -> None:
        """Something for everybody."""
        self.ring.append(text)
        self.count += 1
        for viewer in self.viewers.values():
            viewer.wake()

    def tell(self, number: int, text: str) -> None:
        """Something for one viewer; who leaves too many answers unread is let go."""
        viewer = self.viewers.get(number)
        if viewer is None:
            return
        viewer.own.append(text)
        if len(viewer.own) > WAITING:
            viewer.gone = True
        viewer.wake()

    def history(self, number: int, text: str) -> None:
        """The whole state for one viewer, as of now: what was told before is in it."""
        viewer = self.viewers.get(number)
        if viewer is None:
            return
        viewer.waits_for_history = False
        viewer.seen = self.count
        self.tell(number, text)
        self.tell(number, told("control", holder=self.holder, viewers=sorted(self.viewers), asking=0))

    def next_for(self, viewer: Viewer) -> str | None:
        """What to tell a viewer next; None where there is nothing."""
        if viewer.own:
            return viewer.own.popleft()
        if viewer.waits_for_history or viewer.seen == self.count:
            return None
        behind = self.count - viewer.seen
        if behind > len(self.ring):
            viewer.waits_for_history = True
            self._ask_history(viewer.number)
            return told("gap", missed=behind)
        viewer.seen += 1
        return self.ring[-behind]
