"""The hydraulic drive of a pair of slides.

Oil after the filter against suction pressure pushes the piston; gas force, in proportion to p_d − p_s, helps it to
unload and hinders it to load; seals take their share.  v = v0·√(max(0, net pressure) / reference), so below a stall
difference nothing moves.  A solenoid acts after its dead time and lets the slide run on a little when it drops out, to
the millisecond; within a step the speed is constant, so the motion is exact.  Unpowered slides stand still.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel


@kernel
def slide_speed_frac_s(drive: Any, derived: Any, hydraulic_pa: float, gas_pa: float, direction: int) -> float:
    """Speed of travel in one direction (+1 load, −1 unload), 1/s, never negative.

    `hydraulic_pa` is oil less suction pressure, `gas_pa` discharge less suction; `drive` a SlideDriveParameters.
    """
    force_pa = drive.gas_force_frac * gas_pa
    if direction > 0:
        net_pa = hydraulic_pa - force_pa - drive.friction_pa
        return derived.load_factor * math.sqrt(net_pa) if net_pa > 0.0 else 0.0
    net_pa = hydraulic_pa + force_pa - drive.friction_pa
    return derived.unload_factor * math.sqrt(net_pa) if net_pa > 0.0 else 0.0


@kernel
def moving_ms(drive: Any, slide: Any, load: bool, unload: bool, h_ms: int) -> int:
    """Milliseconds of the coming `h_ms` in which the slide moves in `slide.direction`; updates the solenoids' clocks.

    Both solenoids on at once hold each other: no motion.
    """
    direction = 0
    if load and not unload:
        direction = 1
    elif unload and not load:
        direction = -1
    if direction == 0:
        if load or slide.direction == 0:  # both on, or nothing on since the last motion died away
            slide.direction = 0
            slide.energised_ms = 0
            slide.overrun_ms = 0
            return 0
        if slide.energised_ms > drive.dead_time_ms:
            slide.overrun_ms = drive.overrun_ms
        slide.energised_ms = 0
        ms = min(h_ms, slide.overrun_ms)
        slide.overrun_ms -= ms
        return int(ms)
    if direction != slide.direction:
        slide.direction = direction
        slide.energised_ms = 0
        slide.overrun_ms = 0
    before_ms = max(0, slide.energised_ms - drive.dead_time_ms)
    coasting_ms = 0
    if slide.overrun_ms > 0:  # energised again while still running on
        coasting_ms = min(slide.overrun_ms, h_ms, max(0, drive.dead_time_ms - slide.energised_ms))
        slide.overrun_ms -= coasting_ms
    # capped, because an integer must not grow without end; long past the dead time its value no longer matters
    slide.energised_ms = min(slide.energised_ms + h_ms, drive.dead_time_ms + 3_600_000)
    if slide.energised_ms == drive.dead_time_ms + 3_600_000:
        return h_ms
    return int(max(0, slide.energised_ms - drive.dead_time_ms) - before_ms + coasting_ms)


@kernel
def move(slide: Any, ms: int, speed_frac_s: float, h_s: float) -> None:
    """Move by `ms` at a speed in `slide.direction`, to the end stops 0 and 1; the mean velocity over `h_s` is kept."""
    start_frac = slide.travel_frac
    if ms > 0:
        travel_frac = start_frac + (speed_frac_s * 0.001) * (ms * slide.direction)
        slide.travel_frac = min(1.0, max(0.0, travel_frac))
    slide.velocity_frac_s = (slide.travel_frac - start_frac) / h_s


@kernel
def step_slides(p: Any, s: Any, a: Any, h_ms: int) -> None:
    """Move both pairs over one step; while both move they share the oil."""
    capacity_ms = moving_ms(p.plant.capacity_drive, s.capacity, a.capacity_load, a.capacity_unload, h_ms)
    ratio_ms = moving_ms(
        p.plant.volume_ratio_drive, s.volume_ratio, a.volume_ratio_increase, a.volume_ratio_decrease, h_ms
    )
    if capacity_ms == 0 and ratio_ms == 0:
        s.capacity.velocity_frac_s = 0.0
        s.volume_ratio.velocity_frac_s = 0.0
        return
    hydraulic_pa = s.oil.supply_pa - s.suction.pressure_pa
    gas_pa = s.discharge.volume.pressure_pa - s.suction.pressure_pa
    capacity_frac_s = 0.0
    ratio_frac_s = 0.0
    if capacity_ms > 0:
        capacity_frac_s = slide_speed_frac_s(
            p.plant.capacity_drive, p.derived.capacity_drive, hydraulic_pa, gas_pa, s.capacity.direction
        )
    if ratio_ms > 0:
        ratio_frac_s = slide_speed_frac_s(
            p.plant.volume_ratio_drive, p.derived.volume_ratio_drive, hydraulic_pa, gas_pa, s.volume_ratio.direction
        )
    if capacity_ms > 0 and ratio_ms > 0:
        capacity_frac_s *= p.plant.capacity_drive.shared_flow_frac
        ratio_frac_s *= p.plant.volume_ratio_drive.shared_flow_frac
    h_s = 0.001 * h_ms
    move(s.capacity, capacity_ms, capacity_frac_s, h_s)
    move(s.volume_ratio, ratio_ms, ratio_frac_s, h_s)
