"""Condenser, receiver, separator's gas space, fans and the other compressor's outlet as people describe them."""

from __future__ import annotations

from dataclasses import dataclass, field

from plant_model.parameter_field import PRACTICE, absolute, difference, time_ms, value


@dataclass(frozen=True, slots=True)
class DischargeSideParameters:
    """Evaporative condenser and receiver as one two-phase volume."""

    volume_m3: float = value(2.5, "m³", 0.02, 200.0, "invented: condenser coil and high-pressure receiver")
    level_start_frac: float = value(0.40, "1", 0.02, 0.95, f"liquid at the start: {PRACTICE}")
    metal_capacity_j_k: float = value(
        4.0e6, "J/K", 0.0, 1.0e10, f"coil, shell and basin water: lag of minutes: {PRACTICE}"
    )
    conductance_w_k: float = value(55.0e3, "W/K", 10.0, 1.0e7, f"715 kW at 13 K over wet bulb: {PRACTICE}")
    still_air_frac: float = value(0.10, "1", 0.0, 1.0, f"what a condenser does with its fans stopped: {PRACTICE}")
    fans_power_w: float = value(15.0e3, "W", 0.0, 1.0e7, f"fans and spray pump, 2 % of heat rejected: {PRACTICE}")
    wet_bulb_k: float = absolute(295.15, "K", 233.15, 323.15, "22 °C, invented")
    fan_stages: int = field(
        default=0, metadata={"unit": "1", "low": 0, "high": 12, "why": "stages of the plant's own fan control; 0: none"}
    )
    fan_on_pa: float = absolute(1.25e6, "Pa", 1.0e5, 1.2e7, f"a stage more above it, 32 °C condensing: {PRACTICE}")
    fan_off_pa: float = absolute(1.05e6, "Pa", 1.0e5, 1.2e7, f"a stage less below it, 26 °C condensing: {PRACTICE}")
    fan_stage_ms: int = time_ms(30_000, 0, 3_600_000, f"least time between two stages: {PRACTICE}")
    minimum_head_pa: float = absolute(
        0.0, "Pa", 0.0, 1.0e7, "pressure below which the minimum-head valve shuts the condenser off; 0: no valve"
    )
    minimum_head_band_pa: float = difference(50.0e3, "Pa", 1.0e3, 1.0e6, f"from shut to fully open: {PRACTICE}")
    separator_volume_m3: float = value(
        0.5, "m³", 0.01, 50.0, f"gas space of separator and line up to the discharge check valve: {PRACTICE}"
    )
    check_valve_ms: int = time_ms(500, 200, 10_000, f"separator and line follow the condenser's pressure: {PRACTICE}")
    equalise_ms: int = time_ms(
        300_000, 0, 86_400_000, f"gas leaks back through the bleed at standstill; 0: never equalises: {PRACTICE}"
    )
    other_volumetric_frac: float = value(
        0.88, "1", 0.1, 1.0, f"the other compressor's volumetric efficiency: {PRACTICE}"
    )
    other_isentropic_frac: float = value(
        0.72, "1", 0.1, 1.0, f"the other compressor's isentropic efficiency: {PRACTICE}"
    )
