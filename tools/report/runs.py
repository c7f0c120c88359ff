"""What a report is made of, and the colours that mean the same thing in every picture."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from scenarios.limits import Limits
from scenarios.scoring import Scores
from scenarios.trace import Trace

# A slide keeps its colour wherever it appears; a run has a colour only where several runs share a picture.
CAPACITY_COLOUR = "#1f5fa8"
VOLUME_RATIO_COLOUR = "#c8690a"
# Chosen so that any two stay apart in every kind of colour blindness (tests/tools/report/test_comparison.py).
RUN_COLOURS = ("#9a7fc4", "#0b5c52", "#401070", "#704010", "#3fa673", "#c9731d")
RUN_DASHES = ("solid", "solid", "dashed", "dashed", "dotted", "dotdash")
LIMIT_COLOUR = "#a3201d"
SET_POINT_COLOUR = "#3c444d"
BAND_COLOUR = "#7d8894"
LOAD_COLOUR = "#3c444d"


@dataclass(frozen=True, slots=True)
class ReportRun:
    """A run to report.  `facts` are shown as they are; `refrigerant` (property record) draws the ± 1 K band."""

    name: str
    trace: Trace
    scores: Scores
    limits: Limits | None
    facts: dict[str, str] = field(default_factory=dict)
    failure: str | None = None
    refrigerant: Any = None


def run_colour(k: int) -> str:
    """Colour of run k in a picture that several share."""
    return RUN_COLOURS[k % len(RUN_COLOURS)]


def dash_of(k: int) -> str:
    """Dash of run k in a picture where each run has one curve: a second sign beside its colour."""
    return RUN_DASHES[k % len(RUN_DASHES)]
