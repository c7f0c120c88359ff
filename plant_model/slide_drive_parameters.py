"""The drive of one pair of slides as people describe it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from plant_model.parameter_field import PRACTICE, difference, switch, time_ms, value


class DriveKind(IntEnum):
    """What moves a pair of slides."""

    HYDRAULIC = 0  # oil on a piston: gas force, stall, drift, slow with cold oil
    MOTORISED = 1  # a geared motor on a spindle: one speed, self-locking


@dataclass(frozen=True, slots=True)
class SlideDriveParameters:
    """Drive of one pair of slides; load and unload are increase and decrease for the volume-ratio pair."""

    kind: DriveKind = field(
        default=DriveKind.HYDRAULIC, metadata={"unit": "1", "why": f"oil is there anyway: {PRACTICE}"}
    )
    load_stroke_ms: int = time_ms(50_000, 1_000, 600_000, "full stroke 40–60 s (practitioner's memory)")
    unload_stroke_ms: int = time_ms(25_000, 1_000, 600_000, "full stroke 15–30 s (practitioner's memory)")
    motor_stroke_ms: int = time_ms(40_000, 1_000, 600_000, "motorised, either way: 25–60 s (practitioner's memory)")
    rated_hydraulic_pa: float = difference(1.25e6, "Pa", 1.0e4, 1.0e7, "oil after filter over suction at −10/35 °C")
    rated_gas_difference_pa: float = difference(1.06e6, "Pa", 1.0e4, 1.0e7, "p_d − p_s at −10/35 °C")
    gas_force_frac: float = value(
        0.15, "1", 0.0, 0.9, f"gas force on the piston as a share of p_d − p_s; it unloads: {PRACTICE}"
    )
    friction_pa: float = difference(100.0e3, "Pa", 0.0, 2.0e6, f"seals, as pressure on the piston: {PRACTICE}")
    stiction_pa: float = difference(
        20.0e3, "Pa", 0.0, 2.0e6, f"on top of friction, to break away from rest: {PRACTICE}"
    )
    shared_flow_frac: float = value(
        0.8, "1", 0.1, 1.0, f"speed of each while both pairs move on one oil line: {PRACTICE}"
    )
    viscous_share_frac: float = value(
        0.15,
        "1",
        0.0,
        1.0,
        "share of the line's resistance that follows the oil's viscosity, at the set point; no source",
    )
    dead_time_ms: int = time_ms(150, 0, 10_000, f"solenoid and pilot, or contactor: {PRACTICE}")
    overrun_ms: int = time_ms(100, 0, 10_000, f"motion after the drive drops out: {PRACTICE}")
    backlash_frac: float = value(
        0.0,
        "1",
        0.0,
        0.2,
        "half-gap between drive and slide, of the stroke; 0: a tight linkage; a worn one 0.002–0.02: " + PRACTICE,
    )
    feedback_on_slide: bool = switch(
        True, f"the position sensor sits on the slide; false: on the drive, before the backlash: {PRACTICE}"
    )
