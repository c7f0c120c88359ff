"""Oil and hot gas.

Sump → cooler with an ideal thermostatic mixing valve → pump → filter → injection, bearings and slides → mixed with the
gas in the rotors → separator → sump.  Gas and oil leave the rotors at one temperature, by energy balance; the casing
stores heat.  The cooler gives its heat to water or a brine, boils liquid from the receiver (thermosiphon), or is left
out and liquid refrigerant is injected into the rotors instead; that liquid enters after the flutes are sealed, so it
takes no suction capacity, and the little work of its compression is left out.  Without a pump (rise 0) oil is driven by
discharge over suction pressure.  Refrigerant dissolved in oil and condensation in a cold separator are not modelled.

Which difference a trip watches is the cabinet's choice between the readings before and after the filter, discharge and
suction; nothing here is a safety system.
"""

from __future__ import annotations

import math
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.oil_parameters import CoolerKind
from plant_model.oil_viscosity import viscosity_ratio
from plant_model.properties import vapour_enthalpy_j_kg

LEAST_OPENING = 0.02  # of a fouled filter: shut for all purposes, and no division by zero


@kernel
def turning_frac(p: Any, s: Any) -> float:
    """Speed over synchronous speed; 0 while the rotors stand or spin backward."""
    return float(max(0.0, s.motor.speed_rad_s) * p.derived.motor.per_synchronous_speed_s)


@kernel
def filter_resistance_pa_s_kg(p: Any, s: Any) -> float:
    """Pressure drop over flow of the filter, Pa·s/kg: laminar, so with viscosity, and inverse to the area left open."""
    opening_frac = max(LEAST_OPENING, 1.0 - s.oil.filter_fouling_frac)
    return float(p.derived.filter_pa_s_kg * s.oil.viscosity_ratio / opening_frac)


@kernel
def oil_flow_kg_s(p: Any, difference_pa: float, open_frac: float, filter_pa_s_kg: float) -> float:
    """Oil flow, kg/s, for a pressure from before the filter to the injection port.

    Filter (laminar, in proportion to flow) and injection (turbulent, its square) in series; `open_frac` scales the
    injection's area.
    """
    if difference_pa <= 0.0 or open_frac < 1.0e-6:
        return 0.0
    quadratic = p.derived.injection_pa_s2_kg2 / (open_frac * open_frac)
    root = math.sqrt(filter_pa_s_kg * filter_pa_s_kg + 4.0 * quadratic * difference_pa)
    return float(2.0 * difference_pa / (filter_pa_s_kg + root))


@kernel
def intake_covered_frac(p: Any, s: Any) -> float:
    """How far oil covers the sump's outlet while all that circulates is out: 1 with enough oil, 0 dry."""
    if s.oil.lost_kg <= p.derived.oil_to_spare_kg:
        return 1.0
    return float(max(0.0, 1.0 - (s.oil.lost_kg - p.derived.oil_to_spare_kg) / p.plant.oil.pump_intake_kg))


@kernel
def close_oil(p: Any, s: Any) -> None:
    """Oil pressures, flow and level, and the enthalpy of the gas that leaves."""
    w = p.plant.oil
    o = s.oil
    discharge_pa = s.separator.pressure_pa
    suction_pa = s.suction.pressure_pa
    turning = turning_frac(p, s)
    o.viscosity_ratio = viscosity_ratio(p.derived.viscosity, o.supply_k)
    # at standstill only bearings and slides are fed, and only while the pump runs: the injection stop valve is shut
    open_frac = w.bearing_share_frac * max(turning, o.pump_frac) + (1.0 - w.bearing_share_frac) * turning
    covered_frac = intake_covered_frac(p, s)
    port_pa = suction_pa + w.injection_level_frac * (discharge_pa - suction_pa)
    o.before_filter_pa = discharge_pa + w.pump_rise_pa * o.pump_frac * covered_frac
    if covered_frac < 1.0:  # gas in the line: the pump loses its grip, and what arrives is foam
        open_frac *= covered_frac
    resistance_pa_s_kg = filter_resistance_pa_s_kg(p, s)
    o.flow_kg_s = oil_flow_kg_s(p, o.before_filter_pa - port_pa, open_frac, resistance_pa_s_kg)
    o.supply_pa = o.before_filter_pa - resistance_pa_s_kg * o.flow_kg_s
    if covered_frac < 1.0:
        o.supply_pa = suction_pa + covered_frac * (o.supply_pa - suction_pa)
    o.level_frac = max(
        0.0, (w.charge_kg - o.lost_kg - o.flow_kg_s * p.derived.circulation_s) * p.derived.per_sump_full_kg
    )
    o.discharge_enthalpy_j_kg = vapour_enthalpy_j_kg(
        p.refrigerant, s.discharge.volume.pressure_pa, o.mixture_k - s.discharge.volume.saturation.t_k
    )


@kernel
def add_viscous_drag(p: Any, s: Any) -> None:
    """Cold oil drags more on the rotors than `compress` reckons with: its torque and power on top, after `close_oil`."""
    c = s.compression
    drag_n_m = p.plant.machine.oil_drag_torque_n_m * p.plant.oil.viscous_drag_share_frac
    extra_n_m = drag_n_m * (s.oil.viscosity_ratio - 1.0)
    extra_w = extra_n_m * max(0.0, s.motor.speed_rad_s)
    c.shaft_torque_n_m += extra_n_m
    c.friction_power_w += extra_w
    c.shaft_power_w += extra_w


@kernel
def coolant_k(p: Any, s: Any, d: Any) -> float:
    """Temperature of what cools the oil at this moment, K: a stream from outside, or the receiver's liquid."""
    if p.plant.oil.cooler == CoolerKind.THERMOSIPHON:
        return float(s.discharge.volume.saturation.t_k)
    rise_k = d.coolant_rise_k + d.coolant_rise_rate_k_s * (0.001 * (s.time_ms - d.coolant_since_ms))
    return float(p.plant.oil.coolant_k + rise_k)


@kernel
def oil_cooler_w(p: Any, s: Any, d: Any) -> float:
    """Heat taken by the cooler, W: what the mixing valve asks for, at most what the surface gives."""
    w = p.plant.oil
    if w.cooler == CoolerKind.LIQUID_INJECTION:
        return 0.0
    wanted_w = s.oil.flow_kg_s * w.heat_capacity_j_kg_k * (s.oil.sump_k - w.set_point_k)
    possible_w = w.cooler_conductance_w_k * s.oil.cooler_share_frac * (s.oil.sump_k - coolant_k(p, s, d))
    return float(max(0.0, min(wanted_w, possible_w)))


@kernel
def injected_kg_s(p: Any, s: Any, a: Any) -> float:
    """Liquid refrigerant into the rotors, kg/s: the cabinet's injection-cooling valve, and the cooler of that kind.

    The latter's valve opens in proportion over its band, and closes towards the least discharge superheat, because
    liquid in the separator's oil is worse than warm oil.
    """
    w = p.plant.oil
    turning = turning_frac(p, s)
    flow_kg_s = w.injection_cooling_kg_s * turning if a.injection_cooling and s.motor.supply_on else 0.0
    if w.cooler == CoolerKind.LIQUID_INJECTION:
        aim_k = max(w.set_point_k, s.discharge.volume.saturation.t_k + w.liquid_injection_superheat_k)
        opening = min(1.0, max(0.0, (s.oil.mixture_k - aim_k) / w.liquid_injection_band_k))
        flow_kg_s += w.liquid_injection_kg_s * s.oil.cooler_share_frac * turning * opening
    return float(flow_kg_s)


@kernel
def oil_fluxes(p: Any, s: Any, d: Any, a: Any, f: Any) -> None:
    """Temperature rates of mixture, metal, sump and supply line, and the heat flows that cross the border, into `f`."""
    w = p.plant.oil
    o = s.oil
    oil_w_k = o.flow_kg_s * w.heat_capacity_j_kg_k
    f.injection_kg_s = injected_kg_s(p, s, a)
    cooler_w = oil_cooler_w(p, s, d)
    f.oil_cooler_w = cooler_w
    f.thermosiphon_w = 0.0
    if w.cooler == CoolerKind.THERMOSIPHON:
        f.oil_cooler_w = 0.0
        f.thermosiphon_w = cooler_w
    f.oil_heater_w = w.heater_w if a.oil_heater and s.motor.supply_on else 0.0
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
    f.supply_k_s = (supply_w - cooler_w + f.oil_pump_w) * p.derived.per_supply_k_j


@kernel
def step_oil_pump(p: Any, s: Any, run: bool) -> None:
    """The pump's pressure follows its contactor with one lag, exactly; oil that the plant swallowed leaves the charge.

    Lost oil takes its own heat with it and changes no temperature; the sump's heat capacity stays that of the full
    charge, so with half of it lost the sump answers in truth up to twice as fast.
    """
    o = s.oil
    target = o.pump_strength_frac if run and s.motor.supply_on else 0.0
    o.pump_frac += p.derived.pump_alpha * (target - o.pump_frac)
    if o.loss_kg_s != 0.0:
        o.lost_kg = min(p.plant.oil.charge_kg, max(0.0, o.lost_kg + p.derived.h_s * o.loss_kg_s))
