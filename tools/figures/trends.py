"""Trends on one time axis, as `trends.js` draws them: what stands in them, and the data of a page in one packed block.

Colours are names of the pages' style (`--capacity`, `--run-2`, …), so that a page may be light or dark; whatever a colour
says, a dash, a mark or a word says too.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from tools.figures.columns import Columns, Floats


@dataclass(frozen=True, slots=True)
class Curve:
    """A column over time.  `step`: held from one row to the next."""

    column: int
    label: str
    unit: str
    colour: str
    dash: str = "solid"  # solid, dashed, dotted, dotdash
    width: float = 1.6
    digits: int = 1
    step: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """The space between two columns."""

    low: int
    high: int
    label: str
    colour: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A level; one outside the picture is told at its edge."""

    value: float
    label: str
    colour: str
    dash: str = "dashed"


@dataclass(frozen=True, slots=True)
class Lane:
    """Stretches or moments on a line of their own: spans (from, to) in ms, or moments with words."""

    label: str
    spans: list[tuple[int, int]] = field(default_factory=list)
    moments: list[tuple[int, str]] = field(default_factory=list)
    colour: str = "--plain"
    faint: bool = False


@dataclass(slots=True)
class Trend:
    """One picture.  `told`: what it shows, in words, for whoever does not see it."""

    name: str
    title: str
    caption: str
    unit: str = ""
    height: int = 190
    span: tuple[float, float] | None = None  # of the axis; None follows what is in view
    curves: list[Curve] = field(default_factory=list)
    bands: list[Band] = field(default_factory=list)
    limits: list[Limit] = field(default_factory=list)
    lanes: list[Lane] = field(default_factory=list)
    shaded: list[tuple[int, int]] = field(default_factory=list)
    told: str = ""

    @property
    def words(self) -> str:
        """The picture's name for a screen reader; values at the cursor stand in its legend."""
        parts = [f"{self.title}: {self.caption}", self.told]
        if self.limits:
            parts.append("Limits: " + "; ".join(one.label for one in self.limits if one.label) + ".")
        return " ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Mark:
    """A vertical line through all pictures."""

    time_ms: int
    text: str
    kind: str  # disturbance, operator, trip


@dataclass(slots=True)
class TrendSheet:
    """Trends that share a time axis and a cursor.  `name` keeps several of a page apart."""

    name: str
    start_ms: float
    end_ms: float
    columns: Columns = field(default_factory=Columns)
    trends: list[Trend] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    states: list[dict[str, Any]] = field(default_factory=list)  # of each run: name, and lanes of (from, word)
    clock: str = "since"  # "since" the start, or "wall"
    view: tuple[float, float] | None = None  # at first; None is all of it
    cursor: dict[str, Any] | None = None  # for cursor_figures.js

    def axis(self, time_ms: Floats) -> int:
        """A time axis of this sheet."""
        return self.columns.time_axis(time_ms)

    def add(self, name: str, title: str, caption: str, **more: Any) -> Trend:
        """A new trend at the end."""
        self.trends.append(Trend(name, title, caption, **more))
        return self.trends[-1]

    @property
    def bundled(self) -> int:
        """Rows that became two, at most; 1 where all rows are in the page."""
        return max((axis["bundled"] for axis in self.columns.times), default=1)

    @property
    def spec(self) -> str:
        """All but the columns, as JSON that may stand in a script element."""
        data = {
            "start": self.start_ms, "end": max(self.end_ms, self.start_ms + 1.0), "clock": self.clock,
            "view": self.view,
            "trends": [_plain(trend) for trend in self.trends], "marks": [asdict(mark) for mark in self.marks],
            "states": self.states, "cursor": self.cursor, **self.columns.as_data(),
        }  # fmt: skip
        text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        return text.replace("<", "\\u003c")

    @property
    def packed(self) -> str:
        """The columns."""
        return self.columns.packed()


def _plain(trend: Trend) -> dict[str, Any]:
    data = asdict(trend)
    for key in ("title", "caption", "told", "height"):
        del data[key]
    for lane in data["lanes"]:
        lane["spans"] = [t for span in lane["spans"] for t in span]
    data["shaded"] = [t for span in data["shaded"] for t in span]
    return data


def runs_of(values: Any, time_ms: Any, words: Sequence[str] | dict[int, str]) -> list[tuple[int, str]]:
    """Where a column of states changes: (time, word) from the first row on; a number without a word is told as such.

    >>> import numpy as np
    >>> runs_of(np.array([0.0, 0.0, 2.0]), np.array([0.0, 100.0, 200.0]), {0: "rest", 2: "runs"})
    [(0, 'rest'), (200, 'runs')]
    """
    import numpy as np

    known = dict(words) if isinstance(words, dict) else dict(enumerate(words))
    at = [0, *(np.flatnonzero(np.diff(values)) + 1).tolist()]
    return [(int(time_ms[k]), known.get(int(values[k]), f"unknown {int(values[k])}")) for k in at]
