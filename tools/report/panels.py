"""What the trends of a report are built with: runs over each other on one time axis."""

from __future__ import annotations

from typing import Any

import numpy as np

from controller.process_image import Inhibit, Mode, Trip
from tools.figures.trends import Band, Curve, Lane, Limit, Mark, Trend, TrendSheet, runs_of
from tools.report.runs import ReportRun, dash_of
from tools.report.thinning import join_spans

MARKS_AT_MOST = 400
PLAIN, QUIET, BAND, SET_POINT = "--plain", "--quiet", "--band", "--set-point"
CAPACITY, RATIO, LIMIT = "--capacity", "--ratio", "--limit"

__all__ = [
    "BAND", "CAPACITY", "LIMIT", "PLAIN", "QUIET", "RATIO", "SET_POINT", "Band", "Lane", "Limit", "RunSheet", "Trend"
]  # fmt: skip


def ink_of(k: int) -> str:
    """Colour of run k in a trend that several share."""
    return f"--run-{k % 6}"


def words_of(kind: Any) -> dict[int, str]:
    """Words of an enumeration; nothing for its zero."""
    return {int(m): "" if m.name == "NONE" else m.name.replace("_", " ").lower() for m in kind}


class RunSheet:
    """A sheet of trends of one run or several."""

    def __init__(self, runs: list[ReportRun], name: str = "run") -> None:
        self.runs = runs
        start = min(float(run.trace["time_ms"][0]) for run in runs)
        end = max(float(run.trace["time_ms"][-1]) for run in runs)
        self.sheet = TrendSheet(name, start, end)
        self.axes = [self.sheet.axis(run.trace["time_ms"]) for run in runs]
        self.alone = len(runs) == 1

    def add(self, name: str, title: str, caption: str, unit: str = "", **more: Any) -> Trend:
        """A trend; of several sheets on a page the name must differ within one."""
        return self.sheet.add(name, title, caption, unit=unit, **more)

    def curve(self, trend: Trend, k: int, data: Any, label: str, colour: str, dash: str = "solid", **more: Any) -> None:
        """A curve of run k, in the trend's unit; `more` is as in `Curve`."""
        unit = more.pop("unit", trend.unit.removesuffix(" abs"))
        column = self.sheet.columns.column(self.axes[k], data)
        trend.curves.append(Curve(column, label, unit, colour, dash, **more))

    def each(self, trend: Trend, name: str, scale: Any, label: str, dash: str = "solid", **more: Any) -> None:
        """A column of every run: alone in the plain colour, else each in its own."""
        for k, run in enumerate(self.runs):
            said = label if self.alone else f"{label}, {run.name}" if label else run.name
            style = dash if self.alone or dash != "solid" else dash_of(k)
            self.curve(trend, k, scale(run.trace[name]), said, PLAIN if self.alone else ink_of(k), style, **more)

    def band(self, trend: Trend, k: int, low: Any, high: Any, label: str) -> None:
        """The space between two curves of run k."""
        column = self.sheet.columns.column
        trend.bands.append(Band(column(self.axes[k], low), column(self.axes[k], high), label, BAND))

    def limit(self, trend: Trend, value: float | None, label: str, dash: str = "dashed", colour: str = LIMIT) -> None:
        """A level; nothing for a limit that the controller does not tell."""
        if value is not None and np.isfinite(value):
            trend.limits.append(Limit(round(float(value), 4), label, colour, dash))

    def lane(self, trend: Trend, label: str, spans: list[tuple[int, int]], colour: str, faint: bool = False) -> None:
        """Stretches on a line of their own."""
        trend.lanes.append(Lane(label, join_spans(spans), [], colour, faint))

    def note_marks(self) -> None:
        """Vertical lines of disturbances and operators (of the first run: all have them) and of every run's trips."""
        found = [
            Mark(e.time_ms, e.text or e.source.replace("_", " "), e.kind)
            for e in self.runs[0].trace.events
            if e.kind in ("disturbance", "operator", "instrument")
        ]
        for run in self.runs:
            who = "" if self.alone else f", {run.name}"
            found += [
                Mark(e.time_ms, f"trip: {e.text.rsplit('→ ', 1)[-1].replace('_', ' ').lower()}{who}", "trip")
                for e in run.trace.events
                if e.source == "trip_first_out" and not e.text.endswith("→ NONE")
            ]
        trips = [mark for mark in found if mark.kind == "trip"][:MARKS_AT_MOST]
        others = [mark for mark in found if mark.kind != "trip"][: MARKS_AT_MOST - len(trips)]
        self.sheet.marks = sorted([*trips, *others], key=lambda mark: mark.time_ms)

    def note_states(self) -> None:
        """Mode, inhibit and trip of each run, told beside the cursor's time."""
        for run in self.runs:
            times = run.trace["time_ms"]
            lanes = [
                {"label": label, "runs": runs_of(run.trace[column], times, words_of(kind))}
                for label, column, kind in (
                    ("", "mode", Mode), ("held back:", "inhibit", Inhibit), ("tripped:", "trip_first_out", Trip)
                )
            ]  # fmt: skip
            self.sheet.states.append({"name": run.name, "lanes": lanes})
