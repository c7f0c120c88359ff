"""The drives of the two pairs of slides.

Hydraulic: oil after the filter against suction pressure pushes the piston; gas force, in proportion to p_d − p_s, helps
it to unload and hinders it to load; seals take their share, and more of it to break away from rest.
v = v0·√(max(0, net pressure) / reference), so below a stall difference nothing moves; cold oil slows it.  Motorised: one
speed either way, whatever the pressures.  A drive acts after its dead time and lets the slide run on a little when it
drops out, to the millisecond; within a step the speed is constant, so the motion is exact.  Unpowered slides stand still
unless their hydraulics leak.

A gap between drive and slide is crossed at every reversal before the slide follows; a linkage that slips lets the second
half fall behind the first.  The gas sees the mean of the halves.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.slide_drive_parameters import DriveKind


@kernel
def slide_speed_frac_s(drive: Any, derived: Any, hydraulic_pa: float, gas_pa: float, direction: int) -> float:
    """Speed of travel of a moving hydraulic slide in one direction (+1 load, −1 unload), 1/s, never negative.

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
    """Milliseconds of the coming `h_ms` in which the drive moves in `slide.direction`; updates the drive's clocks.

    Both directions on at once hold each other: no motion.
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
def drive_speed_frac_s(p: Any, s: Any, drive: Any, derived: Any, slide: Any) -> float:
    """Speed of a drive that is on, in its direction, 1/s: pressures, cold oil, stiction and slowness reckoned in."""
    if drive.kind == DriveKind.MOTORISED:
        return float(derived.motor_frac_s * slide.faults.speed_frac)
    hydraulic_pa = s.oil.supply_pa - s.suction.pressure_pa
    gas_pa = s.separator.pressure_pa - s.suction.pressure_pa
    if slide.velocity_frac_s * slide.direction <= 0.0:  # from rest: does what pushes break it away?
        net_pa = hydraulic_pa - slide.direction * drive.gas_force_frac * gas_pa - drive.friction_pa
        if net_pa <= drive.stiction_pa:
            return 0.0
    speed_frac_s = slide_speed_frac_s(drive, derived, hydraulic_pa, gas_pa, slide.direction)
    slowed = 1.0 + drive.viscous_share_frac * (s.oil.viscosity_ratio - 1.0)
    return float(speed_frac_s * slide.faults.speed_frac / max(0.1, slowed))


@kernel
def move(slide: Any, drive: Any, distance_frac: float, h_s: float) -> None:
    """Move the drive by a distance, and the slides with it to the end stops 0 and 1; keeps the mean velocity over `h_s`."""
    start_frac = slide.travel_frac
    faults = slide.faults
    if drive.backlash_frac == 0.0 and slide.halves_gap_frac == 0.0 and faults.linkage_slip_frac == 0.0:
        if not faults.stuck:
            slide.travel_frac = min(1.0, max(0.0, start_frac + distance_frac))
    else:
        _move_with_play(slide, drive.backlash_frac, distance_frac)
    slide.velocity_frac_s = (slide.travel_frac - start_frac) / h_s


@kernel
def _move_with_play(slide: Any, backlash_frac: float, distance_frac: float) -> None:
    """The same through a gap, and for two halves that may stand apart."""
    first_frac = slide.travel_frac - 0.5 * slide.halves_gap_frac
    second_frac = slide.travel_frac + 0.5 * slide.halves_gap_frac
    gap_frac = slide.drive_gap_frac + distance_frac
    push_frac = 0.0  # what is left for the slide when the gap is closed
    if gap_frac > backlash_frac:
        push_frac = gap_frac - backlash_frac
        gap_frac = backlash_frac
    elif gap_frac < -backlash_frac:
        push_frac = gap_frac + backlash_frac
        gap_frac = -backlash_frac
    slide.drive_gap_frac = gap_frac
    if slide.faults.stuck or push_frac == 0.0:
        return
    # the drive is on the first half: at that one's end stop it stands, and the second half gets no further either
    moved_frac = min(1.0, max(0.0, first_frac + push_frac)) - first_frac
    first_frac += moved_frac
    second_frac = min(1.0, max(0.0, second_frac + moved_frac * (1.0 - slide.faults.linkage_slip_frac)))
    slide.travel_frac = 0.5 * (first_frac + second_frac)
    slide.halves_gap_frac = second_frac - first_frac


@kernel
def _stand(s: Any, drive: Any, slide: Any, h_s: float) -> None:
    """A pair whose drive is off: still, unless its hydraulics leak."""
    slide.velocity_frac_s = 0.0
    if slide.faults.drift_frac_s == 0.0 or slide.faults.stuck or drive.kind == DriveKind.MOTORISED:
        return
    gas_pa = max(0.0, s.separator.pressure_pa - s.suction.pressure_pa)
    # piston and slide creep together, so the gap between them stays
    distance_frac = slide.faults.drift_frac_s * h_s * gas_pa / drive.rated_gas_difference_pa
    half_gap_frac = 0.5 * abs(slide.halves_gap_frac)
    slide.travel_frac = min(1.0 - half_gap_frac, max(half_gap_frac, slide.travel_frac + distance_frac))


@kernel
def _drive(p: Any, s: Any, drive: Any, derived: Any, slide: Any, ms: int, shared_frac: float, h_s: float) -> None:
    if ms == 0:
        _stand(s, drive, slide, h_s)
        return
    speed_frac_s = shared_frac * drive_speed_frac_s(p, s, drive, derived, slide)
    move(slide, drive, (speed_frac_s * 0.001) * (ms * slide.direction), h_s)


@kernel
def step_slides(p: Any, s: Any, a: Any, h_ms: int) -> None:
    """Move both pairs over one step; hydraulic ones share the oil while both move."""
    on = s.motor.supply_on
    capacity, ratio = p.plant.capacity_drive, p.plant.volume_ratio_drive
    capacity_ms = moving_ms(capacity, s.capacity, a.capacity_load and on, a.capacity_unload and on, h_ms)
    ratio_ms = moving_ms(ratio, s.volume_ratio, a.volume_ratio_increase and on, a.volume_ratio_decrease and on, h_ms)
    capacity_shared = 1.0
    ratio_shared = 1.0
    if capacity_ms > 0 and ratio_ms > 0:
        if capacity.kind == DriveKind.HYDRAULIC and ratio.kind == DriveKind.HYDRAULIC:
            capacity_shared = capacity.shared_flow_frac
            ratio_shared = ratio.shared_flow_frac
    h_s = 0.001 * h_ms
    _drive(p, s, capacity, p.derived.capacity_drive, s.capacity, capacity_ms, capacity_shared, h_s)
    _drive(p, s, ratio, p.derived.volume_ratio_drive, s.volume_ratio, ratio_ms, ratio_shared, h_s)


@kernel
def show_position(drive: Any, slide: Any) -> None:
    """What the position sensors of both halves stand at; the first half's may be out of calibration."""
    half_gap_frac = 0.5 * slide.halves_gap_frac
    first_frac = slide.travel_frac - half_gap_frac
    if not drive.feedback_on_slide:
        first_frac += slide.drive_gap_frac
    slide.feedback_frac = first_frac * (1.0 + slide.faults.feedback_span_frac) + slide.faults.feedback_zero_frac
    slide.opposite_frac = slide.travel_frac + half_gap_frac
