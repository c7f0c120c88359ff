"""Groups of pumped evaporators, each with the room or process behind it, hot-gas defrost and the liquid in the coils.

Heat follows the temperature difference, so the load on the machine falls as suction falls.  Wet return goes straight to
the vessel, so the heat enters its vapour zone without delay (pumped plant: common practice, no source).

Defrost.  Phase 1, hot gas: vapour from the condenser fills the coil at the relief valve's pressure and condenses there;
most of its heat leaves with the melt water, the rest warms coil and room; the condensate drains to the vessel and
flashes.  Phase 2, bleed-down: what stands in the coil goes to the vessel through a small valve.  Back at phase 0 with a
coil that was not bled, it goes in a moment.  What leaves a coil has the mean energy of what stands in it, so mass and
energy close.  The frost itself is not counted: the event's length is the frost.

A surge throws liquid out of the coils into the vessel, as long as they hold any; the pumps fill them again slowly.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel

EMPTY_KG = 1.0e-7  # a coil with less is empty
SURGE_FADE_KG = 10.0  # a surge fades as the coils run empty


@kernel
def group_refrigeration_w(p: Any, s: Any, d: Any, i: int) -> float:
    """Heat from room `i` to the refrigerant, W, never negative: a cold room warms no vessel; none in a defrost."""
    difference_k = s.evaporator.room_k[i] - s.vessel.zone.saturation.t_k
    if difference_k <= 0.0 or d.defrost[i] != 0:
        return 0.0
    conductance_w_k = p.plant.evaporator.conductance_w_k * d.evaporator_open_frac * d.group_open_frac[i]
    return float(conductance_w_k * p.plant.evaporator.conductance_share_frac[i] * difference_k)


@kernel
def total_load_w(s: Any, d: Any) -> float:
    """Heat that the groups share at this moment, W, never negative: a straight line from its start."""
    heat_w = d.load_heat_w + d.load_heat_rate_w_s * (0.001 * (s.time_ms - d.load_since_ms))
    if heat_w < 0.0:  # not max(): it would hide a nan
        return 0.0
    return float(heat_w)


@kernel
def group_load_w(p: Any, s: Any, d: Any, total_w: float, i: int) -> float:
    """Heat brought into room `i`, W, never negative: its share of `total_w` and its own.

    Over the last `load_fade_k` below the temperature at which the goods come in, the load fades out: a room left without
    cooling warms up to its goods, not without end.
    """
    e = p.plant.evaporator
    heat_w = total_w * e.load_share_frac[i] + d.group_load_w[i]
    if heat_w < 0.0:
        return 0.0
    left_k = e.load_source_k[i] - s.evaporator.room_k[i]
    if left_k >= e.load_fade_k:
        return float(heat_w)
    return float(heat_w * max(0.0, left_k) / e.load_fade_k)


@kernel
def _coil_rates(p: Any, s: Any, d: Any, f: Any, i: int) -> None:
    """Flows of one coil in a defrost, added to `f`; warms its room."""
    e = p.plant.evaporator
    v = s.evaporator
    held_kg = v.coil_kg[i]
    kept_j_kg = v.coil_energy_j[i] / held_kg if held_kg > EMPTY_KG else 0.0
    in_kg_s = 0.0
    in_w = 0.0
    taken_w = 0.0
    out_kg_s = 0.0
    if d.defrost[i] == 1:
        condensing_k = min(p.derived.defrost_k, s.discharge.volume.saturation.t_k)
        conductance_w_k = e.defrost_conductance_frac * e.conductance_w_k * e.conductance_share_frac[i]
        heat_w = conductance_w_k * max(0.0, condensing_k - e.defrost_melting_k)
        # a room as warm as the gas takes nothing more
        warming = min(1.0, max(0.0, 0.1 * (condensing_k - v.room_k[i])))
        room_w = e.defrost_room_share_frac * heat_w * warming
        melt_w = (1.0 - e.defrost_room_share_frac) * heat_w
        gas_j_kg = s.discharge.volume.saturation.h_v_j_kg
        condensed_kg_s = (room_w + melt_w) / max(1.0e4, gas_j_kg - p.derived.defrost_liquid_j_kg)
        # with too little pressure behind it the hot gas fades out; a coil that is not yet full condenses less
        head_pa = s.discharge.volume.pressure_pa - s.vessel.zone.pressure_pa
        drive = min(1.0, max(0.0, 4.0 * head_pa / e.defrost_pressure_pa))
        full_kg = p.derived.defrost_held_kg[i]
        share = drive * min(1.0, held_kg / full_kg)
        out_kg_s = share * condensed_kg_s
        in_kg_s = out_kg_s + drive * max(0.0, full_kg - held_kg) * p.derived.per_fill_s
        in_w = in_kg_s * gas_j_kg
        taken_w = share * (room_w + melt_w)
        f.group_room_k_s[i] += share * room_w * p.derived.group_per_room_k_j[i]
        f.melt_w += share * melt_w
        f.hot_gas_kg_s += in_kg_s
    elif d.defrost[i] == 2:
        out_kg_s = held_kg * p.derived.per_bleed_down_s
    else:
        out_kg_s = held_kg * p.derived.per_dump_s
    f.coil_kg_s[i] = in_kg_s - out_kg_s
    f.coil_energy_w[i] = in_w - taken_w - out_kg_s * kept_j_kg
    f.return_kg_s += out_kg_s
    f.return_w += out_kg_s * kept_j_kg


@kernel
def _held_rates(p: Any, s: Any, d: Any, f: Any) -> None:
    """Liquid held in all coils: thrown out by a surge, filled again by the pumps."""
    v = s.evaporator
    refill_kg_s = (p.plant.evaporator.held_liquid_kg - v.held_kg) * p.derived.per_refill_s
    refill_w = refill_kg_s * s.vessel.zone.saturation.u_l_j_kg
    surge_kg_s = 0.0
    surge_w = 0.0
    if d.surge_kg_s > 0.0 and v.held_kg > 0.0:
        surge_kg_s = d.surge_kg_s * min(1.0, v.held_kg / SURGE_FADE_KG)
        surge_w = surge_kg_s * v.held_energy_j / v.held_kg
    f.held_kg_s = refill_kg_s - surge_kg_s
    f.held_energy_w = refill_w - surge_w
    f.return_kg_s -= f.held_kg_s
    f.return_w -= f.held_energy_w


@kernel
def evaporator_fluxes(p: Any, s: Any, d: Any, f: Any) -> None:
    """Loads, cooling, rooms, coils and what returns to the vessel, into `f` (Rates)."""
    total_w = total_load_w(s, d)
    f.load_w = 0.0
    f.refrigeration_w = 0.0
    f.melt_w = 0.0
    f.hot_gas_kg_s = 0.0
    f.return_kg_s = 0.0
    f.return_w = 0.0
    was_defrosting = f.defrosting
    f.defrosting = False
    for i in range(p.derived.groups):
        load_w = group_load_w(p, s, d, total_w, i)
        cooling_w = group_refrigeration_w(p, s, d, i)
        f.load_w += load_w
        f.refrigeration_w += cooling_w
        f.group_room_k_s[i] = (load_w - cooling_w) * p.derived.group_per_room_k_j[i]
        if d.defrost[i] != 0 or s.evaporator.coil_kg[i] > EMPTY_KG:
            f.defrosting = True
            _coil_rates(p, s, d, f, i)
        elif was_defrosting:
            f.coil_kg_s[i] = 0.0
            f.coil_energy_w[i] = 0.0
    _held_rates(p, s, d, f)


@kernel
def close_rooms(p: Any, s: Any) -> None:
    """The mean room temperature, weighted with the capacities."""
    mean_k = 0.0
    for i in range(p.derived.groups):
        mean_k += p.plant.evaporator.room_capacity_share_frac[i] * s.evaporator.room_k[i]
    s.room_k = mean_k
