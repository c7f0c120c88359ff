"""The motor as its nameplate describes it."""

from __future__ import annotations

from dataclasses import dataclass

from plant_model.parameter_field import PRACTICE, time_ms, value


@dataclass(frozen=True, slots=True)
class MotorParameters:
    """Squirrel-cage motor, direct on line, by its textbook equivalent circuit (Kloss)."""

    rated_shaft_power_w: float = value(
        220.0e3,
        "W",
        1.0e3,
        1.0e7,
        "two fifths over full load at −10/35 °C, for pull-down and hot days; near 372 A at 400 V",
    )
    supply_voltage_v: float = value(400.0, "V", 100.0, 15000.0, "three-phase low voltage")
    synchronous_speed_1_s: float = value(50.0, "1/s", 5.0, 120.0, "two poles at 50 Hz")
    breakdown_torque_frac: float = value(
        3.0, "1", 1.3, 5.0, f"of rated torque; gives six times the current at start: {PRACTICE}"
    )
    breakdown_slip_frac: float = value(0.10, "1", 0.01, 0.6, PRACTICE)
    magnetising_current_frac: float = value(
        0.33, "1", 0.0, 0.8, f"of rated active current; power factor near 0.89: {PRACTICE}"
    )
    constant_loss_frac: float = value(0.015, "1", 0.0, 0.2, f"iron and windage, of rated power: {PRACTICE}")
    stator_loss_frac: float = value(0.018, "1", 0.0, 0.2, f"copper, of rated power at rated current: {PRACTICE}")
    inertia_kg_m2: float = value(3.2, "kg*m**2", 0.01, 1.0e4, f"two-pole motor, coupling and rotors: {PRACTICE}")
    bearing_torque_n_m: float = value(3.0, "N*m", 0.0, 1.0e5, f"the motor's own bearings: {PRACTICE}")
    thermal_ms: int = time_ms(
        390_000,
        1_000,
        7_200_000,
        "I²t time constant: a relay of class 10 trips from cold at 7.2 × its setting within 10 s, with 1.15 as its "
        "limit (IEC 60947-4-1, recalled)",
    )
    thermal_rest_factor: float = value(3.0, "1", 1.0, 10.0, f"cools slower at rest, its fan stands too: {PRACTICE}")
    rotors_inertia_frac: float = value(
        0.3, "1", 0.05, 0.95, f"share of the inertia on the compressor's side of the coupling: {PRACTICE}"
    )
    coupling_torque_frac: float = value(
        4.5, "1", 1.0, 20.0, f"what a sound coupling transmits, of rated torque; over breakdown torque: {PRACTICE}"
    )
