"""The plant as people describe it, and its checks.

Defaults are the demo plant: the invented "Harrow Ness fish hall", a −10 °C pumped ammonia plant with brisk process
loads.  SI inside; a plant file writes any unit.  Every default carries its reason, most of them "common practice, no
source": they are what an engineer would assume before measuring, not facts about a machine.  Results are an engineering
aid; nothing here is a safety system, and hard-wired cut-outs come first.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from plant_model.compression import CompressorParameters
from plant_model.discharge_parameters import DischargeSideParameters
from plant_model.evaporator_parameters import EvaporatorParameters, evaporator_violations
from plant_model.instrument_parameters import InstrumentsParameters
from plant_model.measured_slides import MeasuredSlideParameters
from plant_model.motor_parameters import MotorParameters
from plant_model.oil_parameters import CoolerKind, OilParameters
from plant_model.parameter_field import PRACTICE, absolute
from plant_model.rating_set import RatingSetParameters, rating_violations
from plant_model.rotor_geometry import RotorGeometry
from plant_model.slide_drive_parameters import DriveKind, SlideDriveParameters
from plant_model.suction_parameters import SuctionLineParameters, SuctionVesselParameters

__all__ = [
    "DischargeSideParameters",
    "EvaporatorParameters",
    "InstrumentsParameters",
    "MeasuredSlideParameters",
    "MotorParameters",
    "OilParameters",
    "PlantParameters",
    "RatingSetParameters",
    "SiteParameters",
    "SlideDriveParameters",
    "SuctionLineParameters",
    "SuctionVesselParameters",
    "cross_check",
]


@dataclass(frozen=True, slots=True)
class SiteParameters:
    """Where the plant stands."""

    barometric_pressure_pa: float = absolute(101325.0, "Pa", 50.0e3, 110.0e3, "standard atmosphere, ISO 2533")
    ambient_k: float = absolute(293.15, "K", 223.15, 333.15, f"machine room at 20 °C: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class PlantParameters:
    """Everything that a plant file says in numbers; no set point."""

    site: SiteParameters = field(default_factory=SiteParameters)
    rotor: RotorGeometry = field(default_factory=RotorGeometry)
    measured_slides: MeasuredSlideParameters = field(default_factory=MeasuredSlideParameters)
    machine: CompressorParameters = field(default_factory=CompressorParameters)
    rating: RatingSetParameters = field(default_factory=RatingSetParameters)
    suction_vessel: SuctionVesselParameters = field(default_factory=SuctionVesselParameters)
    evaporator: EvaporatorParameters = field(default_factory=EvaporatorParameters)
    suction_line: SuctionLineParameters = field(default_factory=SuctionLineParameters)
    discharge_side: DischargeSideParameters = field(default_factory=DischargeSideParameters)
    oil: OilParameters = field(default_factory=OilParameters)
    motor: MotorParameters = field(default_factory=MotorParameters)
    capacity_drive: SlideDriveParameters = field(default_factory=SlideDriveParameters)
    volume_ratio_drive: SlideDriveParameters = field(default_factory=SlideDriveParameters)
    instruments: InstrumentsParameters = field(default_factory=InstrumentsParameters)


def _drive_violations(name: str, drive: SlideDriveParameters) -> list[str]:
    found: list[str] = []
    if drive.kind is DriveKind.MOTORISED:
        return found
    force_pa = drive.gas_force_frac * drive.rated_gas_difference_pa
    if drive.rated_hydraulic_pa <= force_pa + drive.friction_pa:
        found.append(
            f"{name}: at its rating the oil pressure {drive.rated_hydraulic_pa:g} Pa does not overcome gas force "
            f"{force_pa:g} Pa and friction {drive.friction_pa:g} Pa; the slide would never load"
        )
    return found


def cross_check(plant: PlantParameters) -> list[str]:
    """Violations between fields, in plain words; empty when the plant makes sense.

    Limits of a single field stand in its metadata and are checked where it is read.
    """
    found = []
    w, o, i = plant.suction_vessel, plant.oil, plant.instruments
    if w.high_high_level_frac <= w.level_set_frac + 0.5 * w.feed_band_frac:
        found.append(
            f"suction_vessel: high-high level {w.high_high_level_frac:g} is inside the feed valve's band, which ends "
            f"at {w.level_set_frac + 0.5 * w.feed_band_frac:g}"
        )
    if w.level_set_frac <= w.feed_band_frac:
        found.append(
            f"suction_vessel: level set point {w.level_set_frac:g} is not above the feed band {w.feed_band_frac:g}; "
            "the vessel would run dry"
        )
    found += evaporator_violations(plant.evaporator)
    if plant.discharge_side.fan_stages > 0 and plant.discharge_side.fan_on_pa <= plant.discharge_side.fan_off_pa:
        found.append(
            f"discharge_side: a fan stage would start at {plant.discharge_side.fan_on_pa:g} Pa and stop at "
            f"{plant.discharge_side.fan_off_pa:g} Pa; on must be above off"
        )
    found += rating_violations(plant.rating)
    found += _drive_violations("capacity_drive", plant.capacity_drive)
    found += _drive_violations("volume_ratio_drive", plant.volume_ratio_drive)
    if o.cooler is CoolerKind.WATER and o.set_point_k <= o.coolant_k:
        found.append(f"oil: set point {o.set_point_k:g} K is not above the coolant's {o.coolant_k:g} K")
    if o.charge_kg > o.sump_full_kg:
        found.append(f"oil: a charge of {o.charge_kg:g} kg overfills the sump of {o.sump_full_kg:g} kg")
    if 0.001 * o.circulation_ms * o.rated_flow_kg_s >= o.charge_kg:
        found.append(f"oil: all {o.charge_kg:g} kg would be on their way round at rated flow")
    elif o.charge_kg - 0.001 * o.circulation_ms * o.rated_flow_kg_s <= o.pump_intake_kg:
        found.append(f"oil: with all of it on its way round, less than {o.pump_intake_kg:g} kg would cover the outlet")
    m = plant.motor
    if m.breakdown_slip_frac >= m.breakdown_torque_frac:
        found.append("motor: breakdown slip is not below breakdown torque")
    if m.coupling_torque_frac <= m.breakdown_torque_frac:
        found.append(
            f"motor: a coupling for {m.coupling_torque_frac:g} of rated torque slips before the motor's breakdown torque "
            f"of {m.breakdown_torque_frac:g}"
        )
    if o.viscosity_at_100c_m2_s >= o.viscosity_at_40c_m2_s:
        found.append("oil: viscosity at 100 °C is not below that at 40 °C")
    spans = {
        "suction_pressure": (i.suction_pressure.low_pa, i.suction_pressure.high_pa),
        "discharge_pressure": (i.discharge_pressure.low_pa, i.discharge_pressure.high_pa),
        "suction_temperature": (i.suction_temperature.low_k, i.suction_temperature.high_k),
        "discharge_temperature": (i.discharge_temperature.low_k, i.discharge_temperature.high_k),
        "oil_pressure_before_filter": (i.oil_pressure_before_filter.low_pa, i.oil_pressure_before_filter.high_pa),
        "oil_pressure": (i.oil_pressure.low_pa, i.oil_pressure.high_pa),
        "oil_temperature": (i.oil_temperature.low_k, i.oil_temperature.high_k),
        "oil_level": (i.oil_level.low_frac, i.oil_level.high_frac),
        "motor_current": (i.motor_current.low_a, i.motor_current.high_a),
        "motor_power": (i.motor_power.low_w, i.motor_power.high_w),
        "capacity_position": (i.capacity_position.low_frac, i.capacity_position.high_frac),
        "capacity_position_opposite": (i.capacity_position_opposite.low_frac, i.capacity_position_opposite.high_frac),
        "volume_ratio_position": (i.volume_ratio_position.low_frac, i.volume_ratio_position.high_frac),
        "volume_ratio_position_opposite": (
            i.volume_ratio_position_opposite.low_frac,
            i.volume_ratio_position_opposite.high_frac,
        ),
        "process_temperature": (i.process_temperature.low_k, i.process_temperature.high_k),
    }
    for name, (low, high) in spans.items():
        if high <= low:
            found.append(f"instruments.{name}: the span's high end {high:g} is not above its low end {low:g}")
    return found
