"""The pictures of the benchmark page.  Colours are Okabe and Ito's, told apart by colour-blind people; marks and dashes
say the same again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tools.benchmarks.growth import STAGES, Growth
from tools.benchmarks.paired import Interval
from tools.benchmarks.results import Results
from tools.benchmarks.tables import duration_in_words
from tools.charts import INK, PAPER, bare_plot

BLUE, ORANGE, GREEN, SKY, GREY = "#0072B2", "#D55E00", "#009E73", "#56B4E9", "#7f8790"
_STYLES = (
    (BLUE, "solid", "circle"),
    (ORANGE, "dashed", "square"),
    (GREEN, "dotted", "triangle"),
    (GREY, "dotdash", "diamond"),
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot with its title, its caption and, for those who cannot see it, what it shows in words."""

    name: str
    title: str
    caption: str
    told: str
    plot: Any


def _bars(
    names: Sequence[str], values: Sequence[float], axis: str, intervals: Sequence[Interval] | None = None,
    colours: Sequence[str] | None = None, log: bool = False,
) -> Any:  # fmt: skip
    """Horizontal bars in the order given, with their intervals as whiskers; hollow where a figure is not settled."""
    options: dict[str, Any] = {"x_axis_type": "log"} if log else {}
    plot = bare_plot(axis, "", 70 + 24 * len(names), y_range=list(reversed(names)), **options)
    shown = list(colours or [BLUE] * len(names))
    solid = [0.85 if found.settled else 0.15 for found in intervals] if intervals else [0.85] * len(names)
    left = [min(values) * 0.5] * len(names) if log else [0.0] * len(names)
    plot.hbar(
        y=list(names), left=left, right=list(values), height=0.66, fill_color=shown, line_color=shown, fill_alpha=solid
    )
    if intervals:
        plot.segment(
            y0=list(names), y1=list(names), x0=[i.low_ns for i in intervals], x1=[i.high_ns for i in intervals],
            line_color=INK, line_width=2,
        )  # fmt: skip
    plot.ygrid.grid_line_color = None
    return plot


def _told(names: Sequence[str], values: Sequence[float], unit: str) -> str:
    return "; ".join(f"{name.strip()} {value:,.3g} {unit}" for name, value in zip(names, values, strict=True))


def _places(r: Results) -> Picture:
    shown = list(r.places)
    names = [("   inside: " if p.level else "") + p.name for p in shown]
    values = [p.cost.ns for p in shown]
    colours = [SKY if p.level else BLUE for p in shown]
    plot = _bars(names, values, "ns a scan", [p.cost for p in shown], colours)
    whole = f"{r.whole.ns:,.0f}" if r.whole else "?"
    caption = (
        f"Of {whole} ns. Dark: parts that add up to the scan; pale: parts of the plant step. Line: interval of the median; "
        "hollow: unreliable."
    )
    return Picture("places", "Where a scan's time goes", caption, _told(names, values, "ns"), plot)


def _components(r: Results) -> Picture:
    # the noise is twenty times all the others and would hide them; it stands in the profile
    shown = sorted((c for c in r.components if abs(c.cost.ns) < 100.0), key=lambda c: -c.cost.ns)
    beyond = [c for c in r.components if abs(c.cost.ns) >= 100.0]
    names, values = [c.name for c in shown], [c.cost.ns for c in shown]
    colours = [(ORANGE if c.cost.ns > 0.0 else GREEN) if c.cost.seen else GREY for c in shown]
    plot = _bars(names, values, "ns a scan more than without", [c.cost for c in shown], colours)
    caption = (
        "Orange: dearer, green: cheaper, grey: no difference can be told. Line: interval of the median; hollow: unreliable. "
        + " ".join(f"Beyond the scale: {c.name} {c.cost.ns:+,.0f} ns." for c in beyond)
    )
    return Picture("components", "What a component of the plant costs", caption, _told(names, values, "ns"), plot)


def _controllers(r: Results) -> Picture:
    shown = [k for k in r.controllers if k.cost.ns > 1.0]
    names, values = [k.name for k in shown], [k.cost.ns for k in shown]
    colours = [BLUE if k.cost.settled else GREY for k in shown]
    plot = _bars(names, values, "ns a scan, logarithmic", None, colours, log=True)
    left_out = [k.name for k in r.controllers if k not in shown]
    caption = "Over no controller at all, machine running; grey: unreliable."
    if left_out:
        caption += f" Not to be told from none: {', '.join(left_out)}."
    return Picture("controllers", "Kinds of controller", caption, _told(names, values, "ns"), plot)


def _stages(name: str, title: str, axis: str, x: Sequence[float], found: Sequence[Growth], caption: str) -> Picture:
    plot = bare_plot(axis, "processor time, ms", x_axis_type="log", y_axis_type="log")
    plot.xaxis.ticker.mantissas = plot.yaxis.ticker.mantissas = [1, 2, 5]
    for stage, (colour, dash, mark) in zip(STAGES, _STYLES, strict=True):
        y = [1e3 * g.stage_s[stage] for g in found]
        plot.line(list(x), y, line_color=colour, line_dash=dash, line_width=2, legend_label=stage)
        plot.scatter(list(x), y, marker=mark, size=8, color=colour, legend_label=stage)
    legend = plot.legend[0]
    plot.add_layout(legend, "below")
    legend.orientation, legend.border_line_color, legend.background_fill_color = "horizontal", None, PAPER
    told = "; ".join(
        f"at {value:g}: " + ", ".join(f"{s} {1e3 * g.stage_s[s]:.3g} ms" for s in STAGES)
        for value, g in zip(x, found, strict=True)
    )
    return Picture(name, title, caption, told, plot)


def pictures(r: Results) -> list[Picture]:
    """A picture for everything that was measured, in reading order."""
    out = []
    if r.places:
        out.append(_places(r))
    if r.components:
        out.append(_components(r))
    if any(k.cost.ns > 1.0 for k in r.controllers):
        out.append(_controllers(r))
    if r.by_duration:
        x = [g.duration_ms / 6e4 for g in r.by_duration]
        caption = "A row a second, no report."
        out.append(_stages("duration", "Simulated duration", "simulated, min", x, r.by_duration, caption))
    if r.by_log_interval:
        x = [g.log_ms / 1000 for g in r.by_log_interval]
        caption = f"A run of {duration_in_words(r.by_log_interval[0].duration_ms)}."
        out.append(_stages("log", "Log interval", "a row every, s", x, r.by_log_interval, caption))
    busy = [g for g in r.by_event_rate if g.events_per_h > 0]
    if len(busy) > 1:
        caption = f"A run of {duration_in_words(busy[0].duration_ms)} with load steps of 1 W."
        x = [float(g.events_per_h) for g in busy]
        out.append(_stages("events", "Events from outside", "events an hour", x, busy, caption))
    if r.engines:
        shown = sorted(r.engines, key=lambda s: -s.cpu)
        names, values = [s.name for s in shown], [s.cpu for s in shown]
        colours = [GREY if s.name.startswith("LSODA") else BLUE for s in shown]
        plot = _bars(names, values, "simulated s per CPU s, logarithmic", None, colours, log=True)
        caption = (
            "Whole demo shift. Grey: the same cycle with the plant integrated by SciPy's LSODA, restarted each scan."
        )
        out.append(Picture("engines", "Against other ways", caption, _told(names, values, "s per s"), plot))
    if r.peaks:
        names = [f"{duration_in_words(p.duration_ms)}, a row every {p.log_ms / 1000:g} s" for p in r.peaks]
        values = [p.peak_mb for p in r.peaks]
        caption = f"Of it {r.peaks[0].loaded_mb:.0f} MB are program and libraries before the run."
        out.append(Picture("memory", "Peak memory", caption, _told(names, values, "MB"), _bars(names, values, "MB")))
    if r.start is not None:
        names, values = list(r.start.stages_s), list(r.start.stages_s.values())
        median_s, least_s = r.start.to_first_step_s, r.start.least_s
        caption = f"Warm cache; to the first step {median_s:.2f} s in the median, {least_s:.2f} s at best."
        plot = _bars(names, values, "wall s")
        out.append(Picture("start", "Start of a run", caption, _told(names, values, "s"), plot))
    return out
