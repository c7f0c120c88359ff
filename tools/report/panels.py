"""The pictures: one time axis, one quantity or one slide to a panel, runs over each other where that compares best."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
from bokeh.models import (
    BoxZoomTool,
    ColumnDataSource,
    CrosshairTool,
    DatetimeTickFormatter,
    HoverTool,
    PanTool,
    Range1d,
    ResetTool,
    SaveTool,
    WheelZoomTool,
)
from bokeh.models.annotations import Span
from bokeh.plotting import figure

from tools.charts import INK, PAPER, Key, plain
from tools.report.runs import ReportRun
from tools.report.thinning import thin

LEFT_PX = 68
AIR_FRAC = 0.05  # above and below the curves, each: half of `range_padding` of the plot library


@dataclass(slots=True)
class Panel:
    """A picture with its title, its words for those who cannot see it, and its legend."""

    name: str
    title: str
    caption: str
    plot: Any
    keys: list[Key] = field(default_factory=list)
    told: str = ""  # what else the picture shows, in words, for those who cannot see it
    low: float = math.inf  # of the curves, in the unit of the axis
    high: float = -math.inf

    def reach(self, data: Any) -> None:
        """Note how far a curve goes: a picture without a scale of its own ends a little beyond its curves."""
        known = np.asarray(data, dtype=np.float64)
        known = known[np.isfinite(known)]
        if len(known):
            self.low, self.high = min(self.low, float(known.min())), max(self.high, float(known.max()))

    def shows(self, value: float) -> bool:
        """Whether a height lies in the picture."""
        fixed = self.plot.y_range
        if isinstance(fixed, Range1d):
            low, high = sorted((float(cast(Any, fixed.start)), float(cast(Any, fixed.end))))
            return low <= value <= high
        air = AIR_FRAC * (self.high - self.low)
        return self.low - air <= value <= self.high + air


class Sheet:
    """Makes panels that share one time axis and one crosshair."""

    def __init__(self, runs: list[ReportRun]) -> None:
        self.runs = runs
        self.end_ms = max(float(run.trace["time_ms"][-1]) for run in runs)
        self.time_range = Range1d(start=0.0, end=max(self.end_ms, 1.0), bounds=(0.0, max(self.end_ms, 1.0)))
        self.cursor = Span(dimension="height", line_color=INK, line_alpha=0.5, line_width=1)

    def panel(self, name: str, title: str, caption: str, axis: str, height: int = 210, **options: Any) -> Panel:
        """An empty panel."""
        plot = figure(
            height=height,
            sizing_mode="stretch_width",
            x_range=self.time_range,
            x_axis_type="datetime",
            tools=[],
            toolbar_location="above",
            background_fill_color=PAPER,
            border_fill_color=PAPER,
            outline_line_color="#c9cdd2",
            min_border_left=LEFT_PX,
            min_border_right=14,
            output_backend="canvas",
            **options,
        )
        zoom = BoxZoomTool(dimensions="width")
        plot.add_tools(
            zoom,
            PanTool(dimensions="width"),
            WheelZoomTool(dimensions="width"),
            ResetTool(),
            SaveTool(filename=f"twoslide-{name}"),
            CrosshairTool(overlay=self.cursor, dimensions="height"),
        )
        plot.toolbar.active_drag = zoom
        plot.toolbar.active_scroll = None  # the wheel scrolls the page until somebody asks otherwise
        plot.toolbar.logo = None
        plot.toolbar.autohide = True
        plot.yaxis.axis_label = axis
        plot.yaxis.axis_label_text_font_style = "normal"
        plot.axis.axis_label_text_color = INK
        plot.axis.major_label_text_color = INK
        plot.axis.axis_line_color = "#9aa1a9"
        plot.axis.minor_tick_line_color = None
        plot.grid.grid_line_color = "#e3e6e8"
        plot.xaxis.formatter = _time_formatter()
        return Panel(name, title, caption, plot)

    def line(
        self,
        panel: Panel,
        run: ReportRun,
        column: str,
        scale: Callable[[Any], Any],
        label: str,
        unit: str,
        colour: str,
        style: str = "solid",
        width: float = 1.6,
        step: bool = False,
    ) -> None:
        """A column of a run as a curve."""
        data = np.asarray(scale(run.trace[column]), dtype=np.float64)
        self.curve(panel, run.trace["time_ms"], data, label, unit, colour, style, width, step)

    def curve(
        self,
        panel: Panel,
        time_ms: Any,
        data: Any,
        label: str,
        unit: str,
        colour: str,
        style: str = "solid",
        width: float = 1.6,
        step: bool = False,
    ) -> None:
        """A curve with its hover text and its line in the legend."""
        x, y = thin(time_ms, data)
        source = ColumnDataSource({"x": x, "y": y.astype(np.float32)})
        options: dict[str, Any] = {"source": source, "line_color": colour, "line_dash": style, "line_width": width}
        drawn = panel.plot.step("x", "y", mode="after", **options) if step else panel.plot.line("x", "y", **options)
        tip = f"<b>{plain(label)}</b> @y{{0.[000]}} {unit}<br>@x{{%H:%M:%S}}"
        panel.plot.add_tools(HoverTool(renderers=[drawn], tooltips=tip, formatters={"@x": "datetime"}, visible=False))
        panel.keys.append(Key(label, colour, style))
        panel.reach(y)

    def limit(self, panel: Panel, value: float | None, label: str, colour: str, style: str = "dashed") -> None:
        """A horizontal line over the curves drawn so far; one outside the picture is told as such, without a line."""
        if value is None:
            return
        if not panel.shows(value):
            if label:
                panel.keys.append(Key(f"{label} (outside the picture)", colour, "none"))
            return
        panel.plot.add_layout(Span(location=value, dimension="width", line_color=colour, line_dash=style))
        if label:
            panel.keys.append(Key(label, colour, style))

    def verticals(self, panel: Panel, times_ms: list[float], colour: str) -> None:
        """Thin marks at given times."""
        if times_ms:
            panel.plot.vspan(x=times_ms, line_color=colour, line_alpha=0.35, line_width=1)

    def shade(self, panel: Panel, spans_ms: list[tuple[int, int]], low: float, high: float, colour: str) -> None:
        """Grey out stretches of time."""
        if spans_ms:
            panel.plot.quad(
                left=[start for start, _ in spans_ms],
                right=[end for _, end in spans_ms],
                bottom=low,
                top=high,
                fill_color=colour,
                fill_alpha=0.18,
                line_color=None,
            )


def _time_formatter() -> DatetimeTickFormatter:
    return DatetimeTickFormatter(
        milliseconds="%H:%M:%S.%3N", seconds="%H:%M:%S", minsec="%H:%M:%S", minutes="%H:%M", hourmin="%H:%M",
        hours="%H:%M", days="%H:%M", months="%H:%M",
    )  # fmt: skip
