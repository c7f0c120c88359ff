"""The page of a replayed log: findings in plain words, then the evidence.  One HTML file that needs nothing from outside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scenarios.logged_data.clock import zone_of
from tools.charts import (
    BAND_COLOUR,
    CAPACITY_COLOUR,
    INK,
    LIMIT_COLOUR,
    SET_POINT_COLOUR,
    VOLUME_RATIO_COLOUR,
    Key,
    Picture,
    bare_plot,
    write_page,
)
from tools.replay.edges import state_word
from tools.replay.findings import CAUTION, Findings, changes_before, condensed, output_name, stop_words
from tools.replay.study import diagnosis_words
from tools.replay.watched import watched_limits
from tools.replay_plant import causes_table, variants_table
from tools.replay_plant_page import plant_plots

if TYPE_CHECKING:
    from tools.replay.study import Study

POINTS_AT_MOST = 6000
LINES_AT_MOST = 400
STOPS_FIRST = 3  # so many stops are told in the page's first words
_PANELS = (  # title, unit, (series, label, colour, dash)
    ("Pressures", "kPa abs", (("discharge_pressure_kpa_abs", "discharge", LIMIT_COLOUR, "solid"),
    ("suction_pressure_kpa_abs", "suction", "#0b5c52", "solid"),
                              ("suction_set_point_kpa_abs", "suction set point", SET_POINT_COLOUR, "dashed"))),
    ("Slides", "%", (("capacity_position_pct", "capacity "
                                               "slide", CAPACITY_COLOUR, "solid"), ("capacity_demand_pct",
                                               "capacity demand, logged", CAPACITY_COLOUR, "dotted"),
                     ("volume_ratio_position_pct", "volume-ratio slide", VOLUME_RATIO_COLOUR, "solid"))),
    ("Temperatures", "°C", (("discharge_temperature_c", "discharge", LIMIT_COLOUR, "solid"), ("oil_temperature_c",
    "oil", "#7a5c2e", "solid"),
                            ("suction_temperature_c", "suction "
                                                      "gas", "#0b5c52", "solid"), ("process_temperature_c", "room "
                                                          "or product", BAND_COLOUR, "solid"))),
    ("Motor", "A", (("motor_current_a", "current", INK, "solid"),)),
)  # fmt: skip
_MARKS = {
    "trip": LIMIT_COLOUR,
    "setting": VOLUME_RATIO_COLOUR,
    "operator": SET_POINT_COLOUR,
    "manual": SET_POINT_COLOUR,
    "motor": INK,
}


def _local_ms(found: Findings, times: Any) -> Any:
    """Times as the picture shows them: with the zone's offset at the start, so that the axis runs on through a change."""
    if not found.data.zone or not len(times):
        return times
    from datetime import UTC, datetime

    start = datetime.fromtimestamp(found.data.start_ms / 1000.0, UTC).astimezone(zone_of(found.data.zone))
    offset = start.utcoffset()
    return times + (int(offset.total_seconds() * 1000) if offset else 0)


def _thinned(times: Any, values: Any) -> tuple[Any, Any]:
    """Least and greatest of each bundle of samples, so that no peak is lost; holes stay holes."""
    if len(times) <= POINTS_AT_MOST:
        return times, values
    size = -(-len(times) // (POINTS_AT_MOST // 2))
    keep = []
    for a in range(0, len(times), size):
        part = values[a : a + size]
        keep += sorted({a + int(np.argmin(part)), a + int(np.argmax(part))})
    return times[keep], values[keep]


def _plots(found: Findings, window: tuple[int, int]) -> list[Picture]:
    from bokeh.models import BoxZoomTool, CrosshairTool, PanTool, Range1d, ResetTool, SaveTool

    low, high = (float(v) for v in _local_ms(found, np.array(window, dtype=np.float64)))
    time_range = Range1d(start=low, end=high)
    out = []
    for title, unit, lines in _PANELS:
        present = [
            (found.data.series[n], label, colour, dash) for n, label, colour, dash in lines if n in found.data.series
        ]
        if not present:
            continue
        plot = bare_plot("", unit, 250, x_axis_type="datetime", x_range=time_range, min_border_left=60)
        zoom = BoxZoomTool(dimensions="width")
        plot.tools = []
        plot.add_tools(zoom, PanTool(dimensions="width"), ResetTool(), SaveTool(), CrosshairTool(dimensions="height"))
        plot.toolbar.active_drag = zoom
        keys = []
        for series, label, colour, dash in present:
            times, values = series.good()
            if _draw(found, plot, times, values, window, colour, dash, 1.6):
                keys.append(Key(label, colour, dash))
        if title == "Slides" and found.replay is not None:
            demand = found.replay.outputs["capacity_demand_pct"]
            if _draw(found, plot, found.replay.time_ms[: len(demand)], demand, window, BAND_COLOUR, "solid", 1.2):
                keys.append(Key("capacity demand, recomputed", BAND_COLOUR))
        keys += _limits(found, plot, title)
        _marks(found, plot, window)
        told = f"{title} in {unit}: {', '.join(key.label for key in keys)}"
        out.append(Picture(title.lower(), title, "", told, plot, keys))
    return out


def _draw(
    found: Findings, plot: Any, times: Any, values: Any, window: tuple[int, int], colour: str, dash: str, width: float
) -> bool:
    """One line of a picture within the window; False if there is nothing of it there."""
    inside = (times >= window[0]) & (times <= window[1])
    x, y = _thinned(times[inside], values[inside])
    if len(x):
        plot.line(_local_ms(found, x.astype(np.float64)), y, line_color=colour, line_dash=dash, line_width=width)
    return bool(len(x))


def _marks(found: Findings, plot: Any, window: tuple[int, int]) -> None:
    """Upright lines where something happened."""
    from bokeh.models.annotations import Span

    for event in sorted(found.events, key=lambda e: e.kind == "trip"):  # on top of what fell with it
        if event.kind in _MARKS and window[0] <= event.time_ms <= window[1]:
            at = float(_local_ms(found, np.array([event.time_ms], dtype=np.float64))[0])
            plot.add_layout(
                Span(location=at, dimension="height", line_color=_MARKS[event.kind], line_alpha=0.6, line_width=1)
            )


def _limits(found: Findings, plot: Any, title: str) -> list[Key]:
    """Trip limits of the settings valid at the end, on the pressures."""
    if found.history is None or title != "Pressures":
        return []
    from bokeh.models.annotations import Span

    for one in watched_limits(found.history.last):
        if one.kind == "trip" and one.quantity in ("discharge pressure", "suction pressure"):
            plot.add_layout(
                Span(location=one.limit, dimension="width", line_color=LIMIT_COLOUR, line_dash="dashed", line_width=1)
            )
    return [Key("trip limits", LIMIT_COLOUR, "dashed")]


def answer_of(found: Findings, study: Study | None) -> list[tuple[str, list[str]]]:
    """The page's first words: what happened, what was changed before it, the cause, and whether other settings held."""
    out: list[tuple[str, list[str]]] = []
    stops = found.stops[-STOPS_FIRST:]
    happened = [stop_words(found, stop) for stop in stops] or found.words[:1]
    if len(found.stops) > len(stops):
        happened.insert(0, f"{len(found.stops)} stops are in the log; the last {len(stops)}:")
    out.append(("What happened", happened))
    changed = list(dict.fromkeys(line for stop in stops[-1:] for line in changes_before(found, stop)))
    if changed:
        out.append(("Changed before it", changed))
    if study is None:
        out.append(("Why, and what if", ["Not asked: it takes a plant file (--plant) and enough of the log."]))
        return out
    if study.diagnosis is None:
        out.append(("Why, and what if", study.words))
    else:
        out.append(("Why", diagnosis_words(study)[:1]))
    if study.what_if is not None:
        out.append(("Would other settings have held", study.what_if.words))
    return out


def window_of(found: Findings) -> tuple[int, int]:
    """What the pictures show: the whole of a short log, else an hour before the last stop to half an hour after."""
    start, end = found.data.start_ms, found.data.end_ms
    if end - start <= 4 * 3_600_000 or not found.stops:
        return start, max(end, start + 1)
    last = found.stops[-1].latest_ms
    return max(start, last - 3_600_000), min(end, last + 1_800_000)


def _axis_note(found: Findings) -> str:
    if not found.data.zone:
        return "Times as the log writes them."
    passes = any("(2nd)" in found.clock(e.time_ms) or "(1st)" in found.clock(e.time_ms) for e in found.events)
    return (
        f"Wall-clock time in {found.data.zone} as it stood at the start of the log; it runs on through a change of "
        "the clocks." + (" (1st) and (2nd) behind a time: the pass of the hour that comes twice." if passes else "")
    )


def write_replay_report(
    path: Path, found: Findings, title: str, facts: list[tuple[str, str]], study: Study | None = None
) -> None:
    """Write the page; a file that stood there is replaced whole or not at all.  Raises OSError."""
    window = window_of(found)
    panels = _plots(found, window)
    plant_panels = plant_plots(study, int(_local_ms(found, np.zeros(1))[0])) if study is not None else []
    answer = answer_of(found, study)
    said = {line for _, lines in answer for line in lines}
    lines = condensed(found.events, LINES_AT_MOST)
    write_page(
        path, Path(__file__).with_name("replay_page.html"), {p.name: p.plot for p in (*panels, *plant_panels)},
        title=title,
        caution=CAUTION,
        answer=answer,
        words=[line for line in found.words if line not in said],
        panels=panels,
        plant_panels=plant_panels,
        causes=causes_table(study) if study is not None else [],
        variants=variants_table(study) if study is not None else [],
        axis_note=_axis_note(found),
        stops=[
            {
                "at": found.clock(stop.latest_ms), "verdict": stop.verdict, "text": stop.text,
                "margins": [
                    {"quantity": m.quantity, "unit": m.unit, "limit": f"{m.limit:.5g}", "left": f"{m.left:.4g}",
                     "values": [{"back": f"−{b / 60_000:.0f} "
                                         f"min" if b else "last sample", "value": f"{v:.4g}"} for b, v in m.values]}
                    for m in stop.margins
                ],
            }
            for stop in found.stops
        ],
        lines=[
            {"at": found.clock(line.time_ms), "plus": f"± {line.uncertainty_ms / 1000.0:.1f} s", "kind": line.kind,
             "text": line.text + (f"  × {line.times}, last "
                                  f"{found.clock(line.last_ms)}" if line.times > 1 else ""), "source": line.source}
            for line in lines
        ],
        differences=[
            {"output": output_name(d.output), "at": found.clock(d.time_ms),
             "logged": state_word(found.data, d.output, d.logged),
             "recomputed": state_word(found.data, d.output, float(f"{d.recomputed:.4g}")), "why": list(d.why)}
            for d in (found.replay.differences if found.replay else [])
        ],
        replay_notes=list(found.replay.notes) if found.replay else [],
        missing=[output_name(n) for n in found.replay.missing] if found.replay else [],
        issues=[(name, [f"{i.kind}: "
                        f"{i.text}{f' (line {i.line})' if i.line else ''}" for i in issues]) for name,
                            issues in found.data.issues.items()],
        facts=facts,
    )  # fmt: skip
