"""The plant's right-hand side and its step.

Masses, energies and slow temperatures are integrated by the two-step Adams–Bashforth rule, one evaluation a step; the
step after a switched input is an Euler step, because the rule would carry the old slope past the jump.  What is faster
than a step is not integrated: slides move exactly, the shaft by a linearly implicit step, line and oil pressures are
algebraic, sensors and oil pump follow by their exact solution.  Results are an engineering aid and no safety system.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Any

from numba.extending import register_jitable as kernel

from plant_model.compression import compress
from plant_model.derived import Parameters
from plant_model.discharge_side import close_discharge, condenser_w, running_fans_frac, step_fans
from plant_model.evaporator import close_rooms, evaporator_fluxes
from plant_model.instruments import measure, sense
from plant_model.machine_faults import feel_machine_faults
from plant_model.motor import step_motor
from plant_model.oil_circuit import add_viscous_drag, close_oil, oil_fluxes, step_oil_pump
from plant_model.other_compressor import other_flow_kg_s, other_work_j_kg
from plant_model.process_inputs import feel_process_inputs, inputs_mark
from plant_model.properties import in_envelope
from plant_model.rating_set import apply_rating, rating_factors
from plant_model.separator import (
    back_torque_n_m,
    check_valve_kg_s,
    close_separator,
    equalising_kg_s,
    stop_check_backflow_kg_s,
)
from plant_model.slide_actuator import step_slides
from plant_model.state import PlantState
from plant_model.suction_line import TWO_PI, close_suction
from plant_model.suction_vessel import bulk_heat_w, close_vessel, feed_kg_s, mixing_kg_s

__all__ = ["PlantStatus", "close", "explain", "fluxes", "measure", "rates", "step"]


class PlantStatus(IntEnum):
    """Why a step cannot be believed; 0 is a good step."""

    OK = 0
    SUCTION_BELOW_ENVELOPE = 1
    SUCTION_ABOVE_ENVELOPE = 2
    DISCHARGE_BELOW_ENVELOPE = 3
    DISCHARGE_ABOVE_ENVELOPE = 4
    VESSEL_NOT_TWO_PHASE = 5  # run dry or filled up
    RECEIVER_NOT_TWO_PHASE = 6
    NOT_FINITE = 7


@kernel
def close(p: Any, s: Any) -> int:
    """Derive everything that is not integrated from the integrated states; returns a PlantStatus."""
    if not close_vessel(p, s.vessel):
        return 5
    if not close_discharge(p, s.discharge):
        return 6
    close_separator(p, s)
    close_rooms(p, s)
    close_suction(p, s)
    suction_pa = s.suction.pressure_pa
    discharge_pa = s.discharge.volume.pressure_pa
    # a comparison with nan is false, so every state that is not plainly good ends in a status
    if not in_envelope(p.refrigerant, suction_pa):
        if suction_pa < p.refrigerant.pressure_low_pa:
            return 1
        return 2 if suction_pa > p.refrigerant.pressure_high_pa else 7
    if not in_envelope(p.refrigerant, discharge_pa):
        if discharge_pa < p.refrigerant.pressure_low_pa:
            return 3
        return 4 if discharge_pa > p.refrigerant.pressure_high_pa else 7
    if not (s.oil.mixture_k > 150.0 and s.oil.mixture_k < 800.0 and s.room_k > 50.0 and s.room_k < 1000.0):
        return 7
    if not (s.oil.sump_k > 150.0 and s.oil.sump_k < 800.0 and s.oil.supply_k > 150.0 and s.oil.supply_k < 800.0):
        return 7
    compress(
        p.plant.machine,
        p.refrigerant,
        p.curves,
        suction_pa,
        s.suction.superheat_k,
        s.separator.pressure_pa,
        s.oil.mixture_k,
        s.motor.speed_rad_s / TWO_PI,
        s.capacity.travel_frac,
        s.volume_ratio.travel_frac,
        s.compression,
    )
    s.suction.temperature_k = s.compression.suction_temperature_k
    if p.plant.rating.use:
        rating_factors(p.rating, s.vessel.zone.saturation.t_k, s.discharge.volume.saturation.t_k, s.rating)
        apply_rating(s.compression, s.rating)
    close_oil(p, s)
    add_viscous_drag(p, s)
    return 0


@kernel
def fluxes(p: Any, s: Any, d: Any, a: Any, f: Any) -> None:
    """All flows and the time derivatives of the integrated states into `f` (Rates), from a closed state `s`."""
    v = s.vessel
    sat = v.zone.saturation
    liquid_j_kg = s.discharge.volume.saturation.h_l_j_kg
    f.compressor_kg_s = s.compression.mass_flow_kg_s
    f.carry_over_kg_s = f.compressor_kg_s * s.suction.carry_over_frac
    f.feed_kg_s = feed_kg_s(p, s)
    evaporator_fluxes(p, s, d, f)
    f.condenser_w = condenser_w(p, s, d)
    f.line_w = f.compressor_kg_s * (s.compression.suction_enthalpy_j_kg - sat.h_v_j_kg)
    f.shaft_w = s.compression.shaft_power_w
    f.mismatch_w = s.compression.mismatch_power_w
    f.unavoidable_w = s.compression.unavoidable_power_w
    f.electrical_w = s.motor.power_w
    f.condenser_fans_w = p.plant.discharge_side.fans_power_w * running_fans_frac(p, s, d)
    oil_fluxes(p, s, d, a, f)

    mixing = 0.0
    mixing_w = 0.0
    heat_w = 0.0
    if v.bulk_kg > 0.0:
        mixing = mixing_kg_s(p, v)
        heat_w = bulk_heat_w(p, v)
        # with the liquid goes the room it took, so the border between the parts carries internal energy only
        if mixing >= 0.0:
            mixing_w = mixing * sat.u_l_j_kg
        else:
            mixing_w = mixing * (v.bulk_energy_j / v.bulk_kg)
    gas_j_kg = s.oil.discharge_enthalpy_j_kg
    f.other_kg_s = 0.0
    f.other_w = 0.0
    if d.other_compressor_m3_s > 0.0:
        f.other_kg_s = other_flow_kg_s(p, s, d)
        f.other_w = f.other_kg_s * other_work_j_kg(p, s)
    if f.carry_over_kg_s > 0.0:  # liquid boils in the rotors and cools what leaves them
        cooling_w = f.carry_over_kg_s * (gas_j_kg - sat.h_l_j_kg)
        f.mixture_k_s -= cooling_w * p.derived.per_mixture_k_j
    back_w = _separator_fluxes(p, s, d, f)

    taken_kg_s = f.compressor_kg_s + f.other_kg_s
    f.zone_kg_s = f.feed_kg_s - taken_kg_s - f.carry_over_kg_s - mixing + f.return_kg_s + f.backflow_kg_s
    f.zone_energy_w = (
        f.feed_kg_s * liquid_j_kg
        - taken_kg_s * sat.h_v_j_kg
        - f.carry_over_kg_s * sat.h_l_j_kg
        + f.return_w
        + back_w
        + f.refrigeration_w
        + heat_w
        - mixing_w
    )
    f.bulk_kg_s = mixing
    f.bulk_energy_w = mixing_w - heat_w
    f.discharge_kg_s = f.check_kg_s + f.other_kg_s - f.feed_kg_s - f.injection_kg_s - f.hot_gas_kg_s
    f.discharge_energy_w += (
        f.other_kg_s * sat.h_v_j_kg
        + f.other_w
        - (f.feed_kg_s + f.injection_kg_s) * liquid_j_kg
        - f.hot_gas_kg_s * s.discharge.volume.saturation.h_v_j_kg
        - f.condenser_w
        + f.thermosiphon_w
    )


@kernel
def _separator_fluxes(p: Any, s: Any, d: Any, f: Any) -> float:
    """Flows in and out of the separator into `f`, and what passes the check valve as the first part of the condenser's
    energy; returns the energy that flows back to the vessel, W."""
    g = s.separator
    in_kg_s = f.compressor_kg_s + f.carry_over_kg_s + f.injection_kg_s
    f.check_kg_s = check_valve_kg_s(p, s, d, in_kg_s)
    check_w = f.check_kg_s * g.gas_j_kg
    if f.check_kg_s < 0.0:
        check_w = f.check_kg_s * s.discharge.volume.saturation.h_v_j_kg
    f.backflow_kg_s = 0.0
    expander_w = 0.0
    if s.motor.speed_rad_s < p.derived.motor.running_rad_s:
        f.backflow_kg_s = equalising_kg_s(p, s) + stop_check_backflow_kg_s(p, s, d)
        # what turns the rotors backward comes out of the gas
        expander_w = s.motor.back_torque_n_m * max(0.0, -s.motor.speed_rad_s)
        f.shaft_w -= expander_w
    back_w = f.backflow_kg_s * g.gas_j_kg
    if f.backflow_kg_s < 0.0:
        back_w = f.backflow_kg_s * s.vessel.zone.saturation.h_v_j_kg
    f.separator_kg_s = in_kg_s - f.check_kg_s - f.backflow_kg_s
    f.separator_energy_w = in_kg_s * s.oil.discharge_enthalpy_j_kg - check_w - back_w
    f.discharge_energy_w = check_w
    return float(back_w - expander_w)


@kernel
def rates(p: Any, s: Any, d: Any, a: Any, f: Any) -> int:
    """The right-hand side: closes `s` and fills `f`; returns a PlantStatus.

    A pure function of the integrated states, speed, slide travels, time and inputs (the closed fields of `s` are
    scratch and the first guess), so that another integrator can use it.
    """
    feel_machine_faults(s, d)
    feel_process_inputs(s, d)
    status = close(p, s)
    fluxes(p, s, d, a, f)
    return status


@kernel
def _integrate(s: Any, f: Any, g: Any, h_s: float, present: float, past: float) -> None:
    """y += h·(present·f + past·g) for states and ledger, then g = f."""
    a_s = h_s * present
    b_s = h_s * past
    v = s.vessel
    v.zone_kg += a_s * f.zone_kg_s + b_s * g.zone_kg_s
    v.zone_energy_j += a_s * f.zone_energy_w + b_s * g.zone_energy_w
    v.bulk_kg += a_s * f.bulk_kg_s + b_s * g.bulk_kg_s
    v.bulk_energy_j += a_s * f.bulk_energy_w + b_s * g.bulk_energy_w
    e = s.evaporator
    for i in range(4):
        e.room_k[i] += a_s * f.group_room_k_s[i] + b_s * g.group_room_k_s[i]
        g.group_room_k_s[i] = f.group_room_k_s[i]
    if f.defrosting or g.defrosting:
        for i in range(4):
            e.coil_kg[i] += a_s * f.coil_kg_s[i] + b_s * g.coil_kg_s[i]
            e.coil_energy_j[i] += a_s * f.coil_energy_w[i] + b_s * g.coil_energy_w[i]
            g.coil_kg_s[i] = f.coil_kg_s[i]
            g.coil_energy_w[i] = f.coil_energy_w[i]
    g.defrosting = f.defrosting
    e.held_kg += a_s * f.held_kg_s + b_s * g.held_kg_s
    e.held_energy_j += a_s * f.held_energy_w + b_s * g.held_energy_w
    s.separator.gas_kg += a_s * f.separator_kg_s + b_s * g.separator_kg_s
    s.separator.gas_energy_j += a_s * f.separator_energy_w + b_s * g.separator_energy_w
    s.discharge.mass_kg += a_s * f.discharge_kg_s + b_s * g.discharge_kg_s
    s.discharge.energy_j += a_s * f.discharge_energy_w + b_s * g.discharge_energy_w
    o = s.oil
    o.mixture_k += a_s * f.mixture_k_s + b_s * g.mixture_k_s
    o.metal_k += a_s * f.metal_k_s + b_s * g.metal_k_s
    o.sump_k += a_s * f.sump_k_s + b_s * g.sump_k_s
    o.supply_k += a_s * f.supply_k_s + b_s * g.supply_k_s
    n = s.ledger
    n.compressor_kg += a_s * f.compressor_kg_s + b_s * g.compressor_kg_s
    n.carry_over_kg += a_s * f.carry_over_kg_s + b_s * g.carry_over_kg_s
    n.other_kg += a_s * f.other_kg_s + b_s * g.other_kg_s
    n.backflow_kg += a_s * f.backflow_kg_s + b_s * g.backflow_kg_s
    n.hot_gas_kg += a_s * f.hot_gas_kg_s + b_s * g.hot_gas_kg_s
    n.feed_kg += a_s * f.feed_kg_s + b_s * g.feed_kg_s
    n.load_j += a_s * f.load_w + b_s * g.load_w
    n.refrigeration_j += a_s * f.refrigeration_w + b_s * g.refrigeration_w
    n.line_j += a_s * f.line_w + b_s * g.line_w
    n.shaft_j += a_s * f.shaft_w + b_s * g.shaft_w
    n.other_j += a_s * f.other_w + b_s * g.other_w
    n.melt_j += a_s * f.melt_w + b_s * g.melt_w
    n.mismatch_j += a_s * f.mismatch_w + b_s * g.mismatch_w
    n.unavoidable_j += a_s * f.unavoidable_w + b_s * g.unavoidable_w
    n.condenser_j += a_s * f.condenser_w + b_s * g.condenser_w
    n.oil_cooler_j += a_s * f.oil_cooler_w + b_s * g.oil_cooler_w
    n.oil_heater_j += a_s * f.oil_heater_w + b_s * g.oil_heater_w
    n.oil_pump_j += a_s * f.oil_pump_w + b_s * g.oil_pump_w
    n.ambient_j += a_s * f.ambient_w + b_s * g.ambient_w
    n.electrical_j += a_s * f.electrical_w + b_s * g.electrical_w
    n.condenser_fans_j += a_s * f.condenser_fans_w + b_s * g.condenser_fans_w
    g.zone_kg_s = f.zone_kg_s
    g.zone_energy_w = f.zone_energy_w
    g.bulk_kg_s = f.bulk_kg_s
    g.bulk_energy_w = f.bulk_energy_w
    g.held_kg_s = f.held_kg_s
    g.held_energy_w = f.held_energy_w
    g.separator_kg_s = f.separator_kg_s
    g.separator_energy_w = f.separator_energy_w
    g.discharge_kg_s = f.discharge_kg_s
    g.discharge_energy_w = f.discharge_energy_w
    g.mixture_k_s = f.mixture_k_s
    g.metal_k_s = f.metal_k_s
    g.sump_k_s = f.sump_k_s
    g.supply_k_s = f.supply_k_s
    g.compressor_kg_s = f.compressor_kg_s
    g.carry_over_kg_s = f.carry_over_kg_s
    g.other_kg_s = f.other_kg_s
    g.backflow_kg_s = f.backflow_kg_s
    g.hot_gas_kg_s = f.hot_gas_kg_s
    g.feed_kg_s = f.feed_kg_s
    g.load_w = f.load_w
    g.refrigeration_w = f.refrigeration_w
    g.line_w = f.line_w
    g.shaft_w = f.shaft_w
    g.other_w = f.other_w
    g.melt_w = f.melt_w
    g.mismatch_w = f.mismatch_w
    g.unavoidable_w = f.unavoidable_w
    g.condenser_w = f.condenser_w
    g.oil_cooler_w = f.oil_cooler_w
    g.oil_heater_w = f.oil_heater_w
    g.oil_pump_w = f.oil_pump_w
    g.ambient_w = f.ambient_w
    g.electrical_w = f.electrical_w
    g.condenser_fans_w = f.condenser_fans_w


@kernel
def _input_jumped(s: Any, d: Any, a: Any) -> bool:
    """Whether an input of the right-hand side has jumped since the last step; remembers the present inputs."""
    switches = 0
    if a.motor_run:
        switches += 1
    if a.oil_pump:
        switches += 2
    if a.oil_heater:
        switches += 4
    if a.injection_cooling:
        switches += 8
    mark = inputs_mark(d) + 7.0710678 * s.discharge.fan_stages_on
    jumped = (
        switches != s.switches
        or mark != s.inputs_mark
        or d.load_since_ms != s.load_since_ms
        or d.wet_bulb_since_ms != s.wet_bulb_since_ms
    )
    s.switches = switches
    s.inputs_mark = mark
    s.load_since_ms = d.load_since_ms
    s.wet_bulb_since_ms = d.wet_bulb_since_ms
    return bool(jumped)


@kernel
def step(p: Any, s: Any, d: Any, a: Any, h_ms: int) -> int:
    """Advance the closed state `s` by `h_ms`, the step that `p` was derived for; returns a PlantStatus.

    After a status other than 0 the state is not to be used further.
    """
    machine_jumped = feel_machine_faults(s, d)
    fluxes(p, s, d, a, s.rates)
    if _input_jumped(s, d, a) or machine_jumped or not s.has_previous:
        _integrate(s, s.rates, s.previous, p.derived.h_s, 1.0, 0.0)
        s.has_previous = True
    else:
        _integrate(s, s.rates, s.previous, p.derived.h_s, 1.5, -0.5)
    feel_process_inputs(s, d)
    s.motor.back_torque_n_m = back_torque_n_m(p, s, d)
    step_fans(p, s, h_ms)
    step_slides(p, s, a, h_ms)
    step_motor(p, s, a.motor_run, h_ms)
    step_oil_pump(p, s, a.oil_pump)
    s.time_ms += h_ms
    status = close(p, s)
    if status == 0:
        sense(p, s, False)
    return status


def _end_of(level_frac: float) -> str:
    if level_frac < 0.1:
        return "run dry (does the feed valve pass what the load boils off?)"
    if level_frac > 0.9:
        return "filled up"
    return "left the property tables"


def explain(status: int, s: PlantState, p: Parameters) -> str:
    """A PlantStatus in words, with the state and the limit that it broke; pressures in kPa absolute.  Not a kernel."""
    r = p.refrigerant
    suction, discharge = s.suction.pressure_pa / 1000.0, s.discharge.volume.pressure_pa / 1000.0
    vessel, vessel_kg = s.vessel.zone.pressure_pa / 1000.0, s.vessel.zone_kg + s.vessel.bulk_kg
    low, high = r.pressure_low_pa / 1000.0, r.pressure_high_pa / 1000.0
    tables = "the tables, which end at"
    vessel_end = _end_of(s.vessel.level_frac)
    receiver_end = _end_of(s.discharge.level_frac)
    texts = {
        PlantStatus.OK: "nothing is wrong",
        PlantStatus.SUCTION_BELOW_ENVELOPE: f"suction pressure {suction:.4g} kPa is below {tables} {low:.4g} kPa",
        PlantStatus.SUCTION_ABOVE_ENVELOPE: f"suction pressure {suction:.4g} kPa is over {tables} {high:.4g} kPa",
        PlantStatus.DISCHARGE_BELOW_ENVELOPE: f"discharge pressure {discharge:.4g} kPa is below {tables} {low:.4g} kPa",
        PlantStatus.DISCHARGE_ABOVE_ENVELOPE: f"discharge pressure {discharge:.4g} kPa is over {tables} {high:.4g} kPa",
        PlantStatus.VESSEL_NOT_TWO_PHASE: (
            f"the suction vessel has {vessel_end}: {vessel_kg:.4g} kg in {p.plant.suction_vessel.volume_m3:g} m³, "
            f"last at {vessel:.4g} kPa"
        ),
        PlantStatus.RECEIVER_NOT_TWO_PHASE: (
            f"condenser and receiver have {receiver_end}: {s.discharge.mass_kg:.4g} kg in "
            f"{p.plant.discharge_side.volume_m3:g} m³, last at {discharge:.4g} kPa"
        ),
        PlantStatus.NOT_FINITE: (
            f"a temperature or pressure is no longer a sensible number: discharge {s.oil.mixture_k - 273.15:.4g} °C, "
            f"oil {s.oil.supply_k - 273.15:.4g} °C, room {s.room_k - 273.15:.4g} °C, suction {suction:.4g} kPa"
        ),
    }
    return texts[PlantStatus(status)]
