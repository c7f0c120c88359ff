"""The process image (IEC 61131-3 term): all that a controller sees, and all that it may say.

Cabinet units throughout: kPa absolute, °C, A, kW, %.  The field order is the C struct's order; it is frozen with
`ABI_VERSION`, and a new field goes to the end together with a new version.
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


def _analog(unit: str, low: float, high: float, default: float) -> Any:
    """An analog input: its unit, the span of a usual transmitter, and the value before any reading."""
    return field(default=default, metadata={"unit": unit, "low": low, "high": high})


@dataclass(slots=True)
class Inputs:
    """One scan's inputs.  Each analog has its health; a value whose health is not GOOD is not to be believed."""

    suction_pressure_kpa_abs: float = _analog("kPa", 0.0, 1000.0, 300.0)
    discharge_pressure_kpa_abs: float = _analog("kPa", 0.0, 2500.0, 1200.0)
    suction_temperature_c: float = _analog("°C", -60.0, 60.0, -5.0)
    discharge_temperature_c: float = _analog("°C", -20.0, 150.0, 30.0)
    oil_pressure_before_filter_kpa_abs: float = _analog("kPa", 0.0, 3000.0, 1200.0)
    oil_pressure_kpa_abs: float = _analog("kPa", 0.0, 3000.0, 1200.0)
    oil_temperature_c: float = _analog("°C", -20.0, 120.0, 40.0)
    oil_level_pct: float = _analog("%", 0.0, 100.0, 60.0)
    motor_current_a: float = _analog("A", 0.0, 1000.0, 0.0)
    motor_power_kw: float = _analog("kW", 0.0, 1000.0, 0.0)
    capacity_position_pct: float = _analog("%", 0.0, 100.0, 0.0)
    capacity_position_opposite_pct: float = _analog("%", 0.0, 100.0, 0.0)
    volume_ratio_position_pct: float = _analog("%", 0.0, 100.0, 0.0)
    volume_ratio_position_opposite_pct: float = _analog("%", 0.0, 100.0, 0.0)
    process_temperature_c: float = _analog("°C", -60.0, 60.0, 0.0)

    suction_pressure_health: Health = Health.GOOD
    discharge_pressure_health: Health = Health.GOOD
    suction_temperature_health: Health = Health.GOOD
    discharge_temperature_health: Health = Health.GOOD
    oil_pressure_before_filter_health: Health = Health.GOOD
    oil_pressure_health: Health = Health.GOOD
    oil_temperature_health: Health = Health.GOOD
    oil_level_health: Health = Health.GOOD
    motor_current_health: Health = Health.GOOD
    motor_power_health: Health = Health.GOOD
    capacity_position_health: Health = Health.GOOD
    capacity_position_opposite_health: Health = Health.GOOD
    volume_ratio_position_health: Health = Health.GOOD
    volume_ratio_position_opposite_health: Health = Health.GOOD
    process_temperature_health: Health = Health.GOOD

    vessel_high_high_level: bool = False
    motor_running: bool = False
    safety_chain_closed: bool = True
    stop_button_pressed: bool = False
    reset_pressed: bool = False
    valves_open: bool = True
    remote_run: bool = False
    second_set_point: bool = False
    capacity_manual: bool = False
    volume_ratio_manual: bool = False
    selection: Selection = Selection.OFF
    remote_demand_pct: float = field(default=0.0, metadata={"unit": "%", "low": 0.0, "high": 100.0})
    capacity_manual_demand_pct: float = field(default=0.0, metadata={"unit": "%", "low": 0.0, "high": 100.0})
    volume_ratio_manual_demand_pct: float = field(default=0.0, metadata={"unit": "%", "low": 0.0, "high": 100.0})
    announced_load_pct: float = field(default=0.0, metadata={"unit": "%", "low": -100.0, "high": 100.0})
    supply_interrupted_ms: int = field(default=0, metadata={"unit": "ms", "low": 0, "high": 2**31})


@dataclass(slots=True)
class Outputs:
    """One scan's outputs.  A controller gets the record it left last time; the drives act until the next scan."""

    motor_run: bool = False
    oil_pump: bool = False
    oil_heater: bool = False
    injection_cooling: bool = False
    capacity_load: bool = False
    capacity_unload: bool = False
    volume_ratio_increase: bool = False
    volume_ratio_decrease: bool = False
    mode: Mode = Mode.OFF
    inhibit: Inhibit = Inhibit.NONE
    trip_first_out: Trip = Trip.NONE
    start_refused: StartRefused = StartRefused.NONE
    stop_reason: StopReason = StopReason.NONE
    trip_word: int = 0
    alarm_word: int = 0
    capacity_demand_pct: float = field(default=0.0, metadata={"unit": "%", "low": 0.0, "high": 100.0})
    volume_ratio_demand_pct: float = field(default=0.0, metadata={"unit": "%", "low": 0.0, "high": 100.0})
    suction_set_point_kpa_abs: float = field(default=0.0, metadata={"unit": "kPa", "low": 0.0, "high": 2500.0})
