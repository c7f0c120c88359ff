"""One group of pumped evaporators with the room or process behind it.

Heat follows the temperature difference, so the load on the machine falls as suction falls.  Wet return goes straight to
the vessel, so the heat enters its vapour zone without delay (pumped plant: common practice, no source).
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable as kernel


@kernel
def refrigeration_w(p: Any, s: Any, d: Any) -> float:
    """Heat from room to refrigerant through the open groups, W, never negative: a cold room warms no vessel."""
    difference_k = s.room_k - s.vessel.zone.saturation.t_k
    if difference_k <= 0.0:
        return 0.0
    return float(p.plant.evaporator.conductance_w_k * d.evaporator_open_frac * difference_k)


@kernel
def load_w(p: Any, s: Any, d: Any) -> float:
    """Heat brought into the room at this moment, W, never negative.

    Over the last `load_fade_k` below the temperature at which the goods come in, the load fades out: a room left without
    cooling warms up to its goods, not without end.
    """
    heat_w = d.load_heat_w + d.load_heat_rate_w_s * (0.001 * (s.time_ms - d.load_since_ms))
    if heat_w < 0.0:
        heat_w = 0.0
    left_k = p.plant.evaporator.load_source_k - s.room_k
    if left_k >= p.plant.evaporator.load_fade_k:
        return float(heat_w)
    return float(heat_w * max(0.0, left_k) / p.plant.evaporator.load_fade_k)
