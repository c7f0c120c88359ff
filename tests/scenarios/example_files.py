"""Invented records and files that the edge tests share."""

from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import Annotated, Any

from scenarios.known import Known


def limits(default: Any, unit: str, low: float, high: float, why: str, of: str = "") -> Any:
    meta: dict[str, Any] = {"unit": unit, "low": low, "high": high, "why": why} | ({"of": of} if of else {})
    return field(default=default, metadata=meta)


class Cooler(IntEnum):
    WATER = 0
    AIR = 1


@dataclass(frozen=True, slots=True)
class SiteRecord:
    barometric_pressure_pa: float = limits(101325.0, "Pa", 50e3, 110e3, "standard", "absolute")
    ambient_k: float = limits(293.15, "K", 220.0, 340.0, "a mild day", "absolute")


@dataclass(frozen=True, slots=True)
class Vessel:
    volume_m3: float = field(metadata={"unit": "m³", "low": 0.1, "high": 100.0, "why": "as built"})
    level_frac: float = limits(0.4, "1", 0.05, 0.9, "half full")
    flash_ms: int = limits(12_000, "ms", 0, 600_000, "invented")
    strainer_drop_pa: float = limits(3000.0, "Pa", 0.0, 50e3, "invented", "difference")


@dataclass(frozen=True, slots=True)
class Machine:
    teeth: int = limits(11, "1", 6, 20, "eleven teeth")
    capacity_curve: tuple[float, float, float] = limits((0.1, 0.5, 1.0), "1", 0.0, 1.0, "invented")
    cooler: Cooler = Cooler.WATER
    has_economiser: bool = False
    ua_w_k: float = limits(60e3, "W/K", 10.0, 1e7, "invented")


@dataclass(frozen=True, slots=True)
class PlantRecord:
    vessel: Vessel
    site: SiteRecord = SiteRecord()
    machine: Machine = Machine()


@dataclass(frozen=True, slots=True)
class Band:
    travel_pct: float = limits(50.0, "%", 0.0, 100.0, "middle")
    gain_pct_per_kpa: float = limits(1.5, "%/kPa", 0.0, 50.0, "invented")


@dataclass(frozen=True, slots=True)
class Capacity:
    suction_set_point_kpa_abs: float = limits(290.6, "kPa", 50.0, 1500.0, "-10 °C\nammonia", "absolute")
    neutral_zone_kpa: float = limits(6.0, "kPa", 0.0, 100.0, "half a kelvin", "difference")
    load_ramp_ms: int = limits(300_000, "ms", 0, 3_600_000, "common practice, no source")
    breakpoints_pct: tuple[float, float, float] = limits((0.0, 50.0, 100.0), "%", 0.0, 100.0, "evenly")
    fan: Cooler = Cooler.AIR


@dataclass(frozen=True, slots=True)
class Settings:
    capacity: Capacity = Capacity()
    bands: tuple[Band, Band] = (Band(), Band(travel_pct=80.0))
    trip_c: float = limits(105.0, "°C", 40.0, 130.0, "below the oil's limit", "absolute")
    retries: int = limits(3, "1", 0, 9, "common practice, no source")
    enabled: bool = True
    gain: float = 1.0


@dataclass(slots=True)
class WithList:
    values_pct: Annotated[list[float], 2] = field(default_factory=lambda: [1.0, 2.0])


PLANT = """\
title = "Invented store"
refrigerant = "Ammonia"

[site]
altitude = "250 m"
ambient = "25 °C"

[vessel]
volume = "5 m³"
level = "40 %"

[machine]
capacity_curve = [0.1, "45 %", 1.0]
cooler = "air"

[uncertainty]
"machine.ua" = "5 kW/K"
vessel.volume = "20 L"
"""

SHEET = """\
controller = "plain"

[settings]
trip = "100 °C"

[settings.capacity]
suction_set_point = "-10 °C sat"
neutral_zone = "0.5 psi"
"""

SCENARIO = """\
title = "Two steps"
purpose = "to see the edge work"
expects = "no trip"
plant = "plant.toml"
controller = "plain"
settings = "sheet.toml"
duration = "2 h"
seed = 7

[start]
machine = "running"
suction_pressure = "1.9 bar(g)"
discharge_pressure = "1350 kPa"
capacity_travel = "60 %"
load = "380 kW"

[[event]]
kind = "load_step"
at = "10 min"
change = "+120 kW"

[[event]]
kind = "batch_arrivals"
from = "0 s"
until = "1 h"
every = "8 min"
heat = "60 kW"
lasting = "5 min"

[[event]]
kind = "load_log"
file = "load.csv"

[[event]]
kind = "wait_for"
column = "suction_pressure_pa"
below = "250 kPa"
then = { kind = "operator", action = "capacity_manual_on", demand = "40 %" }
after = "10 s"
within = "30 min"
"""

LOAD = "time [s];load [kW]\n0;100\n60;120,5\n120;110\n"


def saturation(refrigerant: str, temperature_k: float) -> float:
    """A made-up vapour-pressure curve, good enough to see that it is asked."""
    if not 200.0 < temperature_k < 400.0:
        raise ValueError("outside")
    return 290_000.0 + 11_800.0 * (temperature_k - 263.15)


def vessel_check(plant: PlantRecord) -> list[str]:
    return (
        ["vessel.level_frac: too full for so small a vessel"]
        if plant.vessel.volume_m3 * (1 - plant.vessel.level_frac) < 0.1
        else []
    )


def settings_check(settings: Settings) -> list[str]:
    return ["capacity.load_ramp_ms: a ramp needs a gain"] if settings.gain == 0.0 else []


KNOWN = Known(
    PlantRecord,
    {"plain": Settings, "other": Settings},
    ("suction_pressure_pa", "oil_differential_pa", "mode", "volume_ratio"),
    ("suction_pressure", "motor_current"),
    vessel_check,
    {"plain": settings_check},
    lambda name: [] if name == "Ammonia" else [f"unknown refrigerant {name}"],
    saturation,
)


def write_all(folder: Path, **changed: str) -> Path:
    """A folder with all four files; `changed` replaces one whole (plant, sheet, scenario, load)."""
    folder.mkdir(exist_ok=True)
    texts = {"plant": PLANT, "sheet": SHEET, "scenario": SCENARIO, "load": LOAD} | changed
    for name, text in texts.items():
        (folder / f"{name}.{'csv' if name == 'load' else 'toml'}").write_text(text, encoding="utf-8")
    return folder / "scenario.toml"
