"""Stop-check valve, strainer and dry line between vessel and flange; suction pressure is sensed at the flange.

Algebraic: the line's own time constant (about 30 ms) is shorter than a step.  At rest the bleed holds the flange at the
vessel's pressure.  Droplets that the vessel does not hold back take up the line's superheat first; the rest reaches the
rotors as liquid.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.rotor_geometry import trapped_fraction_frac

TWO_PI = 6.283185307179586


@kernel
def carry_over_frac(p: Any, s: Any, vapour_m3_s: float) -> float:
    """Liquid entrained with a kg of vapour that leaves the vessel with `vapour_m3_s`.

    None up to v = K √((ρ_l − ρ_v)/ρ_v) over the vessel's cross-section; as the swollen level comes near the outlet, the
    allowed velocity falls to nothing.
    """
    w = p.plant.suction_vessel
    sat = s.vessel.zone.saturation
    free = min(1.0, max(0.0, (1.0 - s.vessel.swollen_frac) * p.derived.per_separation_height))
    velocity_m_s = vapour_m3_s * p.derived.per_surface_m2
    allowed_m_s = w.entrainment_constant_m_s * free
    # squares of both sides: no root while all is well; (ρ_l − ρ_v)/ρ_v = (v_v − v_l)/v_l
    limit_m2_s2 = allowed_m_s * allowed_m_s * (sat.v_v_m3_kg - sat.v_l_m3_kg)
    if velocity_m_s * velocity_m_s * sat.v_l_m3_kg <= limit_m2_s2:
        return 0.0
    excess = velocity_m_s * math.sqrt(sat.v_l_m3_kg / max(1.0e-9, limit_m2_s2)) - 1.0
    return float(min(w.carry_over_most_frac, w.carry_over_frac * excess))


@kernel
def close_suction(p: Any, s: Any) -> None:
    """Flange pressure, superheat and carry-over from vessel, speed and capacity travel.

    The drop is k ρ V̇² with V̇ the swept volume flow; at the flange ρ is the vessel's vapour density times the ratio of
    the pressures, which makes the balance p_f = p_v / (1 + k ρ_v V̇²/p_v) closed.  At rest there is no drop.
    """
    zone = s.vessel.zone
    u = s.suction
    turning_rad_s = max(0.0, s.motor.speed_rad_s)
    swept_m3_s = turning_rad_s * p.derived.swept_m3_rad * trapped_fraction_frac(p.curves, s.capacity.travel_frac)
    drop_frac = p.derived.suction_drop_factor * swept_m3_s * swept_m3_s / (zone.saturation.v_v_m3_kg * zone.pressure_pa)
    if u.strainer_fouling_frac > 0.0:
        # the strainer's drop goes with the inverse square of its free area
        free = max(0.01, 1.0 - u.strainer_fouling_frac)
        drop_frac *= 1.0 + p.plant.suction_line.strainer_share_frac * (1.0 / (free * free) - 1.0)
    u.pressure_pa = zone.pressure_pa / (1.0 + drop_frac)
    u.superheat_k = p.plant.suction_line.superheat_k
    u.carry_over_frac = carry_over_frac(p, s, swept_m3_s / (1.0 + drop_frac) + s.vessel.other_m3_s)
    if u.carry_over_frac > 0.0:
        latent_j_kg = zone.saturation.h_v_j_kg - zone.saturation.h_l_j_kg
        used_k = u.carry_over_frac * latent_j_kg * p.derived.per_vapour_heat_kg_k_j
        u.superheat_k = max(0.0, u.superheat_k - used_k)
