"""The pictures of a tuning report: front, margins over the map, gain schedule, coupling, proof, sensitivity.

Each says in words what it shows, for those who do not see it; a second sign (mark, dash, figure in the cell) stands beside
every colour.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from tools.charts import (
    BAND_COLOUR,
    CAPACITY_COLOUR,
    INK,
    LIMIT_COLOUR,
    RUN_COLOURS,
    Key,
    Picture,
    add_hover,
    bare_plot,
)
from tools.tuning.front_picture import front
from tools.tuning.result_words import between_text, ms_text, name_of, number
from tools.tuning.tuning_result import Between, MapRow, TuningResult

HEAT = ("#eef3f8", "#cfdfee", "#a9c6e2", "#7fa9d2", "#5489bf", "#2f6aa8")  # light to dark: also apart in grey
MARKS = ("circle", "square", "triangle", "diamond")


Cell = tuple[int, float]  # travel in whole %, pressure ratio to a tenth: settled points lie a little beside the grid


def worst_cells(rows: Sequence[MapRow], figure: Callable[[MapRow], float]) -> dict[Cell, float]:
    """The greatest of a figure at each travel and pressure ratio, over fills, suctions and both directions."""
    out: dict[Cell, float] = {}
    for row in rows:
        value = figure(row)
        if math.isnan(value):
            continue
        place = (round(100.0 * row.capacity_travel_frac), round(row.pressure_ratio, 1))
        out[place] = max(value, out.get(place, -math.inf))
    return out


def heat_colour(ms: float, limit: float) -> str:
    """The colour of a cell: from Ms 1 to its limit, the darkest from there on."""
    if not math.isfinite(ms):
        return HEAT[-1]
    share = (ms - 1.0) / max(limit - 1.0, 1e-9)
    return HEAT[min(max(int(share * (len(HEAT) - 1)), 0), len(HEAT) - 1)]


def margin_maps(result: TuningResult) -> list[Picture]:
    """Ms over travel and pressure ratio, nominal and with the spread; none for a controller without a linear loop."""
    p = result.provenance
    spread = ", ".join(
        f"{name.removesuffix('_frac').replace('_', ' ')} ± {100 * v:.0f} %" for name, v in p.spread.items()
    )
    kinds: tuple[tuple[str, str, float, Callable[[MapRow], float]], ...] = (
        ("ms", "Ms as the plant is", p.ms_limit, lambda r: r.ms),
        ("ms-spread", f"Ms with the spread ({spread})", p.ms_spread_limit, lambda r: r.ms_spread),
    )
    out = []
    for name, title, limit, figure in kinds:
        cells = worst_cells(result.map_points, figure)
        if cells:
            out.append(_heat(name, title, cells, limit))
    return out


def _heat(name: str, title: str, cells: dict[Cell, float], limit: float) -> Picture:
    from bokeh.models import FactorRange

    travels = [str(t) for t in sorted({t for t, _ in cells})]
    ratios = [f"{r:.1f}" for r in sorted({r for _, r in cells})]
    plot = bare_plot(
        "capacity travel, %", "pressure ratio", 120 + 44 * len(ratios), x_range=FactorRange(factors=travels),
        y_range=FactorRange(factors=ratios),
    )  # fmt: skip
    plot.grid.grid_line_color = None
    x = [str(t) for t, _ in cells]
    y = [f"{r:.1f}" for _, r in cells]
    values = list(cells.values())
    over = [v > limit for v in values]
    colours = [heat_colour(v, limit) for v in values]
    plot.rect(
        x=x, y=y, width=0.94, height=0.9, fill_color=colours,
        line_color=[LIMIT_COLOUR if bad else "#c9cdd2" for bad in over], line_width=[4 if bad else 1 for bad in over],
    )  # fmt: skip
    plot.text(
        x=x, y=y, text=[f"{ms_text(v)} !" if bad else ms_text(v) for v, bad in zip(values, over, strict=True)],
        text_align="center", text_baseline="middle", text_font_size="12px",
        text_color=["#ffffff" if HEAT.index(c) > 3 else "#20262c" for c in colours],
    )  # fmt: skip
    worst = max(cells, key=lambda place: cells[place])
    told = (
        f"{len(cells)} cells, {sum(over)} over the limit of {limit:g}; the worst is {ms_text(cells[worst])} at travel "
        f"{worst[0]} % and pressure ratio {worst[1]:.1f}"
    )
    caption = (
        f"In each cell the worst of all fills, suction temperatures and both ways of the pressure. Limit {limit:g}: what is "
        f"over it has a red frame and “!”. {told[0].upper()}{told[1:]}. An empty cell: the plant cannot stand there."
    )
    return Picture(name, title, caption, told, plot)


def schedule(result: TuningResult) -> Picture | None:
    """Gain over position: chosen, the bounds that hold Ms, and what the rules ask for."""
    rows = result.schedule
    if not rows:
        return None
    plot = bare_plot("capacity position, %", "gain, % per kPa", 320)
    x = [row.position_pct for row in rows]
    bounded = [row for row in rows if math.isfinite(row.least_pct_kpa) and math.isfinite(row.most_pct_kpa)]
    keys = [Key("chosen", CAPACITY_COLOUR, "solid")]
    if bounded:
        plot.varea(
            x=[r.position_pct for r in bounded], y1=[r.least_pct_kpa for r in bounded], y2=[r.most_pct_kpa for r in bounded],
            fill_color=BAND_COLOUR, fill_alpha=0.22,
        )  # fmt: skip
        keys.append(Key("holds Ms, with the chosen integral time", BAND_COLOUR, "band"))
    gains = [row.gain_pct_kpa for row in rows]
    highest = max([*gains, *(r.most_pct_kpa for r in bounded)])
    nodes = [10.0 * k for k in range(11)]
    for k, rule in enumerate(result.rules):
        ruled = [100.0 / rule.proportional_band_kpa * m for m in rule.gain_multiplier]
        if len(ruled) != len(nodes):
            continue
        colour, dash = RUN_COLOURS[k % len(RUN_COLOURS)], ("dashed", "dotted", "dotdash")[k % 3]
        plot.line(nodes, [min(g, 1.6 * highest) for g in ruled], line_color=colour, line_dash=dash, line_width=1.4)
        keys.append(Key(f"{rule.name}, Ti {number(rule.integral_s)} s", colour, dash))
    plot.line(x, gains, line_color=CAPACITY_COLOUR, line_width=3)
    plot.scatter(x=x, y=gains, size=7, color=CAPACITY_COLOUR)
    plot.y_range.start = 0
    told = f"chosen gain from {number(min(gains))} to {number(max(gains))} % per kPa"
    caption = (
        "Line with dots: the chosen gain. Shaded: between the least and the greatest gain (to 4 %) at which Ms "
        "keeps its limits at every point of the map with this travel, with the chosen integral time; straight between "
        "travels. A rule has an integral time of its own (beside its name), so that the band is not for it; a line that "
        "leaves the picture is cut at the top."
    )
    return Picture("schedule", "Gain over position", caption, told, plot, keys)


def coupling(result: TuningResult) -> Picture | None:
    """Relative gain over travel, at rest and where the capacity loop works."""
    from bokeh.models.annotations import Span

    rows = result.coupling
    if not rows:
        return None
    plot = bare_plot("capacity travel, %", "relative gain", 280)
    x = [100.0 * row.capacity_travel_frac for row in rows]
    kinds = (
        ("at rest", [row.relative_gain for row in rows], RUN_COLOURS[1], "circle"),
        ("where the capacity loop works", [row.relative_gain_at_crossover for row in rows], RUN_COLOURS[2], "square"),
    )
    told = []
    for words, values, colour, marker in kinds:
        drawn = plot.scatter(x=x, y=values, size=9, marker=marker, fill_color=colour, line_color=colour, fill_alpha=0.6)
        add_hover(plot, drawn, [("", words), ("travel", "@x{0} %"), ("relative gain", "@y{0.000}")])
        told.append(f"{words} {number(min(values))} to {number(max(values))}")
    plot.add_layout(Span(location=1.0, dimension="width", line_color=INK, line_dash="dashed"))
    keys = [Key(f"{words} ({'round' if m == 'circle' else 'square'})", c, "mark") for words, _, c, m in kinds]
    caption = (
        "1 is no coupling: the capacity loop is the same whether the other loop is closed or not. Every mark is a point of "
        f"the map: {'; '.join(told)}."
    )
    return Picture("coupling", "Coupling of the two slides", caption, "; ".join(told), plot, keys)


RATIOS = (
    ("rms_ratio", "pressure RMS"),
    ("reversals_ratio", "reversals"),
    ("operations_ratio", "operations"),
    ("wear_ratio", "slide wear"),
)


def _end(end: float, value: float) -> float:
    """An interval's end, or the value itself where there is no interval."""
    return end if math.isfinite(end) else value


def proof(result: TuningResult) -> Picture | None:
    """Ratios to each rival on the unseen cases with their intervals, round the line of 1."""
    from bokeh.models import FactorRange
    from bokeh.models.annotations import Span

    rows = result.proof.rows
    if not rows:
        return None
    names, values, colours, marks = [], list[Between](), [], []
    for k, row in enumerate(rows):
        for key, words in RATIOS:
            names.append(f"{words} / {row.rival}")
            values.append(getattr(row, key))
            colours.append(RUN_COLOURS[(1, 0, 3, 2)[k % 4]])
            marks.append(MARKS[k % len(MARKS)])
    plot = bare_plot(
        "chosen / rival, 95 % interval",
        "",
        90 + 24 * len(names),
        y_range=FactorRange(factors=names[::-1]),
    )
    plot.xaxis[0].ticker.desired_num_ticks = 4  # names take most of a narrow screen
    shown = [k for k, v in enumerate(values) if math.isfinite(v.value)]
    low = [_end(values[k].low, values[k].value) for k in shown]
    high = [_end(values[k].high, values[k].value) for k in shown]
    plot.segment(
        x0=low, x1=high, y0=[names[k] for k in shown], y1=[names[k] for k in shown], line_width=3,
        line_color=[colours[k] for k in shown],
    )  # fmt: skip
    drawn = plot.scatter(
        x=[values[k].value for k in shown], y=[names[k] for k in shown], size=10, marker=[marks[k] for k in shown],
        color=[colours[k] for k in shown],
    )  # fmt: skip
    add_hover(plot, drawn, [("", "@y"), ("ratio", "@x{0.000}")])
    plot.add_layout(Span(location=1.0, dimension="height", line_color=INK, line_dash="dashed"))
    told = "; ".join(f"{n} {between_text(v)}" for n, v in zip(names, values, strict=True))
    caption = (
        f"On {result.proof.cases} unseen cases, each run under both with the same plant, noise and events. Left of the "
        "dashed line the chosen settings are better; an interval across it says that no difference was shown."
    )
    return Picture("proof", "Chosen settings against each rival, unseen cases", caption, told, plot)


def sensitivity(result: TuningResult) -> Picture | None:
    """What 10 % more of each searched setting does to pressure RMS and to wear."""
    from bokeh.models import FactorRange
    from bokeh.models.annotations import Span

    rows = [row for row in result.settings if row.effects]
    if not rows:
        return None
    names = [row.key for row in rows]
    plot = bare_plot(
        "change for 10 % more, %",
        "",
        100 + 30 * len(names),
        y_range=FactorRange(factors=names[::-1]),
    )
    plot.xaxis[0].ticker.desired_num_ticks = 4
    keys, told = [], []
    kinds = (("pressure_rms_kpa", RUN_COLOURS[1], "circle", -0.16), ("wear_per_h", RUN_COLOURS[2], "square", 0.16))
    for score, colour, marker, shift in kinds:
        found = [
            (row.key, e) for row in rows for e in row.effects if e.score == score and math.isfinite(e.change_pct.value)
        ]
        y = [(key, shift) for key, _ in found]
        x = [e.change_pct.value for _, e in found]
        low = [_end(e.change_pct.low, e.change_pct.value) for _, e in found]
        high = [_end(e.change_pct.high, e.change_pct.value) for _, e in found]
        plot.segment(x0=low, x1=high, y0=y, y1=y, line_color=colour, line_width=2)
        plot.scatter(
            x=x, y=y, marker=marker, size=9, line_color=colour, line_width=2,
            fill_color=[colour if e.told_from_noise else "#fdfdfb" for _, e in found],
        )  # fmt: skip
        keys.append(Key(f"{name_of(score)} ({'round' if marker == 'circle' else 'square'})", colour, "mark"))
        told += [f"{key}: {name_of(score)} {number(e.change_pct.value)} %" for key, e in found if e.told_from_noise]
    plot.add_layout(Span(location=0.0, dimension="height", line_color=INK, line_dash="dashed"))
    caption = (
        "Change of each score for 10 % more of the setting. Left of the line: less of it, which is better. "
        "Hollow: not told from noise. Lines: 95 % intervals."
    )
    words = "; ".join(told) or "no effect is told from noise"
    return Picture("sensitivity", "Sensitivity of the scores", caption, f"told from noise: {words}", plot, keys)


def all_pictures(result: TuningResult) -> dict[str, Picture]:
    """Every picture that this result has, by name, in reading order."""
    found = [
        front(result), *margin_maps(result), schedule(result), coupling(result), proof(result), sensitivity(result)
    ]  # fmt: skip
    return {picture.name: picture for picture in found if picture is not None}
