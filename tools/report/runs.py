"""What a report is made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from controller.process_image import Trip
from scenarios.limits import Limits
from scenarios.scoring import Scores
from scenarios.trace import Trace
from tools.charts import RUN_COLOURS, RUN_DASHES

if TYPE_CHECKING:
    from tools.figures.trends import Trend
    from tools.report.panels import RunSheet


@dataclass(frozen=True, slots=True)
class ReportRun:
    """A run to report.

    `facts` are shown as they are; `refrigerant` (property record) draws the ± 1 K band; `parameters` of the plant
    (`Prepared.parameters`) draw loop, strip and map at the cursor; `settings` of a shipped controller draw its limits.
    """

    name: str
    trace: Trace
    scores: Scores
    limits: Limits | None
    facts: dict[str, str] = field(default_factory=dict)
    failure: str | None = None
    refrigerant: Any = None
    parameters: Any = None
    settings: Any = None
    purpose: str = ""
    expects: str = ""


def run_colour(k: int) -> str:
    """Colour of run k in a picture that several share."""
    return RUN_COLOURS[k % len(RUN_COLOURS)]


def dash_of(k: int) -> str:
    """Dash of run k in a picture where each run has one curve: a second sign beside its colour."""
    return RUN_DASHES[k % len(RUN_DASHES)]


def drawn_limits(made: RunSheet, trend: Trend, column: str) -> None:
    """Draw what the first run's controller and plant are set to, for a column of the trace, in people's units."""
    run = made.runs[0]
    common = getattr(run.settings, "common", None)
    if column == "vessel_level_frac" and run.parameters is not None:
        vessel = run.parameters.plant.suction_vessel
        made.limit(trend, 100.0 * vessel.high_high_level_frac, f"high-high {100.0 * vessel.high_high_level_frac:.0f} %")
        made.limit(trend, 100.0 * vessel.level_set_frac, "feed set point", "dotted")
    if column == "discharge_pressure_pa" and run.limits is not None:
        for value, word, dash in (
            (run.limits.discharge_hold_pa, "load hold", "dotted"),
            (run.limits.discharge_unload_pa, "forced unload", "dotdash"),
        ):
            if value is not None:
                made.limit(trend, value / 1e3, f"{word} above {value / 1e3:.0f} kPa", dash)
        trip = run.limits.trip(Trip.HIGH_DISCHARGE_PRESSURE)
        if trip is not None:
            made.limit(trend, trip.limit / 1e3, f"trip above {trip.limit / 1e3:.0f} kPa")
    if column == "discharge_temperature_k" and run.limits is not None:
        trip = run.limits.trip(Trip.HIGH_DISCHARGE_TEMPERATURE)
        if trip is not None:
            made.limit(trend, trip.limit - 273.15, f"discharge trip above {trip.limit - 273.15:.0f} °C")
    if common is None:
        return
    protection, hold = common.protection, common.inhibit
    if column == "motor_current_a":
        share_a = 0.01 * common.motor.full_load_current_a
        for percent, word, dash in (
            (hold.current_hold_pct, "load hold", "dotted"), (hold.current_unload_pct, "forced unload", "dotdash"),
            (protection.motor_overload_trip_pct, "overload trip", "dashed"),
        ):  # fmt: skip
            made.limit(trend, percent * share_a, f"{word} above {percent * share_a:.0f} A", dash)
    if column == "discharge_temperature_k":
        oil_c = protection.high_oil_temperature_trip_c
        made.limit(trend, oil_c, f"oil trip above {oil_c:.0f} °C", "dotdash")
    if column == "oil_differential_pa" and protection.oil_difference.name == "SUPPLY_LESS_DISCHARGE":
        for value_kpa, word, dash in (
            (protection.low_oil_differential_trip_kpa, "trip", "dashed"),
            (protection.low_oil_differential_alarm_kpa, "alarm", "dotted"),
        ):
            made.limit(trend, value_kpa, f"{word} below {value_kpa:.0f} kPa", dash)
