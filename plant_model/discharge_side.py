"""Condenser and receiver as one two-phase volume, with metal and basin water in equilibrium with it.

The discharge check valve is taken as tight and the line as without loss; fans share the conductance in proportion
(common practice, no source).
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.two_phase import close_volume


@kernel
def close_discharge(p: Any, c: Any) -> bool:
    """Pressure and level of the DischargeState `c` from mass and energy; False if there is no two-phase state."""
    w = p.plant.discharge_side
    found = close_volume(p.refrigerant, c.mass_kg, c.energy_j, w.volume_m3, w.metal_capacity_j_k, 0.0, 0.0, c.volume)
    c.level_frac = c.volume.liquid_kg * c.volume.saturation.v_l_m3_kg * p.derived.per_discharge_volume_m3
    return found


@kernel
def wet_bulb_k(s: Any, d: Any) -> float:
    """Wet-bulb temperature at this moment, K."""
    return float(d.wet_bulb_k + d.wet_bulb_rate_k_s * (0.001 * (s.time_ms - d.wet_bulb_since_ms)))


@kernel
def fan_share_frac(p: Any, d: Any) -> float:
    """Share of the conductance that the running fans give; some is left in still air."""
    still_frac = p.plant.discharge_side.still_air_frac
    return float(still_frac + (1.0 - still_frac) * d.condenser_fans_frac)


@kernel
def condenser_w(p: Any, s: Any, d: Any) -> float:
    """Heat rejected, W, never negative."""
    w = p.plant.discharge_side
    difference_k = s.discharge.volume.saturation.t_k - wet_bulb_k(s, d)
    if difference_k <= 0.0:
        return 0.0
    return float(w.conductance_w_k * fan_share_frac(p, d) * difference_k)
