"""Suction vessel, stop-check valve, strainer and dry line as people describe them."""

from __future__ import annotations

from dataclasses import dataclass

from plant_model.parameter_field import PRACTICE, difference, time_ms, value


@dataclass(frozen=True, slots=True)
class SuctionVesselParameters:
    """Pump-circulation vessel with its level control."""

    volume_m3: float = value(5.0, "m³", 0.05, 200.0, "the vessel of the published checks, section 4")
    level_set_frac: float = value(0.40, "1", 0.05, 0.85, "liquid volume; the published checks' 40 %")
    high_high_level_frac: float = value(0.75, "1", 0.1, 0.98, f"contact that stops the machine: {PRACTICE}")
    skin_frac: float = value(
        0.087, "1", 0.0, 1.0, "share of the liquid that follows the vapour at once: 70 J/Pa at −10 °C; 1 = all"
    )
    flash_ms: int = time_ms(
        12_000, 0, 600_000, "bulk boils off its superheat in 5–20 s (practitioner's memory); 0 = equilibrium"
    )
    absorb_ms: int = time_ms(
        240_000, 0, 3_600_000, "warm surface mixes into the bulk in 60–600 s (memory); 0 = equilibrium"
    )
    mixing_ms: int = time_ms(60_000, 5_000, 3_600_000, f"skin and bulk keep their shares by exchange: {PRACTICE}")
    feed_rated_kg_s: float = value(
        1.6, "kg/s", 1.0e-3, 100.0, f"open feed valve, over twice the full load's flow: {PRACTICE}"
    )
    feed_band_frac: float = value(0.10, "1", 0.01, 0.5, f"level fall that opens the feed valve fully: {PRACTICE}")
    feed_rated_difference_pa: float = difference(
        1.06e6, "Pa", 1.0e4, 1.0e7, "1350 − 290 kPa, the rating point −10/35 °C"
    )
    surface_m2: float = value(2.2, "m**2", 0.01, 200.0, f"cross-section of a vertical vessel of 5 m³: {PRACTICE}")
    bubble_rise_m_s: float = value(
        0.25, "m/s", 0.02, 2.0, "single bubbles in a wide pool rise at 0.2–0.3 m/s; textbook, recalled"
    )
    entrainment_constant_m_s: float = value(
        0.045,
        "m/s",
        0.005,
        0.5,
        "K of v = K sqrt((ρ_l − ρ_v)/ρ_v), gravity separation 0.03–0.06 (practitioner's memory)",
    )
    separation_height_frac: float = value(
        0.20, "1", 0.01, 0.9, f"free height below which droplets are carried over sooner: {PRACTICE}"
    )
    carry_over_frac: float = value(
        0.03, "1", 0.0, 1.0, f"liquid carried over per kg of vapour, at twice the allowed velocity: {PRACTICE}"
    )
    carry_over_most_frac: float = value(0.5, "1", 0.0, 5.0, f"bound of that: {PRACTICE}")


@dataclass(frozen=True, slots=True)
class SuctionLineParameters:
    """Stop-check valve, strainer and the short dry line: algebraic, because its own time constant is 30 ms."""

    rated_drop_pa: float = difference(6.0e3, "Pa", 0.0, 2.0e5, f"0.5 K at −10 °C at the rated flow: {PRACTICE}")
    rated_flow_m3_s: float = value(0.26, "m³/s", 1.0e-3, 20.0, "full load of the demo machine")
    rated_density_kg_m3: float = value(2.39, "kg/m**3", 0.05, 200.0, "ammonia at −10 °C, published checks section 1")
    superheat_k: float = difference(3.0, "K", 0.0, 40.0, f"pumped plant, insulated line: {PRACTICE}")
    strainer_share_frac: float = value(0.4, "1", 0.0, 1.0, f"of the rated drop in the clean strainer: {PRACTICE}")
    backflow_area_m2: float = value(
        0.0015, "m**2", 0.0, 0.5, f"rotors at rest and a stop-check valve stuck wide open: {PRACTICE}"
    )
    backflow_torque_frac: float = value(
        0.5, "1", 0.0, 1.0, f"of (p_d − p_s)·swept volume, what the gas turns the rotors back with: {PRACTICE}"
    )
