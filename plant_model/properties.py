"""Refrigerant properties for the kernels: evaluation of the tables that `property_tables` fits.

SI units; enthalpy datum 200 kJ/kg for saturated liquid at 273.15 K.  A pressure outside the envelope is held just
beyond its ends, so that an iteration cannot run into the critical point; `in_envelope` says whether a result counts.
The variants `…_at` take the coordinate x = `pressure_coordinate(r, p)`, which costs a logarithm and a square root.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from numba.extending import register_jitable as kernel

from plant_model.property_tables import (
    EXPONENT_DEGREE,
    EXPONENT_S_TERMS,
    EXPONENT_TERMS,
    SATURATION_TERMS,
    VAPOUR_S_TERMS,
    VAPOUR_X_TERMS,
    EnvelopeError,
    FitError,
    PropertyError,
    Refrigerant,
    UnknownRefrigerantError,
    load_refrigerant,
    require_pressure,
    require_saturation_temperature,
)

__all__ = [
    "EnvelopeError",
    "FitError",
    "PropertyError",
    "Refrigerant",
    "Saturation",
    "SaturationSlopes",
    "UnknownRefrigerantError",
    "Vapour",
    "in_envelope",
    "isentropic_exponent",
    "isentropic_exponent_at",
    "load_refrigerant",
    "pressure_coordinate",
    "pressure_coordinate_from_log",
    "require_pressure",
    "require_saturation_temperature",
    "saturated",
    "saturated_at",
    "saturated_slopes",
    "saturated_slopes_at",
    "saturation_pressure_pa",
    "saturation_temperature_at_k",
    "saturation_temperature_k",
    "vapour_at",
    "vapour_enthalpy_at_j_kg",
    "vapour_enthalpy_j_kg",
    "vapour_volume_at_m3_kg",
    "vapour_volume_m3_kg",
]


@dataclass(slots=True)
class Saturation:
    """Saturated liquid (l) and vapour (v) at one pressure."""

    t_k: float = 0.0
    v_l_m3_kg: float = 0.0
    v_v_m3_kg: float = 0.0
    h_l_j_kg: float = 0.0
    h_v_j_kg: float = 0.0
    u_l_j_kg: float = 0.0
    u_v_j_kg: float = 0.0


@dataclass(slots=True)
class SaturationSlopes:
    """Derivatives of `Saturation` along the saturation line, per Pa."""

    t_k_pa: float = 0.0
    v_l_m3_kg_pa: float = 0.0
    v_v_m3_kg_pa: float = 0.0
    h_l_j_kg_pa: float = 0.0
    h_v_j_kg_pa: float = 0.0
    u_l_j_kg_pa: float = 0.0
    u_v_j_kg_pa: float = 0.0


@dataclass(slots=True)
class Vapour:
    """Vapour at one pressure and superheat."""

    t_k: float = 0.0
    v_m3_kg: float = 0.0
    h_j_kg: float = 0.0


@kernel
def in_envelope(r: Refrigerant, p_pa: float) -> bool:
    """Whether saturation at p_pa (Pa absolute) is inside the fitted envelope; False for a nan."""
    return p_pa >= r.pressure_low_pa and p_pa <= r.pressure_high_pa


@kernel
def pressure_coordinate_from_log(r: Refrigerant, log_p: float) -> float:
    """x from log_p = ln(p / Pa): -1 at the low end of the envelope, 1 at its high end."""
    x = (r.root_mid - math.sqrt(max(0.0, r.log_critical_pressure - log_p))) * r.root_scale
    return min(1.01, max(-1.01, x))


@kernel
def pressure_coordinate(r: Refrigerant, p_pa: float) -> float:
    """x from a pressure in Pa absolute."""
    return pressure_coordinate_from_log(r, math.log(max(1.0, p_pa)))


@kernel
def saturation_temperature_at_k(r: Refrigerant, x: float) -> float:
    """Saturation temperature in K."""
    t_k = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        t_k = t_k * x + r.temperature_k[i]
    return t_k


@kernel
def saturation_temperature_k(r: Refrigerant, p_pa: float) -> float:
    """Saturation temperature in K at p_pa (Pa absolute)."""
    return saturation_temperature_at_k(r, pressure_coordinate(r, p_pa))


@kernel
def saturation_pressure_pa(r: Refrigerant, t_k: float) -> float:
    """Saturation pressure in Pa absolute at t_k; one Newton step makes it the inverse of saturation_temperature_k."""
    tau = (2.0 * t_k - r.temperature_low_k - r.temperature_high_k) / (r.temperature_high_k - r.temperature_low_k)
    tau = min(1.01, max(-1.01, tau))
    x = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        x = x * tau + r.coordinate[i]
    value_k = 0.0
    slope_k = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        slope_k = slope_k * x + value_k
        value_k = value_k * x + r.temperature_k[i]
    target_k = 0.5 * (tau * (r.temperature_high_k - r.temperature_low_k) + r.temperature_low_k + r.temperature_high_k)
    x -= (value_k - target_k) / slope_k
    root = r.root_mid - x / r.root_scale
    return math.exp(r.log_critical_pressure - root * root)


@kernel
def saturated_at(r: Refrigerant, p_pa: float, x: float, out: Saturation) -> None:
    """Fill `out` at p_pa (Pa absolute), whose coordinate is x."""
    t = 0.0
    v_l = 0.0
    h_l = 0.0
    h_v = 0.0
    flow_work = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        t = t * x + r.temperature_k[i]
        v_l = v_l * x + r.liquid_volume_m3_kg[i]
        h_l = h_l * x + r.liquid_enthalpy_j_kg[i]
        h_v = h_v * x + r.vapour_enthalpy_j_kg[i]
        flow_work = flow_work * x + r.vapour_flow_work_j_kg[i]
    out.t_k = t
    out.v_l_m3_kg = v_l
    out.v_v_m3_kg = flow_work / p_pa
    out.h_l_j_kg = h_l
    out.h_v_j_kg = h_v
    out.u_l_j_kg = h_l - p_pa * v_l
    out.u_v_j_kg = h_v - flow_work


@kernel
def saturated(r: Refrigerant, p_pa: float, out: Saturation) -> None:
    """Fill `out` with the saturated states at p_pa (Pa absolute, above zero)."""
    saturated_at(r, p_pa, pressure_coordinate(r, p_pa), out)


@kernel
def saturated_slopes_at(r: Refrigerant, p_pa: float, x: float, out: Saturation, slopes: SaturationSlopes) -> None:
    """Fill `out` and its derivatives along saturation at p_pa (Pa absolute), whose coordinate is x."""
    t = 0.0
    v_l = 0.0
    h_l = 0.0
    h_v = 0.0
    flow_work = 0.0
    dt = 0.0
    dv_l = 0.0
    dh_l = 0.0
    dh_v = 0.0
    dflow_work = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        dt = dt * x + t
        t = t * x + r.temperature_k[i]
        dv_l = dv_l * x + v_l
        v_l = v_l * x + r.liquid_volume_m3_kg[i]
        dh_l = dh_l * x + h_l
        h_l = h_l * x + r.liquid_enthalpy_j_kg[i]
        dh_v = dh_v * x + h_v
        h_v = h_v * x + r.vapour_enthalpy_j_kg[i]
        dflow_work = dflow_work * x + flow_work
        flow_work = flow_work * x + r.vapour_flow_work_j_kg[i]
    per_pa = 1.0 / p_pa
    root = r.root_mid - x / r.root_scale
    x_slope = 0.5 * r.root_scale * per_pa / root
    v_v = flow_work / p_pa  # as in saturated_at, to the last bit
    out.t_k = t
    out.v_l_m3_kg = v_l
    out.v_v_m3_kg = v_v
    out.h_l_j_kg = h_l
    out.h_v_j_kg = h_v
    out.u_l_j_kg = h_l - p_pa * v_l
    out.u_v_j_kg = h_v - flow_work
    slopes.t_k_pa = dt * x_slope
    slopes.v_l_m3_kg_pa = dv_l * x_slope
    slopes.v_v_m3_kg_pa = (dflow_work * x_slope - v_v) * per_pa
    slopes.h_l_j_kg_pa = dh_l * x_slope
    slopes.h_v_j_kg_pa = dh_v * x_slope
    slopes.u_l_j_kg_pa = dh_l * x_slope - v_l - p_pa * dv_l * x_slope
    slopes.u_v_j_kg_pa = (dh_v - dflow_work) * x_slope


@kernel
def saturated_slopes(r: Refrigerant, p_pa: float, out: Saturation, slopes: SaturationSlopes) -> None:
    """Fill `out` and its derivatives along saturation at p_pa (Pa absolute, above zero)."""
    saturated_slopes_at(r, p_pa, pressure_coordinate(r, p_pa), out, slopes)


@kernel
def vapour_at(r: Refrigerant, p_pa: float, x: float, superheat_k: float, out: Vapour) -> None:
    """Fill `out` with temperature, volume and enthalpy at p_pa (Pa absolute), whose coordinate is x.

    superheat_k is held within 0 and r.superheat_high_k.
    """
    theta_k = min(r.superheat_high_k, max(0.0, superheat_k))
    t_k = 0.0
    h = 0.0
    flow_work = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        t_k = t_k * x + r.temperature_k[i]
        h = h * x + r.vapour_enthalpy_j_kg[i]
        flow_work = flow_work * x + r.vapour_flow_work_j_kg[i]
    origin_k = r.superheat_scale * (r.critical_temperature_k - t_k)
    limit_k = r.superheat_high_k
    s = 2.0 * theta_k * (limit_k + origin_k) / (limit_k * (theta_k + origin_k)) - 1.0
    per_k_h = 0.0
    per_k_flow_work = 0.0
    for i in range(VAPOUR_X_TERMS - 1, -1, -1):
        row_h = 0.0
        row_flow_work = 0.0
        for j in range(VAPOUR_S_TERMS - 1, -1, -1):
            row_h = row_h * s + r.superheat_enthalpy_j_kg_k[i * VAPOUR_S_TERMS + j]
            row_flow_work = row_flow_work * s + r.superheat_flow_work_j_kg_k[i * VAPOUR_S_TERMS + j]
        per_k_h = per_k_h * x + row_h
        per_k_flow_work = per_k_flow_work * x + row_flow_work
    out.t_k = t_k + theta_k
    out.h_j_kg = h + theta_k * per_k_h
    out.v_m3_kg = (flow_work + theta_k * per_k_flow_work) / p_pa


@kernel
def vapour_volume_at_m3_kg(r: Refrigerant, p_pa: float, x: float, superheat_k: float) -> float:
    """Specific volume in m³/kg at p_pa (Pa absolute), whose coordinate is x, and superheat_k above saturation."""
    theta_k = min(r.superheat_high_k, max(0.0, superheat_k))
    t_k = 0.0
    flow_work = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        t_k = t_k * x + r.temperature_k[i]
        flow_work = flow_work * x + r.vapour_flow_work_j_kg[i]
    origin_k = r.superheat_scale * (r.critical_temperature_k - t_k)
    limit_k = r.superheat_high_k
    s = 2.0 * theta_k * (limit_k + origin_k) / (limit_k * (theta_k + origin_k)) - 1.0
    per_k = 0.0
    for i in range(VAPOUR_X_TERMS - 1, -1, -1):
        row = 0.0
        for j in range(VAPOUR_S_TERMS - 1, -1, -1):
            row = row * s + r.superheat_flow_work_j_kg_k[i * VAPOUR_S_TERMS + j]
        per_k = per_k * x + row
    return (flow_work + theta_k * per_k) / p_pa


@kernel
def vapour_enthalpy_at_j_kg(r: Refrigerant, x: float, superheat_k: float) -> float:
    """Enthalpy in J/kg at the pressure whose coordinate is x, and superheat_k above saturation."""
    theta_k = min(r.superheat_high_k, max(0.0, superheat_k))
    t_k = 0.0
    h = 0.0
    for i in range(SATURATION_TERMS - 1, -1, -1):
        t_k = t_k * x + r.temperature_k[i]
        h = h * x + r.vapour_enthalpy_j_kg[i]
    origin_k = r.superheat_scale * (r.critical_temperature_k - t_k)
    limit_k = r.superheat_high_k
    s = 2.0 * theta_k * (limit_k + origin_k) / (limit_k * (theta_k + origin_k)) - 1.0
    per_k = 0.0
    for i in range(VAPOUR_X_TERMS - 1, -1, -1):
        row = 0.0
        for j in range(VAPOUR_S_TERMS - 1, -1, -1):
            row = row * s + r.superheat_enthalpy_j_kg_k[i * VAPOUR_S_TERMS + j]
        per_k = per_k * x + row
    return h + theta_k * per_k


@kernel
def vapour_volume_m3_kg(r: Refrigerant, p_pa: float, superheat_k: float) -> float:
    """Specific volume in m³/kg at p_pa (Pa absolute, above zero) and superheat_k above saturation."""
    return vapour_volume_at_m3_kg(r, p_pa, pressure_coordinate(r, p_pa), superheat_k)


@kernel
def vapour_enthalpy_j_kg(r: Refrigerant, p_pa: float, superheat_k: float) -> float:
    """Enthalpy in J/kg at p_pa (Pa absolute) and superheat_k above saturation."""
    return vapour_enthalpy_at_j_kg(r, pressure_coordinate(r, p_pa), superheat_k)


@kernel
def isentropic_exponent_at(r: Refrigerant, x1: float, x2: float, superheat_k: float) -> float:
    """Effective exponent ln(p2/p1) / ln(v1/v2s) of the real gas; x1, x2 are the coordinates of p1 and p2.

    x2 below x1 is taken as x1 (the limit of no compression); superheat_k at p1 is held within the fitted range.
    """
    theta_k = min(r.suction_superheat_high_k, max(0.0, superheat_k))
    origin_k = r.superheat_scale * (r.critical_temperature_k - saturation_temperature_at_k(r, x1))
    limit_k = r.suction_superheat_high_k
    s = 2.0 * theta_k * (limit_k + origin_k) / (limit_k * (theta_k + origin_k)) - 1.0
    x2 = max(x1, x2)
    kappa = 0.0
    m = EXPONENT_TERMS
    for k in range(EXPONENT_S_TERMS - 1, -1, -1):
        plane = 0.0
        for i in range(EXPONENT_DEGREE - k, -1, -1):
            row = 0.0
            for _j in range(EXPONENT_DEGREE - k - i + 1):
                m -= 1
                row = row * x2 + r.exponent[m]
            plane = plane * x1 + row
        kappa = kappa * s + plane
    return kappa


@kernel
def isentropic_exponent(r: Refrigerant, p1_pa: float, p2_pa: float, superheat_k: float) -> float:
    """Effective isentropic exponent between p1_pa and p2_pa (Pa absolute), from superheat_k above saturation at p1."""
    return isentropic_exponent_at(r, pressure_coordinate(r, p1_pa), pressure_coordinate(r, p2_pa), superheat_k)
