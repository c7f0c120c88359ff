"""The suction vessel: two time constants from two parts of the liquid.

A skin of the liquid is in equilibrium with the vapour (the *zone*); the bulk exchanges heat with it.  A falling
pressure leaves the bulk superheated, and it boils off quickly (τ_flash); a rising one only warms the skin, and the bulk
follows slowly (τ_absorb).  Either time zero, or a skin of all the liquid, is full equilibrium.  While the bulk boils, its
bubbles swell the level; a level switch meets the swollen one.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.two_phase import close_volume


@kernel
def close_vessel(p: Any, v: Any) -> bool:
    """Pressure, level and bulk temperature of the VesselState `v` from masses and energies; False if there are none."""
    found = close_volume(
        p.refrigerant,
        v.zone_kg,
        v.zone_energy_j,
        p.plant.suction_vessel.volume_m3,
        0.0,
        v.bulk_kg,
        v.bulk_energy_j,
        v.zone,
    )
    sat = v.zone.saturation
    slopes = v.zone.slopes
    v.liquid_kg = v.zone.liquid_kg + v.bulk_kg
    liquid_m3 = v.liquid_kg * sat.v_l_m3_kg
    v.bulk_superheat_k = 0.0
    if v.bulk_kg > 0.0:
        excess_j = v.bulk_energy_j - v.bulk_kg * sat.u_l_j_kg
        v.bulk_superheat_k = excess_j * slopes.t_k_pa / (v.bulk_kg * slopes.u_l_j_kg_pa)
        liquid_m3 += excess_j * slopes.v_l_m3_kg_pa / slopes.u_l_j_kg_pa
    v.level_frac = liquid_m3 * p.derived.per_vessel_volume_m3
    v.swollen_frac = v.level_frac
    if v.bulk_superheat_k > 0.0 and found:
        v.swollen_frac = min(1.0, v.level_frac / (1.0 - void_frac(p, v)))
    return found


@kernel
def void_frac(p: Any, v: Any) -> float:
    """Share of bubbles in the boiling bulk, below 1/2.

    Drift flux: what boils off everywhere in the pool rises past the top with the superficial velocity j, so the mean
    void is half of j/(C0 j + v_bubble), C0 = 1 (Zuber and Findlay, J. Heat Transfer 87, 1965, recalled).
    """
    sat = v.zone.saturation
    vapour_m3_s = bulk_heat_w(p, v) * sat.v_v_m3_kg / (sat.h_v_j_kg - sat.h_l_j_kg)
    velocity_m_s = vapour_m3_s * p.derived.per_surface_m2
    return float(0.5 * velocity_m_s / (velocity_m_s + p.plant.suction_vessel.bubble_rise_m_s))


@kernel
def bulk_heat_w(p: Any, v: Any) -> float:
    """Heat from bulk to zone, W: M_b c_l (T_b − T_sat)/τ, written with energies because they are what is kept."""
    excess_j = v.bulk_energy_j - v.bulk_kg * v.zone.saturation.u_l_j_kg
    if excess_j > 0.0:
        return float(excess_j * p.derived.per_flash_s)
    return float(excess_j * p.derived.per_absorb_s)


@kernel
def mixing_kg_s(p: Any, v: Any) -> float:
    """Liquid from zone to bulk, kg/s, that keeps the bulk's share of the liquid."""
    return float((p.derived.bulk_share_frac * v.liquid_kg - v.bulk_kg) * p.derived.per_mixing_s)


@kernel
def feed_kg_s(p: Any, s: Any) -> float:
    """Liquid through the feed valve, kg/s: proportional to the missing level, √ of the pressure difference.

    It closes as the receiver runs empty.
    """
    w = p.plant.suction_vessel
    difference_pa = s.discharge.volume.pressure_pa - s.vessel.zone.pressure_pa
    if difference_pa <= 0.0:
        return 0.0
    # over the set level by half the band it is shut, under it by half the band it is open
    opening = 0.5 + (w.level_set_frac - s.vessel.level_frac) * p.derived.per_feed_band
    opening = min(1.0, max(0.0, opening))
    opening *= min(1.0, max(0.0, 50.0 * s.discharge.level_frac))
    return float(opening * p.derived.feed_factor * math.sqrt(difference_pa))
