"""What a report is made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from scenarios.limits import Limits
from scenarios.scoring import Scores
from scenarios.trace import Trace
from tools.charts import RUN_COLOURS, RUN_DASHES


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
