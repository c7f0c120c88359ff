"""Oil and hot gas.

Sump → cooler with an ideal thermostatic mixing valve → pump → filter → injection, bearings and slides → mixed with the
gas in the rotors → separator → sump.  Gas and oil leave the rotors at one temperature, by energy balance; the casing
stores heat.  Refrigerant dissolved in oil, viscosity and condensation in a cold separator are not modelled.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.properties import vapour_enthalpy_j_kg


@kernel
def turning_frac(p: Any, s: Any) -> float:
    """Speed over synchronous speed."""
    return float(s.motor.speed_rad_s * p.derived.motor.per_synchronous_speed_s)


@kernel
def oil_flow_kg_s(p: Any, difference_pa: float, open_frac: float) -> float:
    """Oil flow, kg/s, for a pressure from before the filter to the injection port.

    Filter (laminar, in proportion to flow) and injection (turbulent, its square) in series; `open_frac` scales the
    injection's area.
    """
    if difference_pa <= 0.0 or open_frac < 1.0e-6:
        return 0.0
    filter_pa_s_kg = p.derived.filter_pa_s_kg
    quadratic = p.derived.injection_pa_s2_kg2 / (open_frac * open_frac)
    root = math.sqrt(filter_pa_s_kg * filter_pa_s_kg + 4.0 * quadratic * difference_pa)
    return float(2.0 * difference_pa / (filter_pa_s_kg + root))


@kernel
def close_oil(p: Any, s: Any) -> None:
    """Oil pressures, flow and level, and the enthalpy of the gas that leaves."""
    w = p.plant.oil
    o = s.oil
    discharge_pa = s.discharge.volume.pressure_pa
    suction_pa = s.suction.pressure_pa
    turning = turning_frac(p, s)
    # at standstill only bearings and slides are fed, and only while the pump runs: the injection stop valve is shut
    open_frac = w.bearing_share_frac * max(turning, o.pump_frac) + (1.0 - w.bearing_share_frac) * turning
    o.before_filter_pa = discharge_pa + w.pump_rise_pa * o.pump_frac
    port_pa = suction_pa + w.injection_level_frac * (discharge_pa - suction_pa)
    o.flow_kg_s = oil_flow_kg_s(p, o.before_filter_pa - port_pa, open_frac)
    o.supply_pa = o.before_filter_pa - p.derived.filter_pa_s_kg * o.flow_kg_s
    o.level_frac = (w.charge_kg - o.flow_kg_s * p.derived.circulation_s) * p.derived.per_sump_full_kg
    o.discharge_enthalpy_j_kg = vapour_enthalpy_j_kg(
        p.refrigerant, discharge_pa, o.mixture_k - s.discharge.volume.saturation.t_k
    )


@kernel
def oil_cooler_w(p: Any, s: Any) -> float:
    """Heat taken by the cooler, W: what the mixing valve asks for, at most what the surface gives."""
    w = p.plant.oil
    wanted_w = s.oil.flow_kg_s * w.heat_capacity_j_kg_k * (s.oil.sump_k - w.set_point_k)
    possible_w = w.cooler_conductance_w_k * (s.oil.sump_k - w.coolant_k)
    return float(max(0.0, min(wanted_w, possible_w)))


@kernel
def oil_fluxes(p: Any, s: Any, a: Any, f: Any) -> None:
    """Temperature rates of mixture, metal, sump and supply line, and the heat flows that cross the border, into `f`."""
    w = p.plant.oil
    o = s.oil
    oil_w_k = o.flow_kg_s * w.heat_capacity_j_kg_k
    turning = turning_frac(p, s)
    f.injection_kg_s = w.injection_cooling_kg_s * turning if a.injection_cooling else 0.0
    f.oil_cooler_w = oil_cooler_w(p, s)
    f.oil_heater_w = w.heater_w if a.oil_heater else 0.0
    f.oil_pump_w = o.flow_kg_s * w.pump_rise_pa * o.pump_frac * p.derived.pump_work_m3_kg
    metal_w = w.metal_conductance_w_k * (o.mixture_k - o.metal_k)
    metal_loss_w = w.ambient_conductance_w_k * (o.metal_k - p.plant.site.ambient_k)
    sump_loss_w = w.ambient_conductance_w_k * (o.sump_k - p.plant.site.ambient_k)
    f.ambient_w = metal_loss_w + sump_loss_w
    mixture_w = (
        s.compression.shaft_power_w
        + f.compressor_kg_s * (s.compression.suction_enthalpy_j_kg - o.discharge_enthalpy_j_kg)
        + f.injection_kg_s * (s.discharge.volume.saturation.h_l_j_kg - o.discharge_enthalpy_j_kg)
        + oil_w_k * (o.supply_k - o.mixture_k)
        - metal_w
    )
    f.mixture_k_s = mixture_w * p.derived.per_mixture_k_j
    f.metal_k_s = (metal_w - metal_loss_w) * p.derived.per_metal_k_j
    supply_w = (oil_w_k + w.standstill_conductance_w_k) * (o.sump_k - o.supply_k)
    # the cooler stands in the stream from sump to supply line, so what it takes the supply line does not get
    sump_w = oil_w_k * (o.mixture_k - o.sump_k) - w.standstill_conductance_w_k * (o.sump_k - o.supply_k)
    f.sump_k_s = (sump_w + f.oil_heater_w - sump_loss_w) * p.derived.per_sump_k_j
    f.supply_k_s = (supply_w - f.oil_cooler_w + f.oil_pump_w) * p.derived.per_supply_k_j


@kernel
def step_oil_pump(p: Any, s: Any, run: bool) -> None:
    """The pump's pressure follows its contactor with one lag, exactly."""
    target = 1.0 if run else 0.0
    s.oil.pump_frac += p.derived.pump_alpha * (target - s.oil.pump_frac)
