"""The front of a search as a picture: pressure against slide wear, with the chosen point, the rivals' and the rules'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tools.charts import INK, RUN_COLOURS, Key, Picture, add_hover, bare_plot, plain
from tools.tuning.result_words import number
from tools.tuning.tuning_result import Search, Trial, TuningResult

CHOSEN, RIVAL, GIVEN, RULE = RUN_COLOURS[1], RUN_COLOURS[0], RUN_COLOURS[3], RUN_COLOURS[2]


def named_trials(search: Search) -> list[Trial]:
    """The starts of a search that were finished: sheet given, defaults, points from rules."""
    return [t for t in search.trials if t.origin != "search" and t.feasible]


def front(result: TuningResult) -> Picture:
    """Pressure RMS against slide wear of every finished trial, energy as colour; fronts and named points over them."""
    from bokeh.models import ColumnDataSource, LinearColorMapper
    from bokeh.models.annotations import ColorBar
    from bokeh.palettes import Cividis256

    search, rival = result.search, result.baseline
    plot = bare_plot("pressure RMS, kPa", "slide wear, 1/h", 460)
    done = [t for t in search.trials if t.feasible]
    energies = [t.objectives[3] for t in done] or [0.0]
    low, high = min(energies), max(energies)
    mapper = LinearColorMapper(palette=list(reversed(Cividis256)), low=low, high=max(high, low + 1e-9))
    source = ColumnDataSource(
        {
            "x": [t.objectives[0] for t in done],
            "y": [t.objectives[1] for t in done],
            "energy": [t.objectives[3] for t in done],
            "name": [
                f"trial {t.number}" if t.origin == "search" else plain(f"trial {t.number}, {t.origin}") for t in done
            ],
            "size": [10 if t.on_front else 6 for t in done],
        }
    )
    drawn = plot.scatter(
        "x",
        "y",
        source=source,
        size="size",
        line_color=INK,
        line_width=0.5,
        fill_color={"field": "energy", "transform": mapper},
    )
    add_hover(
        plot,
        drawn,
        [("", "@name"), ("pressure RMS", "@x{0.00} kPa"), ("wear", "@y{0.0} /h"), ("energy", "@energy{0.0000}")],
    )
    _front_line(plot, search, CHOSEN, "solid")
    keys = [Key(f"front of {search.controller}", CHOSEN, "solid")]
    if rival != search and any(t.feasible for t in rival.trials):
        _front_line(plot, rival, RIVAL, "dashed")
        keys.append(Key(f"front of the tuned baseline, {rival.controller}", RIVAL, "dashed"))
    marks = []
    for who, colour, words in ((search, CHOSEN, "chosen"), (rival, RIVAL, "baseline, chosen by the same rule")):
        if who is rival and rival == search:
            continue
        chosen = [t for t in who.trials if t.number == who.chosen and t.feasible]
        marks += [_Mark(words, t, colour, "star") for t in chosen]
    for who, colour in ((search, RULE), (rival, RIVAL)):
        if who is rival and rival == search:
            continue
        for trial in named_trials(who):
            words = trial.origin if who is search else f"{trial.origin} ({rival.controller})"
            if trial.number != who.chosen:
                marks.append(_Mark(words, trial, GIVEN if trial.origin == "sheet given" else colour, "triangle"))
    _draw_marks(plot, marks, [(t.objectives[0], t.objectives[1]) for t in done])
    plot.add_layout(
        ColorBar(
            color_mapper=mapper, title="kWh per kWh of cooling", height=10, title_text_font_style="normal",
            title_text_color=INK, major_label_text_color=INK, background_fill_color=None, padding=8,
        ),
        "below",
    )  # fmt: skip
    counts = {status: sum(t.status == status for t in search.trials) for status in ("finished", "pruned", "infeasible")}
    caption = (
        f"Nearer to the lower left corner is better in both. Large dots: the front; small ones: other finished trials of "
        f"{search.controller} ({counts['finished']} finished, {counts['pruned']} stopped early as beaten, "
        f"{counts['infeasible']} broke a limit and are not shown). Colour: energy per cooling, on the scale below. Stars: "
        "what was chosen; triangles: sheets and rules that the search began with. A mean over the search's own cases; the "
        "proof below is on others."
    )
    told = "; ".join(_point_words(mark) for mark in marks)
    return Picture("front", "Pressure against slide wear", caption, told, plot, keys)


@dataclass(frozen=True, slots=True)
class _Mark:
    """A named point of the front's picture."""

    words: str
    trial: Trial
    colour: str
    marker: str

    @property
    def x(self) -> float:
        return self.trial.objectives[0]

    @property
    def y(self) -> float:
        return self.trial.objectives[1]


def _point_words(mark: _Mark) -> str:
    return f"{mark.words}: {number(mark.x)} kPa at {number(mark.y)}/h"


def _front_line(plot: Any, search: Search, colour: str, dash: str) -> None:
    """The front as steps: nothing between two of its points was reached."""
    points = sorted((t.objectives[0], t.objectives[1]) for t in search.front if t.feasible)
    # a front in four objectives has points that are no corner in these two
    shown: list[tuple[float, float]] = []
    for x, y in points:
        if not shown or y < shown[-1][1]:
            shown.append((x, y))
    if shown:
        plot.step(
            [x for x, _ in shown], [y for _, y in shown], mode="after", line_color=colour, line_dash=dash, line_width=2,
            line_alpha=0.8,
        )  # fmt: skip


def _draw_marks(plot: Any, marks: Sequence[_Mark], others: Sequence[tuple[float, float]]) -> None:
    """Named points with their names beside them, moved up or down where they would lie over each other."""
    places = [*others, *((m.x, m.y) for m in marks)]
    if not places:
        return
    wide, high = (max(max(v) - min(v), 1e-9) for v in zip(*places, strict=True))
    left = min(x for x, _ in places)
    taken: list[tuple[float, float]] = []  # where names begin, in pixels of a picture of some 900 by 320
    for mark in marks:
        drawn = plot.scatter(
            x=[mark.x], y=[mark.y], marker=mark.marker, size=22 if mark.marker == "star" else 11,
            fill_color=mark.colour, line_color="#ffffff", line_width=1,
        )  # fmt: skip
        add_hover(plot, drawn, [("", plain(mark.words)), ("pressure RMS", "@x{0.00} kPa"), ("wear", "@y{0.0} /h")])
        back = mark.x - left > 0.75 * wide  # its name would leave the picture
        x, y = 900.0 * mark.x / wide - (130.0 if back else 0.0), -320.0 * mark.y / high
        shift = next(
            (
                s
                for s in (-5, 12, -19, 26, -33, 40)
                if all(abs(x - a) > 130.0 or abs(y + s - b) > 13.0 for a, b in taken)
            ),
            54,
        )
        taken.append((x, y + shift))
        plot.text(
            x=[mark.x], y=[mark.y], text=[mark.words], x_offset=-9 if back else 9, y_offset=shift, text_color=INK,
            text_font_size="11px", text_font_style="bold" if mark.marker == "star" else "normal",
            text_align="right" if back else "left",
        )  # fmt: skip
