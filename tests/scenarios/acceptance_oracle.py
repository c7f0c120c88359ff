"""What may be accepted, said a second time and in another way than the loader says it.

Units are converted by pint and saturation by CoolProp (provenance b), numbers are read by a pattern of this file, fields
are found by walking the dataclasses, and the keys of every kind of event stand in a table written by hand from README
and the docstrings.  `objections(prepared)` gives what is wrong with a run that was accepted; empty when nothing is.
"""

from __future__ import annotations

import dataclasses
import math
import re
import tomllib
from collections.abc import Iterator
from enum import IntEnum
from pathlib import Path
from typing import Any, get_args, get_type_hints

from controller.registry import CROSS_CHECKS, SHIPPED
from plant_model.parameters import PlantParameters
from plant_model.parameters import cross_check as plant_cross_check
from scenarios.row import COLUMNS
from tests.scenarios.load_log_oracle import log_objections
from tests.scenarios.quantity_oracle import Objection, Place, reading, rel_of, same, within

UNIT_WORDS = frozenset(
    [
        "kpa",
        "abs",
        "pa",
        "c",
        "k",
        "a",
        "kw",
        "w",
        "pct",
        "frac",
        "ms",
        "s",
        "m",
        "m2",
        "m3",
        "kg",
        "j",
        "v",
        "ma",
        "hz",
        "rpm",
        "n",
        "rad",
        "per",
        "min",
        "kwh",
        "a2",
        "s2",
        "1",
    ]
)
LONGEST_MS = 366 * 86_400_000
# unit, of, lowest, highest
TIME, LATER = ("ms", "", 0.0, math.inf), ("ms", "", 1.0, math.inf)
HEAT, CHANGE, SHARE = ("W", "", 0.0, 1e8), ("W", "", -1e8, 1e8), ("1", "", 0.0, 1.0)
DRIFT, SIZE = ("K", "difference", -60.0, 60.0), ("1", "", -10.0, 10.0)
FLOW = ("kg/s", "", -1.0, 100.0)
PRESSURE = ("Pa", "absolute", 1000.0, 2e7)
EVENTS: dict[str, dict[str, Any]] = {  # "!" marks a key that must be there
    "load_step": {"at!": TIME, "change": CHANGE, "to": HEAT},
    "load_ramp": {"at!": TIME, "to!": HEAT, "over!": LATER},
    "batch_arrivals": {"from!": TIME, "until!": TIME, "every!": LATER, "heat!": HEAT, "lasting!": LATER},
    "load_loss": {"at!": TIME, "lasting": LATER},
    "door_traffic": {
        "from!": TIME, "until!": TIME, "rate!": str, "rate_until": str, "heat!": HEAT, "lasting!": LATER
    },
    "weather_log": {"file!": str, "day!": str, "clock": str, "at": TIME},
    "load_log": {"file!": str, "at": TIME, "scale": ("1", "", 0.0, 1000.0)},
    "wet_bulb_drift": {"from!": TIME, "until!": TIME, "by!": DRIFT},
    "coolant_drift": {"from!": TIME, "until!": TIME, "by!": DRIFT},
    "wet_bulb_step": {"at!": TIME, "to!": ("K", "absolute", 213.15, 333.15)},
    "operator": {"at!": TIME, "action!": str, "demand": ("%", "", -100.0, 100.0)},
    "instrument_fault": {"at!": TIME, "instrument!": str, "fault!": str, "size": SIZE, "lasting": LATER},
    "condenser_fans": {"at!": TIME, "running!": SHARE},
    "safety_chain": {"at!": TIME, "lasting": LATER},
    "valves_closed": {"at!": TIME, "lasting": LATER},
    "plant_fault": {"at!": TIME, "fault!": str, "size": SIZE, "over": LATER, "lasting": LATER},
    "evaporator_group": {"at!": TIME, "group!": int, "open": SHARE, "load": CHANGE, "lasting": LATER},
    "defrost": {"at!": TIME, "group!": int, "hot_gas!": LATER, "bleed_down!": LATER},
    "liquid_surge": {"at!": TIME, "flow!": FLOW, "lasting!": LATER},
    "oil_loss": {"at!": TIME, "flow!": FLOW, "lasting": LATER},
    "other_compressor": {"at!": TIME, "flow!": ("m³/s", "", 0.0, 10.0)},
    "power_dip": {"at!": TIME, "lasting!": LATER},
    "late_scan": {"at!": TIME, "lasting!": LATER},
    "settings_change": {"at!": TIME, "setting!": str, "value!": None},
    "wait_for": {
        "at": TIME, "column!": str, "above": None, "below": None, "then!": dict, "after": TIME, "within": LATER
    },
}  # fmt: skip
SIZES = {"bias": (-1.0, 1.0), "drift": (-10.0, 10.0), "wrong_span": (0.01, 10.0)}
WITH_DEMAND = {"remote_demand", "announce_load", "capacity_manual_on", "volume_ratio_manual_on"}
EITHER = {"load_step": ("change", "to"), "wait_for": ("above", "below")}
START = {
    "machine": str, "suction_pressure": PRESSURE, "discharge_pressure": PRESSURE, "capacity_travel": SHARE, "load": HEAT
}  # fmt: skip


def field_of(record: Any, key: str) -> dataclasses.Field[Any]:
    """The field that a key stands for: the name itself, or the name without the unit at its end."""
    found = [
        f
        for f in dataclasses.fields(record)
        if f.init and not f.metadata.get("derived")
        and (f.name == key or (f.name.startswith(key + "_") and set(f.name[len(key) + 1 :].split("_")) <= UNIT_WORDS))
    ]  # fmt: skip
    if len(found) != 1:
        raise Objection(f"key {key!r} stands for {len(found)} fields of {type(record).__name__}")
    return found[0]


def table_objections(table: Any, record: Any, place: Place, above: str, skip: frozenset[str]) -> Iterator[str]:
    """What a table of a file says against the record that was made of it."""
    if not isinstance(table, dict):
        yield f"{above}: no table"
        return
    for key, value in table.items():
        if key in skip:
            continue
        try:
            f = field_of(record, key)
        except Objection as error:
            yield f"{above}.{key}: {error}"
            continue
        held = getattr(record, f.name)
        many = isinstance(held, (tuple, list))
        parts = list(zip(value, held, strict=False)) if many and isinstance(value, list) else [(value, held)]
        if many and (not isinstance(value, list) or len(value) != len(held)):
            yield f"{above}.{key}: {value!r} for {len(held)} values"
            continue
        for given, kept in parts:
            yield from _value_objections(given, kept, f, type(record), place, f"{above}.{key}")


def _value_objections(given: Any, kept: Any, f: Any, cls: type, place: Place, name: str) -> Iterator[str]:
    if dataclasses.is_dataclass(kept):
        yield from table_objections(given, kept, place, name, frozenset())
    elif isinstance(kept, bool):
        if given is not kept:
            yield f"{name}: {given!r} became {kept}"
    elif isinstance(kept, IntEnum):
        if not isinstance(given, str) or kept.name.lower() != given.lower():
            yield f"{name}: {given!r} became {kept!r}"
    else:
        low, high, unit = f.metadata.get("low"), f.metadata.get("high"), f.metadata.get("unit", "1")
        if low is None and high is None:
            yield f"{name}: no documented range"
        try:
            value = reading(given, unit, f.metadata.get("of", ""), place)
        except Objection as error:
            yield f"{name}: {error}"
            return
        if not within(kept, low, high) or not within(value, low, high, rel_of(given)):
            yield f"{name}: {given!r} = {value} {unit} (kept {kept}) is outside {low}..{high}"
        whole = get_type_hints(cls)[f.name] is int or int in get_args(get_type_hints(cls)[f.name])
        if (abs(kept - value) > 1e-6 * max(1.0, abs(value)) * 1e-3 + 1e-6) if whole else not same(kept, value, given):
            yield f"{name}: {given!r} is {value} {unit}, kept as {kept}"


def plant_objections(path: Path, parameters: PlantParameters) -> tuple[list[str], Place]:
    """What a plant file says against what was read of it; also its site, for other files' quantities."""
    data = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    site = data.get("site", {})
    bare = Place(None, data["refrigerant"])
    found: list[str] = []
    barometric: float | None = None
    try:
        if "altitude" in site:
            height = reading(site["altitude"], "m", "", bare)
            if not -1000.0 <= height <= 5500.0:
                found.append(f"altitude {height}")
            barometric = 101325.0 * (1.0 - 0.0065 * height / 288.15) ** 5.25588  # ISO 2533 (c)
        if "barometric_pressure" in site:
            barometric = reading(site["barometric_pressure"], "Pa", "absolute", bare)
    except Objection as error:
        found.append(f"site: {error}")
    if barometric is not None and not 50e3 * (1.0 - 1e-9) <= barometric <= 115e3 * (1.0 + 1e-9):
        found.append(f"site: {barometric} Pa is no barometer")
    if barometric is not None and abs(parameters.site.barometric_pressure_pa - barometric) > 1e-5 * barometric:
        found.append(f"site: {barometric} Pa became {parameters.site.barometric_pressure_pa}")
    place = Place(parameters.site.barometric_pressure_pa if barometric is not None else None, data["refrigerant"])
    for key in ("title", "refrigerant"):
        if not isinstance(data.get(key), str) or not data[key].strip():
            found.append(f"{key}: {data.get(key)!r}")
    body = {**data, "site": {k: v for k, v in site.items() if k not in ("altitude", "barometric_pressure")}}
    own = frozenset({"title", "refrigerant", "uncertainty"})
    found += table_objections(body, parameters, place, "plant", own)
    found += plant_cross_check(parameters)
    return found, place


def leaves(table: dict[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a table with its dotted key."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from leaves(value, f"{above}{key}.")
        else:
            yield above + key, value


def sheet_objections(path: Path, settings: Any, notes: Any, original: Path, place: Place) -> list[str]:
    """What a sheet says against what was read of it.

    The checksum: only the undamaged values can have it, so an accepted sheet with one holds those, value by value.
    """
    data = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    found = list(table_objections(data.get("settings", {}), settings, place, "sheet", frozenset()))
    found += [
        f"unknown key {key!r}" for key in data if key not in ["title", "purpose", "controller", "checksum", "settings"]
    ]
    if data["controller"] not in SHIPPED:
        found.append(f"controller {data['controller']!r}")
    found += CROSS_CHECKS[type(settings)](settings)
    if "checksum" not in data:
        if not any("checksum" in note for note in notes):
            found.append("a sheet without checksum and no note of it")
        return found
    before = tomllib.loads(original.read_text(encoding="utf-8"))
    if data["checksum"] != before["checksum"] or data["controller"] != before["controller"]:
        found.append("another checksum, or another controller, was accepted")
    old, new = dict(leaves(before["settings"])), dict(leaves(data.get("settings", {})))
    if old.keys() != new.keys():
        found.append(f"checksum accepted with other keys: {sorted(old.keys() ^ new.keys())}")
    for key in old.keys() & new.keys():
        if old[key] != new[key] and not _means_the_same(old[key], new[key], settings, key, place):
            found.append(f"checksum accepted with {key} = {new[key]!r} for {old[key]!r}")
    return found


def _means_the_same(old: Any, new: Any, settings: Any, key: str, place: Place) -> bool:
    for part in key.split(".")[:-1]:
        settings = getattr(settings, field_of(settings, part).name)
    meta = field_of(settings, key.split(".")[-1]).metadata
    if isinstance(old, list):
        return all(_means_the_same(a, b, settings, key.split(".")[-1], place) for a, b in zip(old, new, strict=True))
    if isinstance(old, str) and isinstance(new, str) and old.lower() == new.lower():
        return True
    try:
        a, b = (reading(v, meta.get("unit", "1"), meta.get("of", ""), place) for v in (old, new))
    except Objection:
        return False
    # the checksum rounds to 12 digits; saturation pressures are computed by the same tables for both
    return abs(a - b) <= 2e-11 * max(abs(a), abs(b)) or abs(a - b) < 1e-9


def _change_objections(value: Any, meta: Any, place: Place, name: str) -> list[str]:
    """What speaks against a changed setting: a quantity that is none, or out of its range."""
    found = []
    for one in value if isinstance(value, list) else [value]:
        try:
            number = reading(one, meta.get("unit", "1"), meta.get("of", ""), place)
        except Objection as error:
            if not (isinstance(one, str) and one.isidentifier()):  # a member of an enumeration is a word
                found.append(f"{name}: {error}")
            continue
        if not within(number, meta.get("low"), meta.get("high"), rel_of(one)):
            found.append(f"{name}: {one!r} is {number}, outside {meta.get('low')}..{meta.get('high')}")
    return found


def event_objections(table: dict[str, Any], event: Any, place: Place, end_ms: float, inner: bool = False) -> list[str]:
    """What one [[event]] says against what was read of it."""
    kind = table.get("kind")
    known = EVENTS.get(kind) if isinstance(kind, str) else None
    if known is None:
        return [f"kind {kind!r}"]
    rules = {key.rstrip("!"): rule for key, rule in known.items()}
    needed = {key[:-1] for key in known if key.endswith("!")} - ({"at"} if inner else set())
    found = [f"{kind}: unknown key {key!r}" for key in table if key not in rules and key != "kind"]
    found += [f"{kind}: {key} is missing" for key in needed if key not in table]
    if inner and "at" in table:
        found.append(f"{kind}: an inner event has a time")
    read: dict[str, float] = {}
    for key, value in table.items():
        rule = rules.get(key)
        if isinstance(rule, type) and (not isinstance(value, rule) or isinstance(value, bool) or value == ""):
            found.append(f"{kind}.{key}: {value!r}")
        if not isinstance(rule, tuple):
            continue
        unit, of, low, high = rule
        try:
            read[key] = reading(value, unit, of, place)
        except Objection as error:
            found.append(f"{kind}.{key}: {error}")
            continue
        if not within(read[key], low, high, rel_of(value)):
            found.append(f"{kind}.{key}: {value!r} is outside {low}..{high} {unit}")
        kept = next(getattr(event, name) for name in type(event).model_fields if re.fullmatch(key + r"(_\w+)?", name))
        if not same(float(kept), read[key], value):
            found.append(f"{kind}.{key}: {value!r} is {read[key]} {unit}, kept as {kept}")
    if kind in EITHER and sum(key in table for key in EITHER[kind]) != 1:
        found.append(f"{kind}: not one of {EITHER[kind]}")
    start = read.get("from", read.get("at", 0.0))
    if start >= end_ms or read.get("until", 0.0) > end_ms or ("until" in read and read["until"] <= start):
        found.append(f"{kind}: {start}..{read.get('until')} ms in a run of {end_ms} ms")
    if kind == "operator" and (table.get("action") in WITH_DEMAND) != ("demand" in table):
        found.append(f"operator: demand of {table.get('action')}")
    if kind == "instrument_fault":
        found += _size_objections(table, read)
    if kind in ("defrost", "evaporator_group") and not (
        isinstance(table.get("group"), int) and 1 <= table["group"] <= 4
    ):
        found.append(f"{kind}: group {table.get('group')!r}")
    if kind == "wait_for" and table.get("column") not in COLUMNS:
        found.append(f"wait_for: column {table.get('column')!r}")
    if kind == "wait_for" and isinstance(table.get("then"), dict):
        found += event_objections(table["then"], event.then, place, math.inf, inner=True)
    return found


def _size_objections(table: dict[str, Any], read: dict[str, float]) -> list[str]:
    limits = SIZES.get(table.get("fault", ""))
    if (limits is None) != ("size" not in table):
        return [f"instrument_fault: size of {table.get('fault')!r}"]
    if limits and "size" in read and not within(read["size"], *limits, rel_of(table["size"])):
        return [f"instrument_fault: size {table['size']!r} of {table['fault']!r}"]
    return []


def transmitter_objections(settings: Any, instruments: Any) -> Iterator[str]:
    """Absolute pressures of a sheet that the plant's transmitters do not show."""
    for f in dataclasses.fields(settings):
        value = getattr(settings, f.name)
        if dataclasses.is_dataclass(value):
            yield from transmitter_objections(value, instruments)
        elif f.name.endswith("_kpa_abs"):
            seen = instruments.discharge_pressure if "discharge" in f.name else instruments.suction_pressure
            if not within(1000.0 * value, seen.low_pa, seen.high_pa):
                yield f"{f.name}: {value} kPa on a transmitter of {seen.low_pa}..{seen.high_pa} Pa"


def objections(prepared: Any, original_sheet: Path | None) -> list[str]:
    """Everything that speaks against a run that was accepted."""
    scenario = prepared.scenario
    data = tomllib.loads(scenario.path.read_bytes().decode("utf-8-sig"))
    found, place = plant_objections(scenario.plant.path, scenario.plant.parameters)
    keys = ["title", "purpose", "expects", "plant", "controller", "settings", "duration", "seed", "start", "event"]
    keys += ["controller_clock", "made_from"]
    found += [f"unknown key {key!r}" for key in data if key not in keys]
    for key in keys[:5]:
        if not isinstance(data.get(key), str) or not data[key]:
            found.append(f"{key}: {data.get(key)!r}")
    end_ms = reading(data["duration"], "ms", "", place)
    if not within(end_ms, 1.0, LONGEST_MS) or not same(end_ms, scenario.duration_ms):
        found.append(f"duration {data['duration']!r} kept as {scenario.duration_ms} ms")
    seed = data.get("seed", 1)
    if type(seed) is not int or not 0 <= seed < 2**63 or seed != scenario.seed:
        found.append(f"seed {seed!r} kept as {scenario.seed}")
    if not same(reading(data.get("controller_clock", "0 ms"), "ms", "", place), scenario.clock_ms):
        found.append(f"controller_clock {data['controller_clock']!r} kept as {scenario.clock_ms} ms")
    if data.get("made_from", "") != scenario.made_from:
        found.append(f"made_from {data['made_from']!r} kept as {scenario.made_from!r}")
    start = data.get("start", {})
    for key, value in start.items():
        rule = START.get(key)
        if rule is None:
            found.append(f"start: unknown key {key!r}")
        elif isinstance(rule, tuple) and not within(
            reading(value, rule[0], rule[1], place), rule[2], rule[3], rel_of(value)
        ):
            found.append(f"start.{key}: {value!r}")
    if start.get("machine", "stopped") not in ("running", "stopped"):
        found.append(f"start.machine: {start['machine']!r}")
    events = data.get("event", [])
    if len(events) != len(scenario.events):
        found.append(f"{len(events)} events, {len(scenario.events)} kept")
    for table, event in zip(events, scenario.events, strict=False):
        found += event_objections(table, event, place, end_ms)
    for table in events:
        if table.get("kind") == "settings_change":
            record, (*above, last) = prepared.settings, table["setting"].split(".")
            for part in above:
                record = getattr(record, field_of(record, part).name)
            found += _change_objections(table["value"], field_of(record, last).metadata, place, table["setting"])
    for log in scenario.load_logs.values():
        found += log_objections(log)
    if scenario.sheet is not None and original_sheet is not None:
        found += sheet_objections(scenario.sheet.path, scenario.sheet.settings, scenario.notes, original_sheet, place)
        found += transmitter_objections(scenario.sheet.settings, scenario.plant.parameters.instruments)
    return found
