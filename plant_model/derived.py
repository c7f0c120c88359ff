"""Constants computed once from the plant parameters, so that no step divides or asks twice.

`Parameters` is all that the plant's kernels read: what people wrote, the refrigerant's tables, the slides' curves and
these constants, for one step length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from plant_model.compression import CompressorParameters, rated_leakage_frac
from plant_model.discharge_parameters import DischargeSideParameters
from plant_model.evaporator_parameters import EvaporatorParameters
from plant_model.measured_slides import measured_curves
from plant_model.oil_viscosity import ViscosityTable, viscosity_table
from plant_model.parameters import InstrumentsParameters, MotorParameters, PlantParameters, SlideDriveParameters
from plant_model.properties import (
    Refrigerant,
    Saturation,
    load_refrigerant,
    require_saturation_temperature,
    saturated,
    saturation_pressure_pa,
    vapour_enthalpy_j_kg,
)
from plant_model.rating_set import RatingScale, rating_scale
from plant_model.rotor_geometry import RotorGeometry, SlideCurves, slide_curves
from plant_model.state import CHANNELS, GROUPS

if TYPE_CHECKING:
    Channels = tuple[float, ...]
    Groups = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    Channels = tuple[(float,) * CHANNELS]
    Groups = tuple[(float,) * GROUPS]


@dataclass(frozen=True, slots=True)
class MotorConstants:
    """Kloss' curve and the current circle in numbers."""

    synchronous_rad_s: float
    per_synchronous_speed_s: float
    settled_rad_s: float  # above it a whole step is one linearly implicit step
    running_rad_s: float
    torque_factor_n_m: float  # torque = factor · s/(s² + s_k²)
    breakdown_slip_squared: float
    rotor_limit_a: float  # reactive current = magnetising + limit · s²/(s² + s_k²)
    magnetising_a: float
    ampere_per_w: float
    constant_loss_w: float
    stator_loss_w_a2: float
    rated_current_a: float
    per_rated_current_a: float
    inertia_kg_m2: float
    motor_inertia_kg_m2: float
    rotors_inertia_kg_m2: float
    coupling_torque_n_m: float


@dataclass(frozen=True, slots=True)
class SlideDriveConstants:
    """Speed = factor·√(net pressure), 1/s per √Pa."""

    load_factor: float
    unload_factor: float
    motor_frac_s: float  # of a motorised drive


@dataclass(frozen=True, slots=True)
class InstrumentConstants:
    """The channels' spans and lags, in SI and in channel order."""

    low: Channels
    per_span: Channels
    alpha: Channels
    noise_frac: Channels
    milliamp_per_count: float


@dataclass(frozen=True, slots=True)
class DerivedParameters:
    """Everything that follows from the plant parameters and the step length."""

    h_ms: int
    h_s: float
    motor: MotorConstants
    capacity_drive: SlideDriveConstants
    volume_ratio_drive: SlideDriveConstants
    instruments: InstrumentConstants
    swept_m3_rad: float  # displacement per radian at full capacity
    suction_drop_factor: float  # k of Δp = k ρ V̇²
    per_vessel_volume_m3: float
    bulk_share_frac: float  # 0: full equilibrium
    per_flash_s: float
    per_absorb_s: float
    per_mixing_s: float
    per_feed_band: float
    feed_factor: float
    groups: int  # slots in use, up to the last group
    group_per_room_k_j: Groups
    defrost_k: float  # saturation at the coil's pressure under hot gas
    defrost_liquid_j_kg: float
    defrost_held_kg: Groups  # in a coil under hot gas
    per_fill_s: float
    per_bleed_down_s: float
    per_dump_s: float
    per_refill_s: float
    per_surface_m2: float
    per_separation_height: float
    per_vapour_heat_kg_k_j: float  # of superheated suction vapour
    per_check_valve_s: float
    per_equalise_s: float
    per_minimum_head_band_pa: float
    per_discharge_volume_m3: float
    filter_pa_s_kg: float
    injection_pa_s2_kg2: float
    circulation_s: float
    per_sump_full_kg: float
    per_mixture_k_j: float
    per_metal_k_j: float
    per_sump_k_j: float
    per_supply_k_j: float
    pump_work_m3_kg: float  # pump power = this · flow · pressure rise
    pump_alpha: float
    viscosity: ViscosityTable
    oil_to_spare_kg: float  # may be lost before the sump's outlet draws gas at rated flow
    thermal_alpha: float
    thermal_rest_alpha: float


@dataclass(frozen=True, slots=True)
class Parameters:
    """All that the kernels read."""

    plant: PlantParameters
    refrigerant: Refrigerant
    curves: SlideCurves
    derived: DerivedParameters
    rating: RatingScale


def lag_alpha(h_ms: int, lag_ms: int) -> float:
    """Share of the way that a first-order lag goes in one step towards an input held over it; 1 for no lag."""
    return 1.0 if lag_ms <= 0 else -math.expm1(-h_ms / lag_ms)


def motor_constants(m: MotorParameters) -> MotorConstants:
    """From the rated point: torque there is rated power over rated speed, slip the smaller root of Kloss' equation."""
    synchronous_rad_s = 2.0 * math.pi * m.synchronous_speed_1_s
    b, s_k = m.breakdown_torque_frac, m.breakdown_slip_frac
    rated_slip = s_k * (b - math.sqrt(b * b - 1.0))
    rated_torque_n_m = m.rated_shaft_power_w / (synchronous_rad_s * (1.0 - rated_slip))
    air_gap_w = rated_torque_n_m * synchronous_rad_s
    constant_w = m.constant_loss_frac * m.rated_shaft_power_w
    stator_w = m.stator_loss_frac * m.rated_shaft_power_w
    ampere_per_w = 1.0 / (math.sqrt(3.0) * m.supply_voltage_v)
    active_a = (air_gap_w + constant_w) * ampere_per_w
    share = rated_slip * rated_slip / (rated_slip * rated_slip + s_k * s_k)
    # on the current circle the reactive part is the active one times s/s_k
    limit_a = air_gap_w * ampere_per_w * (rated_slip / s_k) / share
    magnetising_a = m.magnetising_current_frac * active_a
    reactive_a = magnetising_a + limit_a * share
    squared = active_a * active_a + reactive_a * reactive_a
    rated_a = math.hypot(active_a + stator_w * ampere_per_w, reactive_a)
    return MotorConstants(
        synchronous_rad_s=synchronous_rad_s,
        per_synchronous_speed_s=1.0 / synchronous_rad_s,
        settled_rad_s=synchronous_rad_s * (1.0 - 0.5 * s_k),
        running_rad_s=0.2 * synchronous_rad_s,
        torque_factor_n_m=2.0 * b * rated_torque_n_m * s_k,
        breakdown_slip_squared=s_k * s_k,
        rotor_limit_a=limit_a,
        magnetising_a=magnetising_a,
        ampere_per_w=ampere_per_w,
        constant_loss_w=constant_w,
        stator_loss_w_a2=stator_w / squared,
        rated_current_a=rated_a,
        per_rated_current_a=1.0 / rated_a,
        inertia_kg_m2=m.inertia_kg_m2,
        motor_inertia_kg_m2=m.inertia_kg_m2 * (1.0 - m.rotors_inertia_frac),
        rotors_inertia_kg_m2=m.inertia_kg_m2 * m.rotors_inertia_frac,
        coupling_torque_n_m=m.coupling_torque_frac * rated_torque_n_m,
    )


def slide_drive_constants(d: SlideDriveParameters) -> SlideDriveConstants:
    """Scaled so that the strokes take their times at the rated pressures."""
    force_pa = d.gas_force_frac * d.rated_gas_difference_pa
    load_pa = max(1.0, d.rated_hydraulic_pa - force_pa - d.friction_pa)
    unload_pa = max(1.0, d.rated_hydraulic_pa + force_pa - d.friction_pa)
    return SlideDriveConstants(
        load_factor=1000.0 / d.load_stroke_ms / math.sqrt(load_pa),
        unload_factor=1000.0 / d.unload_stroke_ms / math.sqrt(unload_pa),
        motor_frac_s=1000.0 / d.motor_stroke_ms,
    )


def instrument_constants(instruments: InstrumentsParameters, h_ms: int) -> InstrumentConstants:
    """Flatten the transmitters into channel order."""
    channels = [getattr(instruments, f.name) for f in fields(instruments)][:CHANNELS]
    ends = []
    for channel in channels:
        low_name, high_name = (f.name for f in fields(channel)[:2])
        ends.append((float(getattr(channel, low_name)), float(getattr(channel, high_name))))
    return InstrumentConstants(
        low=tuple(low for low, _ in ends),
        per_span=tuple(1.0 / (high - low) for low, high in ends),
        alpha=tuple(lag_alpha(h_ms, c.lag_ms) for c in channels),
        noise_frac=tuple(float(c.noise_frac) for c in channels),
        milliamp_per_count=1.0 / instruments.counts_per_milliamp,
    )


def _evaporator_constants(e: EvaporatorParameters, r: Refrigerant) -> dict[str, Any]:
    sat = Saturation()
    saturated(r, e.defrost_pressure_pa, sat)
    held_kg_m3 = (1.0 - e.defrost_liquid_frac) / sat.v_v_m3_kg + e.defrost_liquid_frac / sat.v_l_m3_kg
    used = [i for i in range(GROUPS) if e.conductance_share_frac[i] > 0.0]
    capacities_j_k = [e.room_capacity_j_k * share for share in e.room_capacity_share_frac]
    low_pa = saturation_pressure_pa(r, 0.5 * (r.temperature_low_k + r.temperature_high_k))
    warm_j_kg, dry_j_kg = vapour_enthalpy_j_kg(r, low_pa, 5.0), vapour_enthalpy_j_kg(r, low_pa, 0.0)
    return {
        "groups": max(used) + 1 if used else 0,
        "group_per_room_k_j": tuple(1.0 / c if c > 0.0 else 0.0 for c in capacities_j_k),
        "defrost_k": sat.t_k,
        "defrost_liquid_j_kg": sat.h_l_j_kg,
        "defrost_held_kg": tuple(volume_m3 * held_kg_m3 for volume_m3 in e.coil_volume_m3),
        "per_fill_s": 1000.0 / e.defrost_fill_ms,
        "per_bleed_down_s": 1000.0 / e.bleed_down_ms,
        "per_dump_s": 1000.0 / e.dump_ms,
        "per_refill_s": 1000.0 / e.refill_ms,
        "per_vapour_heat_kg_k_j": 5.0 / (warm_j_kg - dry_j_kg),
    }


def _separator_constants(w: DischargeSideParameters, h_s: float) -> dict[str, Any]:
    return {
        # never faster than the integration follows, whatever the step
        "per_check_valve_s": 1.0 / max(0.001 * w.check_valve_ms, 4.0 * h_s),
        "per_equalise_s": 0.0 if w.equalise_ms == 0 else 1.0 / max(0.001 * w.equalise_ms, 4.0 * h_s),
        "per_minimum_head_band_pa": 1.0 / w.minimum_head_band_pa,
    }


def derive_constants(
    plant: PlantParameters, curves: SlideCurves, refrigerant: Refrigerant, h_ms: int
) -> DerivedParameters:
    """The constants for one step length."""
    w, o, line = plant.suction_vessel, plant.oil, plant.suction_line
    equilibrium = w.flash_ms == 0 or w.absorb_ms == 0 or w.skin_frac >= 1.0
    filter_pa_s_kg = o.rated_filter_drop_pa / o.rated_flow_kg_s
    return DerivedParameters(
        h_ms=h_ms,
        h_s=0.001 * h_ms,
        motor=motor_constants(plant.motor),
        capacity_drive=slide_drive_constants(plant.capacity_drive),
        volume_ratio_drive=slide_drive_constants(plant.volume_ratio_drive),
        instruments=instrument_constants(plant.instruments, h_ms),
        swept_m3_rad=curves.displacement_m3 / (2.0 * math.pi),
        suction_drop_factor=line.rated_drop_pa
        / (line.rated_density_kg_m3 * line.rated_flow_m3_s * line.rated_flow_m3_s),
        per_vessel_volume_m3=1.0 / w.volume_m3,
        bulk_share_frac=0.0 if equilibrium else 1.0 - w.skin_frac,
        per_flash_s=0.0 if equilibrium else 1000.0 / w.flash_ms,
        per_absorb_s=0.0 if equilibrium else 1000.0 / w.absorb_ms,
        per_mixing_s=1000.0 / w.mixing_ms,
        per_feed_band=1.0 / w.feed_band_frac,
        feed_factor=w.feed_rated_kg_s / math.sqrt(w.feed_rated_difference_pa),
        per_surface_m2=1.0 / w.surface_m2,
        per_separation_height=1.0 / w.separation_height_frac,
        **_evaporator_constants(plant.evaporator, refrigerant),
        **_separator_constants(plant.discharge_side, 0.001 * h_ms),
        per_discharge_volume_m3=1.0 / plant.discharge_side.volume_m3,
        filter_pa_s_kg=filter_pa_s_kg,
        injection_pa_s2_kg2=o.rated_difference_pa / (o.rated_flow_kg_s * o.rated_flow_kg_s),
        circulation_s=0.001 * o.circulation_ms,
        per_sump_full_kg=1.0 / o.sump_full_kg,
        per_mixture_k_j=1.0 / o.mixture_capacity_j_k,
        per_metal_k_j=1.0 / o.metal_capacity_j_k,
        per_sump_k_j=1.0 / (o.charge_kg * o.heat_capacity_j_kg_k),
        per_supply_k_j=1.0 / o.supply_line_j_k,
        pump_work_m3_kg=1.0 / (o.density_kg_m3 * o.pump_efficiency_frac),
        pump_alpha=lag_alpha(h_ms, o.pump_lag_ms),
        viscosity=viscosity_table(o),
        oil_to_spare_kg=max(0.0, o.charge_kg - 0.001 * o.circulation_ms * o.rated_flow_kg_s - o.pump_intake_kg),
        thermal_alpha=lag_alpha(h_ms, plant.motor.thermal_ms),
        thermal_rest_alpha=lag_alpha(h_ms, round(plant.motor.thermal_ms * plant.motor.thermal_rest_factor)),
    )


@lru_cache(maxsize=32)
def _computed_curves(machine: CompressorParameters, rotor: RotorGeometry, refrigerant_name: str) -> SlideCurves:
    """The slides' curves with the leakage of the rating point: a search, and four fifths of what deriving costs, so it is
    kept for the plants of many runs.  All of it is frozen."""
    return slide_curves(rotor, rated_leakage_frac(machine, rotor, load_refrigerant(refrigerant_name)))


def derive(plant: PlantParameters, refrigerant_name: str, h_ms: int = 100) -> Parameters:
    """Everything that the kernels need, for one refrigerant and one step length in ms.

    Raises PropertyError for a refrigerant without tables or a machine's rating point beyond them, and ValueError for a
    step or a geometry that cannot be.
    Fields are taken as checked (`parameters.cross_check` and the limits in their metadata).
    """
    if not 1 <= h_ms <= 1000:
        raise ValueError(
            f"step {h_ms} ms: must lie in 1..1000 ms; above that the integration is no longer good to 0.1 %"
        )
    refrigerant = load_refrigerant(refrigerant_name)
    rated_k = (plant.machine.rating_evaporating_k, plant.machine.rating_condensing_k)
    for t_k, state in zip(rated_k, ("rating_evaporating", "rating_condensing"), strict=True):
        require_saturation_temperature(refrigerant_name, refrigerant, t_k, f"machine.{state}")
    if plant.measured_slides.use:
        curves = measured_curves(plant.rotor, plant.measured_slides)
    else:
        curves = _computed_curves(plant.machine, plant.rotor, refrigerant_name)
    constants = derive_constants(plant, curves, refrigerant, h_ms)
    scale = rating_scale(plant.rating, plant.machine, refrigerant, curves)
    return Parameters(plant, refrigerant, curves, constants, scale)
