"""What a log says in so many words: contacts, failed loops, hands on the slides, and limits that stand too near."""

from __future__ import annotations

from typing import Any

import numpy as np

from controller.process_image import Trip
from scenarios.limits import limits_of
from tools.replay.record import Record


def words_of(record: Record) -> tuple[dict[str, float], list[str]]:
    """What the log says in so many words: log weights by group, and each in a sentence."""
    said: list[str] = []
    weights: dict[str, float] = {}
    at = record.trip_row if record.trip_row >= 0 else record.rows - 1
    before = slice(max(0, at - 900), at + 1)
    if record.switches.get("stop_button_pressed", np.zeros(1, dtype=bool))[before].any():
        weights["operator"] = 6.0
        said.append("the stop button was pressed")
    for pair in ("capacity", "volume_ratio"):
        hand = record.switches.get(f"{pair}_manual")
        if hand is not None and hand[before].any():
            weights["operator"] = max(weights.get("operator", 0.0), 5.0)
            said.append(f"the {pair.replace('_', '-')} slide was held by hand")
    chain = record.switches.get("safety_chain_closed")
    if chain is not None and (~chain[before]).any():
        weights["hard-wired chain"] = 6.0
        said.append("the hard-wired chain was open")
    if record.switches.get("vessel_high_high_level", np.zeros(1, dtype=bool))[before].any():
        weights["liquid"] = 5.0
        said.append("the vessel's high-high level contact was made")
    names = {
        "suction_pressure": "suction transmitter", "discharge_pressure": "discharge transmitter",
        "discharge_temperature": "discharge thermometer", "oil_temperature": "oil thermometer",
        "oil_pressure": "filter differential", "oil_pressure_before_filter": "filter differential",
        "motor_current": "current transducer", "capacity_position": "capacity linkage",
        "process_temperature": "process thermometer",
    }  # fmt: skip
    for name, group in names.items():
        words = name.replace("_", " ")
        for marks, what in ((record.open_, "open"), (record.shorted, "shorted")):
            if name in marks and marks[name][before].any():
                weights[group] = max(weights.get(group, 0.0), 7.0 if record.trip is Trip.SIGNAL_LOST else 4.0)
                said.append(f"the loop of the {words} was {what}")
        if name in record.frozen and record.frozen[name][max(0, at - 60) : at + 1].all() and at >= 60:
            if record.trip is not Trip.NONE or name != "capacity_position":
                weights[group] = max(weights.get(group, 0.0), 3.5)
                said.append(f"the {words} did not move by one count")
    return weights, said


LIMITS = {  # trip: setting, instrument, sign of danger, factor and offset to SI
    Trip.HIGH_DISCHARGE_PRESSURE: ("high_discharge_pressure_trip_kpa_abs", "discharge_pressure", 1.0, 1000.0, 0.0),
    Trip.LOW_SUCTION_PRESSURE: ("low_suction_pressure_trip_kpa_abs", "suction_pressure", -1.0, 1000.0, 0.0),
    Trip.HIGH_DISCHARGE_TEMPERATURE: ("high_discharge_temperature_trip_c", "discharge_temperature", 1.0, 1.0, 273.15),
    Trip.HIGH_OIL_TEMPERATURE: ("high_oil_temperature_trip_c", "oil_temperature", 1.0, 1.0, 273.15),
}
LEAST_BEFORE_TRIP_PA = {Trip.HIGH_DISCHARGE_PRESSURE: 20.0e3, Trip.LOW_SUCTION_PRESSURE: 8.0e3}  # own choice, no source
ORDINARY_S = 600  # before the trip: later is the event itself
LEAST_SWING = {
    "discharge_pressure": 60.0e3,
    "suction_pressure": 8.0e3,
    "discharge_temperature": 4.0,
    "oil_temperature": 3.0,
}


def limit_margin(record: Record, trip: Trip, settings: Any) -> tuple[float, str]:
    """How near the limit of a trip stands to what the signal does in ordinary service: log weight for "settings", and a
    sentence if there is one to say.

    Ordinary service is the stretch until ten minutes before the event; its swing is from the 1st to the 99th percentile,
    and at least what any plant does (own choice, no source).
    """
    common = getattr(settings, "common", None)
    if common is None or trip not in LIMITS:
        return 0.0, ""
    known = limits_of(settings)
    own = known.trip(trip) if known is not None else None
    unload = {
        Trip.HIGH_DISCHARGE_PRESSURE: known.discharge_unload_pa if known else None,
        Trip.LOW_SUCTION_PRESSURE: known.suction_unload_pa if known else None,
    }.get(trip)
    if own is not None and unload is not None:
        between = own.direction * (own.limit - unload)
        if between <= 0.0:
            return 3.0, "the trip's limit stands before that of forced unloading, which never comes to help"
        if between < LEAST_BEFORE_TRIP_PA[trip]:
            text = (
                f"forced unloading has its limit only {between / 1000.0:.0f} kPa before the trip's: no time to unload"
            )
            return 3.0, text
    name, instrument, sign, factor, offset = LIMITS[trip]
    limit = getattr(common.protection, name) * factor + offset
    values = record.measured[instrument][: max(120, record.rows - ORDINARY_S)]
    values = values[np.isfinite(values)]
    if len(values) < 60:
        return 0.0, ""
    low, high = np.percentile(values, [1.0, 99.0])
    edge = high if sign > 0.0 else low
    swing = max(float(high - low), LEAST_SWING[instrument])
    room = sign * (limit - edge) / swing
    if room > 2.5:
        return -2.0, ""
    signal = instrument.replace("_", " ")
    words = f"the trip's limit stands {max(0.0, room):.1f} of its ordinary swing from what {signal} does anyway"
    return float(min(3.0, 4.5 - 2.0 * max(0.0, room))), words
