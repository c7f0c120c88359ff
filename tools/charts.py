"""What every page of this tool shares: colours that mean one thing everywhere, a bare plot, and one file without a net.

The look is tools/style.html.  The plotting library is loaded when a picture is made, not when this is imported.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tools.figures.palette import BAND, CAPACITY, LIMIT, RUNS, SET_POINT, VOLUME_RATIO, palette_css

# A slide keeps its colour wherever it appears.
CAPACITY_COLOUR = CAPACITY.light
VOLUME_RATIO_COLOUR = VOLUME_RATIO.light
RUN_COLOURS = tuple(ink.light for ink in RUNS)
RUN_DASHES = ("solid", "solid", "dashed", "dashed", "dotted", "dotdash")
LIMIT_COLOUR = LIMIT.light
SET_POINT_COLOUR = LOAD_COLOUR = SET_POINT.light
BAND_COLOUR = BAND.light
PAPER = "#fdfdfb"
INK = "#30363d"

CAUTION = (
    "An engineering aid on a simulated plant, and no safety system. Nothing here replaces a hard-wired high-pressure "
    "cut-out, a relief device, the motor's own protection or the maker's limits: they come first. Check every setting "
    "on the plant, step by step, by people who answer for it. The model has no economiser."
)


@dataclass(frozen=True, slots=True)
class Key:
    """One line of a picture's legend, drawn by the page and not by the plot: it wraps on a small screen."""

    label: str
    colour: str
    style: str = "solid"  # solid, dashed, dotted, band, mark, none (a value that lies outside the picture)


@dataclass(slots=True)
class Picture:
    """A plot with its title, its caption, what it shows in words for those who do not see it, and its legend."""

    name: str
    title: str
    caption: str
    told: str
    plot: Any
    keys: list[Key] = field(default_factory=list)


def add_hover(plot: Any, drawn: Any, tips: list[tuple[str, str]]) -> None:
    """Text that appears when a mark is pointed at."""
    from bokeh.models import HoverTool

    plot.add_tools(HoverTool(renderers=[drawn], tooltips=tips, visible=False))


def bare_plot(x_label: str, y_label: str, height: int = 320, **options: Any) -> Any:
    """An empty picture in the look of the pages: full width, one tool (save), no frame of its own."""
    from bokeh.plotting import figure

    plot = figure(
        height=height, sizing_mode="stretch_width", tools="save", toolbar_location="above", background_fill_color=PAPER,
        border_fill_color=PAPER, outline_line_color="#c9cdd2", **options,
    )  # fmt: skip
    plot.toolbar.logo = None
    plot.toolbar.autohide = True
    plot.xaxis.axis_label, plot.yaxis.axis_label = x_label, y_label
    plot.axis.axis_label_text_font_style = "normal"
    plot.axis.axis_label_text_color = plot.axis.major_label_text_color = INK
    plot.axis.minor_tick_line_color = None
    plot.axis.axis_line_color = "#9aa1a9"
    plot.grid.grid_line_color = "#e3e6e8"
    return plot


def plain(text: str) -> str:
    """Text for a tooltip, which is HTML in which @, $ and braces mean something.

    >>> plain("a < b @ $5")
    'a &lt; b &#64; &#36;5'
    """
    table = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "@": "&#64;", "$": "&#36;", "{": "&#123;", "}": "&#125;"}
    return "".join(table.get(letter, letter) for letter in text)


def breakable(text: str) -> Any:
    """A dotted name that a narrow column may break after a dot or an underscore; everything else of it is escaped."""
    from markupsafe import Markup, escape

    return Markup(re.sub(r"([._])", r"\1<wbr>", str(escape(text))))  # entities hold neither of the two


_FIGURES = Path(__file__).parent / "figures"
_SCRIPTS = ("figures.js", "plot.js", "cursor_figures.js", "trends.js")


def _own(names: tuple[str, ...]) -> Any:
    """Files of tools/figures as they stand, for a style or script element."""
    from markupsafe import Markup

    return Markup("\n".join((_FIGURES / name).read_text(encoding="utf-8") for name in names))


def template_of(template: Path) -> Any:
    """A template that may include those beside it, tools/style.html and tools/figures/trends.html."""
    import jinja2

    loader = jinja2.FileSystemLoader([template.parent, Path(__file__).parent])
    environment = jinja2.Environment(loader=loader, autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["breakable"] = breakable
    return environment.get_template(template.name)


def page_parts() -> dict[str, Any]:
    """What style.html needs (`palette`), and what pages with trends or with moments of a record include."""
    from markupsafe import Markup

    return {
        "palette": Markup(palette_css()), "trend_style": _own(("figures.css", "trends.css")),
        "trend_script": _own(_SCRIPTS), "moments": _own(("moments.js",)),
    }  # fmt: skip


def write_page(path: Path, template: Path, plots: dict[str, Any], **content: Any) -> None:
    """Render a template with its pictures into one self-contained file, whole or not at all.

    template: a file (`template_of`).  It gets `divisions` (HTML of each picture by name), `plot_script`, `plot_library`,
    `page_parts` and `content`, and a filter `breakable` for long names.  Raises OSError if the file cannot be written.
    """
    divisions: dict[str, str] = {}
    script = library = ""
    if plots:
        from bokeh.embed import components
        from bokeh.resources import Resources

        script, divisions = components(plots)
        library = Resources(mode="inline", components=["bokeh"]).render_js()
    html = template_of(template).render(
        divisions=divisions, plot_script=script, plot_library=library, **page_parts(), **content
    )
    beside = path.with_name(f".{path.name}.partial-{os.getpid()}")
    try:
        beside.write_text(html, encoding="utf-8")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
