"""Consistent states to start from: at rest, or running with nothing drifting.

A running start has oil, metal, speed and level at their steady values, so that the first minutes of a trace show the
scenario and not the model finding its feet.  Not kernels.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq

from plant_model.derived import Parameters
from plant_model.discharge_side import fan_share_frac
from plant_model.instruments import sense
from plant_model.machine_faults import feel_machine_faults
from plant_model.motor import electrical, motor_torque_n_m
from plant_model.oil_circuit import close_oil, oil_fluxes
from plant_model.other_compressor import other_flow_kg_s, other_work_j_kg
from plant_model.plant import close, explain, fluxes
from plant_model.process_inputs import feel_process_inputs
from plant_model.properties import (
    Saturation,
    require_pressure,
    require_saturation_temperature,
    saturated,
    saturation_pressure_pa,
    saturation_temperature_k,
)
from plant_model.rotor_geometry import full_load_volume_ratio
from plant_model.state import GROUPS, Actuators, Disturbances, PlantState, Rates

MARGIN_FRAC = 0.05  # of the full-load volume ratio over 1/c, clear of the through-path: common practice, no source
WARM_OIL_K = 313.15
MIXTURE_BRACKET_K = (120.0, 4400.0)  # wide: at the cold end of the oil's own bracket the oil hardly flows
BALANCE_TURNS = 40
FULL_KG = 1.0e6  # in the separator while a balance is sought: its check valve is open, whatever the temperatures
FIRST_GUESS_K = 13.0  # condensing over wet bulb: where the search begins
LEAST_RATIO = 2.0  # of discharge over suction pressure
NO_FLOW_KG_S = 1.0e-3  # less is no machine that carries a load


class StartError(ValueError):
    """No such start state; the message says which value stands in the way."""


def _checked_close(p: Parameters, s: PlantState) -> None:
    status = close(p, s)
    if status != 0:
        raise StartError(f"no start state: {explain(status, s, p)}")


def _fill_vessel(p: Parameters, s: PlantState, pressure_pa: float, level_frac: float) -> None:
    sat = Saturation()
    saturated(p.refrigerant, pressure_pa, sat)
    volume_m3 = p.plant.suction_vessel.volume_m3
    liquid_kg = level_frac * volume_m3 / sat.v_l_m3_kg
    vapour_kg = (1.0 - level_frac) * volume_m3 / sat.v_v_m3_kg
    v = s.vessel
    v.bulk_kg = p.derived.bulk_share_frac * liquid_kg
    v.bulk_energy_j = v.bulk_kg * sat.u_l_j_kg
    v.zone_kg = liquid_kg - v.bulk_kg + vapour_kg
    v.zone_energy_j = (liquid_kg - v.bulk_kg) * sat.u_l_j_kg + vapour_kg * sat.u_v_j_kg
    v.zone.pressure_pa = pressure_pa
    v.zone.pressure_rate_guess_pa = 0.0


def _fill_discharge(p: Parameters, s: PlantState, pressure_pa: float) -> None:
    sat = Saturation()
    saturated(p.refrigerant, pressure_pa, sat)
    w = p.plant.discharge_side
    liquid_kg = w.level_start_frac * w.volume_m3 / sat.v_l_m3_kg
    vapour_kg = (1.0 - w.level_start_frac) * w.volume_m3 / sat.v_v_m3_kg
    c = s.discharge
    c.mass_kg = liquid_kg + vapour_kg
    c.energy_j = liquid_kg * sat.u_l_j_kg + vapour_kg * sat.u_v_j_kg + w.metal_capacity_j_k * sat.t_k
    c.volume.pressure_pa = pressure_pa
    c.volume.pressure_rate_guess_pa = 0.0


def _fill_separator(s: PlantState, pressure_pa: float) -> None:
    """The separator's gas at a pressure up to the condenser's, from a closed state, as warm as the mixture."""
    g = s.separator
    g.gas_kg = g.open_kg * pressure_pa / s.discharge.volume.pressure_pa
    g.gas_energy_j = g.gas_kg * s.oil.discharge_enthalpy_j_kg


def _fill_coils(p: Parameters, s: PlantState) -> None:
    e = s.evaporator
    e.held_kg = p.plant.evaporator.held_liquid_kg
    e.held_energy_j = e.held_kg * s.vessel.zone.saturation.u_l_j_kg


def _settle_rooms(p: Parameters, s: PlantState, d: Disturbances) -> None:
    """Each room where its coils take just its load, at most as warm as its goods; a closed group's as cold as the coils."""
    e = p.plant.evaporator
    boiling_k = s.vessel.zone.saturation.t_k
    for i in range(GROUPS):
        open_w_k = e.conductance_w_k * e.conductance_share_frac[i] * d.evaporator_open_frac * d.group_open_frac[i]
        heat_w = max(0.0, d.load_heat_w * e.load_share_frac[i] + d.group_load_w[i])
        difference_k = heat_w / open_w_k if open_w_k > 0.0 and d.defrost[i] == 0 else 0.0
        s.evaporator.room_k[i] = boiling_k + min(difference_k, max(0.0, e.load_source_k[i] - boiling_k))


def _require(p: Parameters, suction_pa: float, discharge_pa: float) -> None:
    require_pressure("refrigerant", p.refrigerant, suction_pa, "suction pressure at the start")
    require_pressure("refrigerant", p.refrigerant, discharge_pa, "discharge pressure at the start")
    if discharge_pa < suction_pa:
        raise StartError(
            f"start: discharge pressure {discharge_pa / 1e3:.6g} kPa is below suction pressure {suction_pa / 1e3:.6g} kPa"
        )


def stopped_state(
    p: Parameters,
    d: Disturbances,
    suction_pa: float,
    discharge_pa: float,
    capacity_travel_frac: float = 0.0,
    volume_ratio_travel_frac: float = 0.0,
    oil_k: float = WARM_OIL_K,
    separator_pa: float | None = None,
) -> PlantState:
    """The machine at rest: pressures in Pa absolute, travels 0..1, oil and metal at `oil_k`, rooms as cold as the coils.

    `separator_pa`: the separator's pressure, from suction (equalised, long at rest: None) to discharge (just stopped).
    Raises StartError, or EnvelopeError for a pressure outside the refrigerant's tables.
    """
    _require(p, suction_pa, discharge_pa)
    w = p.plant.suction_vessel
    s = PlantState(time_ms=0)
    _fill_vessel(p, s, suction_pa, w.level_set_frac + 0.5 * w.feed_band_frac)
    _fill_discharge(p, s, discharge_pa)
    s.evaporator.room_k = [saturation_temperature_k(p.refrigerant, suction_pa)] * GROUPS
    s.separator.gas_kg = FULL_KG
    feel_machine_faults(s, d)
    feel_process_inputs(s, d)
    s.oil.mixture_k = s.oil.metal_k = s.oil.sump_k = s.oil.supply_k = oil_k
    s.capacity.travel_frac = capacity_travel_frac
    s.volume_ratio.travel_frac = volume_ratio_travel_frac
    _checked_close(p, s)
    _fill_coils(p, s)
    _fill_separator(s, suction_pa if separator_pa is None else separator_pa)
    _checked_close(p, s)
    electrical(p, s)
    fluxes(p, s, d, Actuators(), s.rates)
    sense(p, s, True)
    return s


def _settle_speed(p: Parameters, s: PlantState) -> None:
    """The speed at which the motor's torque is the load's, the state closed there."""
    synchronous_rad_s = p.derived.motor.synchronous_rad_s
    for _ in range(3):  # the load's torque hardly depends on speed
        load_n_m = s.compression.shaft_torque_n_m + p.plant.motor.bearing_torque_n_m
        pull_out_rad_s = synchronous_rad_s * (1.0 - p.plant.motor.breakdown_slip_frac)
        if motor_torque_n_m(p, pull_out_rad_s) < load_n_m:
            raise StartError(
                f"start: the motor's breakdown torque {motor_torque_n_m(p, pull_out_rad_s):.0f} N·m is below "
                f"the load's {load_n_m:.0f} N·m"
            )

        def missing_n_m(speed_rad_s: float, load_n_m: float = load_n_m) -> float:
            return motor_torque_n_m(p, speed_rad_s) - load_n_m

        s.motor.speed_rad_s = _between(missing_n_m, pull_out_rad_s, synchronous_rad_s, 1.0e-12)
        _checked_close(p, s)


def _settle_oil(p: Parameters, s: PlantState, d: Disturbances) -> None:
    """The temperatures of mixture, metal, sump and supply at which none of them changes."""
    w = p.plant.oil
    o = s.oil
    actuators = Actuators(motor_run=True, oil_pump=True)
    f = Rates(compressor_kg_s=s.compression.mass_flow_kg_s)
    ambient_k = p.plant.site.ambient_k

    def mixture_rate(mixture_k: float) -> float:
        o.mixture_k = mixture_k
        o.metal_k = (w.metal_conductance_w_k * mixture_k + w.ambient_conductance_w_k * ambient_k) / (
            w.metal_conductance_w_k + w.ambient_conductance_w_k
        )
        close_oil(p, s)
        oil_fluxes(p, s, d, actuators, f)
        return f.mixture_k_s

    def supply_rate(supply_k: float) -> float:
        o.supply_k = supply_k
        _between(mixture_rate, *MIXTURE_BRACKET_K, 1.0e-11)
        oil_w_k = o.flow_kg_s * w.heat_capacity_j_kg_k
        o.sump_k = (
            oil_w_k * o.mixture_k + w.standstill_conductance_w_k * supply_k + w.ambient_conductance_w_k * ambient_k
        ) / (oil_w_k + w.standstill_conductance_w_k + w.ambient_conductance_w_k)
        oil_fluxes(p, s, d, actuators, f)
        return f.supply_k_s

    _between(supply_rate, 250.0, 400.0, 1.0e-10)


def running_state(
    p: Parameters,
    d: Disturbances,
    suction_pa: float,
    discharge_pa: float | None = None,
    capacity_travel_frac: float | None = None,
    volume_ratio_travel_frac: float | None = None,
) -> PlantState:
    """The machine running at the load and wet bulb of `d`, with suction pressure (flange, Pa absolute) as given.

    What is None is found: the capacity travel at which the machine carries the load, the volume-ratio travel that suits
    it best, the discharge pressure at which the condenser rejects just that.  What is given is kept, and then the
    start may drift.  Each room stands its coils' temperature difference above saturation.  Raises StartError when the
    load is out of the machine's reach, or EnvelopeError.
    """
    s = PlantState(time_ms=0)
    s.motor.contactor_closed = True
    s.motor.speed_rad_s = 0.985 * p.derived.motor.synchronous_rad_s
    s.oil.pump_frac = d.oil_pump_strength_frac
    s.oil.supply_k = p.plant.oil.set_point_k
    s.oil.mixture_k = s.oil.metal_k = s.oil.sump_k = p.plant.oil.set_point_k + 25.0
    w = p.plant.suction_vessel
    load_w = d.load_heat_w + sum(d.group_load_w)
    s.separator.gas_kg = FULL_KG
    s.discharge.fan_stages_on = p.plant.discharge_side.fan_stages
    feel_machine_faults(s, d)
    feel_process_inputs(s, d)
    level_frac = w.level_set_frac
    if discharge_pa is None:
        pressure_pa = max(LEAST_RATIO * suction_pa, _saturation_pa(p, d.wet_bulb_k + FIRST_GUESS_K))
    else:
        pressure_pa = discharge_pa
    _require(p, suction_pa, pressure_pa)

    def carry_w(travel_frac: float) -> float:
        """Close everything but the oil's temperatures at a capacity travel; the heat that the machine carries, W."""
        s.capacity.travel_frac = travel_frac
        vessel_pa = suction_pa
        for _ in range(8):
            _fill_vessel(p, s, vessel_pa, level_frac)
            _checked_close(p, s)
            if abs(s.suction.pressure_pa - suction_pa) < 1.0e-6 * suction_pa:
                break
            vessel_pa *= suction_pa / s.suction.pressure_pa
        if volume_ratio_travel_frac is None:
            s.volume_ratio.travel_frac = best_volume_ratio_travel_frac(p, s)
        else:
            s.volume_ratio.travel_frac = volume_ratio_travel_frac
        _settle_speed(p, s)
        latent_j_kg = s.vessel.zone.saturation.h_v_j_kg - s.discharge.volume.saturation.h_l_j_kg
        return (s.compression.mass_flow_kg_s + other_flow_kg_s(p, s, d)) * latent_j_kg

    def find_travel() -> None:
        if capacity_travel_frac is not None:
            carry_w(capacity_travel_frac)
            return
        low_w, high_w = carry_w(0.0), carry_w(1.0)
        if not low_w <= load_w <= high_w:
            raise StartError(
                f"start: the machine carries {low_w / 1000:.0f} to {high_w / 1000:.0f} kW at suction "
                f"{suction_pa / 1e3:.1f} kPa and discharge {pressure_pa / 1e3:.1f} kPa; the load is {load_w / 1000:.0f} kW"
            )
        carry_w(_between(lambda x: carry_w(x) - load_w, 0.0, 1.0, 1.0e-9))

    c = p.plant.discharge_side
    fewer_stages = c.fan_stages > 0
    for _ in range(BALANCE_TURNS):
        _fill_discharge(p, s, pressure_pa)
        find_travel()
        _settle_oil(p, s, d)
        _checked_close(p, s)
        # the level at which the feed valve passes just what the machine takes
        full_kg_s = p.derived.feed_factor * math.sqrt(max(1.0, pressure_pa - s.vessel.zone.pressure_pa))
        other_kg_s = other_flow_kg_s(p, s, d)
        opening_frac = min(1.0, (s.compression.mass_flow_kg_s + other_kg_s) / full_kg_s)
        level_frac = w.level_set_frac + w.feed_band_frac * (0.5 - opening_frac)
        if discharge_pa is not None:
            break
        liquid_j_kg = s.discharge.volume.saturation.h_l_j_kg
        heat_w = s.compression.mass_flow_kg_s * (s.oil.discharge_enthalpy_j_kg - liquid_j_kg)
        extra = Rates(compressor_kg_s=s.compression.mass_flow_kg_s)
        oil_fluxes(p, s, d, Actuators(motor_run=True, oil_pump=True), extra)
        heat_w += extra.thermosiphon_w + extra.injection_kg_s * (s.oil.discharge_enthalpy_j_kg - liquid_j_kg)
        heat_w += other_kg_s * (s.vessel.zone.saturation.h_v_j_kg + other_work_j_kg(p, s) - liquid_j_kg)
        fans_w_k = c.conductance_w_k * (1.0 - min(0.999, d.condenser_fouling_frac)) * fan_share_frac(p, s, d)
        condensing_k = d.wet_bulb_k + heat_w / fans_w_k
        if c.minimum_head_pa > 0.0:
            # the minimum-head valve opens so far that what is left of the condenser rejects the heat
            difference_k = s.discharge.volume.saturation.t_k - d.wet_bulb_k
            open_frac = min(1.0, heat_w / (fans_w_k * max(0.1, difference_k)))
            held_pa = c.minimum_head_pa + open_frac * c.minimum_head_band_pa
            condensing_k = max(condensing_k, saturation_temperature_k(p.refrigerant, held_pa))
        # on a cold day the condenser would pull the head lower than slides and oil can use; there it starts and drifts
        wanted_pa = max(LEAST_RATIO * suction_pa, _saturation_pa(p, condensing_k))
        stages_on = s.discharge.fan_stages_on
        if fewer_stages and stages_on > 0 and wanted_pa < c.fan_off_pa:
            s.discharge.fan_stages_on -= 1
        elif stages_on < c.fan_stages and wanted_pa > c.fan_on_pa:
            fewer_stages = False  # one less would have been too few
            s.discharge.fan_stages_on += 1
        elif abs(wanted_pa - pressure_pa) < 1.0e-7 * pressure_pa:
            break
        pressure_pa = wanted_pa
    carry_w(s.capacity.travel_frac)
    if volume_ratio_travel_frac is None and s.compression.mass_flow_kg_s < NO_FLOW_KG_S:  # by hand both may stand at 0
        raise StartError(
            f"start: the machine moves no gas at {100 * s.capacity.travel_frac:.0f} % capacity and "
            f"{100 * s.volume_ratio.travel_frac:.0f} % volume-ratio travel, suction {suction_pa:.0f} Pa and discharge "
            f"{pressure_pa:.0f} Pa: leakage and open through-path swallow all of it"
        )
    _settle_oil(p, s, d)
    _checked_close(p, s)
    _settle_rooms(p, s, d)
    _fill_coils(p, s)
    _fill_separator(s, s.discharge.volume.pressure_pa)
    _checked_close(p, s)
    electrical(p, s)
    heat = s.motor.current_a / p.derived.motor.rated_current_a
    s.motor.thermal_frac = heat * heat
    fluxes(p, s, d, Actuators(motor_run=True, oil_pump=True), s.rates)
    sense(p, s, True)
    return s


def _saturation_pa(p: Parameters, t_k: float) -> float:
    require_saturation_temperature("refrigerant", p.refrigerant, t_k, "condensing at the start")
    return saturation_pressure_pa(p.refrigerant, t_k)


def best_volume_ratio_travel_frac(p: Parameters, s: PlantState) -> float:
    """Travel of the best attainable full-load volume ratio of a closed state: PR^(1/κ)/c, clear of the through-path."""
    trapped = s.compression.trapped_fraction_frac
    wanted = max(s.compression.volume_ratio_ideal, 1.0 + MARGIN_FRAC) / trapped
    if wanted <= full_load_volume_ratio(p.curves, 0.0):
        return 0.0
    if wanted >= full_load_volume_ratio(p.curves, 1.0):
        return 1.0
    return _between(lambda x: full_load_volume_ratio(p.curves, x) - wanted, 0.0, 1.0, 1.0e-12)


def _between(function: Callable[[float], float], low: float, high: float, tolerance: float) -> float:
    try:
        return float(brentq(function, low, high, xtol=tolerance))
    except ValueError as error:
        raise StartError(f"start: no balance between {low:g} and {high:g}") from error
