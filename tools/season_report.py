"""The report of a season: one HTML file that needs nothing from outside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from tools.charts import CAPACITY_COLOUR, CAUTION, INK, LIMIT_COLOUR, PAPER, VOLUME_RATIO_COLOUR, write_page

if TYPE_CHECKING:
    from scenarios.season_records import Season, Variant

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
METHOD = (
    "Each month is one day of its own: the one whose mean wet bulb and mean load lie nearest the month's means, in "
    "standard deviations of the month's days. It is run for 24 hours after two hours of lead, and counts as often as the "
    "month has days. Spread from day to day within a month is lost. “Held” is this very machine with its volume-ratio "
    "slide under manual demand at one place for the year while the capacity pair works as always, so the ratio that the "
    "gas sees falls with the capacity; it has no guard against the through-path, whose hours are counted. A machine whose "
    "port its capacity slide carries along loses less at part load: the last line of the answer estimates it. Savings "
    "are at equal cooling."
)


def _name(variant: Variant) -> str:
    return "slides working" if variant.full_load_ratio is None else f"held at {variant.full_load_ratio:.2f}"


def _plot(axis: str, **options: Any) -> Any:
    from bokeh.plotting import figure

    plot = figure(
        height=300, sizing_mode="stretch_width", tools="save", toolbar_location="above", background_fill_color=PAPER,
        border_fill_color=PAPER, outline_line_color="#c9cdd2", **options,
    )  # fmt: skip
    plot.toolbar.logo = None
    plot.toolbar.autohide = True
    plot.yaxis.axis_label = axis
    plot.axis.axis_label_text_font_style = "normal"
    plot.axis.axis_label_text_color = plot.axis.major_label_text_color = INK
    plot.grid.grid_line_color = "#e3e6e8"
    return plot


def _legend(plot: Any) -> None:
    """Below the picture, where it covers no curve."""
    legend = plot.legend[0]
    plot.add_layout(legend, "below")
    legend.orientation = "horizontal"
    legend.label_text_color = INK
    legend.border_line_color = None
    legend.background_fill_color = PAPER


def _ratios(found: Season) -> Any:
    plot = _plot("saved by the working slides, %")
    x, y = [v.full_load_ratio or 0.0 for v in found.held], [found.saving_pct(v) for v in found.held]
    plot.line(x, y, line_color=VOLUME_RATIO_COLOUR, line_width=2)
    plot.scatter(x, y, size=7, color=VOLUME_RATIO_COLOUR)
    plot.y_range.start = min(0.0, *y) * 1.1
    plot.xaxis.axis_label = "full-load volume ratio of the held port"
    return plot


def _savings(found: Season) -> Any:
    plot = _plot("saved by the working slides, %", x_range=list(MONTHS))
    best = found.best_held
    values = [found.month_saving_pct(best, k) for k in range(12)]
    plot.vbar(x=list(MONTHS), top=values, width=0.7, color=CAPACITY_COLOUR, alpha=0.85)
    plot.y_range.start = min(0.0, *values) * 1.1
    plot.xgrid.grid_line_color = None
    return plot


def _cops(found: Season) -> Any:
    plot = _plot("cooling by motor energy", x_range=list(MONTHS))
    for variant, colour, style in (
        (found.slides, CAPACITY_COLOUR, "solid"),
        (found.best_held, VOLUME_RATIO_COLOUR, "dashed"),
    ):
        cops = [day.cooling_kwh / day.motor_kwh for day in variant.days]
        plot.line(list(MONTHS), cops, line_color=colour, line_width=2, line_dash=style, legend_label=_name(variant))
        plot.scatter(list(MONTHS), cops, size=6, color=colour)
    plot.y_range.start = 0
    _legend(plot)
    return plot


def _temperatures(found: Season) -> Any:
    plot = _plot("°C", x_range=list(MONTHS))
    days = found.slides.days
    plot.segment(
        x0=list(MONTHS), x1=list(MONTHS), y0=[d.condensing_low_c for d in days],
        y1=[d.condensing_high_c for d in days], line_color=LIMIT_COLOUR, line_width=8, line_alpha=0.35,
        legend_label="condensing, range of the day",
    )  # fmt: skip
    means = [d.condensing_c for d in days]
    plot.line(list(MONTHS), means, line_color=LIMIT_COLOUR, line_width=2, legend_label="its mean")
    wet = [month.day_wet_bulb_k - 273.15 for month in found.months]
    plot.line(list(MONTHS), wet, line_color=INK, line_width=2, line_dash="dotted", legend_label="wet bulb, mean")
    _legend(plot)
    return plot


def _rows(table: Any, marks: dict[int, str]) -> dict[str, Any]:
    """A terminal table's cells, so that page and terminal say the same."""
    columns = [list(column.cells) for column in table.columns]
    rows = [[str(cell) for cell in row] for row in zip(*columns, strict=True)]
    return {
        "heads": [str(column.header) for column in table.columns],
        "rows": [{"cells": cells, "mark": marks.get(k, "")} for k, cells in enumerate(rows)],
        "caption": str(table.caption),
    }


def write_season_report(
    path: Path,
    found: Season,
    title: str,
    facts: list[tuple[str, str]],
    answer: list[str],
    month_table: Any,
    held_table: Any,
) -> None:
    """Write the page; a file that stood there is replaced whole or not at all.  Raises OSError."""
    panels = [
        (
            "ratios",
            "What the slides save against each held port",
            "Over the year, at equal cooling; the lowest point is the best held port.",
            _ratios(found),
        ),
        ("savings", "Month by month", "Against the best held port of the year.", _savings(found)),
        ("cops", "Coefficient of performance", "Compressor motor only.", _cops(found)),
        ("temperatures", "Condensing temperature", "Of each month's day, slides working.", _temperatures(found)),
    ]
    best = found.held.index(found.best_held) + 1
    write_page(
        path,
        Path(__file__).with_name("season_page.html"),
        {name: plot for name, _, _, plot in panels},
        title=title,
        caution=CAUTION,
        answer=answer,
        panels=[{"name": n, "title": t, "caption": c} for n, t, c, _ in panels],
        tables=[
            {"title": "Month by month", **_rows(month_table, {12: "sum"})},
            {"title": "Held ports", **_rows(held_table, {best: "best"})},
        ],
        method=METHOD,
        facts=facts,
    )
