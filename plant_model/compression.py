"""The compressor: mass flow, power and the volume-ratio coupling, at given slides, speed and pressures.

What the gas sees is Vi = c · Vi_f: unloading at a fixed volume-ratio slide lowers it.  Per p1·V taken in, the indicated
work of an adiabatic machine with a fixed built-in volume ratio is

    w(PR, Vi) = (Vi^(kappa−1) − 1)/(kappa − 1) + PR/Vi − 1                              Vi at least 1

with the *effective* exponent of the real gas, ln(PR)/ln(v1/v2s) (for instance Stoecker, Industrial Refrigeration
Handbook, 1998, ch. 5, recalled) and a first-order term for the exponent's change on the way.  Around it stand leakage,
port loss, oil drag and friction, each with its constant in `CompressorParameters`.  There is no economiser.

Results are an engineering aid with invented machine constants; nothing here is a safety system.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.properties import (
    Refrigerant,
    Vapour,
    isentropic_exponent_at,
    pressure_coordinate_from_log,
    saturation_pressure_pa,
    vapour_at,
)
from plant_model.rotor_geometry import (
    RotorGeometry,
    SlideCurves,
    edge_overlap_m,
    full_load_volume_ratio,
    slide_curves,
    trapped_fraction_frac,
)

TWO_PI = 6.283185307179586


def _value(default: float, unit: str, low: float, high: float, why: str, of: str = "") -> Any:
    return field(
        default=default, metadata={"unit": unit, "low": low, "high": high, "why": why} | ({"of": of} if of else {})
    )


@dataclass(frozen=True, slots=True)
class CompressorParameters:
    """Constants of the machine beyond its geometry; `why` names a source, or says that there is none."""

    nominal_speed_1_s: float = _value(49.2, "1/s", 5.0, 120.0, "two-pole motor at 50 Hz with slip")
    rating_evaporating_k: float = _value(263.15, "K", 200.0, 320.0, "−10 °C: the demo plant's rating point", "absolute")
    rating_condensing_k: float = _value(308.15, "K", 220.0, 345.0, "35 °C: the demo plant's rating point", "absolute")
    rating_superheat_k: float = _value(3.0, "K", 0.0, 40.0, "pumped plant: nearly dry vapour", "difference")
    filling_frac: float = _value(
        0.96, "1", 0.8, 1.0, "gas taken in over swept volume before leakage; common practice, no source"
    )
    leakage_frac: float = _value(
        0.019,
        "1",
        0.0,
        0.1,
        "of full displacement at nominal speed, per unit of mean pressure ratio across the flutes: volumetric "
        "efficiency 0.92 at PR 3, 0.88 at PR 5; common practice, no source",
    )
    leakage_built_in_share: float = _value(
        0.2,
        "1",
        0.0,
        1.0,
        "share of the leakage that grows with the built-in pressure ratio Vi^kappa, the rest with PR; no source",
    )
    leakage_speed_factor: float = _value(
        5.0, "1", 1.0, 50.0, "leakage reaches its full value at 1/5 of nominal speed, and is 0 at rest; no source"
    )
    recompression_frac: float = _value(
        0.5, "1", 0.0, 1.0, "share of the leakage that passes between flutes and is compressed again; no source"
    )
    friction_torque_n_m: float = _value(
        42.0,
        "N*m",
        0.0,
        1.0e4,
        "about 10 % of full-load work at the rating point (practitioner's memory), constant torque",
    )
    oil_drag_torque_n_m: float = _value(
        14.0, "N*m", 0.0, 1.0e4, "oil carried round by the rotors, 3 % of full-load work; common practice, no source"
    )
    discharge_port_area_m2: float = _value(
        0.0012,
        "m**2",
        1.0e-5,
        0.5,
        "both ports: 1 % of full-load work at −10/35 °C, 6 % at 0/25 °C; common practice, no source",
    )
    discharge_port_loss: float = _value(
        1.5, "1", 0.0, 10.0, "dynamic heads lost through the ports, entrance plus exit; textbook value, recalled"
    )
    through_path: bool = field(
        default=True,
        metadata={"unit": "1", "why": "False: the slides' shape excludes an open path; a plant's own choice"},
    )
    through_path_width_m: float = _value(
        0.004,
        "m",
        0.0,
        0.5,
        "mean open width of both ports where the edges overlap, lands between flutes deducted; invented",
    )
    through_path_discharge: float = _value(
        0.6, "1", 0.1, 1.0, "discharge coefficient of a sharp edge; textbook, recalled"
    )


@dataclass(slots=True)
class CompressionResult:
    """What `compress` finds; powers are means over a revolution."""

    trapped_fraction_frac: float = 0.0
    volume_ratio: float = 1.0  # what the gas sees, c · Vi_f
    volume_ratio_full_load: float = 1.0  # Vi_f of the volume-ratio slide's position
    volume_ratio_ideal: float = 1.0  # PR^(1/kappa)
    volume_ratio_attainable: float = 1.0  # the best that the volume-ratio slide can do at this trapped fraction
    isentropic_exponent: float = 1.3
    swept_m3_s: float = 0.0
    mass_flow_kg_s: float = 0.0
    leakage_kg_s: float = 0.0
    through_path_kg_s: float = 0.0
    suction_density_kg_m3: float = 0.0
    suction_enthalpy_j_kg: float = 0.0
    suction_temperature_k: float = 0.0
    indicated_power_w: float = 0.0
    port_loss_power_w: float = 0.0  # part of the indicated power
    recompression_power_w: float = 0.0  # part of the indicated power
    friction_power_w: float = 0.0  # bearings, seals and oil drag
    shaft_power_w: float = 0.0
    shaft_torque_n_m: float = 0.0  # finite at rest too: what a start has to overcome
    mismatch_power_w: float = 0.0  # against the best attainable position, work spoilt by an open path included
    unavoidable_power_w: float = 0.0  # of the best attainable position against the ideal volume ratio
    vapour: Vapour = field(default_factory=Vapour)  # suction state, scratch for the kernel


@kernel
def real_gas_work(kappa: float, bend: float, log_ideal: float, pressure_ratio: float, volume_ratio: float) -> float:
    """w(PR, Vi) per p1·V for a gas whose exponent changes while it is compressed; dimensionless.

    kappa is the mean exponent up to the ideal volume ratio, whose logarithm is log_ideal; bend is (kappa − exponent at
    suction) / log_ideal.  To first order ln(p/p1) = kappa l + bend (l² − log_ideal l), l = ln(V1/V); integrated here.
    kappa above 0 (1 is the isothermal limit); volume_ratio is held at 1 or more.
    """
    held = max(1.0, volume_ratio)
    length = math.log(held)
    a = kappa - 1.0
    if abs(a) < 1.0e-3:  # series: the closed integrals lose digits
        closed = length * (1.0 + 0.5 * a * length)
        first = length * length * (0.5 + a * length / 3.0)
        second = length * length * length * (1.0 / 3.0 + 0.25 * a * length)
    else:
        grown = math.exp(a * length)
        closed = (grown - 1.0) / a
        first = (length * grown - closed) / a
        second = (length * length * grown - 2.0 * first) / a
    return closed + bend * (second - log_ideal * first) + pressure_ratio / held - 1.0


@kernel
def indicated_work(kappa: float, pressure_ratio: float, volume_ratio: float) -> float:
    """w(PR, Vi) per p1·V of a gas with one exponent, dimensionless; volume_ratio is held at 1 or more."""
    return real_gas_work(kappa, 0.0, 0.0, pressure_ratio, volume_ratio)


@kernel
def attainable_volume_ratio(ideal: float, trapped_frac: float, low: float, high: float) -> float:
    """Best Vi that the gas can be given: the ideal one, as far as the slide (low..high at full load) reaches at this
    trapped fraction and the port stays shut until the flute is sealed (Vi at least 1, where the slide reaches that)."""
    return min(trapped_frac * high, max(ideal, max(1.0, trapped_frac * low)))


@kernel
def nozzle_flux(kappa: float, pressure_ratio: float, volume_ratio_ideal: float) -> float:
    """Isentropic nozzle flow divided by area · sqrt(p_d · rho_d), choked or not; volume_ratio_ideal = PR^(1/kappa).

    St. Venant & Wantzel's formula, as in any text on gas dynamics (recalled).
    """
    k = max(1.001, kappa)
    critical = math.exp(k / (k - 1.0) * math.log(0.5 * (k + 1.0)))
    if pressure_ratio >= critical:
        return math.sqrt(k * math.exp((k + 1.0) / (k - 1.0) * math.log(2.0 / (k + 1.0))))
    open_frac = 1.0 / volume_ratio_ideal
    return math.sqrt(max(0.0, 2.0 * k / (k - 1.0) * (open_frac * open_frac - open_frac / pressure_ratio)))


@kernel
def compress(
    m: CompressorParameters,
    r: Refrigerant,
    curves: SlideCurves,
    p_suction_flange_pa: float,
    superheat_k: float,
    p_discharge_pa: float,
    t_discharge_k: float,
    speed_1_s: float,
    capacity_travel_frac: float,
    volume_ratio_travel_frac: float,
    out: CompressionResult,
) -> None:
    """Fill `out`: pressures in Pa absolute, superheat in K at the flange, discharge temperature in K, speed in 1/s.

    A discharge pressure below suction counts as equal to it.  All flows and powers are zero at zero speed, the through
    path too: at rest the check valves hold.  No flow is negative: reverse flow is the check valve's business.
    """
    p1_pa = max(1.0, p_suction_flange_pa)
    p2_pa = max(p1_pa, p_discharge_pa)
    turns_1_s = max(0.0, speed_1_s)
    log_p1 = math.log(p1_pa)
    log_p2 = math.log(p2_pa)
    log_ratio = log_p2 - log_p1
    ratio = p2_pa / p1_pa
    x1 = pressure_coordinate_from_log(r, log_p1)
    vapour_at(r, p1_pa, x1, superheat_k, out.vapour)
    kappa = isentropic_exponent_at(r, x1, pressure_coordinate_from_log(r, log_p2), superheat_k)
    density_kg_m3 = 1.0 / out.vapour.v_m3_kg
    out.suction_density_kg_m3 = density_kg_m3
    out.suction_enthalpy_j_kg = out.vapour.h_j_kg
    out.suction_temperature_k = out.vapour.t_k
    out.isentropic_exponent = kappa

    trapped = trapped_fraction_frac(curves, capacity_travel_frac)
    full_load = full_load_volume_ratio(curves, volume_ratio_travel_frac)
    seen = trapped * full_load
    ideal = math.exp(log_ratio / kappa)
    attainable = attainable_volume_ratio(ideal, trapped, curves.volume_ratio_low, curves.volume_ratio_high)
    out.trapped_fraction_frac = trapped
    out.volume_ratio = seen
    out.volume_ratio_full_load = full_load
    out.volume_ratio_ideal = ideal
    out.volume_ratio_attainable = attainable

    log_ideal = log_ratio / kappa
    bend = 0.0
    if log_ideal > 0.05:  # below, a difference of two nearly equal exponents over almost nothing
        bend = (kappa - isentropic_exponent_at(r, x1, x1, superheat_k)) / log_ideal
    work = real_gas_work(kappa, bend, log_ideal, ratio, seen)
    work_ideal = real_gas_work(kappa, bend, log_ideal, ratio, ideal)
    if attainable == ideal:
        work_attainable = work_ideal
    else:
        work_attainable = real_gas_work(kappa, bend, log_ideal, ratio, attainable)

    held = max(1.0, seen)
    built_in_rise = math.exp(kappa * math.log(held)) - 1.0
    swept_m3_s = turns_1_s * curves.displacement_m3 * trapped
    leakage_share = min(1.0, m.leakage_speed_factor * turns_1_s / m.nominal_speed_1_s)
    leakage_m3_s = (
        m.leakage_frac
        * curves.displacement_m3
        * m.nominal_speed_1_s
        * ((1.0 - m.leakage_built_in_share) * (ratio - 1.0) + m.leakage_built_in_share * built_in_rise)
        * leakage_share
    )
    density_discharge_kg_m3 = density_kg_m3 * ratio * out.vapour.t_k / max(100.0, t_discharge_k)
    through_kg_s = 0.0
    through_best_kg_s = 0.0
    if m.through_path and seen < 1.0:
        overlap_m = edge_overlap_m(curves, capacity_travel_frac, volume_ratio_travel_frac)
        width_m = m.through_path_discharge * m.through_path_width_m * leakage_share
        flux_kg_m2_s = math.sqrt(p2_pa * density_discharge_kg_m3) * nozzle_flux(kappa, ratio, ideal)
        through_kg_s = width_m * overlap_m * flux_kg_m2_s
        through_best_kg_s = width_m * edge_overlap_m(curves, capacity_travel_frac, 1.0) * flux_kg_m2_s
    taken_in_kg_s = density_kg_m3 * m.filling_frac * swept_m3_s
    # Hot gas that comes back through the open path fills the flutes in place of cold suction gas.
    displaced = max(100.0, t_discharge_k) / out.vapour.t_k
    mass_flow_kg_s = max(0.0, taken_in_kg_s - density_kg_m3 * leakage_m3_s - through_kg_s * displaced)
    out.swept_m3_s = swept_m3_s
    out.mass_flow_kg_s = mass_flow_kg_s
    out.leakage_kg_s = min(taken_in_kg_s, density_kg_m3 * leakage_m3_s)
    out.through_path_kg_s = through_kg_s

    # Torques first: they stay finite at rest.
    flow_per_turn_m3 = curves.displacement_m3 * trapped * m.filling_frac
    per_turn_j = p1_pa * flow_per_turn_m3
    velocity_m_s = mass_flow_kg_s / (density_discharge_kg_m3 * m.discharge_port_area_m2)
    port_loss_pa = 0.5 * m.discharge_port_loss * density_discharge_kg_m3 * velocity_m_s * velocity_m_s
    port_loss_w = port_loss_pa * mass_flow_kg_s / density_discharge_kg_m3
    again_j = 0.0
    if turns_1_s > 0.0:
        again_j = m.recompression_frac * p1_pa * leakage_m3_s / turns_1_s
    gas_torque_n_m = (per_turn_j * work + again_j * work_ideal) / TWO_PI
    fixed_torque_n_m = m.friction_torque_n_m + m.oil_drag_torque_n_m
    omega_1_s = TWO_PI * turns_1_s
    out.port_loss_power_w = port_loss_w
    out.recompression_power_w = again_j * work_ideal * turns_1_s
    out.indicated_power_w = gas_torque_n_m * omega_1_s + port_loss_w
    out.friction_power_w = fixed_torque_n_m * omega_1_s
    out.shaft_power_w = out.indicated_power_w + out.friction_power_w
    out.shaft_torque_n_m = gas_torque_n_m + fixed_torque_n_m + port_loss_w / max(0.1, omega_1_s)
    flow_power_w = per_turn_j * turns_1_s
    spoilt = 0.0
    spoilt_best = 0.0
    if through_kg_s > 0.0 and taken_in_kg_s > 0.0:
        spoilt = min(1.0, through_kg_s * displaced / taken_in_kg_s) * work
        spoilt_best = min(1.0, through_best_kg_s * displaced / taken_in_kg_s) * work_attainable
    out.mismatch_power_w = max(0.0, flow_power_w * (work + spoilt - work_attainable - spoilt_best))
    out.unavoidable_power_w = max(0.0, flow_power_w * (work_attainable + spoilt_best - work_ideal))


def volume_ratio_travel_frac(curves: SlideCurves, full_load: float) -> float:
    """Travel 0..1 of the volume-ratio slide for a full-load volume ratio `full_load`, held within the range."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if full_load_volume_ratio(curves, middle) < full_load:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def rated_leakage_frac(m: CompressorParameters, geometry: RotorGeometry, r: Refrigerant) -> float:
    """The `leakage_frac` for `slide_curves` at which the plant's least delivered capacity is met exactly.

    At the rating point, capacity slide at minimum, volume-ratio slide at the best attainable position, the mass flow is
    then delivered_minimum_frac of the one at full load; leakage and an open through path included.  Raises ValueError
    when no trapped fraction does that.
    """
    p1_pa = saturation_pressure_pa(r, m.rating_evaporating_k)
    p2_pa = saturation_pressure_pa(r, m.rating_condensing_k)
    out = CompressionResult()

    def flow_kg_s(curves: SlideCurves, capacity_travel_frac: float) -> float:
        ratio_travel = 0.5
        for _ in range(2):  # once to learn the attainable volume ratio, once at it
            compress(
                m,
                r,
                curves,
                p1_pa,
                m.rating_superheat_k,
                p2_pa,
                m.rating_condensing_k + 45.0,
                m.nominal_speed_1_s,
                capacity_travel_frac,
                ratio_travel,
                out,
            )
            ratio_travel = volume_ratio_travel_frac(curves, out.volume_ratio_attainable / out.trapped_fraction_frac)
        return out.mass_flow_kg_s

    def excess_frac(leakage_frac: float) -> float:
        curves = slide_curves(geometry, leakage_frac)
        return flow_kg_s(curves, 0.0) / flow_kg_s(curves, 1.0) - geometry.delivered_minimum_frac

    low, high = 0.0, 0.5
    if excess_frac(low) > 0.0:
        return low
    if excess_frac(high) < 0.0:
        raise ValueError(
            f"delivered_minimum_frac {geometry.delivered_minimum_frac:g}: not delivered even with "
            f"{100.0 * high:.0f} % leakage allowed for: too much leakage, or a port that is open too early"
        )
    for _ in range(30):
        middle = 0.5 * (low + high)
        if excess_frac(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
