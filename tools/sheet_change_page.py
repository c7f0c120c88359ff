"""The change from one settings sheet to another as one HTML page and as CSV."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from scenarios.errors import InputRefused, Problem
from scenarios.settings_sheet import write_whole
from tools.charts import CAUTION, RUN_COLOURS, Key, bare_plot, write_page
from tools.csv_text import csv_text
from tools.sheet_change import MS_SPREAD_LIMIT, SheetChange, ms_text, rows_of
from tools.tuning.known_directions import expected, protects
from tools.tuning.sheet_effects import LoopChange

HEADS = ("setting", "unit", "low", "high", "from", "to", "what it is for", "expected", "protects the machine")
OWN = {"diff.html", "changes.csv", "comparison"}


def check_place(folder: Path) -> None:
    """InputRefused for a folder that holds anything but what this command writes."""
    if folder.exists() and not folder.is_dir():
        raise InputRefused(Problem(f"--out {folder} is a file", value=str(folder), way_out="name a folder"))
    others = (
        sorted(p.name for p in folder.iterdir() if p.name not in OWN and p.name[0] != ".") if folder.is_dir() else []
    )
    if others:
        text = f"--out {folder} holds other files ({others[0]})"
        raise InputRefused(Problem(text, value=str(folder), way_out="name a new folder"))


def write_changes(folder: Path, change: SheetChange) -> None:
    """Write diff.html and changes.csv, and the comparison of the runs where there are any.  OSError, StorageFailed."""
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / "changes.csv", changes_csv(change))
    if change.matches:
        from tools.report.comparison import write_comparison

        write_comparison(folder / "comparison" / "report.html", list(change.matches), [])
    plots: dict[str, Any] = {"loop": loop_plot(change.loop)} if change.loop else {}
    write_page(
        folder / "diff.html",
        Path(__file__).with_name("sheet_change_page.html"),
        plots,
        caution=CAUTION,
        change=change,
        rows=rows_of(change),
        loop_rows=[_loop_row(c) for c in change.loop],
        loop_keys=[Key("from", RUN_COLOURS[0], "mark"), Key("to", RUN_COLOURS[1], "mark")],
        told=_told(change.loop),
        verdicts=_verdicts(change),
    )


def changes_csv(change: SheetChange) -> str:
    """The changed settings, one line each."""
    rows = [
        (d.key, d.unit, d.low, d.high, d.before, d.after, d.why, expected(d), "yes" if protects(d.key) else "no")
        for d in change.differences
    ]
    return csv_text(HEADS, rows)


def _point(c: LoopChange) -> str:
    return f"{100.0 * c.capacity_travel_frac:.0f} %, PR {c.pressure_ratio:.2g}, {c.direction}"


def _loop_row(c: LoopChange) -> list[str]:
    return [
        _point(c), ms_text(c.before.ms), ms_text(c.after.ms), ms_text(c.before.ms_spread), ms_text(c.after.ms_spread),
        f"{c.before.gain_margin:.2f}", f"{c.after.gain_margin:.2f}",
    ]  # fmt: skip


def _told(loop: tuple[LoopChange, ...]) -> str:
    """The picture in words."""
    return "; ".join(f"{_point(c)}: {ms_text(c.before.ms_spread)} to {ms_text(c.after.ms_spread)}" for c in loop)


def _verdicts(change: SheetChange) -> list[tuple[str, list[str]]]:
    from scenarios.score_differences import verdicts_of

    return [(m.title, [str(v) for _, found in verdicts_of(m) for v in found]) for m in change.matches]


def loop_plot(loop: tuple[LoopChange, ...]) -> Any:
    """Ms with the spread at each point: a mark for each sheet and a line between them; an unstable one at the edge."""
    from bokeh.models import FactorRange
    from bokeh.models.annotations import Span

    finite = [v for c in loop for v in (c.before.ms_spread, c.after.ms_spread) if math.isfinite(v)]
    edge = max([*finite, MS_SPREAD_LIMIT]) * 1.1
    names = [_point(c) for c in loop]
    plot = bare_plot(
        "Ms with the spread (unstable: at the edge)", "", 90 + 24 * len(names), y_range=FactorRange(factors=names[::-1]),
        x_range=(1.0, edge * 1.02),
    )  # fmt: skip
    before, after = ([min(getattr(c, side).ms_spread, edge) for c in loop] for side in ("before", "after"))
    plot.segment(x0=before, x1=after, y0=names, y1=names, line_color="#9aa1a9", line_width=3)
    plot.scatter(x=before, y=names, size=11, marker="circle", color=RUN_COLOURS[0])
    plot.scatter(x=after, y=names, size=16, marker="diamond", color=RUN_COLOURS[1])
    plot.add_layout(Span(location=MS_SPREAD_LIMIT, dimension="height", line_color="#a3201d", line_dash="dashed"))
    return plot
