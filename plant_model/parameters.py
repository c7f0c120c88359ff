"""The plant as people describe it, and its checks.

Defaults are the demo plant: the invented "Harrow Ness fish hall", a −10 °C pumped ammonia plant with brisk process
loads.  SI inside; a plant file writes any unit.  Every default carries its reason, most of them "common practice, no
source": they are what an engineer would assume before measuring, not facts about a machine.  Results are an engineering
aid; nothing here is a safety system, and hard-wired cut-outs come first.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from plant_model.compression import CompressorParameters
from plant_model.rotor_geometry import RotorGeometry

PRACTICE = "common practice, no source"


def _value(default: float, unit: str, low: float, high: float, why: str, of: str = "") -> Any:
    metadata: dict[str, Any] = {"unit": unit, "low": low, "high": high, "why": why}
    if of:
        metadata["of"] = of
    return field(default=default, metadata=metadata)


def _absolute(default: float, unit: str, low: float, high: float, why: str) -> Any:
    return _value(default, unit, low, high, why, "absolute")


def _difference(default: float, unit: str, low: float, high: float, why: str) -> Any:
    return _value(default, unit, low, high, why, "difference")


def _time(default: int, low: int, high: int, why: str) -> Any:
    return field(default=default, metadata={"unit": "ms", "low": low, "high": high, "why": why})


@dataclass(frozen=True, slots=True)
class SiteParameters:
    """Where the plant stands."""

    barometric_pressure_pa: float = _absolute(101325.0, "Pa", 50.0e3, 110.0e3, "standard atmosphere, ISO 2533")
    ambient_k: float = _absolute(293.15, "K", 223.15, 333.15, f"machine room at 20 °C: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class SuctionVesselParameters:
    """Pump-circulation vessel with its level control."""

    volume_m3: float = _value(5.0, "m³", 0.05, 200.0, "the vessel of the published checks, section 4")
    level_set_frac: float = _value(0.40, "1", 0.05, 0.85, "liquid volume; the published checks' 40 %")
    high_high_level_frac: float = _value(0.75, "1", 0.1, 0.98, f"contact that stops the machine: {PRACTICE}")
    skin_frac: float = _value(
        0.087, "1", 0.0, 1.0, "share of the liquid that follows the vapour at once: 70 J/Pa at −10 °C; 1 = all"
    )
    flash_ms: int = _time(
        12_000, 0, 600_000, "bulk boils off its superheat in 5–20 s (practitioner's memory); 0 = equilibrium"
    )
    absorb_ms: int = _time(
        240_000, 0, 3_600_000, "warm surface mixes into the bulk in 60–600 s (memory); 0 = equilibrium"
    )
    mixing_ms: int = _time(60_000, 5_000, 3_600_000, f"skin and bulk keep their shares by exchange: {PRACTICE}")
    feed_rated_kg_s: float = _value(
        1.6, "kg/s", 1.0e-3, 100.0, f"open feed valve, over twice the full load's flow: {PRACTICE}"
    )
    feed_band_frac: float = _value(0.10, "1", 0.01, 0.5, f"level fall that opens the feed valve fully: {PRACTICE}")
    feed_rated_difference_pa: float = _difference(
        1.06e6, "Pa", 1.0e4, 1.0e7, "1350 − 290 kPa, the rating point −10/35 °C"
    )


@dataclass(frozen=True, slots=True)
class EvaporatorParameters:
    """One group of pumped evaporators and the room (or process) that they cool."""

    conductance_w_k: float = _value(60.0e3, "W/K", 10.0, 1.0e7, f"500 kW at 8 K, air coolers: {PRACTICE}")
    room_capacity_j_k: float = _value(
        0.5e6, "J/K", 1.0e3, 1.0e10, f"brisk process load, a tonne of metal: 8 s with the coils: {PRACTICE}"
    )
    load_source_k: float = _absolute(291.15, "K", 223.15, 343.15, f"goods and process come in at 18 °C: {PRACTICE}")
    load_fade_k: float = _difference(10.0, "K", 0.1, 60.0, f"the load fades over the last 10 K below that: {PRACTICE}")
    base_load_w: float = _value(380.0e3, "W", 0.0, 1.0e8, "invented: five eighths of full load")


@dataclass(frozen=True, slots=True)
class SuctionLineParameters:
    """Stop-check valve, strainer and the short dry line: algebraic, because its own time constant is 30 ms."""

    rated_drop_pa: float = _difference(6.0e3, "Pa", 0.0, 2.0e5, f"0.5 K at −10 °C at the rated flow: {PRACTICE}")
    rated_flow_m3_s: float = _value(0.26, "m³/s", 1.0e-3, 20.0, "full load of the demo machine")
    rated_density_kg_m3: float = _value(2.39, "kg/m**3", 0.05, 200.0, "ammonia at −10 °C, published checks section 1")
    superheat_k: float = _difference(3.0, "K", 0.0, 40.0, f"pumped plant, insulated line: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class DischargeSideParameters:
    """Evaporative condenser and receiver as one two-phase volume."""

    volume_m3: float = _value(2.5, "m³", 0.02, 200.0, "invented: condenser coil and high-pressure receiver")
    level_start_frac: float = _value(0.40, "1", 0.02, 0.95, f"liquid at the start: {PRACTICE}")
    metal_capacity_j_k: float = _value(
        4.0e6, "J/K", 0.0, 1.0e10, f"coil, shell and basin water: lag of minutes: {PRACTICE}"
    )
    conductance_w_k: float = _value(55.0e3, "W/K", 10.0, 1.0e7, f"715 kW at 13 K over wet bulb: {PRACTICE}")
    still_air_frac: float = _value(0.10, "1", 0.0, 1.0, f"what a condenser does with its fans stopped: {PRACTICE}")
    fans_power_w: float = _value(15.0e3, "W", 0.0, 1.0e7, f"fans and spray pump, 2 % of heat rejected: {PRACTICE}")
    wet_bulb_k: float = _absolute(295.15, "K", 233.15, 323.15, "22 °C, invented")


@dataclass(frozen=True, slots=True)
class OilParameters:
    """Separator sump, cooler with a thermostatic mixing valve, filter, full-time pump, injection."""

    pump_rise_pa: float = _difference(
        220.0e3, "Pa", 0.0, 2.0e6, f"full-time pump over discharge: {PRACTICE}; 0 = no pump, driven by p_d − p_s"
    )
    pump_efficiency_frac: float = _value(0.45, "1", 0.05, 1.0, f"small gear pump with motor: {PRACTICE}")
    pump_lag_ms: int = _time(500, 1, 60_000, f"run-up of the pump: {PRACTICE}")
    rated_flow_kg_s: float = _value(
        1.17, "kg/s", 1.0e-3, 50.0, "about twice the gas at −10/35 °C: T_d near 80 °C, published checks section 3"
    )
    rated_difference_pa: float = _difference(
        932.0e3, "Pa", 1.0e3, 1.0e7, "injection pressure drop at −10/35 °C with the filter clean"
    )
    rated_filter_drop_pa: float = _difference(30.0e3, "Pa", 0.0, 1.0e6, f"clean filter at rated flow: {PRACTICE}")
    injection_level_frac: float = _value(
        0.3, "1", 0.0, 0.9, f"pressure at the injection port between suction and discharge: {PRACTICE}"
    )
    bearing_share_frac: float = _value(0.15, "1", 0.0, 1.0, f"bearings and slides, fed also at standstill: {PRACTICE}")
    density_kg_m3: float = _value(860.0, "kg/m**3", 600.0, 1300.0, f"mineral oil, warm: {PRACTICE}")
    heat_capacity_j_kg_k: float = _value(2000.0, "J/kg/K", 1000.0, 4000.0, "published checks section 3: 2.0 kJ/(kg K)")
    charge_kg: float = _value(150.0, "kg", 1.0, 10000.0, f"oil in sump and circuit: {PRACTICE}")
    sump_full_kg: float = _value(220.0, "kg", 1.0, 20000.0, "oil in the sump at 100 % on the level glass, invented")
    circulation_ms: int = _time(12_000, 0, 600_000, f"oil on its way round, out of the sump: {PRACTICE}")
    supply_line_j_k: float = _value(60.0e3, "J/K", 1.0e3, 1.0e8, f"filter, pipes and their oil: {PRACTICE}")
    standstill_conductance_w_k: float = _value(20.0, "W/K", 0.0, 1.0e4, f"sump to supply line without flow: {PRACTICE}")
    mixture_capacity_j_k: float = _value(
        20.0e3, "J/K", 1.0e3, 1.0e8, "gas and oil answer within seconds (practitioner's memory)"
    )
    metal_capacity_j_k: float = _value(
        400.0e3, "J/K", 1.0e3, 1.0e9, f"casing and separator, 800 kg of iron: {PRACTICE}"
    )
    metal_conductance_w_k: float = _value(1500.0, "W/K", 0.0, 1.0e6, "metal takes minutes (practitioner's memory)")
    ambient_conductance_w_k: float = _value(40.0, "W/K", 0.0, 1.0e5, f"separator and casing to the room: {PRACTICE}")
    heater_w: float = _value(1500.0, "W", 0.0, 1.0e6, f"sump heater: {PRACTICE}")
    cooler_conductance_w_k: float = _value(4200.0, "W/K", 0.0, 1.0e7, f"plate cooler with 30 % in hand: {PRACTICE}")
    coolant_k: float = _absolute(300.15, "K", 253.15, 333.15, "27 °C water, invented")
    set_point_k: float = _absolute(321.15, "K", 283.15, 353.15, f"48 °C supply, usual range 40–55 °C: {PRACTICE}")
    injection_cooling_kg_s: float = _value(
        0.02, "kg/s", 0.0, 10.0, f"liquid through the open injection-cooling valve: {PRACTICE}"
    )


@dataclass(frozen=True, slots=True)
class MotorParameters:
    """Squirrel-cage motor, direct on line, by its textbook equivalent circuit (Kloss)."""

    rated_shaft_power_w: float = _value(
        220.0e3,
        "W",
        1.0e3,
        1.0e7,
        "two fifths over full load at −10/35 °C, for pull-down and hot days; near 372 A at 400 V",
    )
    supply_voltage_v: float = _value(400.0, "V", 100.0, 15000.0, "three-phase low voltage")
    synchronous_speed_1_s: float = _value(50.0, "1/s", 5.0, 120.0, "two poles at 50 Hz")
    breakdown_torque_frac: float = _value(
        3.0, "1", 1.3, 5.0, f"of rated torque; gives six times the current at start: {PRACTICE}"
    )
    breakdown_slip_frac: float = _value(0.10, "1", 0.01, 0.6, PRACTICE)
    magnetising_current_frac: float = _value(
        0.33, "1", 0.0, 0.8, f"of rated active current; power factor near 0.89: {PRACTICE}"
    )
    constant_loss_frac: float = _value(0.015, "1", 0.0, 0.2, f"iron and windage, of rated power: {PRACTICE}")
    stator_loss_frac: float = _value(0.018, "1", 0.0, 0.2, f"copper, of rated power at rated current: {PRACTICE}")
    inertia_kg_m2: float = _value(3.2, "kg*m**2", 0.01, 1.0e4, f"two-pole motor, coupling and rotors: {PRACTICE}")
    bearing_torque_n_m: float = _value(3.0, "N*m", 0.0, 1.0e5, f"the motor's own bearings: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class SlideDriveParameters:
    """Hydraulic drive of one pair of slides; load and unload are increase and decrease for the volume-ratio pair."""

    load_stroke_ms: int = _time(50_000, 1_000, 600_000, "full stroke 40–60 s (practitioner's memory)")
    unload_stroke_ms: int = _time(25_000, 1_000, 600_000, "full stroke 15–30 s (practitioner's memory)")
    rated_hydraulic_pa: float = _difference(1.25e6, "Pa", 1.0e4, 1.0e7, "oil after filter over suction at −10/35 °C")
    rated_gas_difference_pa: float = _difference(1.06e6, "Pa", 1.0e4, 1.0e7, "p_d − p_s at −10/35 °C")
    gas_force_frac: float = _value(
        0.15, "1", 0.0, 0.9, f"gas force on the piston as a share of p_d − p_s; it unloads: {PRACTICE}"
    )
    friction_pa: float = _difference(100.0e3, "Pa", 0.0, 2.0e6, f"seals, as pressure on the piston: {PRACTICE}")
    shared_flow_frac: float = _value(
        0.8, "1", 0.1, 1.0, f"speed of each while both pairs move on one oil line: {PRACTICE}"
    )
    dead_time_ms: int = _time(150, 0, 10_000, f"solenoid and pilot: {PRACTICE}")
    overrun_ms: int = _time(100, 0, 10_000, f"motion after the solenoid drops out: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class PressureInstrument:
    """Pressure transmitter."""

    low_pa: float = _absolute(0.0, "Pa", 0.0, 1.0e7, "4 mA")
    high_pa: float = _absolute(2.5e6, "Pa", 1.0e3, 2.0e7, "20 mA")
    lag_ms: int = _time(200, 0, 60_000, f"pressure cell with snubber: {PRACTICE}")
    noise_frac: float = _value(0.0003, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class TemperatureInstrument:
    """Resistance thermometer in its well."""

    low_k: float = _absolute(213.15, "K", 73.15, 400.0, "4 mA")
    high_k: float = _absolute(333.15, "K", 200.0, 700.0, "20 mA")
    lag_ms: int = _time(15_000, 0, 600_000, "thermowell 10–30 s (practitioner's memory)")
    noise_frac: float = _value(0.0003, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class FractionInstrument:
    """Position or level transmitter."""

    low_frac: float = _value(0.0, "1", -1.0, 1.0, "4 mA")
    high_frac: float = _value(1.0, "1", 0.1, 2.0, "20 mA")
    lag_ms: int = _time(100, 0, 60_000, f"position transmitter with filter: {PRACTICE}")
    noise_frac: float = _value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class CurrentInstrument:
    """Motor-current transducer."""

    low_a: float = _value(0.0, "A", 0.0, 1.0e4, "4 mA")
    high_a: float = _value(1000.0, "A", 1.0, 1.0e5, "20 mA; the start current goes over range")
    lag_ms: int = _time(300, 0, 60_000, f"true-RMS transducer: {PRACTICE}")
    noise_frac: float = _value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class PowerInstrument:
    """Electrical power transducer."""

    low_w: float = _value(0.0, "W", -1.0e7, 1.0e7, "4 mA")
    high_w: float = _value(1.0e6, "W", 1.0e3, 1.0e8, "20 mA")
    lag_ms: int = _time(300, 0, 60_000, f"power transducer: {PRACTICE}")
    noise_frac: float = _value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


# A channel with defaults of its own has a record of its own: then a file may give one value and keep the rest.


@dataclass(frozen=True, slots=True)
class SuctionPressureInstrument(PressureInstrument):
    """Suction pressure: the narrow span."""

    high_pa: float = _absolute(1.0e6, "Pa", 1.0e3, 2.0e7, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class OilPressureInstrument(PressureInstrument):
    """Oil pressure: discharge pressure and the pump on top."""

    high_pa: float = _absolute(3.0e6, "Pa", 1.0e3, 2.0e7, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class DischargeTemperatureInstrument(TemperatureInstrument):
    """Discharge temperature, in a heavy well."""

    low_k: float = _absolute(253.15, "K", 73.15, 400.0, f"4 mA: {PRACTICE}")
    high_k: float = _absolute(423.15, "K", 200.0, 700.0, f"20 mA: {PRACTICE}")
    lag_ms: int = _time(20_000, 0, 600_000, "thermowell 10–30 s (practitioner's memory)")


@dataclass(frozen=True, slots=True)
class OilTemperatureInstrument(TemperatureInstrument):
    """Oil supply temperature."""

    low_k: float = _absolute(253.15, "K", 73.15, 400.0, f"4 mA: {PRACTICE}")
    high_k: float = _absolute(393.15, "K", 200.0, 700.0, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class LevelInstrument(FractionInstrument):
    """Level on the sump's glass, damped."""

    lag_ms: int = _time(5_000, 0, 60_000, f"float in a still pipe: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class InstrumentsParameters:
    """The transmitters, in channel order; spans as usual for the job (common practice, no source)."""

    suction_pressure: SuctionPressureInstrument = field(default_factory=SuctionPressureInstrument)
    discharge_pressure: PressureInstrument = field(default_factory=PressureInstrument)
    suction_temperature: TemperatureInstrument = field(default_factory=TemperatureInstrument)
    discharge_temperature: DischargeTemperatureInstrument = field(default_factory=DischargeTemperatureInstrument)
    oil_pressure_before_filter: OilPressureInstrument = field(default_factory=OilPressureInstrument)
    oil_pressure: OilPressureInstrument = field(default_factory=OilPressureInstrument)
    oil_temperature: OilTemperatureInstrument = field(default_factory=OilTemperatureInstrument)
    oil_level: LevelInstrument = field(default_factory=LevelInstrument)
    motor_current: CurrentInstrument = field(default_factory=CurrentInstrument)
    motor_power: PowerInstrument = field(default_factory=PowerInstrument)
    capacity_position: FractionInstrument = field(default_factory=FractionInstrument)
    capacity_position_opposite: FractionInstrument = field(default_factory=FractionInstrument)
    volume_ratio_position: FractionInstrument = field(default_factory=FractionInstrument)
    volume_ratio_position_opposite: FractionInstrument = field(default_factory=FractionInstrument)
    process_temperature: TemperatureInstrument = field(default_factory=TemperatureInstrument)
    counts_per_milliamp: float = _value(1000.0, "1", 10.0, 1.0e6, f"input card of 14 bits over 4–20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class PlantParameters:
    """Everything that a plant file says in numbers; no set point."""

    site: SiteParameters = field(default_factory=SiteParameters)
    rotor: RotorGeometry = field(default_factory=RotorGeometry)
    machine: CompressorParameters = field(default_factory=CompressorParameters)
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
    found = []
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
    found += _drive_violations("capacity_drive", plant.capacity_drive)
    found += _drive_violations("volume_ratio_drive", plant.volume_ratio_drive)
    if o.set_point_k <= o.coolant_k:
        found.append(f"oil: set point {o.set_point_k:g} K is not above the coolant's {o.coolant_k:g} K")
    if o.charge_kg > o.sump_full_kg:
        found.append(f"oil: a charge of {o.charge_kg:g} kg overfills the sump of {o.sump_full_kg:g} kg")
    if 0.001 * o.circulation_ms * o.rated_flow_kg_s >= o.charge_kg:
        found.append(f"oil: all {o.charge_kg:g} kg would be on their way round at rated flow")
    m = plant.motor
    if m.breakdown_slip_frac >= m.breakdown_torque_frac:
        found.append("motor: breakdown slip is not below breakdown torque")
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
