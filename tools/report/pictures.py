"""Which trends a report has, and what is in each."""

from __future__ import annotations

from typing import Any

import numpy as np

from controller.process_image import Trip
from scenarios.score_view import BAND_K, View, band_pressures_pa
from scenarios.steps import steps
from tools.figures.trends import TrendSheet
from tools.report.moment import moment_data
from tools.report.panels import BAND, CAPACITY, PLAIN, RATIO, SET_POINT, Lane, RunSheet, ink_of
from tools.report.runs import ReportRun, dash_of, drawn_limits
from tools.report.thinning import join_spans

LANES = (  # kind of event, its label
    ("disturbance", "load etc."),
    ("operator", "operator"),
    ("instrument", "instrument"),
    ("sequence", "sequence"),
    ("start", "start"),
    ("motor", "motor"),
    ("inhibit", "held back"),
    ("alarm", "alarm"),
    ("trip", "trip"),
    ("run", "run"),
)
DRIVES = (
    ("capacity_load", "load", CAPACITY, False),
    ("capacity_unload", "unload", CAPACITY, True),
    ("volume_ratio_increase", "ratio up", RATIO, False),
    ("volume_ratio_decrease", "ratio down", RATIO, True),
)


def _kpa(data: Any) -> Any:
    return data / 1e3


def _celsius(data: Any) -> Any:
    return data - 273.15


def _percent(data: Any) -> Any:
    return data * 100.0


def _same(data: Any) -> Any:
    return data


def _who(run: ReportRun, made: RunSheet) -> str:
    return "" if made.alone else f", {run.name}"


def suction(made: RunSheet) -> None:
    """Suction pressure of all runs over each other, with set point, band and limits."""
    trend = made.add(
        "suction", "Suction pressure",
        "At the compressor's suction flange, against the working set point. Vertical lines: disturbances dotted, operator "
        "dashed, trips full.",
        "kPa abs", height=270,
    )  # fmt: skip
    first = made.runs[0]
    wanted = first.trace["suction_set_point_pa"]
    if first.refrigerant is not None and np.any(wanted > 0.0):
        known = np.where(wanted > 0.0, wanted, wanted.max())
        low, high = (np.where(wanted > 0.0, edge / 1e3, np.nan) for edge in band_pressures_pa(first.refrigerant, known))
        made.band(trend, 0, low, high, f"± 1 K saturated{_who(first, made)}")
    if made.alone:
        read = _kpa(first.trace["suction_pressure_measured_pa"])
        made.curve(trend, 0, read, "as the controller reads it", BAND, width=0.8)
    made.each(trend, "suction_pressure_pa", _kpa, "true" if made.alone else "")
    _set_points(made, trend)
    limits = first.limits
    if limits is not None:
        for value, word, dash in (
            (limits.suction_hold_pa, "load hold", "dotted"), (limits.suction_unload_pa, "forced unload", "dotdash")
        ):  # fmt: skip
            if value is not None:
                made.limit(trend, value / 1e3, f"{word} below {value / 1e3:.0f} kPa", dash)
        trip = limits.trip(Trip.LOW_SUCTION_PRESSURE)
        if trip is not None:
            made.limit(trend, trip.limit / 1e3, f"trip below {trip.limit / 1e3:.0f} kPa")


def _set_points(made: RunSheet, trend: Any) -> None:
    """The working set point of each run, drawn once where runs share it."""
    drawn: list[Any] = []
    all_wanted = [run.trace["suction_set_point_pa"] for run in made.runs]
    shared = all(np.array_equal(all_wanted[0], one) for one in all_wanted)
    for k, wanted in enumerate(all_wanted):
        if not np.any(wanted > 0.0) or any(np.array_equal(wanted, one) for one in drawn):
            continue
        drawn.append(wanted)
        label = "set point" if shared else f"set point, {made.runs[k].name}"
        made.curve(
            trend, k, np.where(wanted > 0.0, wanted / 1e3, np.nan), label, SET_POINT if shared else ink_of(k), "dashed",
            width=1.0, step=True,
        )  # fmt: skip


def deviation(made: RunSheet) -> None:
    """Deviation from the set point in K of saturated suction, on a scale that no pull-down can squeeze."""
    views = [View(run.trace, run.limits, run.refrigerant) for run in made.runs]
    if not any(run.refrigerant is not None and view.has_set_point for run, view in zip(made.runs, views, strict=True)):
        return
    trend = made.add(
        "deviation", "Deviation of saturated suction from the set point",
        "From the first row in automatic. The scale is held at ± 2 K so that runs compare; what lies beyond is cut here "
        "and seen whole above.",
        "K", height=210, span=(-2.0, 2.0),
    )  # fmt: skip
    for k, (run, view) in enumerate(zip(made.runs, views, strict=True)):
        if run.refrigerant is None or not view.has_set_point:
            continue
        data = np.full(len(run.trace["time_ms"]), np.nan)
        data[view.first or 0 :] = view.deviation_k
        made.curve(trend, k, data, run.name, PLAIN if made.alone else ink_of(k), dash_of(k), digits=2)
    for edge in (-BAND_K, BAND_K):
        made.limit(trend, edge, f"{edge:+.0f} K".replace("-", "−"), colour=BAND)


def events(made: RunSheet) -> None:
    """All events but the slides' drives, a lane for each kind; of several runs a lane for each."""
    lanes = []
    for kind, label in LANES:
        for k, run in enumerate(made.runs):
            if kind == "disturbance" and k:
                continue
            found = [(e.time_ms, e.text or e.source) for e in run.trace.events if e.kind == kind]
            if not found:
                continue
            shared = made.alone or kind == "disturbance"
            lanes.append(Lane(label if shared or not k else "", [], found, PLAIN if shared else ink_of(k)))
    if not lanes:
        return
    words = "Every event but the slides' drives; their words stand in the list of events below."
    if not made.alone:
        words += f" From above in each kind: {', '.join(run.name for run in made.runs)}."
    made.add("events", "Events", words, height=40 + (22 if made.alone else 15) * len(lanes), lanes=lanes)


def slides(made: RunSheet, k: int) -> None:
    """Both slides of one run with their demands and end stops; stretches under an inhibit are shaded."""
    run = made.runs[k]
    trend = made.add(
        f"slides-{k}", f"Slides{_who(run, made)}",
        "Travel of both slides between their end stops, 0 = minimum, 100 % = full load or highest ratio, and what the "
        "controller aims at. Shaded: capacity held back by a limit.",
        "%", height=220, span=(-4.0, 104.0), shaded=join_spans(steps(run.trace, "inhibit").spans_ms(), 1000),
    )  # fmt: skip
    for column, label, colour, dash, width in (
        ("capacity_demand_frac", "capacity demand", CAPACITY, "dotted", 1.3),
        ("volume_ratio_demand_frac", "volume-ratio demand", RATIO, "dotted", 1.3),
        ("capacity_travel_frac", "capacity slide", CAPACITY, "solid", 1.9),
        ("volume_ratio_travel_frac", "volume-ratio slide", RATIO, "solid", 1.9),
    ):
        made.curve(trend, k, _percent(run.trace[column]), label, colour, dash, width=width)
    for stop in (0.0, 100.0):
        made.limit(trend, stop, "", "solid", SET_POINT)
    start = run.limits.capacity_start_frac if run.limits is not None else None
    if start is not None:
        made.limit(trend, 100.0 * start, f"start allowed below {100.0 * start:.0f} %", "dotted")


def drives(made: RunSheet, k: int) -> None:
    """When each drive was on, at the exact scan."""
    run = made.runs[k]
    all_spans = [steps(run.trace, column).spans_ms() for column, *_ in DRIVES]
    told = ", ".join(f"{label} {len(spans)}" for (_, label, *_), spans in zip(DRIVES, all_spans, strict=True))
    trend = made.add(
        f"drives-{k}", f"Drives{_who(run, made)}",
        f"When each slide drive was energised, to the scan. Operations: {told}.", height=112,
    )  # fmt: skip
    for (_, label, colour, faint), spans in zip(DRIVES, all_spans, strict=True):
        made.lane(trend, label, spans, colour, faint)


def volume_ratio(made: RunSheet, k: int) -> None:
    """Volume ratio that the gas sees against the best that is possible."""
    run = made.runs[k]
    trend = made.add(
        f"volume-ratio-{k}", f"Volume ratio{_who(run, made)}",
        "What the gas sees (trapped fraction × full-load ratio), the best the slide can reach at this capacity, and the "
        "ideal one for the pressure ratio.",
    )  # fmt: skip
    for column, label, colour, dash, width in (
        ("volume_ratio_ideal", "ideal", SET_POINT, "dotted", 1.3),
        ("volume_ratio_attainable", "best attainable", BAND, "dashed", 1.5),
        ("volume_ratio", "seen by the gas", RATIO, "solid", 1.8),
    ):
        made.curve(trend, k, run.trace[column], label, colour, dash, width=width, digits=2, unit="")


def power(made: RunSheet) -> None:
    """Electrical power of motor and auxiliaries, and what the volume ratio costs."""
    trend = made.add(
        "power", "Power",
        "Electrical power of the compressor motor and of oil pump, oil heater and condenser fans; shaft power lost to a "
        "volume ratio that is not the best attainable one.",
        "kW",
    )  # fmt: skip
    made.each(trend, "motor_power_w", _kpa, "motor")
    made.each(trend, "auxiliary_power_w", _kpa, "auxiliaries", "dashed")
    made.each(trend, "mismatch_power_w", _kpa, "volume-ratio mismatch", "dotted", digits=2)


def current(made: RunSheet) -> None:
    """Motor current with its limits."""
    trend = made.add("current", "Motor current", "Current of the compressor motor.", "A")
    made.each(trend, "motor_current_a", _same, "current", digits=0)
    drawn_limits(made, trend, "motor_current_a")


def heat(made: RunSheet) -> None:
    """Load on the rooms against the cooling delivered."""
    trend = made.add("heat", "Load and cooling", "Heat load on the rooms, and heat that the evaporators took up.", "kW")
    made.curve(trend, 0, _kpa(made.runs[0].trace["load_heat_w"]), "load", SET_POINT, "dotted", width=1.3)
    made.each(trend, "evaporator_heat_w", _kpa, "cooling")


def discharge(made: RunSheet) -> None:
    """Discharge pressure with its limits."""
    trend = made.add("discharge", "Discharge pressure", "Pressure in condenser and receiver.", "kPa abs")
    made.each(trend, "discharge_pressure_pa", _kpa, "discharge")
    drawn_limits(made, trend, "discharge_pressure_pa")


def temperatures(made: RunSheet) -> None:
    """Discharge and oil temperature, and the room."""
    trend = made.add(
        "temperatures", "Temperatures",
        "Gas and oil at the discharge flange, oil as supplied, the room, and the wet bulb at the condenser.", "°C",
    )  # fmt: skip
    made.each(trend, "discharge_temperature_k", _celsius, "discharge")
    made.each(trend, "oil_temperature_k", _celsius, "oil supply", "dashed")
    made.each(trend, "room_temperature_k", _celsius, "room", "dotted", digits=2)
    wet_bulb = _celsius(made.runs[0].trace["wet_bulb_temperature_k"])
    if np.any(wet_bulb > -273.0):
        made.curve(trend, 0, wet_bulb, "wet bulb", BAND, "dotdash", width=1.2)
    drawn_limits(made, trend, "discharge_temperature_k")


def oil(made: RunSheet) -> None:
    """Oil differential with its limits."""
    trend = made.add(
        "oil", "Oil differential", "Oil supply pressure above the separator's.", "kPa", height=150
    )  # fmt: skip
    made.each(trend, "oil_differential_pa", _kpa, "oil supply above separator")
    drawn_limits(made, trend, "oil_differential_pa")


def level(made: RunSheet) -> None:
    """Liquid in the suction vessel."""
    trend = made.add(
        "level", "Level in the suction vessel",
        "Liquid by volume, and the level that its bubbles make of it, which is what carries over.", "%", height=150,
    )  # fmt: skip
    made.each(trend, "vessel_level_frac", _percent, "liquid")
    made.each(trend, "vessel_swollen_level_frac", _percent, "swollen", "dashed")
    drawn_limits(made, trend, "vessel_level_frac")


def run_sheet(runs: list[ReportRun], name: str = "run") -> TrendSheet:
    """Every trend of a report, in reading order, with its marks, states, and the figures at the cursor."""
    made = RunSheet(runs, name)
    each = range(len(runs))
    suction(made)
    deviation(made)
    events(made)
    for k in each:
        slides(made, k)
        drives(made, k)
    for k in each:
        volume_ratio(made, k)
    for draw in (power, current, heat, discharge, temperatures, oil, level):
        draw(made)
    made.note_marks()
    made.note_states()
    made.sheet.cursor = moment_data(made)
    return made.sheet
