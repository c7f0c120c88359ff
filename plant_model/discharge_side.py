"""Condenser and receiver as one two-phase volume, with metal and basin water in equilibrium with it.

Fans share the conductance in proportion (common practice, no source); the plant may have fan stages of its own and a
minimum-head valve for winter, which shuts part of the condenser off.
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
def running_fans_frac(p: Any, s: Any, d: Any) -> float:
    """Share of the condenser's fans that run: fit to run, and asked for by the fan stages if the plant has them."""
    stages = p.plant.discharge_side.fan_stages
    if stages == 0:
        return float(d.condenser_fans_frac)
    return float(d.condenser_fans_frac * s.discharge.fan_stages_on / stages)


@kernel
def fan_share_frac(p: Any, s: Any, d: Any) -> float:
    """Share of the conductance that the running fans give; some is left in still air."""
    still_frac = p.plant.discharge_side.still_air_frac
    return float(still_frac + (1.0 - still_frac) * running_fans_frac(p, s, d))


@kernel
def minimum_head_frac(p: Any, s: Any) -> float:
    """Share of the condenser that the minimum-head valve leaves open; 1 without a valve."""
    least_pa = p.plant.discharge_side.minimum_head_pa
    if least_pa <= 0.0:
        return 1.0
    excess = (s.discharge.volume.pressure_pa - least_pa) * p.derived.per_minimum_head_band_pa
    return float(min(1.0, max(0.0, excess)))


@kernel
def condenser_w(p: Any, s: Any, d: Any) -> float:
    """Heat rejected, W, never negative."""
    w = p.plant.discharge_side
    difference_k = s.discharge.volume.saturation.t_k - wet_bulb_k(s, d)
    if difference_k <= 0.0:
        return 0.0
    clean_frac = 1.0 - min(1.0, max(0.0, d.condenser_fouling_frac))
    return float(w.conductance_w_k * clean_frac * fan_share_frac(p, s, d) * minimum_head_frac(p, s) * difference_k)


@kernel
def step_fans(p: Any, s: Any, h_ms: int) -> None:
    """The plant's own fan control: a stage more above `fan_on_pa`, one less below `fan_off_pa`, not too often."""
    w = p.plant.discharge_side
    c = s.discharge
    if w.fan_stages == 0:
        return
    c.fan_wait_ms = max(0, c.fan_wait_ms - h_ms)
    if c.fan_wait_ms > 0:
        return
    if c.volume.pressure_pa > w.fan_on_pa and c.fan_stages_on < w.fan_stages:
        c.fan_stages_on += 1
        c.fan_wait_ms = w.fan_stage_ms
    elif c.volume.pressure_pa < w.fan_off_pa and c.fan_stages_on > 0:
        c.fan_stages_on -= 1
        c.fan_wait_ms = w.fan_stage_ms
