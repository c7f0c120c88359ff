"""Stop-check valve, strainer and dry line between vessel and flange; suction pressure is sensed at the flange.

Algebraic: the line's own time constant (about 30 ms) is shorter than a step.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.rotor_geometry import trapped_fraction_frac

TWO_PI = 6.283185307179586


@kernel
def close_suction(p: Any, s: Any) -> None:
    """Flange pressure and superheat from vessel, speed and capacity travel.

    The drop is k ρ V̇² with V̇ the swept volume flow; at the flange ρ is the vessel's vapour density times the ratio of
    the pressures, which makes the balance p_f = p_v / (1 + k ρ_v V̇²/p_v) closed.  At rest there is no drop.
    """
    zone = s.vessel.zone
    u = s.suction
    swept_m3_s = s.motor.speed_rad_s * p.derived.swept_m3_rad * trapped_fraction_frac(p.curves, s.capacity.travel_frac)
    drop_frac = p.derived.suction_drop_factor * swept_m3_s * swept_m3_s / (zone.saturation.v_v_m3_kg * zone.pressure_pa)
    u.pressure_pa = zone.pressure_pa / (1.0 + drop_frac)
    u.superheat_k = p.plant.suction_line.superheat_k
