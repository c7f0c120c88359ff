"""What is regulated, and to which set point: suction pressure, saturated suction, process temperature, or a demand.

Whatever is regulated, a law sees one error in kPa of suction pressure, positive when capacity is wanted, so that its
tuning keeps its unit.  Suction pressure still stops, holds and restarts the machine by the limits of the other layers.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from numba.extending import register_jitable as kernel

from controller.process_image import Inputs, Selection
from controller.saturation import RefrigerantSettings, saturation_pressure_kpa_abs
from controller.scaling import clamp
from controller.setting_fields import choice, percent, pressure_difference, temperature
from controller.signals import SignalState

PRACTICE = "common practice, no source"


class ControlVariable(IntEnum):
    """What leads capacity."""

    SUCTION_PRESSURE = 0
    SATURATED_SUCTION = 1  # suction pressure, with the set point given as a saturation temperature
    PROCESS_TEMPERATURE = 2
    REMOTE_DEMAND = 3  # while the switch stands at remote; in local, suction pressure
    FIXED_DEMAND = 4


@dataclass(frozen=True, slots=True)
class TargetSettings:
    """Controlled variable and the set points that are not suction pressure; those are with the capacity settings."""

    control_variable: ControlVariable = field(
        default=ControlVariable.SUCTION_PRESSURE, metadata=choice(ControlVariable, f"what most plants do; {PRACTICE}")
    )
    saturated_set_point_c: float = temperature(-10.0, -60.0, 20.0, "the demo plant's suction, as a temperature")
    second_saturated_set_point_c: float = temperature(-11.3, -60.0, 20.0, f"1.3 K lower; {PRACTICE}")
    process_set_point_c: float = temperature(-5.0, -60.0, 60.0, f"5 K above saturated suction; {PRACTICE}")
    second_process_set_point_c: float = temperature(-6.0, -60.0, 60.0, f"1 K lower; {PRACTICE}")
    process_weight_kpa: float = pressure_difference(
        11.8, 0.5, 100.0, "suction error that 1 K of process temperature counts as: 11.8 kPa at −10 °C (CoolProp)"
    )
    fixed_demand_pct: float = percent(100.0, 0.0, 100.0, f"base load; {PRACTICE}")


@dataclass(slots=True)
class TargetState:
    """The working set point in its own unit, and in kPa where there is one."""

    started: bool = False
    set_point_c: float = 0.0
    set_point_kpa_abs: float = 0.0
    law_leads: bool = True
    demand_pct: float = 0.0  # of a remote or fixed demand, while no law leads


@kernel
def ramp(value: float, first: float, second: float, target: float, ramp_ms: int, dt_ms: int) -> float:
    """`value` moved towards `target` at the speed that takes ramp_ms from `first` to `second`.

    >>> ramp(290.0, 290.0, 270.0, 270.0, 1000, 100)
    288.0
    """
    if ramp_ms <= 0:
        return target
    step = abs(second - first) * dt_ms / ramp_ms
    if abs(target - value) <= step:
        return target
    if target > value:
        return value + step
    return value - step


@kernel
def moved_set_point(
    value: float, first: float, second: float, use_second: bool, started: bool, ramp_ms: int, dt_ms: int
) -> float:
    """A working set point on its way to the chosen one; the first call puts it there."""
    target = first
    if use_second:
        target = second
    if not started or value == target:
        return target
    return ramp(value, first, second, target, ramp_ms, dt_ms)


@kernel
def move_target(
    settings: TargetSettings,
    refrigerant: RefrigerantSettings,
    state: TargetState,
    first_kpa_abs: float,
    second_kpa_abs: float,
    ramp_ms: int,
    inputs: Inputs,
    dt_ms: int,
) -> None:
    """Working set point and demand of this scan; which of them counts is `law_leads`.

    first_kpa_abs, second_kpa_abs: the suction set points; ramp_ms: time from the first set point to the second.
    """
    c = settings
    s = state
    second = inputs.second_set_point
    s.law_leads = True
    if c.control_variable == ControlVariable.SATURATED_SUCTION:
        before_c = s.set_point_c
        s.set_point_c = moved_set_point(
            before_c, c.saturated_set_point_c, c.second_saturated_set_point_c, second, s.started, ramp_ms, dt_ms
        )
        if not s.started or s.set_point_c != before_c:
            s.set_point_kpa_abs = saturation_pressure_kpa_abs(refrigerant, s.set_point_c)
    elif c.control_variable == ControlVariable.PROCESS_TEMPERATURE:
        s.set_point_c = moved_set_point(
            s.set_point_c, c.process_set_point_c, c.second_process_set_point_c, second, s.started, ramp_ms, dt_ms
        )
    else:
        s.set_point_kpa_abs = moved_set_point(
            s.set_point_kpa_abs, first_kpa_abs, second_kpa_abs, second, s.started, ramp_ms, dt_ms
        )
        if c.control_variable == ControlVariable.FIXED_DEMAND:
            s.law_leads = False
            s.demand_pct = c.fixed_demand_pct
        elif c.control_variable == ControlVariable.REMOTE_DEMAND and inputs.selection == Selection.REMOTE:
            s.law_leads = False
            s.demand_pct = clamp(inputs.remote_demand_pct, 0.0, 100.0)
    s.started = True


@kernel
def control_error_kpa(
    settings: TargetSettings, state: TargetState, signals: SignalState, suction_filtered_kpa_abs: float
) -> float:
    """How far the controlled variable is on the warm side of its set point, in kPa of suction pressure."""
    if settings.control_variable == ControlVariable.PROCESS_TEMPERATURE:
        return (signals.process_temperature_c - state.set_point_c) * settings.process_weight_kpa
    return suction_filtered_kpa_abs - state.set_point_kpa_abs


def lowest_suction_kpa_abs(
    settings: TargetSettings, refrigerant: RefrigerantSettings, first_kpa_abs: float, second_kpa_abs: float
) -> float:
    """The lower of the two suction set points in use, kPa absolute; infinite where no suction pressure is regulated."""
    if settings.control_variable == ControlVariable.SATURATED_SUCTION:
        coldest_c = min(settings.saturated_set_point_c, settings.second_saturated_set_point_c)
        return saturation_pressure_kpa_abs(refrigerant, coldest_c)
    if settings.control_variable in (ControlVariable.PROCESS_TEMPERATURE, ControlVariable.FIXED_DEMAND):
        return float("inf")
    return min(first_kpa_abs, second_kpa_abs)
