"""Pictures of the plant's side of a logged event: what was left over, how the best cause explains it, and the load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tools.charts import BAND_COLOUR, INK, LIMIT_COLOUR, LOAD_COLOUR, Key, Picture, bare_plot

if TYPE_CHECKING:
    from tools.replay.study import Study

SCALE = {"K": ("K", 1.0), "W": ("kW", 1e-3), "Pa": ("kPa", 1e-3), "A": ("A", 1.0), "1": ("%", 100.0)}
SHOWN = 8
POINTS = 1500


def plant_plots(made: Study, offset_ms: int = 0) -> list[Picture]:
    """Load and residuals; offset_ms: of the picture's clock over the log's."""
    from bokeh.models import Range1d

    if made.evidence is None or made.load is None:
        return []
    rows = made.evidence.record.rows
    x = made.evidence.record.start_ms + offset_ms + 1000.0 * np.arange(rows)
    shared = Range1d(start=float(x[0]), end=float(x[-1]))
    return [_load(made, x, shared), *_residuals(made, x, shared)]


def _figure(unit: str, shared: Any, height: int) -> Any:
    from bokeh.models import BoxZoomTool, ResetTool

    plot = bare_plot("", unit, height, x_axis_type="datetime", x_range=shared, min_border_left=60)
    plot.tools = []
    plot.add_tools(BoxZoomTool(dimensions="width"), ResetTool())
    return plot


def _load(made: Study, x: Any, shared: Any) -> Picture:
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
    )
    plot.line(x[keep], load.load_w[keep] / 1e3, line_color=LOAD_COLOUR, line_width=1.6)
    title = "Load, reconstructed, with its 90 % interval"
    keys = [Key("load on this machine", LOAD_COLOUR), Key("90 % interval", BAND_COLOUR, "band")]
    return Picture("plant_load", title, "", title, plot, keys)


def _residuals(made: Study, x: Any, shared: Any) -> list[Picture]:
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
        plot.line(at, factor * means[name], line_color=INK, line_width=1.4)
        keys = [Key("log less model", INK)]
        if told is not None and name in told:
            start = float(np.nanmedian((means[name] - told[name])[: max(3, len(at) // 4)]))
            plot.line(
                at,
                factor * (told[name] + start),
                line_color=LIMIT_COLOUR,
                line_dash="dashed",
                line_width=1.4,
            )
            keys.append(Key(f"what “{found.ranked[0].group}” does", LIMIT_COLOUR, "dashed"))
        title = channel.text[0].upper() + channel.text[1:]
        out.append(
            Picture(f"plant_{name}", title, "", f"{title}: what the log shows less what the model does", plot, keys)
        )
    return out
