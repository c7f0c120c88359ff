"""The trends of the page: pictures of the plot library on one time axis and one table of rows, which the page feeds."""

from __future__ import annotations

from typing import Any, NamedTuple

from bokeh.embed import components
from bokeh.models import ColumnDataSource, DatetimeTickFormatter, HoverTool, Range1d
from bokeh.plotting import figure

from tools.figures.palette import CAPACITY, LIMIT, PLAIN, QUIET, VOLUME_RATIO
from tools.live_bench.frames import COLUMNS_SHOWN

INK, PAPER = "#30363d", "#fdfdfb"
LEAST_PX = 170


class Curve(NamedTuple):
    """One curve of a trend."""

    column: str
    label: str
    colour: str
    dash: str = "solid"
    width: float = 1.6


class Trend(NamedTuple):
    """One picture."""

    name: str
    title: str
    axis: str
    curves: tuple[Curve, ...]
    span: tuple[float, float] | None = None


TRENDS: tuple[Trend, ...] = (
    Trend("suction", "Suction pressure", "kPa abs", (
        Curve("suction_pressure_measured_pa", "as read", "#7d8894", width=0.8),
        Curve("suction_pressure_pa", "true", PLAIN.light),
        Curve("suction_set_point_pa", "set point", INK, "dashed", 1.0),
    )),
    Trend("slides", "Slides", "% of travel", (
        Curve("capacity_demand_frac", "capacity demand", CAPACITY.light, "dotted", 1.2),
        Curve("volume_ratio_demand_frac", "volume-ratio demand", VOLUME_RATIO.light, "dotted", 1.2),
        Curve("capacity_travel_frac", "capacity slide", CAPACITY.light, width=1.9),
        Curve("volume_ratio_travel_frac", "volume-ratio slide", VOLUME_RATIO.light, width=1.9),
    ), (-4.0, 104.0)),
    Trend("ratio", "Volume ratio", "ratio", (
        Curve("volume_ratio_ideal", "ideal", INK, "dotted", 1.2),
        Curve("volume_ratio_attainable", "best attainable", QUIET.light, "dashed", 1.3),
        Curve("volume_ratio", "seen by the gas", VOLUME_RATIO.light),
    )),
    Trend("heat", "Load and cooling", "kW", (
        Curve("load_heat_w", "load", INK, "dotted", 1.3),
        Curve("evaporator_heat_w", "cooling", PLAIN.light),
    )),
    Trend("power", "Motor power, and what the volume ratio costs", "kW", (
        Curve("motor_power_w", "motor", PLAIN.light),
        Curve("mismatch_power_w", "mismatch", LIMIT.light, "dashed", 1.3),
    )),
    Trend("discharge", "Discharge pressure", "kPa abs", (Curve("discharge_pressure_pa", "discharge", PLAIN.light),)),
    Trend("temperatures", "Temperatures", "°C", (
        Curve("discharge_temperature_k", "discharge", PLAIN.light),
        Curve("oil_temperature_k", "oil supply", PLAIN.light, "dashed"),
        Curve("room_temperature_k", "room", PLAIN.light, "dotted"),
    )),
    Trend("drives", "Drives: how long on, each row", "ms", (
        Curve("capacity_load_on_ms", "load", CAPACITY.light),
        Curve("capacity_unload_on_ms", "unload", CAPACITY.light, "dotted"),
        Curve("volume_ratio_increase_on_ms", "ratio up", VOLUME_RATIO.light),
        Curve("volume_ratio_decrease_on_ms", "ratio down", VOLUME_RATIO.light, "dotted"),
    )),
)  # fmt: skip


def _plot(trend: Trend, source: ColumnDataSource, times: Range1d) -> Any:
    # bench.js sets it to the rows in view: a data range complains without a row, and one with a start and an end stays there
    low, high = trend.span or (0.0, 1.0)
    values = Range1d(start=low, end=high, name=f"values-{trend.name}")
    plot = figure(
        height=LEAST_PX, sizing_mode="stretch_width", x_range=times, y_range=values, x_axis_type="datetime", tools=[],
        toolbar_location=None, background_fill_color=PAPER, border_fill_color=PAPER, outline_line_color="#c9cdd2",
        min_border_left=64, min_border_right=12, output_backend="canvas",
    )  # fmt: skip
    for curve in trend.curves:
        drawn = plot.line(
            "time_ms",
            curve.column,
            source=source,
            line_color=curve.colour,
            line_dash=curve.dash,
            line_width=curve.width,
        )
        unit = next(one.unit for one in COLUMNS_SHOWN if one.name == curve.column)
        tip = f"<b>{curve.label}</b> @{curve.column}{{0.[00]}} {unit}<br>@time_ms{{%H:%M:%S}}"
        plot.add_tools(HoverTool(renderers=[drawn], tooltips=tip, formatters={"@time_ms": "datetime"}))
    plot.xaxis.formatter = DatetimeTickFormatter(
        milliseconds="%H:%M:%S", seconds="%H:%M:%S", minsec="%H:%M:%S", minutes="%H:%M", hourmin="%H:%M",
        hours="%H:%M", days="%H:%M", months="%H:%M",
    )  # fmt: skip
    plot.yaxis.axis_label = trend.axis
    plot.yaxis.axis_label_text_font_style = "normal"
    plot.xaxis.minor_tick_line_color = plot.yaxis.minor_tick_line_color = None
    plot.grid.grid_line_color = "#e3e6e8"
    return plot


def trend_parts() -> tuple[str, dict[str, str]]:
    """The script that draws the trends, and the HTML place of each by name.

    The page finds the table of rows as model "rows", the time axis as "times", and the other axis of each trend as
    "values-" and its name.
    """
    source = ColumnDataSource({one.name: [] for one in COLUMNS_SHOWN}, name="rows")
    times = Range1d(start=0.0, end=300_000.0, name="times")
    script, places = components({t.name: _plot(t, source, times) for t in TRENDS}, wrap_script=False)
    return script, places
