"""Pressure from mass and internal energy: the closure shared by suction vessel, condenser and receiver.

Mass and energy are what the plant integrates, so they close; pressure follows by Newton's method from the last one.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.properties import saturated_slopes

ITERATIONS_MAX = 30
TOLERANCE_FRAC = 1.0e-6  # of the Newton step; it converges quadratically, so what is left after it is near 1e-12


@kernel
def close_volume(
    r: Any,
    mass_kg: float,
    energy_j: float,
    volume_m3: float,
    metal_j_k: float,
    bulk_kg: float,
    bulk_energy_j: float,
    out: Any,
) -> bool:
    """Fill the TwoPhase `out`; False if no two-phase state with this mass and energy was found.

    r: Refrigerant.  mass_kg, energy_j: of the refrigerant in equilibrium, energy_j with metal_j_k·T of metal at the
    same temperature.  volume_m3: rigid; `bulk_kg` of liquid with its own energy (0 kg for none) stands in it too and
    leaves the rest.  Bulk volume is taken on the saturation line at the bulk's energy, linearly from the present
    pressure: exact at equal temperature, 1e-5 of it 10 K away.  `out.pressure_pa` is the first guess.
    """
    sat = out.saturation
    slopes = out.slopes
    old_pa = out.pressure_pa
    p_pa = old_pa + out.pressure_rate_guess_pa
    per_mass = 1.0 / mass_kg
    bulk_u_j_kg = 0.0
    if bulk_kg > 0.0:
        bulk_u_j_kg = bulk_energy_j / bulk_kg
    for _ in range(ITERATIONS_MAX):
        saturated_slopes(r, p_pa, sat, slopes)
        zone_m3 = volume_m3
        if bulk_kg > 0.0:
            expansion = slopes.v_l_m3_kg_pa / slopes.u_l_j_kg_pa
            zone_m3 -= bulk_kg * (sat.v_l_m3_kg + expansion * (bulk_u_j_kg - sat.u_l_j_kg))
        per_v_lv = 1.0 / (sat.v_v_m3_kg - sat.v_l_m3_kg)
        u_lv_j_kg = sat.u_v_j_kg - sat.u_l_j_kg
        quality = (zone_m3 * per_mass - sat.v_l_m3_kg) * per_v_lv
        quality_slope = -(slopes.v_l_m3_kg_pa + quality * (slopes.v_v_m3_kg_pa - slopes.v_l_m3_kg_pa)) * per_v_lv
        excess_j = mass_kg * (sat.u_l_j_kg + quality * u_lv_j_kg) + metal_j_k * sat.t_k - energy_j
        slope_j_pa = (
            mass_kg
            * (slopes.u_l_j_kg_pa + quality_slope * u_lv_j_kg + quality * (slopes.u_v_j_kg_pa - slopes.u_l_j_kg_pa))
            + metal_j_k * slopes.t_k_pa
        )
        change_pa = -excess_j / slope_j_pa
        change_pa = min(0.3 * p_pa, max(-0.3 * p_pa, change_pa))
        p_pa += change_pa
        if abs(change_pa) < TOLERANCE_FRAC * p_pa:
            # so small a step that the saturated state may follow along its slopes, without another evaluation
            sat.t_k += slopes.t_k_pa * change_pa
            sat.v_l_m3_kg += slopes.v_l_m3_kg_pa * change_pa
            sat.v_v_m3_kg += slopes.v_v_m3_kg_pa * change_pa
            sat.h_l_j_kg += slopes.h_l_j_kg_pa * change_pa
            sat.h_v_j_kg += slopes.h_v_j_kg_pa * change_pa
            sat.u_l_j_kg += slopes.u_l_j_kg_pa * change_pa
            sat.u_v_j_kg += slopes.u_v_j_kg_pa * change_pa
            quality += quality_slope * change_pa
            out.pressure_pa = p_pa
            out.pressure_rate_guess_pa = p_pa - old_pa
            out.vapour_kg = quality * mass_kg
            out.liquid_kg = mass_kg - out.vapour_kg
            return bool(quality >= 0.0 and quality <= 1.0)
    return False


@kernel
def equilibrium_capacitance_j_pa(volume_m3: float, liquid_kg: float, vapour_kg: float, sat: Any, slopes: Any) -> float:
    """C of dp/dt = (ṁ h_fg v_v/v_fg + Q)/C for a rigid vessel in equilibrium, J/Pa; ṁ is vapour in at h_v, Q heat.

    C = M_l h_l' + M_v h_v' − V − (h_fg/v_fg)(M_l v_l' + M_v v_v'), primes along saturation: mass and energy balance, as
    for a boiler drum (Åström and Bell, Automatica 36, 2000).
    """
    h_lv_per_v_lv = (sat.h_v_j_kg - sat.h_l_j_kg) / (sat.v_v_m3_kg - sat.v_l_m3_kg)
    return float(
        liquid_kg * slopes.h_l_j_kg_pa
        + vapour_kg * slopes.h_v_j_kg_pa
        - volume_m3
        - h_lv_per_v_lv * (liquid_kg * slopes.v_l_m3_kg_pa + vapour_kg * slopes.v_v_m3_kg_pa)
    )
