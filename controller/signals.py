"""Signal health: which measurements may be believed, and what the other layers see in place of one that may not.

A signal that is not GOOD, or is not a finite number, keeps its last believed value; a lost slide position goes on by
dead reckoning from the drives and stroke times.  What a loss forces is decided by the layers that follow: it inhibits
loading at once, and a lost suction or discharge pressure ends in a trip.
"""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel

from controller.positioner import DriveSettings
from controller.process_image import Health, Inputs, Outputs
from controller.scaling import clamp


@dataclass(slots=True)
class SignalState:
    """Believed values, and whether each is live."""

    suction_pressure_kpa_abs: float = 300.0
    discharge_pressure_kpa_abs: float = 1200.0
    discharge_temperature_c: float = 30.0
    motor_current_a: float = 0.0
    capacity_position_pct: float = 100.0  # never seen means not known to be unloaded
    volume_ratio_position_pct: float = 100.0
    suction_pressure_good: bool = False
    discharge_pressure_good: bool = False
    discharge_temperature_good: bool = False
    motor_current_good: bool = False
    capacity_position_good: bool = False
    volume_ratio_position_good: bool = False
    all_good: bool = False


@kernel
def believable(value: float, health: Health) -> bool:
    """Whether a measurement may be used: GOOD and finite."""
    return health == Health.GOOD and value > -1.0e9 and value < 1.0e9


@kernel
def reckon(settings: DriveSettings, position_pct: float, up: bool, down: bool, dt_ms: int) -> float:
    """Position in % after the drives have acted for dt_ms at the set stroke speeds."""
    moved_pct = position_pct
    if up:
        moved_pct += 100.0 * dt_ms / settings.stroke_up_ms
    if down:
        moved_pct -= 100.0 * dt_ms / settings.stroke_down_ms
    return clamp(moved_pct, 0.0, 100.0)


@kernel
def read_signals(
    capacity_drive: DriveSettings,
    volume_ratio_drive: DriveSettings,
    state: SignalState,
    inputs: Inputs,
    last_outputs: Outputs,
    dt_ms: int,
) -> None:
    """Take over what may be believed and keep, or reckon on, the rest."""
    s = state
    x = inputs
    s.suction_pressure_good = believable(x.suction_pressure_kpa_abs, x.suction_pressure_health)
    if s.suction_pressure_good:
        s.suction_pressure_kpa_abs = x.suction_pressure_kpa_abs
    s.discharge_pressure_good = believable(x.discharge_pressure_kpa_abs, x.discharge_pressure_health)
    if s.discharge_pressure_good:
        s.discharge_pressure_kpa_abs = x.discharge_pressure_kpa_abs
    s.discharge_temperature_good = believable(x.discharge_temperature_c, x.discharge_temperature_health)
    if s.discharge_temperature_good:
        s.discharge_temperature_c = x.discharge_temperature_c
    s.motor_current_good = believable(x.motor_current_a, x.motor_current_health)
    if s.motor_current_good:
        s.motor_current_a = x.motor_current_a
    s.capacity_position_good = believable(x.capacity_position_pct, x.capacity_position_health)
    if s.capacity_position_good:
        s.capacity_position_pct = x.capacity_position_pct
    else:
        s.capacity_position_pct = reckon(
            capacity_drive, s.capacity_position_pct, last_outputs.capacity_load, last_outputs.capacity_unload, dt_ms
        )
    s.volume_ratio_position_good = believable(x.volume_ratio_position_pct, x.volume_ratio_position_health)
    if s.volume_ratio_position_good:
        s.volume_ratio_position_pct = x.volume_ratio_position_pct
    else:
        s.volume_ratio_position_pct = reckon(
            volume_ratio_drive,
            s.volume_ratio_position_pct,
            last_outputs.volume_ratio_increase,
            last_outputs.volume_ratio_decrease,
            dt_ms,
        )
    s.all_good = (
        s.suction_pressure_good
        and s.discharge_pressure_good
        and s.discharge_temperature_good
        and s.motor_current_good
        and s.capacity_position_good
        and s.volume_ratio_position_good
    )
