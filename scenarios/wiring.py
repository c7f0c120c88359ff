"""The wires between plant and cabinet: current loops to the process image, commands to the actuators.

Nothing is shared between the two rooms but what passes here.  The hard-wired safety chain acts here too, on the motor's
contactor, past any controller: as on site, it does not ask the logic.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from numba.extending import register_jitable as kernel

from controller.process_image import Selection
from controller.scaling import loop_health, to_engineering


@dataclass(slots=True)
class Operator:
    """What people, switches and the plant's supervisor tell the controller."""

    selection: Selection = Selection.LOCAL
    stop_button_pressed: bool = False
    reset_pressed: bool = False
    valves_open: bool = True
    remote_run: bool = False
    second_set_point: bool = False
    capacity_manual: bool = False
    volume_ratio_manual: bool = False
    safety_chain_closed: bool = True
    supply_on: bool = True
    scanned: bool = True  # False: the controller's program is late, and its outputs stand as they were
    remote_demand_pct: float = 0.0
    capacity_manual_demand_pct: float = 0.0
    volume_ratio_manual_demand_pct: float = 0.0
    announced_load_pct: float = 0.0


_FIFTEEN = tuple[
    float, float, float, float, float, float, float, float, float, float, float, float, float, float, float
]


@dataclass(frozen=True, slots=True)
class Wiring:
    """How the input cards are scaled: the value at 4 mA and at 20 mA of each channel, in cabinet units."""

    low: _FIFTEEN = field(default=(0.0,) * 15)
    high: _FIFTEEN = field(default=(100.0,) * 15)


@kernel
def _value(w: Any, readings: Any, channel: int) -> float:
    return to_engineering(readings.milliamp[channel], w.low[channel], w.high[channel])


@kernel
def wire_inputs(w: Any, operator: Any, readings: Any, inputs: Any) -> None:
    """Fill the process image from the current loops, the contacts and the switches."""
    inputs.suction_pressure_kpa_abs = _value(w, readings, 0)
    inputs.discharge_pressure_kpa_abs = _value(w, readings, 1)
    inputs.suction_temperature_c = _value(w, readings, 2)
    inputs.discharge_temperature_c = _value(w, readings, 3)
    inputs.oil_pressure_before_filter_kpa_abs = _value(w, readings, 4)
    inputs.oil_pressure_kpa_abs = _value(w, readings, 5)
    inputs.oil_temperature_c = _value(w, readings, 6)
    inputs.oil_level_pct = _value(w, readings, 7)
    inputs.motor_current_a = _value(w, readings, 8)
    inputs.motor_power_kw = _value(w, readings, 9)
    inputs.capacity_position_pct = _value(w, readings, 10)
    inputs.capacity_position_opposite_pct = _value(w, readings, 11)
    inputs.volume_ratio_position_pct = _value(w, readings, 12)
    inputs.volume_ratio_position_opposite_pct = _value(w, readings, 13)
    inputs.process_temperature_c = _value(w, readings, 14)
    inputs.suction_pressure_health = loop_health(readings.milliamp[0])
    inputs.discharge_pressure_health = loop_health(readings.milliamp[1])
    inputs.suction_temperature_health = loop_health(readings.milliamp[2])
    inputs.discharge_temperature_health = loop_health(readings.milliamp[3])
    inputs.oil_pressure_before_filter_health = loop_health(readings.milliamp[4])
    inputs.oil_pressure_health = loop_health(readings.milliamp[5])
    inputs.oil_temperature_health = loop_health(readings.milliamp[6])
    inputs.oil_level_health = loop_health(readings.milliamp[7])
    inputs.motor_current_health = loop_health(readings.milliamp[8])
    inputs.motor_power_health = loop_health(readings.milliamp[9])
    inputs.capacity_position_health = loop_health(readings.milliamp[10])
    inputs.capacity_position_opposite_health = loop_health(readings.milliamp[11])
    inputs.volume_ratio_position_health = loop_health(readings.milliamp[12])
    inputs.volume_ratio_position_opposite_health = loop_health(readings.milliamp[13])
    inputs.process_temperature_health = loop_health(readings.milliamp[14])
    inputs.vessel_high_high_level = readings.vessel_high_high_level
    inputs.motor_running = readings.motor_running
    inputs.safety_chain_closed = operator.safety_chain_closed
    inputs.stop_button_pressed = operator.stop_button_pressed
    inputs.reset_pressed = operator.reset_pressed
    inputs.valves_open = operator.valves_open
    inputs.remote_run = operator.remote_run
    inputs.second_set_point = operator.second_set_point
    inputs.capacity_manual = operator.capacity_manual
    inputs.volume_ratio_manual = operator.volume_ratio_manual
    inputs.selection = operator.selection
    inputs.remote_demand_pct = operator.remote_demand_pct
    inputs.capacity_manual_demand_pct = operator.capacity_manual_demand_pct
    inputs.volume_ratio_manual_demand_pct = operator.volume_ratio_manual_demand_pct
    inputs.announced_load_pct = operator.announced_load_pct


@kernel
def go_dark(outputs: Any) -> None:
    """What a cabinet without supply puts out: nothing is energised; its indications stay as they were."""
    outputs.motor_run = False
    outputs.oil_pump = False
    outputs.oil_heater = False
    outputs.injection_cooling = False
    outputs.capacity_load = False
    outputs.capacity_unload = False
    outputs.volume_ratio_increase = False
    outputs.volume_ratio_decrease = False


@kernel
def wire_outputs(outputs: Any, operator: Any, actuators: Any) -> None:
    """Energise what the controller commands; the safety chain and the stop button break the contactor by themselves."""
    chain = operator.safety_chain_closed and not operator.stop_button_pressed
    actuators.motor_run = outputs.motor_run and chain
    actuators.oil_pump = outputs.oil_pump
    actuators.oil_heater = outputs.oil_heater
    actuators.injection_cooling = outputs.injection_cooling
    actuators.capacity_load = outputs.capacity_load
    actuators.capacity_unload = outputs.capacity_unload
    actuators.volume_ratio_increase = outputs.volume_ratio_increase
    actuators.volume_ratio_decrease = outputs.volume_ratio_decrease
