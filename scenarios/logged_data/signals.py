"""The signals that a column may be: those of the process image, and what loggers record beside it.

Unit, usual span and meaning come from the process image itself; here stands what a header must name, and what the value
of such a signal can be while the machine runs.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from functools import cache
from typing import Any, get_type_hints

from controller.process_image import Inputs, Outputs
from scenarios.record_fields import UNIT_SUFFIXES, suffix_of
from scenarios.row import COLUMNS


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal.  kind: "analog", "contact", "state" (an enumeration), "word" (of bits), "count" or "set".

    low, high: what its value can be at all, in its unit; usual: what it is while the machine runs (common practice, no
    source), None where nothing is usual; needs: sets of concepts of which a header must name one set; never: concepts
    that exclude it; may: concepts that are no surprise beside the needed ones.
    """

    name: str
    unit: str
    of: str
    kind: str
    low: float
    high: float
    usual: tuple[float, float] | None
    needs: tuple[frozenset[str], ...]
    never: frozenset[str]
    may: frozenset[str]
    states: Any = None
    means: str = ""

    @property
    def is_input(self) -> bool:
        """Whether a controller reads it."""
        return self.name in INPUT_NAMES


INPUT_NAMES = frozenset(f.name for f in fields(Inputs))
OUTPUT_NAMES = frozenset(f.name for f in fields(Outputs))
_USUAL = {
    "suction_pressure_kpa_abs": (40.0, 600.0),
    "discharge_pressure_kpa_abs": (500.0, 2200.0),
    "suction_temperature_c": (-50.0, 25.0),
    "discharge_temperature_c": (30.0, 115.0),
    "oil_pressure_before_filter_kpa_abs": (400.0, 2800.0),
    "oil_pressure_kpa_abs": (400.0, 2800.0),
    "oil_temperature_c": (20.0, 75.0),
    "oil_level_pct": (15.0, 100.0),
    "motor_current_a": (10.0, 1500.0),
    "motor_power_kw": (5.0, 1500.0),
    "process_temperature_c": (-50.0, 30.0),
    "oil_differential_kpa": (20.0, 700.0),
    "filter_differential_kpa": (0.0, 200.0),
    "suction_set_point_kpa_abs": (40.0, 600.0),
    "wet_bulb_temperature_c": (-30.0, 35.0),
}
_POSSIBLE = {  # wider than a transmitter's span: what the thing itself can be
    "kPa absolute": (0.0, 4000.0), "kPa difference": (-3000.0, 3000.0), "°C": (-90.0, 200.0), "%": (-5.0, 106.0),
    "A": (-20.0, 3000.0), "kW": (-20.0, 5000.0), "ms": (0.0, 2.0**53), "h": (0.0, 1e6), "1": (0.0, 1e9),
    "1/min": (0.0, 20_000.0),
}  # fmt: skip

_N = {  # signal: (needs …), never, may
    "suction_pressure_kpa_abs": ("suction pressure | suction saturated temperature | suction "
                                 "saturated", "set demand oil differential alarm superheat discharge filter hours", "motor"),
    "discharge_pressure_kpa_abs": ("discharge pressure | discharge saturated temperature | discharge "
                                   "saturated", "set demand oil differential alarm superheat suction filter fan", ""),
    "suction_temperature_c": ("suction temperature", "set saturated superheat oil differential alarm discharge "
                                                     "room pressure", ""),
    "discharge_temperature_c": ("discharge temperature", "set saturated superheat oil differential alarm "
                                                         "suction", "pressure"),
    "oil_pressure_before_filter_kpa_abs": ("oil pressure before filter | oil pressure "
                                           "before", "set differential alarm temperature", "pump"),
    "oil_pressure_kpa_abs": ("oil pressure", "set differential alarm temperature before level", "after filter pump"),
    "oil_temperature_c": ("oil temperature", "set alarm pressure level differential", "after"),
    "oil_level_pct": ("oil level", "alarm temperature pressure", "vessel"),
    "motor_current_a": ("current", "set alarm hours limit inhibit oil fan pump", "motor"),
    "motor_power_kw": ("motor power | power", "set alarm slide position capacity cooling pump fan demand oil "
                                              "current ratio", "motor cooling"),
    "capacity_position_pct": ("capacity position | capacity slide | capacity slide position | capacity", "ratio "
        "opposite demand set up down drive manual command inhibit alarm motor", "slide power position"),
    "capacity_position_opposite_pct": ("capacity opposite", "ratio demand set up down drive manual "
                                                            "alarm", "slide position power"),
    "volume_ratio_position_pct": ("ratio position | ratio slide | ratio slide position | "
                                  "ratio", "opposite demand set up down drive manual command "
                                           "alarm", "slide position capacity"),
    "volume_ratio_position_opposite_pct": ("ratio opposite", "demand set up down drive manual alarm", "slide position"),
    "process_temperature_c": ("room temperature", "set alarm oil suction discharge wetbulb ambient", ""),
    "vessel_high_high_level": ("highhigh level | highhigh vessel | vessel highhigh level", "oil", "vessel alarm level"),
    "motor_running": ("motor running | running", "command hours demand remote count starts alarm oil pump fan "
                                                 "heater other stop", "motor"),
    "safety_chain_closed": ("chain", "", "stop"),
    "stop_button_pressed": ("stop", "chain", "alarm"),
    "reset_pressed": ("reset", "", "alarm trip"),
    "valves_open": ("valves", "", ""),
    "remote_run": ("remote running | remote command", "", "motor demand"),
    "second_set_point": ("second", "", "set"),
    "capacity_manual": ("capacity manual | slide manual", "ratio demand position", "slide power auto mode position"),
    "volume_ratio_manual": ("ratio manual", "demand position", "slide auto mode"),
    "selection": ("selection | remote local", "", "mode local remote"),
    "remote_demand_pct": ("remote demand", "", "capacity set power"),
    "capacity_manual_demand_pct": ("capacity manual demand | capacity manual set", "ratio", "slide power position"),
    "volume_ratio_manual_demand_pct": ("ratio manual demand | ratio manual set", "", "slide position"),
    "announced_load_pct": ("announced", "", "up cooling"),
    "motor_run": ("motor command | command running | command", "slide capacity ratio oil pump alarm hours", "motor running"),
    "oil_pump": ("oil pump", "pressure temperature current alarm", "running command motor"),
    "oil_heater": ("oil heater | heater", "temperature alarm", "running command"),
    "injection_cooling": ("injection", "temperature pressure alarm", "drive command"),
    "capacity_load": ("capacity up | slide up", "down ratio demand manual cooling alarm "
                                                "position", "slide drive power command"),
    "capacity_unload": ("capacity down | slide down", "ratio demand manual cooling alarm "
                                                      "position", "slide drive power command up"),
    "volume_ratio_increase": ("ratio up", "down demand manual alarm position", "slide drive command"),
    "volume_ratio_decrease": ("ratio down", "demand manual alarm position", "slide drive command up"),
    "mode": ("mode", "alarm manual capacity ratio slide", "running"),
    "inhibit": ("inhibit", "alarm current", "up capacity power"),
    "trip_first_out": ("first | trip first", "", "trip alarm"),
    "trip_word": ("trip word", "", "alarm"),
    "alarm_word": ("alarm word", "trip", ""),
    "capacity_demand_pct": ("capacity demand | slide demand | capacity "
                            "set", "ratio manual remote pressure", "slide position power"),
    "volume_ratio_demand_pct": ("ratio demand | ratio set", "manual", "slide position"),
    "suction_set_point_kpa_abs": ("suction set | pressure set", "discharge oil temperature manual alarm trip", "pressure"),
    "oil_differential_kpa": ("oil differential | oil pressure differential", "filter alarm set", "pressure"),
    "filter_differential_kpa": ("filter differential", "alarm set", "oil pressure"),
    "vessel_level_pct": ("vessel level", "oil highhigh alarm", ""),
    "wet_bulb_temperature_c": ("wetbulb", "", "temperature ambient"),
    "ambient_temperature_c": ("ambient temperature", "wetbulb", ""),
    "load_kw": ("cooling", "set", "power capacity up"),
    "starts_count": ("starts", "hours", "motor count command"),
    "running_hours_h": ("hours", "", "running motor count"),
    "trips_count": ("trip count", "", "alarm"),
}  # fmt: skip
_EXTRA = {
    "oil_differential_kpa": "oil supply pressure above discharge or suction pressure, as the logger forms it",
    "filter_differential_kpa": "pressure drop of the oil filter, as the logger forms it",
    "vessel_level_pct": "liquid in the suction vessel",
    "wet_bulb_temperature_c": "wet bulb at the condenser",
    "ambient_temperature_c": "air outside",
    "load_kw": "cooling load, metered",
    "starts_count": "latched counter of motor starts",
    "running_hours_h": "latched counter of hours",
    "trips_count": "latched counter of trips",
    "capacity_load_on_ms": "load drive on since the row before",
    "capacity_unload_on_ms": "unload drive on since the row before",
    "volume_ratio_increase_on_ms": "increase drive on since the row before",
    "volume_ratio_decrease_on_ms": "decrease drive on since the row before",
}
# columns of this project's own traces → the signal that an instrument or the controller gives of it
OWN_COLUMNS = {
    "suction_pressure_measured_pa": "suction_pressure_kpa_abs",
    "discharge_temperature_measured_k": "discharge_temperature_c",
    "separator_pressure_pa": "discharge_pressure_kpa_abs",
    "oil_temperature_k": "oil_temperature_c",
    "oil_differential_pa": "oil_differential_kpa",
    "oil_level_frac": "oil_level_pct",
    "motor_current_a": "motor_current_a",
    "motor_power_w": "motor_power_kw",
    "capacity_travel_measured_frac": "capacity_position_pct",
    "volume_ratio_travel_measured_frac": "volume_ratio_position_pct",
    "capacity_demand_frac": "capacity_demand_pct",
    "volume_ratio_demand_frac": "volume_ratio_demand_pct",
    "room_temperature_k": "process_temperature_c",
    "suction_set_point_pa": "suction_set_point_kpa_abs",
    "vessel_level_frac": "vessel_level_pct",
    "wet_bulb_temperature_k": "wet_bulb_temperature_c",
    "load_heat_w": "load_kw",
}


def _kind_of(hint: Any, name: str) -> str:
    if hint is bool:
        return "contact"
    if isinstance(hint, type) and issubclass(hint, IntEnum):
        return "state"
    if name.endswith("_word"):
        return "word"
    return "set" if "set_point" in name or "demand" in name else "analog"


def _sets(text: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset(part.split()) for part in text.split("|"))


@cache
def signals() -> dict[str, Signal]:
    """Every signal by name."""
    out: dict[str, Signal] = {}
    known: dict[str, tuple[str, Any, str]] = {}
    for record in (Inputs, Outputs):
        hints = get_type_hints(record)
        for f in fields(record):
            if not f.name.endswith("_health") and f.name != "supply_interrupted_ms":
                known[f.name] = (_kind_of(hints[f.name], f.name), hints[f.name], str(f.metadata.get("means", "")))
    for name, means in _EXTRA.items():
        known[name] = ("count" if name.endswith(("_count", "hours_h")) else "analog", None, means)
    for name, (kind, hint, means) in known.items():
        suffix = suffix_of(name)
        unit, of = UNIT_SUFFIXES.get(suffix, ("h" if name.endswith("_h") else "1", ""))
        low, high = _POSSIBLE.get(f"{unit} {of}" if unit == "kPa" else unit, (-1e15, 1e15))
        needs, never, may = _N.get(name, ("", "", ""))
        out[name] = Signal(
            name, unit, of, kind, low, high, _USUAL.get(name), _sets(needs) if needs else (), frozenset(never.split()),
            frozenset(may.split()), hint if kind == "state" else None, means,
        )  # fmt: skip
    return out


def own_signal(column: str) -> str:
    """The signal of a column that is named as this project names it, in the cabinet or in a trace; "" if it is none."""
    name = column.strip()
    if name in signals():
        return name
    if name in OWN_COLUMNS:
        return OWN_COLUMNS[name]
    return ""


def is_own_column(column: str) -> bool:
    """Whether a column is of this project's trace, used or not."""
    return column in COLUMNS or column in ("time_s", *signals())
