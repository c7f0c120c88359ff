"""The oil circuit as people describe it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from plant_model.parameter_field import PRACTICE, absolute, difference, time_ms, value


class CoolerKind(IntEnum):
    """What takes the heat out of the oil."""

    WATER = 0  # or a brine, or air: a stream from outside the plant at the coolant's temperature
    THERMOSIPHON = 1  # liquid from the receiver boils in the cooler; its vapour goes back to the condenser
    LIQUID_INJECTION = 2  # no cooler: liquid refrigerant into the rotors holds the discharge temperature


@dataclass(frozen=True, slots=True)
class OilParameters:
    """Separator sump, cooler with a thermostatic mixing valve, filter, full-time pump, injection."""

    pump_rise_pa: float = difference(
        220.0e3, "Pa", 0.0, 2.0e6, f"full-time pump over discharge: {PRACTICE}; 0 = no pump, driven by p_d − p_s"
    )
    pump_efficiency_frac: float = value(0.45, "1", 0.05, 1.0, f"small gear pump with motor: {PRACTICE}")
    pump_lag_ms: int = time_ms(500, 1, 60_000, f"run-up of the pump: {PRACTICE}")
    rated_flow_kg_s: float = value(
        1.17, "kg/s", 1.0e-3, 50.0, "about twice the gas at −10/35 °C: T_d near 80 °C, published checks section 3"
    )
    rated_difference_pa: float = difference(
        932.0e3, "Pa", 1.0e3, 1.0e7, "injection pressure drop at −10/35 °C with the filter clean"
    )
    rated_filter_drop_pa: float = difference(30.0e3, "Pa", 0.0, 1.0e6, f"clean filter at rated flow: {PRACTICE}")
    injection_level_frac: float = value(
        0.3, "1", 0.0, 0.9, f"pressure at the injection port between suction and discharge: {PRACTICE}"
    )
    bearing_share_frac: float = value(0.15, "1", 0.0, 1.0, f"bearings and slides, fed also at standstill: {PRACTICE}")
    density_kg_m3: float = value(860.0, "kg/m**3", 600.0, 1300.0, f"mineral oil, warm: {PRACTICE}")
    heat_capacity_j_kg_k: float = value(2000.0, "J/kg/K", 1000.0, 4000.0, "published checks section 3: 2.0 kJ/(kg K)")
    charge_kg: float = value(150.0, "kg", 1.0, 10000.0, f"oil in sump and circuit: {PRACTICE}")
    sump_full_kg: float = value(220.0, "kg", 1.0, 20000.0, "oil in the sump at 100 % on the level glass, invented")
    circulation_ms: int = time_ms(12_000, 0, 600_000, f"oil on its way round, out of the sump: {PRACTICE}")
    supply_line_j_k: float = value(60.0e3, "J/K", 1.0e3, 1.0e8, f"filter, pipes and their oil: {PRACTICE}")
    standstill_conductance_w_k: float = value(20.0, "W/K", 0.0, 1.0e4, f"sump to supply line without flow: {PRACTICE}")
    mixture_capacity_j_k: float = value(
        20.0e3, "J/K", 1.0e3, 1.0e8, "gas and oil answer within seconds (practitioner's memory)"
    )
    metal_capacity_j_k: float = value(400.0e3, "J/K", 1.0e3, 1.0e9, f"casing and separator, 800 kg of iron: {PRACTICE}")
    metal_conductance_w_k: float = value(1500.0, "W/K", 0.0, 1.0e6, "metal takes minutes (practitioner's memory)")
    ambient_conductance_w_k: float = value(40.0, "W/K", 0.0, 1.0e5, f"separator and casing to the room: {PRACTICE}")
    heater_w: float = value(1500.0, "W", 0.0, 1.0e6, f"sump heater: {PRACTICE}")
    cooler: CoolerKind = field(
        default=CoolerKind.WATER, metadata={"unit": "1", "why": f"water where there is a tower: {PRACTICE}"}
    )
    cooler_conductance_w_k: float = value(4200.0, "W/K", 0.0, 1.0e7, f"plate cooler with 30 % in hand: {PRACTICE}")
    coolant_k: float = absolute(300.15, "K", 253.15, 333.15, "27 °C water, invented")
    set_point_k: float = absolute(321.15, "K", 283.15, 353.15, f"48 °C supply, usual range 40–55 °C: {PRACTICE}")
    injection_cooling_kg_s: float = value(
        0.02, "kg/s", 0.0, 10.0, f"liquid through the open injection-cooling valve: {PRACTICE}"
    )
    liquid_injection_kg_s: float = value(
        0.16, "kg/s", 0.0, 10.0, f"open valve of the liquid-injection cooler, 1.4 × full load's need: {PRACTICE}"
    )
    liquid_injection_band_k: float = difference(
        8.0, "K", 1.0, 50.0, f"discharge temperature over the set point that opens that valve fully: {PRACTICE}"
    )
    liquid_injection_superheat_k: float = difference(
        12.0, "K", 0.0, 60.0, "least discharge superheat that valve leaves, usual 10–20 K, published checks section 3"
    )
    viscosity_at_40c_m2_s: float = value(
        68.0e-6, "m²/s", 5.0e-6, 2000.0e-6, "viscosity grade 68: ISO 3448 (recalled); refrigerant in the oil left out"
    )
    viscosity_at_100c_m2_s: float = value(
        8.7e-6, "m²/s", 1.5e-6, 200.0e-6, f"viscosity index near 98, a paraffinic mineral oil: {PRACTICE}"
    )
    viscous_drag_share_frac: float = value(
        0.5, "1", 0.0, 1.0, "share of the oil's drag on the rotors that follows viscosity; no source"
    )
    pump_intake_kg: float = value(
        12.0, "kg", 0.1, 1000.0, f"oil below which the sump's outlet draws gas, 5 % on the glass: {PRACTICE}"
    )
