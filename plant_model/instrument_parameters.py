"""The transmitters, in channel order."""

from __future__ import annotations

from dataclasses import dataclass, field

from plant_model.parameter_field import PRACTICE, absolute, time_ms, value


@dataclass(frozen=True, slots=True)
class PressureInstrument:
    """Pressure transmitter."""

    low_pa: float = absolute(0.0, "Pa", 0.0, 1.0e7, "4 mA")
    high_pa: float = absolute(2.5e6, "Pa", 1.0e3, 2.0e7, "20 mA")
    lag_ms: int = time_ms(200, 0, 60_000, f"pressure cell with snubber: {PRACTICE}")
    noise_frac: float = value(0.0003, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class TemperatureInstrument:
    """Resistance thermometer in its well."""

    low_k: float = absolute(213.15, "K", 73.15, 400.0, "4 mA")
    high_k: float = absolute(333.15, "K", 200.0, 700.0, "20 mA")
    lag_ms: int = time_ms(15_000, 0, 600_000, "thermowell 10–30 s (practitioner's memory)")
    noise_frac: float = value(0.0003, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class FractionInstrument:
    """Position or level transmitter."""

    low_frac: float = value(0.0, "1", -1.0, 1.0, "4 mA")
    high_frac: float = value(1.0, "1", 0.1, 2.0, "20 mA")
    lag_ms: int = time_ms(100, 0, 60_000, f"position transmitter with filter: {PRACTICE}")
    noise_frac: float = value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class CurrentInstrument:
    """Motor-current transducer."""

    low_a: float = value(0.0, "A", 0.0, 1.0e4, "4 mA")
    high_a: float = value(1000.0, "A", 1.0, 1.0e5, "20 mA; the start current goes over range")
    lag_ms: int = time_ms(300, 0, 60_000, f"true-RMS transducer: {PRACTICE}")
    noise_frac: float = value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class PowerInstrument:
    """Electrical power transducer."""

    low_w: float = value(0.0, "W", -1.0e7, 1.0e7, "4 mA")
    high_w: float = value(1.0e6, "W", 1.0e3, 1.0e8, "20 mA")
    lag_ms: int = time_ms(300, 0, 60_000, f"power transducer: {PRACTICE}")
    noise_frac: float = value(0.0005, "1", 0.0, 0.1, f"standard deviation, of span: {PRACTICE}")


# A channel with defaults of its own has a record of its own: then a file may give one value and keep the rest.


@dataclass(frozen=True, slots=True)
class SuctionPressureInstrument(PressureInstrument):
    """Suction pressure: the narrow span."""

    high_pa: float = absolute(1.0e6, "Pa", 1.0e3, 2.0e7, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class OilPressureInstrument(PressureInstrument):
    """Oil pressure: discharge pressure and the pump on top."""

    high_pa: float = absolute(3.0e6, "Pa", 1.0e3, 2.0e7, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class DischargeTemperatureInstrument(TemperatureInstrument):
    """Discharge temperature, in a heavy well."""

    low_k: float = absolute(253.15, "K", 73.15, 400.0, f"4 mA: {PRACTICE}")
    high_k: float = absolute(423.15, "K", 200.0, 700.0, f"20 mA: {PRACTICE}")
    lag_ms: int = time_ms(20_000, 0, 600_000, "thermowell 10–30 s (practitioner's memory)")


@dataclass(frozen=True, slots=True)
class OilTemperatureInstrument(TemperatureInstrument):
    """Oil supply temperature."""

    low_k: float = absolute(253.15, "K", 73.15, 400.0, f"4 mA: {PRACTICE}")
    high_k: float = absolute(393.15, "K", 200.0, 700.0, f"20 mA: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class LevelInstrument(FractionInstrument):
    """Level on the sump's glass, damped."""

    lag_ms: int = time_ms(5_000, 0, 60_000, f"float in a still pipe: {PRACTICE}")


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
    counts_per_milliamp: float = value(1000.0, "1", 10.0, 1.0e6, f"input card of 14 bits over 4–20 mA: {PRACTICE}")
