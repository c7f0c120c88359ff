"""The process image (IEC 61131-3 term): all that a controller sees, and all that it may say.

Cabinet units throughout: kPa absolute, °C, A, kW, %.  The field order is the C struct's order; it is frozen with
`ABI_VERSION`, and a new field goes to the end together with a new version.  What a field means stands in its metadata
under `means`: the C header and `twoslide describe image` are made from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

ABI_VERSION = 1


class Health(IntEnum):
    """What the input card says of a 4–20 mA signal (limits of NAMUR NE 43)."""

    GOOD = 0
    UNDER = 1  # at or below 3.6 mA: open circuit, transmitter lost
    OVER = 2  # at or above 21 mA: short circuit, sensor failed
    FROZEN = 3  # has not moved by one count for longer than a live signal can stay still


class Selection(IntEnum):
    """The off/local/remote switch on the cabinet door."""

    OFF = 0
    LOCAL = 1
    REMOTE = 2


class Mode(IntEnum):
    """Where the sequence stands."""

    OFF = 0  # at rest, not asked to run
    WAITING = 1  # asked to run; `start_refused` says what it waits for
    PRE_LUBRICATION = 2  # oil pump on, both slides driven to minimum
    STARTING = 3  # motor commanded, running feedback or speed not there yet
    RUN_UP = 4  # at speed, unloaded, for a set time
    AUTOMATIC = 5  # capacity and volume-ratio loops in charge, or an operator by hand
    UNLOADING = 6  # both slides to minimum before a normal stop
    SPIN_DOWN = 7  # motor off, rotor coasting; the back-spin guard
    TRIPPED = 8  # a trip is latched


class Inhibit(IntEnum):
    """Which limit holds capacity back.  HOLD: capacity may not rise.  UNLOAD: capacity must fall."""

    NONE = 0
    CURRENT_HOLD = 1
    CURRENT_UNLOAD = 2
    DISCHARGE_PRESSURE_HOLD = 3
    DISCHARGE_PRESSURE_UNLOAD = 4
    SUCTION_HOLD = 5
    SUCTION_UNLOAD = 6
    DISCHARGE_TEMPERATURE_HOLD = 7
    DISCHARGE_TEMPERATURE_UNLOAD = 8
    SIGNAL_HOLD = 9
    SIGNAL_UNLOAD = 10


class Trip(IntEnum):
    """Causes of a trip, in scan order; bit `1 << value` of the trip and alarm words."""

    NONE = 0
    STOP_BUTTON = 1
    SAFETY_CHAIN = 2
    HIGH_DISCHARGE_PRESSURE = 3
    LOW_SUCTION_PRESSURE = 4
    HIGH_DISCHARGE_TEMPERATURE = 5
    LOW_DISCHARGE_SUPERHEAT = 6
    LOW_OIL_DIFFERENTIAL = 7
    HIGH_FILTER_DIFFERENTIAL = 8
    HIGH_OIL_TEMPERATURE = 9
    VESSEL_HIGH_LEVEL = 10
    MOTOR_OVERLOAD = 11
    FAILED_START = 12
    FAILED_STOP = 13
    SLIDE_LOST = 14
    HALVES_DISAGREE = 15
    UNLOAD_TIMEOUT = 16
    SIGNAL_LOST = 17


class StartRefused(IntEnum):
    """Why a wanted start does not happen now."""

    NONE = 0
    TRIP_LATCHED = 1
    SAFETY_CHAIN_OPEN = 2
    VALVES_CLOSED = 3
    RESTART_WAIT = 4
    STARTS_PER_HOUR = 5
    OIL_COLD = 6
    OIL_LEVEL_LOW = 7
    VESSEL_LEVEL_HIGH = 8
    SUCTION_BELOW_RESTART = 9
    SIGNAL_LOST = 10
    STILL_TURNING = 11


class StopReason(IntEnum):
    """Why the machine stopped last."""

    NONE = 0
    SELECTED_OFF = 1
    REMOTE_STOP = 2
    IDLE = 3  # at minimum load with suction still falling
    TRIP = 4
    SUPPLY_LOST = 5


def _analog(unit: str, low: float, high: float, default: float, means: str) -> Any:
    """An analog value: its unit, the span of a usual transmitter, and the value before any reading."""
    return field(default=default, metadata={"unit": unit, "low": low, "high": high, "means": means})


def _percent(means: str, low: float = 0.0) -> Any:
    """A share in %, 0 before anybody said another."""
    return _analog("%", low, 100.0, 0.0, means)


def _item(default: Any, means: str) -> Any:
    """A contact, a switch or a word of bits."""
    return field(default=default, metadata={"means": means})


def _means(text: str) -> dict[str, str]:
    """Metadata of an enumeration."""
    return {"means": text}


def _health(of: str) -> dict[str, str]:
    """Metadata of an analog input's health."""
    return _means(f"whether {of} may be believed")


@dataclass(slots=True)
class Inputs:
    """One scan's inputs.  Each analog has its health; a value whose health is not GOOD is not to be believed."""

    suction_pressure_kpa_abs: float = _analog(
        "kPa", 0.0, 1000.0, 300.0, "gas at the compressor's inlet, after stop-check valve and strainer"
    )
    discharge_pressure_kpa_abs: float = _analog(
        "kPa", 0.0, 2500.0, 1200.0, "in the oil separator, before the discharge check valve"
    )
    suction_temperature_c: float = _analog("°C", -60.0, 60.0, -5.0, "gas at the compressor's inlet")
    discharge_temperature_c: float = _analog("°C", -20.0, 150.0, 30.0, "gas and oil as they leave the compressor")
    oil_pressure_before_filter_kpa_abs: float = _analog(
        "kPa", 0.0, 3000.0, 1200.0, "oil after the pump, before the filter"
    )
    oil_pressure_kpa_abs: float = _analog(
        "kPa", 0.0, 3000.0, 1200.0, "oil after the filter, as bearings and slides get it"
    )
    oil_temperature_c: float = _analog("°C", -20.0, 120.0, 40.0, "oil after the cooler, as bearings and slides get it")
    oil_level_pct: float = _analog("%", 0.0, 100.0, 60.0, "of the separator's sump; 100 % is full on the level glass")
    motor_current_a: float = _analog("A", 0.0, 1000.0, 0.0, "one phase, true RMS")
    motor_power_kw: float = _analog("kW", 0.0, 1000.0, 0.0, "electric power the motor takes")
    capacity_position_pct: float = _analog(
        "%", 0.0, 100.0, 0.0, "travel of the capacity slide that is measured; 0 % is least capacity"
    )
    capacity_position_opposite_pct: float = _analog(
        "%", 0.0, 100.0, 0.0, "travel of the other half of the capacity pair"
    )
    volume_ratio_position_pct: float = _analog(
        "%", 0.0, 100.0, 0.0, "travel of the volume-ratio slide that is measured; 0 % is the lowest ratio"
    )
    volume_ratio_position_opposite_pct: float = _analog(
        "%", 0.0, 100.0, 0.0, "travel of the other half of the volume-ratio pair"
    )
    process_temperature_c: float = _analog("°C", -60.0, 60.0, 0.0, "what the plant cools: room or product")

    suction_pressure_health: Health = field(default=Health.GOOD, metadata=_health("suction_pressure"))
    discharge_pressure_health: Health = field(default=Health.GOOD, metadata=_health("discharge_pressure"))
    suction_temperature_health: Health = field(default=Health.GOOD, metadata=_health("suction_temperature"))
    discharge_temperature_health: Health = field(default=Health.GOOD, metadata=_health("discharge_temperature"))
    oil_pressure_before_filter_health: Health = field(
        default=Health.GOOD, metadata=_health("oil_pressure_before_filter")
    )
    oil_pressure_health: Health = field(default=Health.GOOD, metadata=_health("oil_pressure"))
    oil_temperature_health: Health = field(default=Health.GOOD, metadata=_health("oil_temperature"))
    oil_level_health: Health = field(default=Health.GOOD, metadata=_health("oil_level"))
    motor_current_health: Health = field(default=Health.GOOD, metadata=_health("motor_current"))
    motor_power_health: Health = field(default=Health.GOOD, metadata=_health("motor_power"))
    capacity_position_health: Health = field(default=Health.GOOD, metadata=_health("capacity_position"))
    capacity_position_opposite_health: Health = field(
        default=Health.GOOD, metadata=_health("capacity_position_opposite")
    )
    volume_ratio_position_health: Health = field(default=Health.GOOD, metadata=_health("volume_ratio_position"))
    volume_ratio_position_opposite_health: Health = field(
        default=Health.GOOD, metadata=_health("volume_ratio_position_opposite")
    )
    process_temperature_health: Health = field(default=Health.GOOD, metadata=_health("process_temperature"))

    vessel_high_high_level: bool = _item(False, "float switch of the suction vessel: yes is liquid near the outlet")
    motor_running: bool = _item(False, "feedback of the motor contactor")
    safety_chain_closed: bool = _item(
        True, "hard-wired safety chain, monitored only: it breaks the contactor by itself"
    )
    stop_button_pressed: bool = _item(False, "stop button, monitored only: it breaks the contactor by itself")
    reset_pressed: bool = _item(False, "reset of latched trips: the moment of pressing counts")
    valves_open: bool = _item(True, "contact of the suction and discharge valves; without it no start")
    remote_run: bool = _item(False, "the plant's supervisor asks to run; counts in REMOTE")
    second_set_point: bool = _item(False, "the second set point is chosen")
    capacity_manual: bool = _item(False, "capacity slide by hand: follow capacity_manual_demand_pct")
    volume_ratio_manual: bool = _item(False, "volume-ratio slide by hand: follow volume_ratio_manual_demand_pct")
    selection: Selection = field(default=Selection.OFF, metadata=_means("off/local/remote switch on the cabinet door"))
    remote_demand_pct: float = _percent(
        "capacity travel the supervisor asks for; counts in REMOTE where the sheet says so"
    )
    capacity_manual_demand_pct: float = _percent("capacity travel wanted by hand")
    volume_ratio_manual_demand_pct: float = _percent("volume-ratio travel wanted by hand")
    announced_load_pct: float = _percent(
        "load that is about to come, of full capacity; its change may lead the law", -100.0
    )
    supply_interrupted_ms: int = field(
        default=0,
        metadata={
            "unit": "ms",
            "low": 0,
            "high": 2**31,
            "means": "how long the cabinet was without supply before this scan; 0: it was not",
        },
    )


@dataclass(slots=True)
class Outputs:
    """One scan's outputs.  A controller gets the record it left last time; the drives act until the next scan."""

    motor_run: bool = _item(False, "close the motor contactor")
    oil_pump: bool = _item(False, "run the oil pump")
    oil_heater: bool = _item(False, "oil sump heater on")
    injection_cooling: bool = _item(False, "open the liquid-injection valve that cools the discharge")
    capacity_load: bool = _item(False, "drive the capacity slide towards more capacity")
    capacity_unload: bool = _item(False, "drive the capacity slide towards less capacity")
    volume_ratio_increase: bool = _item(False, "drive the volume-ratio slide towards a higher ratio")
    volume_ratio_decrease: bool = _item(False, "drive the volume-ratio slide towards a lower ratio")
    mode: Mode = field(default=Mode.OFF, metadata=_means("where the sequence stands"))
    inhibit: Inhibit = field(default=Inhibit.NONE, metadata=_means("the limit that holds capacity back"))
    trip_first_out: Trip = field(default=Trip.NONE, metadata=_means("what tripped first, until reset"))
    start_refused: StartRefused = field(
        default=StartRefused.NONE, metadata=_means("why a wanted start does not happen now")
    )
    stop_reason: StopReason = field(default=StopReason.NONE, metadata=_means("why the machine stopped last"))
    trip_word: int = _item(0, "latched trips: bit 1 << number of the Trip")
    alarm_word: int = _item(0, "alarms present: bit 1 << number of the Trip they come before")
    capacity_demand_pct: float = _percent("capacity travel the controller aims at")
    volume_ratio_demand_pct: float = _percent("volume-ratio travel the controller aims at")
    suction_set_point_kpa_abs: float = _analog(
        "kPa", 0.0, 3500.0, 0.0, "suction pressure the controller regulates to now"
    )
