"""From compared runs to one HTML file: runs over each other on one time axis, and every difference as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from bokeh.models import ColumnDataSource, FactorRange, HoverTool, Range1d
from bokeh.models.annotations import Span
from bokeh.plotting import figure

from scenarios.finished_runs import Match
from scenarios.group_verdicts import BETTER, EQUAL, VERDICTS, WORSE
from scenarios.score_differences import RULE, Line, counts, lines_of, verdicts_of
from scenarios.trace import Trace
from tools.charts import CAUTION, INK, PAPER, Key, Picture, write_page
from tools.figures.trends import Trend, TrendSheet
from tools.names import short_name
from tools.report.panels import SET_POINT, RunSheet, ink_of
from tools.report.runs import ReportRun, dash_of, run_colour

SHOWN_UNITS = 10.0  # a difference beyond this many tolerances is drawn at the edge; its figure stands beside it
MARKERS = ("circle", "square", "triangle", "diamond", "inverted_triangle", "hex")
PICTURES: tuple[tuple[str, str, str, str, str, float], ...] = (
    # name, title, words, column, unit, factor
    ("capacity", "Capacity slide", "Travel, 0 = minimum, 100 % = full load.", "capacity_travel_frac", "%", 100.0),
    ("volume-ratio", "Volume-ratio slide", "Travel, 100 % = highest ratio.", "volume_ratio_travel_frac", "%", 100.0),
    ("current", "Motor current", "Current of the compressor motor.", "motor_current_a", "A", 1.0),
    ("power", "Electrical power", "Of the compressor motor.", "motor_power_w", "kW", 1e-3),
)


def _deviation_kpa(trace: Trace) -> Any:
    """Suction pressure less its set point, kPa; nan where the controller reports none."""
    wanted = trace["suction_set_point_pa"]
    return np.where(wanted > 0.0, (trace["suction_pressure_pa"] - wanted) / 1e3, np.nan)


def time_sheet(match: Match, number: int) -> TrendSheet:
    """Suction deviation, both slides, current and power of all runs over each other, on one time axis."""
    traces = [run.trace() for run in match.runs]
    runs = [ReportRun(n, t, r.scores, None) for n, t, r in zip(match.names, traces, match.runs, strict=True)]
    made = RunSheet(runs, f"match-{number}")

    def curves(trend: Trend, data: Any) -> None:
        trend.told = _spread(runs, data, trend.unit)
        for k, run in enumerate(runs):
            made.curve(trend, k, data(run.trace), run.name, ink_of(k), dash_of(k))

    trend = made.add(
        f"deviation-{number}", "Suction deviation",
        "Suction pressure less the working set point of its own run; a start's pull-down may be cut.", "kPa", height=230,
        span=_reach_kpa(runs),
    )  # fmt: skip
    curves(trend, _deviation_kpa)
    made.limit(trend, 0.0, "", "solid", SET_POINT)
    for name, title, words, column, unit, factor in PICTURES:

        def data(trace: Trace, column: str = column, factor: float = factor) -> Any:
            return trace[column] * factor

        span = (-4.0, 104.0) if unit == "%" else None
        curves(made.add(f"{name}-{number}", title, words, unit, span=span), data)
    made.note_marks()
    made.note_states()
    return made.sheet


def _spread(runs: Sequence[ReportRun], data: Any, unit: str) -> str:
    """Mean and reach of each curve in words, for whoever does not see it."""
    parts = []
    for run in runs:
        values = data(run.trace)
        known = values[np.isfinite(values)]
        if len(known):
            parts.append(f"{run.name}: mean {np.mean(known):.3g}, {np.min(known):.3g} to {np.max(known):.3g} {unit}")
    return "; ".join(parts) + "."


def _beside(k: int, count: int) -> float:
    """How far run k stands from the middle of its line, in line heights."""
    return 0.0 if count < 3 else 0.6 * ((k - 1) / (count - 2) - 0.5)


def _reach_kpa(runs: Sequence[ReportRun]) -> tuple[float, float]:
    """Lowest and highest deviation while the runs are scored, with some air: a pull-down would squeeze the rest."""
    low, high = -1.0, 1.0
    for run in runs:
        if run.scores.window_ms is None:
            continue
        values = _deviation_kpa(run.trace)[run.trace["time_ms"] >= run.scores.window_ms[0]]
        values = values[np.isfinite(values)]
        if len(values):
            low, high = min(low, float(values.min())), max(high, float(values.max()))
    return 1.1 * low, 1.1 * high


def difference_panel(match: Match, lines: Sequence[Line], number: int) -> Picture:
    """Every score with a direction as a mark: right of the line better, left worse, in tolerances."""
    shown = [line for line in lines if any(d.units or d.meaning == EQUAL for d in line.differences[1:])]
    shown = [line for line in shown if line.head.direction != "none"]
    labels = [f"{line.head.label} [{line.head.unit}]" if line.head.unit != "1" else line.head.label for line in shown]
    plot = figure(
        height=90 + (13 + 6 * (len(match.names) - 1)) * len(labels),
        sizing_mode="stretch_width",
        y_range=FactorRange(factors=labels[::-1]),
        x_range=Range1d(start=-SHOWN_UNITS * 1.05, end=SHOWN_UNITS * 1.05),
        tools=[],
        toolbar_location=None,
        background_fill_color=PAPER,
        border_fill_color=PAPER,
        outline_line_color="#c9cdd2",
        min_border_right=14,
    )
    plot.grid.grid_line_color = "#e3e6e8"
    plot.axis.major_label_text_color = INK
    plot.axis.axis_label_text_color = INK
    plot.axis.axis_label_text_font_style = "normal"
    plot.xaxis.axis_label = "← worse · difference in tolerances · better →"
    plot.xaxis.ticker = [-10, -5, -1, 0, 1, 5, 10]
    plot.add_layout(Span(location=0.0, dimension="height", line_color=INK))
    for edge in (-1.0, 1.0):
        plot.add_layout(Span(location=edge, dimension="height", line_color=INK, line_dash="dotted"))
    keys = [Key("equal within ± 1 tolerance", INK, "dotted")]
    told = []
    for k, name in enumerate(match.names[1:], 1):
        pairs = [
            (label, line) for label, line in zip(labels, shown, strict=True) if line.differences[k].change is not None
        ]
        units = [line.differences[k].units for _, line in pairs]
        source = ColumnDataSource(
            {
                "x": [float(np.clip(u, -SHOWN_UNITS, SHOWN_UNITS)) for u in units],
                "y": [(label, _beside(k, len(match.names))) for label, _ in pairs],
                "score": [label for label, _ in pairs],
                "text": [f"{line.scores[0].text} → {line.scores[k].text}" for _, line in pairs],
                "word": [f"{line.differences[k].text} {line.differences[k].meaning}" for _, line in pairs],
                "run": [name] * len(pairs),
            }
        )
        colour = run_colour(k)
        plot.segment(x0=0, x1="x", y0="y", y1="y", source=source, line_color=colour, line_width=3, line_alpha=0.6)
        drawn = plot.scatter(
            "x", "y", source=source, marker=MARKERS[k % len(MARKERS)], size=9, fill_color=colour, line_color=colour
        )
        tips = [("run", "@run"), ("score", "@score"), ("value", "@text"), ("difference", "@word")]
        plot.add_tools(HoverTool(renderers=[drawn], tooltips=tips))
        keys.append(Key(f"{name} against {match.names[0]}", colour, "mark"))
        sides = {
            word: [label for label, line in pairs if line.differences[k].meaning == word] for word in (BETTER, WORSE)
        }
        told.append(
            f"{name}: better in {', '.join(sides[BETTER]) or 'nothing'}; worse in {', '.join(sides[WORSE]) or 'nothing'}"
        )
    words = (
        "Each score's difference divided by what counts as one (its tolerance), turned so that right is better; marks at "
        f"the edge lie beyond {SHOWN_UNITS:g}."
    )
    return Picture(f"differences-{number}", "Differences", words, f"{'. '.join(told)}.", plot, keys)


def _match_data(match: Match, lines: Sequence[Line], panel: Picture, sheet: TrendSheet) -> dict[str, Any]:
    rows = [
        {
            "head": line.head,
            "cells": [
                {"text": score.text, "change": "" if not k else d.text, "meaning": "" if not k else d.meaning}
                for k, (score, d) in enumerate(zip(line.scores, line.differences, strict=True))
            ],
        }
        for line in lines
    ]
    return {
        "title": match.title,
        "names": match.names,
        "unlike": match.unlike,
        "rows": rows,
        "verdicts": [
            (name, [(v.group, v.verdict, v.reason, v.contrary) for v in found]) for name, found in verdicts_of(match)
        ],
        "panel": panel,
        "sheet": sheet,
        "runs": [
            {
                "name": name,
                "failure": run.failure,
                "facts": [
                    (key.replace("_", " "), short_name(run.facts.get(key, ""))[:80])
                    for key in (
                        "scenario_file",
                        "plant",
                        "controller",
                        "settings",
                        "settings_checksum",
                        "seed",
                        "version",
                    )
                ],
            }
            for name, run in zip(match.names, match.runs, strict=True)
        ],
    }


def write_comparison(path: Path, matches: Sequence[Match], lonely: Sequence[str]) -> None:
    """Write one self-contained HTML file.  OSError if it cannot be written; the file appears whole or not at all."""
    shown: list[dict[str, Any]] = []
    plots: dict[str, Any] = {}
    for number, match in enumerate(matches):
        lines = lines_of(match)
        panel = difference_panel(match, lines, number)
        plots[panel.name] = panel.plot
        shown.append(_match_data(match, lines, panel, time_sheet(match, number)))
    title = matches[0].title if len(matches) == 1 else f"{len(matches)} scenarios compared"
    several = counts(matches) if len(matches) > 1 else {}
    write_page(
        path, Path(__file__).with_name("comparison.html"), plots, title=title, caution=CAUTION, matches=shown,
        summary=several, words=VERDICTS, rule=RULE, lonely=lonely, first=matches[0].names[0],
    )  # fmt: skip


def check_place(folder: Path) -> str:
    """What stands in the way of writing a comparison into a folder; "" if nothing does: only its own file is replaced."""
    if folder.exists() and not folder.is_dir():
        return "is a file"
    others = (
        sorted(p.name for p in folder.iterdir() if p.name != "report.html" and p.name[0] != ".")
        if folder.is_dir()
        else []
    )
    return f"holds other files ({others[0]})" if others else ""
