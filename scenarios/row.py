"""One row of the trace: every quantity that somebody may want to see of a cycle.

All columns are floats in memory (integers and states are exact in one), so that a watch can look at any of them by
number; the trace file gives each its own type.  Adding a column is one field here and one line in `write_row`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from enum import IntEnum
from typing import Any

from numba.extending import register_jitable as kernel

from controller.process_image import Inhibit, Mode, StartRefused, StopReason, Trip


def _column(unit: str, text: str, form: type = float, group: str = "plant") -> Any:
    return field(default=0.0, metadata={"unit": unit, "text": text, "form": form, "group": group})


@dataclass(slots=True)
class Row:
    """State and inputs at `time_ms`, and the outputs issued then, which act until the next scan."""

    time_ms: float = _column("ms", "time since the start of the run", int, "time")
    suction_pressure_pa: float = _column("Pa", "pressure at the compressor's suction flange (dry line)")
    suction_pressure_measured_pa: float = _column("Pa", "suction pressure as the controller reads it", group="read")
    vessel_pressure_pa: float = _column("Pa", "pressure in the suction vessel")
    discharge_pressure_pa: float = _column("Pa", "pressure in condenser and receiver")
    discharge_pressure_measured_pa: float = _column("Pa", "discharge pressure as the controller reads it", group="read")
    suction_superheat_k: float = _column("K", "superheat at the suction flange")
    discharge_temperature_k: float = _column("K", "temperature of gas and oil at the discharge flange")
    discharge_temperature_measured_k: float = _column("K", "discharge temperature as read", group="read")
    oil_temperature_k: float = _column("K", "oil supply temperature")
    oil_temperature_measured_k: float = _column("K", "oil supply temperature as read", group="read")
    oil_pressure_measured_pa: float = _column("Pa", "oil supply pressure, after the filter, as read", group="read")
    oil_pressure_before_filter_measured_pa: float = _column(
        "Pa", "oil pressure before the filter as read", group="read"
    )
    oil_differential_pa: float = _column("Pa", "oil supply pressure above the separator's")
    separator_pressure_pa: float = _column("Pa", "pressure in the oil separator, before the discharge check valve")
    vessel_swollen_level_frac: float = _column("1", "level in the suction vessel with its bubbles")
    oil_level_frac: float = _column("1", "oil in the separator's sump")
    capacity_halves_gap_frac: float = _column("1", "travel by which the capacity pair's halves disagree")
    capacity_travel_frac: float = _column("1", "capacity slide, 0 = minimum, 1 = full load")
    capacity_travel_measured_frac: float = _column("1", "capacity slide as read", group="read")
    capacity_travel_opposite_measured_frac: float = _column("1", "capacity slide's other half as read", group="read")
    capacity_demand_frac: float = _column("1", "capacity travel that the controller aims at", group="control")
    trapped_fraction_frac: float = _column("1", "flute volume trapped at closing, of the full-load volume")
    volume_ratio_travel_frac: float = _column("1", "volume-ratio slide, 0 = lowest ratio, 1 = highest")
    volume_ratio_travel_measured_frac: float = _column("1", "volume-ratio slide as read", group="read")
    volume_ratio_demand_frac: float = _column("1", "volume-ratio travel that the controller aims at", group="control")
    volume_ratio: float = _column("1", "volume ratio that the gas sees: trapped fraction × full-load ratio")
    volume_ratio_ideal: float = _column("1", "volume ratio without over- or under-compression at this pressure ratio")
    volume_ratio_attainable: float = _column("1", "nearest to the ideal that the slide can reach at this capacity")
    mass_flow_kg_s: float = _column("kg/s", "flow from the suction vessel")
    through_path_kg_s: float = _column("kg/s", "gas blown back from discharge to suction where the edges overlap")
    shaft_power_w: float = _column("W", "shaft power of the compressor")
    mismatch_power_w: float = _column("W", "shaft power lost against the best attainable volume ratio")
    unavoidable_power_w: float = _column("W", "loss of the best attainable volume ratio against the ideal one")
    motor_power_w: float = _column("W", "electrical power of the compressor motor")
    auxiliary_power_w: float = _column("W", "electrical power of oil pump, oil heater and condenser fans")
    motor_current_a: float = _column("A", "motor current")
    motor_current_measured_a: float = _column("A", "motor current as read", group="read")
    motor_speed_1_s: float = _column("1/s", "rotor speed, turns a second")
    load_heat_w: float = _column("W", "heat load on the rooms")
    evaporator_heat_w: float = _column("W", "heat taken up by the evaporators: the cooling delivered")
    condenser_heat_w: float = _column("W", "heat rejected by the condenser")
    room_temperature_k: float = _column("K", "room or process temperature")
    vessel_level_frac: float = _column("1", "liquid in the suction vessel, by volume")
    wet_bulb_temperature_k: float = _column("K", "wet-bulb temperature at the condenser")
    motor_energy_j: float = _column("J", "electrical energy of the compressor motor since the start", group="sum")
    auxiliary_energy_j: float = _column(
        "J", "electrical energy of oil pump, heater and fans since the start", group="sum"
    )
    cooling_energy_j: float = _column("J", "cooling delivered since the start", group="sum")
    compressor_mass_kg: float = _column("kg", "gas that this machine has moved since the start", group="sum")
    other_mass_kg: float = _column("kg", "gas that other machines have moved since the start", group="sum")
    mismatch_energy_j: float = _column("J", "shaft energy lost to volume-ratio mismatch since the start", group="sum")
    unavoidable_energy_j: float = _column("J", "loss of the best attainable volume ratio since the start", group="sum")
    suction_set_point_pa: float = _column("Pa", "working suction set point", group="control")
    capacity_load_on_ms: float = _column("ms", "load drive on since the last row", int, "drive")
    capacity_unload_on_ms: float = _column("ms", "unload drive on since the last row", int, "drive")
    volume_ratio_increase_on_ms: float = _column("ms", "increase drive on since the last row", int, "drive")
    volume_ratio_decrease_on_ms: float = _column("ms", "decrease drive on since the last row", int, "drive")
    capacity_load: float = _column("1", "load drive commanded", bool, "drive")
    capacity_unload: float = _column("1", "unload drive commanded", bool, "drive")
    volume_ratio_increase: float = _column("1", "increase drive commanded", bool, "drive")
    volume_ratio_decrease: float = _column("1", "decrease drive commanded", bool, "drive")
    motor_run: float = _column("1", "motor commanded to run", bool, "control")
    oil_pump: float = _column("1", "oil pump commanded to run", bool, "control")
    motor_running: float = _column("1", "running feedback", bool, "read")
    vessel_high_level: float = _column("1", "high-high level contact of the suction vessel", bool, "read")
    mode: float = _column("1", "where the sequence stands", Mode, "control")
    inhibit: float = _column("1", "which limit holds capacity back", Inhibit, "control")
    trip_first_out: float = _column("1", "first cause of the latched trip", Trip, "control")
    trip_word: float = _column("1", "all latched causes, one bit each", int, "control")
    alarm_word: float = _column("1", "pre-alarms and alarms now, one bit each", int, "control")
    start_refused: float = _column("1", "why a wanted start waits", StartRefused, "control")
    stop_reason: float = _column("1", "why the machine stopped last", StopReason, "control")


COLUMNS: tuple[str, ...] = tuple(f.name for f in fields(Row))
UNITS: dict[str, str] = {f.name: f.metadata["unit"] for f in fields(Row)}
FORMS: dict[str, type] = {f.name: f.metadata["form"] for f in fields(Row)}
TEXTS: dict[str, str] = {f.name: f.metadata["text"] for f in fields(Row)}
INDEX: dict[str, int] = {name: k for k, name in enumerate(COLUMNS)}

# Changes of these go into events.csv at the scan at which they happen, whatever the log interval.
EDGE_COLUMNS: tuple[str, ...] = (
    "capacity_load",
    "capacity_unload",
    "volume_ratio_increase",
    "volume_ratio_decrease",
    "motor_run",
    "oil_pump",
    "motor_running",
    "mode",
    "inhibit",
    "trip_first_out",
    "trip_word",
    "alarm_word",
    "start_refused",
    "stop_reason",
)


def is_state(name: str) -> bool:
    """True for a column that is logged as a word (an enumeration) rather than a number."""
    return issubclass(FORMS[name], IntEnum)


class RowView:
    """A row whose attributes are stored in a float array: the interpreted engine's row.

    Compiled code gets the same array as a record; here each attribute writes through, so that `values` and the row are
    one memory in both.
    """

    __slots__ = ("_values",)
    _values: Any

    def __init__(self, values: Any) -> None:
        object.__setattr__(self, "_values", values)

    def __setattr__(self, name: str, value: Any) -> None:
        self._values[INDEX[name]] = float(value)

    def __getattr__(self, name: str) -> float:
        return float(self._values[INDEX[name]])


_TURN_RAD = 2.0 * math.pi


@kernel
def _flag(value: bool) -> float:
    return 1.0 if value else 0.0


@kernel
def write_row(row: Any, plant: Any, disturbances: Any, inputs: Any, outputs: Any, run: Any) -> None:
    """Fill the row of one scan from the plant's state, what the controller read and what it answered."""
    row.time_ms = float(run.time_ms)
    row.suction_pressure_pa = plant.suction.pressure_pa
    row.suction_pressure_measured_pa = inputs.suction_pressure_kpa_abs * 1000.0
    row.vessel_pressure_pa = plant.vessel.zone.pressure_pa
    row.discharge_pressure_pa = plant.discharge.volume.pressure_pa
    row.discharge_pressure_measured_pa = inputs.discharge_pressure_kpa_abs * 1000.0
    row.suction_superheat_k = plant.suction.superheat_k
    row.discharge_temperature_k = plant.oil.mixture_k
    row.discharge_temperature_measured_k = inputs.discharge_temperature_c + 273.15
    row.oil_temperature_k = plant.oil.supply_k
    row.oil_temperature_measured_k = inputs.oil_temperature_c + 273.15
    row.oil_pressure_measured_pa = inputs.oil_pressure_kpa_abs * 1000.0
    row.oil_pressure_before_filter_measured_pa = inputs.oil_pressure_before_filter_kpa_abs * 1000.0
    row.oil_differential_pa = plant.oil.supply_pa - plant.separator.pressure_pa
    row.separator_pressure_pa = plant.separator.pressure_pa
    row.vessel_swollen_level_frac = plant.vessel.swollen_frac
    row.oil_level_frac = plant.oil.level_frac
    row.capacity_halves_gap_frac = plant.capacity.halves_gap_frac
    row.capacity_travel_frac = plant.capacity.travel_frac
    row.capacity_travel_measured_frac = inputs.capacity_position_pct * 0.01
    row.capacity_travel_opposite_measured_frac = inputs.capacity_position_opposite_pct * 0.01
    row.capacity_demand_frac = outputs.capacity_demand_pct * 0.01
    row.trapped_fraction_frac = plant.compression.trapped_fraction_frac
    row.volume_ratio_travel_frac = plant.volume_ratio.travel_frac
    row.volume_ratio_travel_measured_frac = inputs.volume_ratio_position_pct * 0.01
    row.volume_ratio_demand_frac = outputs.volume_ratio_demand_pct * 0.01
    row.volume_ratio = plant.compression.volume_ratio
    row.volume_ratio_ideal = plant.compression.volume_ratio_ideal
    row.volume_ratio_attainable = plant.compression.volume_ratio_attainable
    row.mass_flow_kg_s = plant.compression.mass_flow_kg_s
    row.through_path_kg_s = plant.compression.through_path_kg_s
    row.shaft_power_w = plant.compression.shaft_power_w
    row.mismatch_power_w = plant.compression.mismatch_power_w
    row.unavoidable_power_w = plant.compression.unavoidable_power_w
    row.motor_power_w = plant.motor.power_w
    row.auxiliary_power_w = plant.rates.oil_pump_w + plant.rates.oil_heater_w + plant.rates.condenser_fans_w
    row.motor_current_a = plant.motor.current_a
    row.motor_current_measured_a = inputs.motor_current_a
    row.motor_speed_1_s = plant.motor.speed_rad_s / _TURN_RAD
    row.load_heat_w = plant.rates.load_w
    row.evaporator_heat_w = plant.rates.refrigeration_w
    row.condenser_heat_w = plant.rates.condenser_w
    row.room_temperature_k = plant.room_k
    row.vessel_level_frac = plant.vessel.level_frac
    elapsed_s = float(run.time_ms - disturbances.wet_bulb_since_ms) * 0.001
    row.wet_bulb_temperature_k = disturbances.wet_bulb_k + disturbances.wet_bulb_rate_k_s * elapsed_s
    row.motor_energy_j = plant.ledger.electrical_j
    row.auxiliary_energy_j = plant.ledger.oil_pump_j + plant.ledger.oil_heater_j + plant.ledger.condenser_fans_j
    row.cooling_energy_j = plant.ledger.refrigeration_j
    row.compressor_mass_kg = plant.ledger.compressor_kg
    row.other_mass_kg = plant.ledger.other_kg
    row.mismatch_energy_j = plant.ledger.mismatch_j
    row.unavoidable_energy_j = plant.ledger.unavoidable_j
    row.suction_set_point_pa = outputs.suction_set_point_kpa_abs * 1000.0
    row.capacity_load_on_ms = float(run.capacity_load_on_ms)
    row.capacity_unload_on_ms = float(run.capacity_unload_on_ms)
    row.volume_ratio_increase_on_ms = float(run.volume_ratio_increase_on_ms)
    row.volume_ratio_decrease_on_ms = float(run.volume_ratio_decrease_on_ms)
    row.capacity_load = _flag(outputs.capacity_load)
    row.capacity_unload = _flag(outputs.capacity_unload)
    row.volume_ratio_increase = _flag(outputs.volume_ratio_increase)
    row.volume_ratio_decrease = _flag(outputs.volume_ratio_decrease)
    row.motor_run = _flag(outputs.motor_run)
    row.oil_pump = _flag(outputs.oil_pump)
    row.motor_running = _flag(inputs.motor_running)
    row.vessel_high_level = _flag(inputs.vessel_high_high_level)
    row.mode = float(outputs.mode)
    row.inhibit = float(outputs.inhibit)
    row.trip_first_out = float(outputs.trip_first_out)
    row.trip_word = float(outputs.trip_word)
    row.alarm_word = float(outputs.alarm_word)
    row.start_refused = float(outputs.start_refused)
    row.stop_reason = float(outputs.stop_reason)
