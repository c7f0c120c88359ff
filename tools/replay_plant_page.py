"""Pictures of the plant's side of a logged event: what was left over, how the best cause explains it, and the load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tools.charts import BAND_COLOUR, INK, LIMIT_COLOUR, LOAD_COLOUR, PAPER

if TYPE_CHECKING:
    from tools.replay.study import Study

SCALE = {"K": ("K", 1.0), "W": ("kW", 1e-3), "Pa": ("kPa", 1e-3), "A": ("A", 1.0), "1": ("%", 100.0)}
SHOWN = 8
POINTS = 1500


def plant_plots(made: Study, offset_ms: int = 0) -> list[tuple[str, str, Any]]:
    """(name, title, plot) of load and residuals; offset_ms: of the picture's clock over the log's."""
    from bokeh.models import Range1d

    if made.evidence is None or made.load is None:
        return []
    rows = made.evidence.record.rows
    x = made.evidence.record.start_ms + offset_ms + 1000.0 * np.arange(rows)
    shared = Range1d(start=float(x[0]), end=float(x[-1]))
    out = [("plant_load", "Load, reconstructed, with its 90 % interval", _load(made, x, shared))]
    for name, title, plot in _residuals(made, x, shared):
        out.append((name, title, plot))
    return out


def _figure(unit: str, shared: Any, height: int) -> Any:
    from bokeh.plotting import figure

    plot: Any = figure(
        height=height, sizing_mode="stretch_width", x_axis_type="datetime", tools="xbox_zoom,reset", x_range=shared,
        background_fill_color=PAPER, border_fill_color=PAPER, y_axis_label=unit,
    )  # fmt: skip
    plot.toolbar.logo = None
    return plot


def _below(plot: Any) -> None:
    if plot.legend:
        legend = plot.legend[0]
        plot.add_layout(legend, "below")
        legend.orientation = "horizontal"
        legend.border_line_color = None
        legend.background_fill_color = PAPER


def _load(made: Study, x: Any, shared: Any) -> Any:
    assert made.load is not None
    load = made.load
    plot = _figure("kW", shared, 240)
    keep = np.flatnonzero(load.good)[:: max(1, len(x) // POINTS)]
    plot.varea(
        x=x[keep],
        y1=load.low_w[keep] / 1e3,
        y2=load.high_w[keep] / 1e3,
        fill_color=BAND_COLOUR,
        fill_alpha=0.25,
        legend_label="90 % interval",
    )
    plot.line(
        x[keep], load.load_w[keep] / 1e3, line_color=LOAD_COLOUR, line_width=1.6, legend_label="load on this machine"
    )
    _below(plot)
    return plot


def _residuals(made: Study, x: Any, shared: Any) -> list[tuple[str, str, Any]]:
    """The channels that speak most, log less model, with what the best cause would leave there."""
    from tools.replay.fitting import amounts_of, signature
    from tools.replay.residuals import BY_NAME, block_values

    evidence, found = made.evidence, made.diagnosis
    assert evidence is not None
    assert found is not None
    best = found.ranked[0].fits[0] if found.ranked[0].fits else None
    told = None
    if best is not None and best.chi2 < found.null_chi2 - 6.0:
        told = block_values(signature(evidence, best.hypothesis, amounts_of(evidence, best)), evidence.stack.blocks)
    means = block_values(evidence.series, evidence.stack.blocks)
    at = x[0] + 1000.0 * evidence.stack.times_s
    weights = {
        name: float(np.nanmax(np.abs(values - np.nanmedian(values[: max(3, len(values) // 4)])))) / BY_NAME[name].slow
        for name, values in means.items()
        if np.isfinite(values).sum() > 3 and name != "load"
    }
    chosen = sorted(weights, key=lambda name: -weights[name])[:SHOWN]
    out = []
    for name in chosen:
        channel = BY_NAME[name]
        unit, factor = SCALE[channel.unit]
        plot = _figure(unit, shared, 170)
        plot.line(at, factor * means[name], line_color=INK, line_width=1.4, legend_label="log less model")
        if told is not None and name in told:
            start = float(np.nanmedian((means[name] - told[name])[: max(3, len(at) // 4)]))
            plot.line(
                at,
                factor * (told[name] + start),
                line_color=LIMIT_COLOUR,
                line_dash="dashed",
                line_width=1.4,
                legend_label=f"what “{found.ranked[0].group}” does",
            )
        _below(plot)
        out.append((f"plant_{name}", channel.text[0].upper() + channel.text[1:], plot))
    return out
