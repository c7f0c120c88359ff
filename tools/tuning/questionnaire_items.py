"""What the plant questionnaire asks: key in the plant file, words, unit, the ± that is usual, and how one finds it.

Limits and defaults are the parameters' own (`plant_model.parameters`).  The usual ± are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

SWEPT_VOLUME = "machine.swept_volume"  # no field of the file: it becomes the rotors' size


@dataclass(frozen=True, slots=True)
class TextItem:
    """A question for a text."""

    key: str
    ask: str
    default: str


@dataclass(frozen=True, slots=True)
class Item:
    """A question for a number.

    unit: asked in; of: "absolute" or "difference"; spread_frac: usual ± as a share of the value (None: exact, not asked);
    spread: usual ± in the unit, where a share makes no sense; how: where the ± comes from; default, limits: only where no
    field of the plant's parameters has them.
    """

    section: str
    key: str
    ask: str
    unit: str
    spread_frac: float | None
    how: str = ""
    of: str = ""
    spread: float | None = None
    default: float | None = None
    limits: tuple[float, float] | None = None


BEFORE = (
    TextItem("title", "Name of the plant", "New plant"),
    TextItem("refrigerant", "Refrigerant (R717, R134a, …)", "R717"),
)

_SITE, _MACHINE, _SUCTION = "Site", "Compressor (nameplate)", "Suction side"
_LOAD, _HIGH, _MOTOR = "Evaporators and load", "Condenser side", "Motor (nameplate)"
_CAPACITY, _RATIO, _READ = "Capacity slides", "Volume-ratio slides", "Transmitters"

ITEMS = (
    Item(_SITE, "site.altitude", "Altitude", "m", None, default=0.0, limits=(-1000.0, 11000.0)),
    Item(_SITE, "site.ambient", "Machine room", "°C", 0.0, "over a year", "absolute", spread=5.0),
    Item(
        _MACHINE, SWEPT_VOLUME, "Swept volume at nominal speed", "m³/h", 0.02, "nameplate: 1 to 3 %",
        limits=(20.0, 20000.0),
    ),
    Item(_MACHINE, "machine.leakage", "Leakage of displacement per unit of pressure ratio", "1", 0.3, "age and wear"),
    Item(_MACHINE, "rotor.volume_ratio_low", "Lowest built-in volume ratio", "1", None),
    Item(_MACHINE, "rotor.volume_ratio_high", "Highest built-in volume ratio", "1", None),
    Item(_SUCTION, "suction_vessel.volume", "Volume of the suction vessel", "m³", 0.05, "drawing 2 %, by eye 20 %"),
    Item(_SUCTION, "suction_vessel.level_set", "Level in it, share of the volume", "%", 0.0, "glass", spread=5.0),
    Item(
        _SUCTION, "suction_vessel.skin", "Share of its liquid that boils at once", "%", 0.4,
        "hardly known before a bump test",
    ),
    Item(_SUCTION, "suction_vessel.flash", "Time in which the rest boils after it", "s", 0.5, "5 to 20 s"),
    Item(
        _SUCTION, "suction_line.rated_drop", "Pressure drop of suction line and strainer", "kPa", 0.3,
        "gauges at full load", "difference",
    ),
    Item(_LOAD, "evaporator.conductance", "Conductance of all evaporators", "kW/K", 0.1, "from two logged loads 10 %"),
    Item(_LOAD, "evaporator.room_capacity", "Heat capacity of rooms and goods", "MJ/K", 0.3, "hardly ever better"),
    Item(_LOAD, "evaporator.base_load", "Usual load", "kW", 0.1, "over the hours to come"),
    Item(_HIGH, "discharge_side.conductance", "Conductance of the condenser", "kW/K", 0.1, "from a logged day"),
    Item(_HIGH, "discharge_side.wet_bulb", "Wet bulb outside", "°C", 0.0, "over the season", "absolute", spread=4.0),
    Item(_HIGH, "discharge_side.volume", "Volume of condenser and receiver", "m³", 0.1, "drawing 5 %"),
    Item(_MOTOR, "motor.rated_shaft_power", "Rated shaft power", "kW", None),
    Item(_MOTOR, "motor.supply_voltage", "Supply voltage", "V", None),
    Item(_CAPACITY, "capacity_drive.load_stroke", "Full stroke loading", "s", 0.1, "timed three times 3 %"),
    Item(_CAPACITY, "capacity_drive.unload_stroke", "Full stroke unloading", "s", 0.1, "timed three times 3 %"),
    Item(
        _CAPACITY, "capacity_drive.backlash", "Half of the travel lost on a turn", "%", 0.0, "from a reversal test",
        spread=0.2,
    ),
    Item(_RATIO, "volume_ratio_drive.load_stroke", "Full stroke to a higher ratio", "s", 0.1, "timed three times 3 %"),
    Item(_RATIO, "volume_ratio_drive.unload_stroke", "Full stroke to a lower ratio", "s", 0.1, "timed three times 3 %"),
    Item(_READ, "instruments.suction_pressure.low", "Suction pressure at 4 mA, absolute", "kPa", None, of="absolute"),
    Item(_READ, "instruments.suction_pressure.high", "Suction pressure at 20 mA, absolute", "kPa", None, of="absolute"),
    Item(_READ, "instruments.suction_pressure.lag", "Lag of the suction pressure's transmitter", "ms", 0.5, "damping"),
)  # fmt: skip
