"""The gas between rotors and discharge check valve, and what flows back through a machine at rest.

Running, the check valve lets through what keeps the separator at the condenser's pressure.  At rest it holds the
condenser, and the separator's gas goes back to suction: slowly through the bleed, in seconds through the rotors when the
suction stop-check valve does not close; then it turns them backward.  Suction that rises above it at rest fills it again.
The pressure follows the content in proportion;
the gas is as warm as the mixture.  What leaves has the mean enthalpy of what is there, and the content is booked with it
(the gas's own p·V, half a megajoule, is left out of the books at both ends).
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.rotor_geometry import trapped_fraction_frac

STANDSTILL_PER_TURNING = 5.0  # a machine over a fifth of its speed pumps: nothing flows back
LIFTED_PER_S = 0.1  # filling through a lifted stop-check valve: seconds; common practice, no source
ROTOR_DISCHARGE = 0.6  # discharge coefficient of the way back; textbook value of a sharp edge, recalled


@kernel
def close_separator(p: Any, s: Any) -> None:
    """Pressure and enthalpy of the separator's gas from its mass and energy."""
    g = s.separator
    volume = s.discharge.volume
    sat = volume.saturation
    g.open_kg = p.plant.discharge_side.separator_volume_m3 * sat.t_k / (sat.v_v_m3_kg * max(150.0, s.oil.mixture_k))
    # the check valve passes what is over the condenser's content, so that never becomes pressure
    g.pressure_pa = volume.pressure_pa * min(1.0, g.gas_kg / g.open_kg)
    g.gas_j_kg = g.gas_energy_j / max(1.0e-9, g.gas_kg)


@kernel
def standstill_frac(p: Any, s: Any) -> float:
    """1 at rest or in back-spin, 0 above a fifth of synchronous speed."""
    turning = s.motor.speed_rad_s * p.derived.motor.per_synchronous_speed_s
    return float(min(1.0, max(0.0, 1.0 - STANDSTILL_PER_TURNING * turning)))


@kernel
def check_valve_kg_s(p: Any, s: Any, d: Any, in_kg_s: float) -> float:
    """Flow through the discharge check valve, kg/s: forward what keeps the separator at the condenser's pressure; back
    only through a valve that does not close."""
    flow_kg_s = in_kg_s + (s.separator.gas_kg - s.separator.open_kg) * p.derived.per_check_valve_s
    if flow_kg_s < 0.0:
        return float(flow_kg_s * d.discharge_check_stuck_open_frac)
    return float(flow_kg_s)


@kernel
def stop_check_backflow_kg_s(p: Any, s: Any, d: Any) -> float:
    """Gas back through the rotors and a suction stop-check valve that does not close, kg/s.

    Orifice: A √(2 ρ Δp), Δp at most what chokes a gas (near half of the pressure), and linear below 5 % of the pressure
    so that it dies out smoothly.
    """
    stuck = d.stop_check_stuck_open_frac
    if stuck <= 0.0:
        return 0.0
    g = s.separator
    drop_pa = g.pressure_pa - s.vessel.zone.pressure_pa
    if drop_pa <= 0.0:
        return 0.0
    still = standstill_frac(p, s)
    if still <= 0.0:
        return 0.0
    density_kg_m3 = g.gas_kg / p.plant.discharge_side.separator_volume_m3
    drop_pa = min(0.5 * g.pressure_pa, drop_pa)
    softened_pa = drop_pa * drop_pa / (drop_pa + 0.05 * g.pressure_pa)
    area_m2 = ROTOR_DISCHARGE * p.plant.suction_line.backflow_area_m2 * stuck * still
    return float(area_m2 * math.sqrt(2.0 * density_kg_m3 * softened_pa))


@kernel
def equalising_kg_s(p: Any, s: Any) -> float:
    """Gas from separator to vessel at standstill, kg/s, until both stand at one pressure.

    Out through the bleed; in, negative, when a vessel that warms up at rest lifts the suction stop-check valve.
    """
    g = s.separator
    excess = max(-1.0, 1.0 - s.vessel.zone.pressure_pa / g.pressure_pa)
    per_s = p.derived.per_equalise_s
    if excess < 0.0:
        per_s = LIFTED_PER_S
    return float(standstill_frac(p, s) * g.gas_kg * excess * per_s)


@kernel
def back_torque_n_m(p: Any, s: Any, d: Any) -> float:
    """Torque with which gas that flows back turns the rotors backward, N·m."""
    stuck = d.stop_check_stuck_open_frac
    if stuck <= 0.0:
        return 0.0
    drop_pa = max(0.0, s.separator.pressure_pa - s.vessel.zone.pressure_pa)
    swept_m3_rad = p.derived.swept_m3_rad * trapped_fraction_frac(p.curves, s.capacity.travel_frac)
    frac = p.plant.suction_line.backflow_torque_frac * stuck * standstill_frac(p, s)
    return float(frac * drop_pa * swept_m3_rad)
