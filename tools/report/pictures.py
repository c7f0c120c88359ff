"""Which panels a report has, and what is in each."""

from __future__ import annotations

from typing import Any

import numpy as np
from bokeh.models import ColumnDataSource, HoverTool

from controller.process_image import Trip
from scenarios.score_view import BAND_K, View, band_pressures_pa
from scenarios.steps import steps
from tools.charts import (
    BAND_COLOUR,
    CAPACITY_COLOUR,
    LIMIT_COLOUR,
    LOAD_COLOUR,
    SET_POINT_COLOUR,
    VOLUME_RATIO_COLOUR,
    Key,
)
from tools.report.panels import Panel, Sheet
from tools.report.runs import ReportRun, run_colour
from tools.report.thinning import join_spans, thin

LANES = (  # kind of event, its label, its mark
    ("disturbance", "load etc.", "inverted_triangle"),
    ("operator", "operator", "square"),
    ("instrument", "instrum.", "diamond"),
    ("sequence", "sequence", "circle"),
    ("start", "start", "triangle"),
    ("motor", "motor", "square_pin"),
    ("inhibit", "inhibit", "dash"),
    ("alarm", "alarm", "hex"),
    ("trip", "trip", "x"),
    ("run", "run", "star"),
)
MARKS_A_LANE = 1500
INK_ALONE = "#0b5c52"
DRIVES = (
    ("capacity_load", "load", CAPACITY_COLOUR, 1.0),
    ("capacity_unload", "unload", CAPACITY_COLOUR, 0.55),
    ("volume_ratio_increase", "ratio up", VOLUME_RATIO_COLOUR, 1.0),
    ("volume_ratio_decrease", "ratio down", VOLUME_RATIO_COLOUR, 0.55),
)


def _kpa(data: Any) -> Any:
    return data / 1e3


def _celsius(data: Any) -> Any:
    return data - 273.15


def _percent(data: Any) -> Any:
    return data * 100.0


def _same(data: Any) -> Any:
    return data


def _who(run: ReportRun, runs: list[ReportRun]) -> str:
    return f", {run.name}" if len(runs) > 1 else ""


def _disturbances(runs: list[ReportRun]) -> list[float]:
    return sorted({float(e.time_ms) for run in runs for e in run.trace.events if e.kind == "disturbance"})[:400]


def suction(sheet: Sheet) -> Panel:
    """Suction pressure of all runs over each other, with set point, band and limits."""
    runs = sheet.runs
    panel = sheet.panel(
        "suction",
        "Suction pressure",
        "Pressure at the compressor's suction flange against the working set point; vertical lines are disturbances.",
        "kPa abs",
        300,
    )
    alone = len(runs) == 1
    sheet.verticals(panel, _disturbances(runs), BAND_COLOUR)
    first = runs[0]
    reported = first.trace["suction_set_point_pa"]
    if first.refrigerant is not None and np.all(reported > 0.0):
        low, high = band_pressures_pa(first.refrigerant, reported)
        x, below = thin(first.trace["time_ms"], low / 1e3)
        above = np.interp(x, first.trace["time_ms"], high / 1e3)
        panel.plot.varea(x=x, y1=below, y2=above, fill_color=BAND_COLOUR, fill_alpha=0.16)
        panel.reach(below)
        panel.reach(above)
        panel.keys.append(Key("± 1 K saturated", BAND_COLOUR, "band"))
    for k, run in enumerate(runs):
        if alone:
            sheet.line(
                panel,
                run,
                "suction_pressure_measured_pa",
                _kpa,
                "as the controller reads it",
                "kPa",
                BAND_COLOUR,
                width=0.8,
            )
        label = "true" if alone else run.name
        colour = INK_ALONE if alone else run_colour(k)
        sheet.line(panel, run, "suction_pressure_pa", _kpa, label, "kPa", colour, width=1.4 + 0.2 * k)
    _set_points(sheet, panel)
    limits = first.limits
    if limits is not None:
        for value, word, style in (
            (limits.suction_hold_pa, "load hold", "dotted"),
            (limits.suction_unload_pa, "forced unload", "dotdash"),
        ):
            if value is not None:
                sheet.limit(panel, value / 1e3, f"{word} below {value / 1e3:.0f} kPa", LIMIT_COLOUR, style)
        trip = limits.trip(Trip.LOW_SUCTION_PRESSURE)
        if trip is not None:
            sheet.limit(panel, trip.limit / 1e3, f"trip below {trip.limit / 1e3:.0f} kPa", LIMIT_COLOUR)
    return panel


def _set_points(sheet: Sheet, panel: Panel) -> None:
    """The working set point of each run, drawn once where runs share it."""
    drawn: list[ReportRun] = []
    for k, run in enumerate(sheet.runs):
        wanted = run.trace["suction_set_point_pa"]
        held = [one for one in drawn if np.array_equal(one.trace["suction_set_point_pa"], wanted)]
        if held or not np.any(wanted > 0.0):
            continue
        drawn.append(run)
        alone = k == 0 and all(np.array_equal(one.trace["suction_set_point_pa"], wanted) for one in sheet.runs)
        sheet.line(
            panel, run, "suction_set_point_pa", lambda p: np.where(p > 0.0, p / 1e3, np.nan),
            "set point" if alone else f"set point, {run.name}", "kPa",
            SET_POINT_COLOUR if alone else run_colour(k), "dashed", 1.0, step=True,
        )  # fmt: skip


def deviation(sheet: Sheet) -> Panel | None:
    """Deviation from the set point in K of saturated suction, on a scale that no pull-down can squeeze."""
    panel = sheet.panel(
        "deviation",
        "Deviation of saturated suction from the set point",
        "In K, from the first row in automatic. The scale is held at ± 2 K so that runs compare; what lies beyond is "
        "cut here and seen whole above.",
        "K",
        230,
        y_range=(-2.0, 2.0),
    )
    drawn = False
    for k, run in enumerate(sheet.runs):
        view = View(run.trace, run.limits, run.refrigerant)
        if run.refrigerant is None or not view.has_set_point:
            continue
        colour = INK_ALONE if len(sheet.runs) == 1 else run_colour(k)
        sheet.curve(panel, view["time_ms"], view.deviation_k, run.name, "K", colour, "solid", 1.4 + 0.2 * k)
        drawn = True
    sheet.verticals(panel, _disturbances(sheet.runs), BAND_COLOUR)
    for edge in (-BAND_K, BAND_K):
        sheet.limit(panel, edge, "", BAND_COLOUR)
    panel.keys.append(Key("± 1 K", BAND_COLOUR, "dashed"))
    return panel if drawn else None


def events(sheet: Sheet) -> Panel | None:
    """All events but the drives', a lane for each kind; runs one above the other in it."""
    runs = sheet.runs
    present = [lane for lane in LANES if any(e.kind == lane[0] for run in runs for e in run.trace.events)]
    if not present:
        return None
    count = len(present)
    panel = sheet.panel(
        "events",
        "Events",
        "Every event but the slides' drives; point at a mark to read it. Disturbances are shown once.",
        "",
        60 + 24 * count,
        y_range=(count - 0.5, -0.5),
    )
    for lane, (kind, _, mark) in enumerate(present):
        for k, run in enumerate(runs):
            if kind == "disturbance" and k:
                continue
            found = [e for e in run.trace.events if e.kind == kind]
            if len(found) > MARKS_A_LANE:
                panel.caption += f" {kind}{_who(run, runs)}: {MARKS_A_LANE} of {len(found)} shown."
                found = found[:: -(-len(found) // MARKS_A_LANE)]
            if not found:
                continue
            shared = kind == "disturbance" or len(runs) == 1
            shift = 0.0 if shared else 0.4 * ((k + 0.5) / len(runs) - 0.5)
            source = ColumnDataSource(
                {
                    "x": [float(e.time_ms) for e in found],
                    "y": [lane + shift] * len(found),
                    "text": [e.text or e.source for e in found],
                    "who": ["all runs" if kind == "disturbance" else run.name] * len(found),
                }
            )
            colour = INK_ALONE if shared else run_colour(k)
            drawn = panel.plot.scatter(
                "x", "y", source=source, marker=mark, size=9, fill_color=colour, line_color=colour, fill_alpha=0.75
            )
            panel.plot.add_tools(
                HoverTool(
                    renderers=[drawn],
                    tooltips=[("time", "@x{%H:%M:%S.%3N}"), ("what", "@text"), ("run", "@who")],
                    formatters={"@x": "datetime"},
                    visible=False,
                )
            )
    panel.plot.yaxis.ticker = list(range(count))
    panel.plot.yaxis.major_label_overrides = {k: label for k, (_, label, _) in enumerate(present)}
    if len(runs) > 1:
        panel.keys += [Key(run.name, run_colour(k), "mark") for k, run in enumerate(runs)]
    return panel


def slides(sheet: Sheet, k: int) -> Panel:
    """Both slides of one run with their demands; stretches under an inhibit are shaded."""
    run = sheet.runs[k]
    panel = sheet.panel(
        f"slides-{k}",
        f"Slides{_who(run, sheet.runs)}",
        "Travel of both slides, 0 = minimum, 100 % = full load or highest ratio, and what the controller aims at. "
        "Shaded: capacity held back by a limit.",
        "% of travel",
        230,
        y_range=(-4, 104),
    )
    sheet.shade(panel, join_spans(steps(run.trace, "inhibit").spans_ms(), 1000), -4.0, 104.0, LIMIT_COLOUR)
    for column, label, colour, style, width in (
        ("capacity_demand_frac", "capacity demand", CAPACITY_COLOUR, "dotted", 1.2),
        ("volume_ratio_demand_frac", "volume-ratio demand", VOLUME_RATIO_COLOUR, "dotted", 1.2),
        ("capacity_travel_frac", "capacity slide", CAPACITY_COLOUR, "solid", 1.8),
        ("volume_ratio_travel_frac", "volume-ratio slide", VOLUME_RATIO_COLOUR, "solid", 1.8),
    ):
        sheet.line(panel, run, column, _percent, label, "%", colour, style, width)
    return panel


def drives(sheet: Sheet, k: int) -> Panel:
    """When each drive was on, at the exact scan."""
    run = sheet.runs[k]
    panel = sheet.panel(
        f"drives-{k}",
        f"Drives{_who(run, sheet.runs)}",
        "When each slide drive was energised, to the scan.",
        "",
        128,
        y_range=(3.5, -0.5),
    )
    counts = []
    for lane, (column, label, colour, alpha) in enumerate(DRIVES):
        spans = steps(run.trace, column).spans_ms()
        counts.append(f"{label} {len(spans)}")
        shown = join_spans(spans)
        panel.plot.hbar(
            y=[lane] * len(shown), left=[a for a, _ in shown], right=[b for _, b in shown], height=0.7,
            fill_color=colour, line_color=colour, fill_alpha=alpha, line_alpha=alpha,
        )  # fmt: skip
    panel.caption += f" Operations: {', '.join(counts)}."
    panel.plot.yaxis.ticker = [0, 1, 2, 3]
    panel.plot.yaxis.major_label_overrides = {lane: label for lane, (_, label, _, _) in enumerate(DRIVES)}
    return panel


def volume_ratio(sheet: Sheet, k: int) -> Panel:
    """Volume ratio that the gas sees against the best that is possible."""
    run = sheet.runs[k]
    panel = sheet.panel(
        f"volume-ratio-{k}",
        f"Volume ratio{_who(run, sheet.runs)}",
        "Volume ratio that the gas sees (trapped fraction × full-load ratio), the best the slide can reach at this "
        "capacity, and the ideal one for the pressure ratio.",
        "ratio",
    )
    for column, label, colour, style, width in (
        ("volume_ratio_ideal", "ideal", SET_POINT_COLOUR, "dotted", 1.2),
        ("volume_ratio_attainable", "best attainable", BAND_COLOUR, "dashed", 1.4),
        ("volume_ratio", "seen by the gas", VOLUME_RATIO_COLOUR, "solid", 1.8),
    ):
        sheet.line(panel, run, column, _same, label, "", colour, style, width)
    return panel


def _over_each_other(
    sheet: Sheet, panel: Panel, columns: tuple[tuple[str, str, str], ...], scale: Any, unit: str
) -> None:
    """The same columns of every run: style tells the column, colour the run."""
    alone = len(sheet.runs) == 1
    for k, run in enumerate(sheet.runs):
        for column, label, style in columns:
            name = label if alone else f"{label}, {run.name}"
            colour = INK_ALONE if alone else run_colour(k)
            sheet.line(panel, run, column, scale, name, unit, colour, style, 1.4 + 0.2 * k)


def power(sheet: Sheet) -> Panel:
    """Electrical power of motor and auxiliaries."""
    panel = sheet.panel(
        "power", "Electrical power", "Compressor motor, and oil pump with oil heater and condenser fans.", "kW"
    )
    columns = (("motor_power_w", "motor", "solid"), ("auxiliary_power_w", "auxiliaries", "dashed"))
    _over_each_other(sheet, panel, columns, _kpa, "kW")
    return panel


def heat(sheet: Sheet) -> Panel:
    """Load on the rooms against the cooling delivered."""
    panel = sheet.panel(
        "heat", "Load and cooling", "Heat load on the rooms, and heat that the evaporators took up.", "kW"
    )
    sheet.line(panel, sheet.runs[0], "load_heat_w", _kpa, "load", "kW", LOAD_COLOUR, "dotted", 1.2)
    _over_each_other(sheet, panel, (("evaporator_heat_w", "cooling", "solid"),), _kpa, "kW")
    return panel


def discharge(sheet: Sheet) -> Panel:
    """Discharge pressure with its limits."""
    panel = sheet.panel("discharge", "Discharge pressure", "Pressure in condenser and receiver.", "kPa abs")
    _over_each_other(sheet, panel, (("discharge_pressure_pa", "discharge", "solid"),), _kpa, "kPa")
    limits = sheet.runs[0].limits
    if limits is not None:
        for value, word, style in (
            (limits.discharge_hold_pa, "load hold", "dotted"),
            (limits.discharge_unload_pa, "forced unload", "dotdash"),
        ):
            if value is not None:
                sheet.limit(panel, value / 1e3, f"{word} above {value / 1e3:.0f} kPa", LIMIT_COLOUR, style)
        trip = limits.trip(Trip.HIGH_DISCHARGE_PRESSURE)
        if trip is not None:
            sheet.limit(panel, trip.limit / 1e3, f"trip above {trip.limit / 1e3:.0f} kPa", LIMIT_COLOUR)
    return panel


def temperatures(sheet: Sheet) -> Panel:
    """Discharge and oil temperature."""
    panel = sheet.panel(
        "temperatures", "Temperatures", "Gas and oil at the discharge flange, oil as supplied, and the room.", "°C"
    )
    columns = (
        ("discharge_temperature_k", "discharge", "solid"),
        ("oil_temperature_k", "oil supply", "dashed"),
        ("room_temperature_k", "room", "dotted"),
    )
    _over_each_other(sheet, panel, columns, _celsius, "°C")
    trip = sheet.runs[0].limits.trip(Trip.HIGH_DISCHARGE_TEMPERATURE) if sheet.runs[0].limits else None
    if trip is not None:
        sheet.limit(panel, trip.limit - 273.15, f"trip above {trip.limit - 273.15:.0f} °C", LIMIT_COLOUR)
    return panel


def all_panels(runs: list[ReportRun]) -> list[Panel]:
    """Every panel of a report, in reading order."""
    sheet = Sheet(runs)
    each = range(len(runs))
    found = [suction(sheet), deviation(sheet), events(sheet)]
    found += [make(sheet, k) for k in each for make in (slides, drives)]
    found += [volume_ratio(sheet, k) for k in each]
    found += [power(sheet), heat(sheet), discharge(sheet), temperatures(sheet)]
    return [panel for panel in found if panel is not None]
