"""The plant as people describe it, and its checks.

Defaults are the demo plant: the invented "Harrow Ness fish hall", a −10 °C pumped ammonia plant with brisk process
loads.  SI inside; a plant file writes any unit.  Every default carries its reason, most of them "common practice, no
source": they are what an engineer would assume before measuring, not facts about a machine.  Results are an engineering
aid; nothing here is a safety system, and hard-wired cut-outs come first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass

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


# the standard atmosphere from 1000 m below the sea to 5500 m above it, and some weather; common practice, no source
BAROMETRIC_LOW_PA, BAROMETRIC_HIGH_PA = 50.0e3, 115.0e3


@dataclass(frozen=True, slots=True)
class SiteParameters:
    """Where the plant stands."""

    barometric_pressure_pa: float = absolute(
        101325.0, "Pa", BAROMETRIC_LOW_PA, BAROMETRIC_HIGH_PA, "standard atmosphere, ISO 2533"
    )
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
            f"{name}: at its rating the oil pressure {drive.rated_hydraulic_pa / 1e3:g} kPa does not overcome "
            f"gas force {force_pa / 1e3:g} kPa and friction {drive.friction_pa / 1e3:g} kPa; the slide would never load"
        )
    return found


def cross_check(plant: PlantParameters) -> list[str]:
    """Violations between fields, in plain words; empty when the plant makes sense.

    Limits of a single field stand in its metadata and are checked where it is read.
    """
    found = []
    w, o, i = plant.suction_vessel, plant.oil, plant.instruments
    band_end_frac = w.level_set_frac + 0.5 * w.feed_band_frac
    if w.high_high_level_frac <= band_end_frac:
        found.append(
            f"suction_vessel: high-high level {100.0 * w.high_high_level_frac:g} % is inside the feed valve's band, which "
            f"ends at {100.0 * band_end_frac:g} %"
        )
    if w.level_set_frac <= w.feed_band_frac:
        found.append(
            f"suction_vessel: level set point {100.0 * w.level_set_frac:g} % is not above the feed band "
            f"{100.0 * w.feed_band_frac:g} %; the vessel would run dry"
        )
    found += evaporator_violations(plant.evaporator)
    if plant.discharge_side.fan_stages > 0 and plant.discharge_side.fan_on_pa <= plant.discharge_side.fan_off_pa:
        found.append(
            f"discharge_side: a fan stage would start at {plant.discharge_side.fan_on_pa / 1e3:g} kPa and stop at "
            f"{plant.discharge_side.fan_off_pa / 1e3:g} kPa; on must be above off"
        )
    found += rating_violations(plant.rating)
    found += _drive_violations("capacity_drive", plant.capacity_drive)
    found += _drive_violations("volume_ratio_drive", plant.volume_ratio_drive)
    if o.cooler is CoolerKind.WATER and o.set_point_k <= o.coolant_k:
        found.append(
            f"oil: set point {o.set_point_k - 273.15:.4g} °C is not above the coolant's {o.coolant_k - 273.15:.4g} °C"
        )
    if o.charge_kg > o.sump_full_kg:
        found.append(f"oil: a charge of {o.charge_kg:g} kg overfills the sump of {o.sump_full_kg:g} kg")
    if 0.001 * o.circulation_ms * o.rated_flow_kg_s >= o.charge_kg:
        found.append(f"oil: all {o.charge_kg:g} kg would be on their way round at rated flow")
    elif o.charge_kg - 0.001 * o.circulation_ms * o.rated_flow_kg_s <= o.pump_intake_kg:
        found.append(f"oil: with all of it on its way round, less than {o.pump_intake_kg:g} kg would cover the outlet")
    m = plant.motor
    if m.breakdown_slip_frac >= m.breakdown_torque_frac:
        found.append(
            f"motor: breakdown slip {100.0 * m.breakdown_slip_frac:g} % is not below breakdown torque "
            f"{100.0 * m.breakdown_torque_frac:g} %"
        )
    if m.coupling_torque_frac <= m.breakdown_torque_frac:
        found.append(
            f"motor: a coupling for {100.0 * m.coupling_torque_frac:g} % of rated torque slips before the motor's "
            f"breakdown torque of {100.0 * m.breakdown_torque_frac:g} %"
        )
    if o.viscosity_at_100c_m2_s >= o.viscosity_at_40c_m2_s:
        found.append("oil: viscosity at 100 °C is not below that at 40 °C")
    for name, low, high, unit in _spans(i):
        if high <= low:
            found.append(
                f"instruments.{name}: the span's high end {high:.6g} {unit} is not above its low end {low:.6g} {unit}"
            )
    return found


# how a span's ends are written: suffix of the field → unit, factor and offset from SI
_WRITTEN = {"_pa": ("kPa", 1e-3, 0.0), "_k": ("°C", 1.0, -273.15), "_frac": ("%", 100.0, 0.0), "_a": ("A", 1.0, 0.0),
            "_w": ("kW", 1e-3, 0.0)}  # fmt: skip


def _spans(instruments: InstrumentsParameters) -> Iterator[tuple[str, float, float, str]]:
    """Name, low end, high end and unit of every transmitter, as people write them."""
    for channel in fields(instruments):
        instrument = getattr(instruments, channel.name)
        for f in fields(instrument) if is_dataclass(instrument) else ():
            suffix = f.name.removeprefix("low")
            if suffix in _WRITTEN:
                unit, factor, offset = _WRITTEN[suffix]
                low, high = getattr(instrument, f.name), getattr(instrument, f"high{suffix}")
                yield channel.name, low * factor + offset, high * factor + offset, unit
