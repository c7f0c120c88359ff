"""What the plant is told, what it remembers and what it shows: the records that cross its border.

SI throughout.  State is these records and nothing else, so that a copy is a snapshot.  Values marked *closed* are not
integrated: `plant.close` derives them from the integrated ones at the end of every step, so that a row of the trace
holds one moment.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from plant_model.compression import CompressionResult
from plant_model.properties import Saturation, SaturationSlopes
from plant_model.rating_set import RatingState

CHANNELS = 15
GROUPS = 4


def _four() -> list[float]:
    return [0.0, 0.0, 0.0, 0.0]


@dataclass(slots=True)
class Actuators:
    """What the wiring energises, held over one step."""

    motor_run: bool = False
    oil_pump: bool = False
    oil_heater: bool = False
    injection_cooling: bool = False
    capacity_load: bool = False
    capacity_unload: bool = False
    volume_ratio_increase: bool = False
    volume_ratio_decrease: bool = False


@dataclass(slots=True)
class DriveFaults:
    """What is wrong with one pair of slides; the defaults are a sound drive."""

    speed_frac: float = 1.0  # of the sound drive's speed: below 1 it is slow
    stuck: bool = False  # the slides do not move, whatever the drive does
    drift_frac_s: float = 0.0  # unpowered, at the rated gas difference, hydraulic only; negative unloads
    linkage_slip_frac: float = 0.0  # share of the motion that the second half misses
    feedback_zero_frac: float = 0.0  # the first half's sensor reads (1 + span)·position + zero
    feedback_span_frac: float = 0.0


@dataclass(slots=True)
class Disturbances:
    """What happens from outside; load, wet bulb and coolant are straight lines from their `_since_ms` on.

    `fault_kind[i]`, `fault_size_frac[i]`, `fault_since_ms[i]` belong to instrument `Channel(i)`: see `instruments.Fault`.
    """

    load_heat_w: float = 380.0e3
    load_heat_rate_w_s: float = 0.0
    load_since_ms: int = 0
    wet_bulb_k: float = 295.15
    wet_bulb_rate_k_s: float = 0.0
    wet_bulb_since_ms: int = 0
    evaporator_open_frac: float = 1.0  # of every group, on top of its own
    group_open_frac: Annotated[list[float], 4] = field(default_factory=lambda: [1.0, 1.0, 1.0, 1.0])
    group_load_w: Annotated[list[float], 4] = field(default_factory=_four)  # on top of the group's share of the load
    defrost: Annotated[list[int], 4] = field(default_factory=lambda: [0, 0, 0, 0])  # 0 none, 1 hot gas, 2 bleed-down
    surge_kg_s: float = 0.0  # liquid that the evaporators throw back to the vessel, as long as they hold any
    strainer_fouling_frac: float = 0.0  # of the strainer's free area lost
    stop_check_stuck_open_frac: float = 0.0  # suction stop-check valve: 1 does not close at all
    discharge_check_stuck_open_frac: float = 0.0  # discharge check valve, likewise
    other_compressor_m3_s: float = 0.0  # swept volume flow of another compressor between vessel and condenser
    condenser_fouling_frac: float = 0.0  # of the conductance lost
    condenser_fans_frac: float = 1.0  # of the fans fit to run; with fan stages, of those that the stages ask for
    fault_kind: Annotated[list[int], 15] = field(default_factory=lambda: [0] * CHANNELS)
    fault_size_frac: Annotated[list[float], 15] = field(default_factory=lambda: [0.0] * CHANNELS)
    fault_since_ms: Annotated[list[int], 15] = field(default_factory=lambda: [0] * CHANNELS)
    oil_filter_fouling_frac: float = 0.0  # 0 clean, 1 shut
    oil_pump_strength_frac: float = 1.0  # of the rated pressure rise
    oil_cooler_fouling_frac: float = 0.0  # of the conductance lost
    oil_loss_kg_s: float = 0.0  # carried over into the plant; negative: oil comes back
    coolant_rise_k: float = 0.0  # over the plant's own coolant temperature
    coolant_rise_rate_k_s: float = 0.0
    coolant_since_ms: int = 0
    supply_on: bool = True  # of the motor's cabinet: contactors, solenoids and heater go with it, instruments stay
    contactor_stuck: bool = False  # once closed, it does not open
    contactor_open: bool = False  # its coil does not hold it: it does not close, and drops out
    coupling_wear_frac: float = 0.0  # of the torque it transmits lost; 1: broken
    capacity_faults: DriveFaults = field(default_factory=DriveFaults)
    volume_ratio_faults: DriveFaults = field(default_factory=DriveFaults)


@dataclass(slots=True)
class Readings:
    """What the plant's wires carry: 15 current loops in `Channel` order and two contacts."""

    milliamp: Annotated[list[float], 15] = field(default_factory=lambda: [4.0] * CHANNELS)
    motor_running: bool = False
    vessel_high_high_level: bool = False


@dataclass(slots=True)
class TwoPhase:
    """A rigid volume in two-phase equilibrium; all fields *closed* from mass, energy and volume."""

    pressure_pa: float = 0.0
    pressure_rate_guess_pa: float = 0.0  # change over the last step: the warm start looks as far ahead
    liquid_kg: float = 0.0
    vapour_kg: float = 0.0
    saturation: Saturation = field(default_factory=Saturation)
    slopes: SaturationSlopes = field(default_factory=SaturationSlopes)


@dataclass(slots=True)
class VesselState:
    """Suction vessel: a zone in equilibrium (vapour and the liquid's skin) and the bulk of the liquid."""

    zone_kg: float = 0.0
    zone_energy_j: float = 0.0
    bulk_kg: float = 0.0
    bulk_energy_j: float = 0.0
    zone: TwoPhase = field(default_factory=TwoPhase)  # closed
    bulk_superheat_k: float = 0.0  # closed: bulk temperature less saturation temperature
    liquid_kg: float = 0.0  # closed: zone's and bulk's
    level_frac: float = 0.0  # closed: liquid volume over vessel volume
    swollen_frac: float = 0.0  # closed: the same with the bubbles in it: what a level switch meets
    other_m3_s: float = 0.0  # the other compressor's disturbance as last felt


@dataclass(slots=True)
class SuctionState:
    """At the compressor's flange, after stop-check valve and strainer; closed."""

    pressure_pa: float = 0.0
    superheat_k: float = 0.0
    temperature_k: float = 0.0
    carry_over_frac: float = 0.0  # liquid that comes with a kg of vapour
    strainer_fouling_frac: float = 0.0  # disturbance as last felt


@dataclass(slots=True)
class EvaporatorState:
    """The groups: their rooms, what stands in a coil under hot gas, and the liquid held in all coils."""

    room_k: Annotated[list[float], 4] = field(default_factory=lambda: [268.15, 268.15, 268.15, 268.15])
    coil_kg: Annotated[list[float], 4] = field(default_factory=_four)  # hot gas and condensate, 0 in service
    coil_energy_j: Annotated[list[float], 4] = field(default_factory=_four)
    held_kg: float = 0.0
    held_energy_j: float = 0.0


@dataclass(slots=True)
class SeparatorState:
    """The gas between rotors and discharge check valve; its energy is kept as mass times mean flow enthalpy."""

    gas_kg: float = 0.0
    gas_energy_j: float = 0.0
    pressure_pa: float = 0.0  # closed: discharge pressure at the package
    open_kg: float = 0.0  # closed: content at the condenser's pressure
    gas_j_kg: float = 0.0  # closed


@dataclass(slots=True)
class DischargeState:
    """Condenser and receiver as one volume, their metal in equilibrium with the refrigerant."""

    mass_kg: float = 0.0
    energy_j: float = 0.0
    volume: TwoPhase = field(default_factory=TwoPhase)  # closed
    level_frac: float = 0.0  # closed
    fan_stages_on: int = 0
    fan_wait_ms: int = 0  # until the next stage may change


@dataclass(slots=True)
class OilState:
    """Oil and hot gas: pump, filter, cooler, sump, and the mixture that leaves the rotors."""

    mixture_k: float = 293.15  # gas and oil at the discharge flange
    metal_k: float = 293.15
    sump_k: float = 293.15
    supply_k: float = 293.15
    lost_kg: float = 0.0  # of the charge, carried over into the plant
    pump_frac: float = 0.0  # pump's pressure rise as a fraction of its rated one
    filter_fouling_frac: float = 0.0  # this and the next three: disturbances as last felt
    pump_strength_frac: float = 1.0
    cooler_share_frac: float = 1.0  # of the cooler's conductance
    coolant_since_ms: int = 0
    loss_kg_s: float = 0.0
    viscosity_ratio: float = 1.0  # closed: viscosity of the supply over that at the set point
    before_filter_pa: float = 0.0  # closed
    supply_pa: float = 0.0  # closed: after the filter
    flow_kg_s: float = 0.0  # closed
    level_frac: float = 0.0  # closed
    discharge_enthalpy_j_kg: float = 0.0  # closed: of the gas that leaves with the mixture


@dataclass(slots=True)
class MotorState:
    """Motor and the shaft it turns."""

    speed_rad_s: float = 0.0  # of the rotors; negative: back-spin
    coupling_slip_rad_s: float = 0.0  # motor's speed less the rotors', 0 while the coupling holds
    contactor_closed: bool = False
    supply_on: bool = True  # this and the next three: disturbances as last felt
    contactor_stuck: bool = False
    contactor_open: bool = False
    coupling_wear_frac: float = 0.0
    running: bool = False  # auxiliary contact and a fifth of synchronous speed
    back_torque_n_m: float = 0.0  # gas that flows back through the rotors: turns them backward
    thermal_frac: float = 0.0  # I²t: 1 after long running at rated current
    starts: int = 0  # closings of the contactor
    torque_n_m: float = 0.0
    current_a: float = 0.0
    power_w: float = 0.0


@dataclass(slots=True)
class SlideState:
    """One pair of slides; travel 0 is minimum capacity or minimum volume ratio."""

    travel_frac: float = 0.0  # mean of the two halves: what the gas sees
    halves_gap_frac: float = 0.0  # second half less first half
    drive_gap_frac: float = 0.0  # drive less first half, within the backlash
    velocity_frac_s: float = 0.0  # mean over the last step
    direction: int = 0  # +1 load/increase, −1 unload/decrease: the drive energised last
    energised_ms: int = 0  # how long it has been
    overrun_ms: int = 0  # motion still to come after it dropped out
    feedback_frac: float = 0.0  # closed: what the first sensor stands at
    opposite_frac: float = 0.0  # closed: what the second half's sensor stands at
    faults: DriveFaults = field(default_factory=DriveFaults)  # as last felt


@dataclass(slots=True)
class Rates:
    """One evaluation of the right-hand side: time derivatives of the integrated states, and the flows behind them."""

    zone_kg_s: float = 0.0
    zone_energy_w: float = 0.0
    bulk_kg_s: float = 0.0
    bulk_energy_w: float = 0.0
    group_room_k_s: Annotated[list[float], 4] = field(default_factory=_four)
    defrosting: bool = False  # whether the four coils' rates count
    coil_kg_s: Annotated[list[float], 4] = field(default_factory=_four)
    coil_energy_w: Annotated[list[float], 4] = field(default_factory=_four)
    held_kg_s: float = 0.0
    held_energy_w: float = 0.0
    separator_kg_s: float = 0.0
    separator_energy_w: float = 0.0
    discharge_kg_s: float = 0.0
    discharge_energy_w: float = 0.0
    mixture_k_s: float = 0.0
    metal_k_s: float = 0.0
    sump_k_s: float = 0.0
    supply_k_s: float = 0.0
    compressor_kg_s: float = 0.0
    carry_over_kg_s: float = 0.0  # liquid into the machine
    other_kg_s: float = 0.0
    check_kg_s: float = 0.0  # through the discharge check valve
    backflow_kg_s: float = 0.0  # from separator to vessel: equalising, and a stop-check valve that does not close
    hot_gas_kg_s: float = 0.0
    return_kg_s: float = 0.0  # liquid and vapour from coils to vessel, less what refills them
    return_w: float = 0.0
    feed_kg_s: float = 0.0
    injection_kg_s: float = 0.0
    load_w: float = 0.0
    refrigeration_w: float = 0.0
    line_w: float = 0.0
    shaft_w: float = 0.0  # less what a back-spinning machine takes from the gas
    other_w: float = 0.0  # work of the other compressor
    melt_w: float = 0.0  # defrost heat that leaves with the melt water
    mismatch_w: float = 0.0
    unavoidable_w: float = 0.0
    condenser_w: float = 0.0
    oil_cooler_w: float = 0.0  # out of the plant
    thermosiphon_w: float = 0.0  # oil to condenser and receiver
    oil_heater_w: float = 0.0
    oil_pump_w: float = 0.0
    ambient_w: float = 0.0
    electrical_w: float = 0.0
    condenser_fans_w: float = 0.0


@dataclass(slots=True)
class Ledger:
    """Integrals since the start, by the quadrature that moves the states."""

    compressor_kg: float = 0.0
    carry_over_kg: float = 0.0
    other_kg: float = 0.0
    backflow_kg: float = 0.0
    hot_gas_kg: float = 0.0
    feed_kg: float = 0.0
    load_j: float = 0.0
    refrigeration_j: float = 0.0
    line_j: float = 0.0
    shaft_j: float = 0.0
    other_j: float = 0.0
    melt_j: float = 0.0
    mismatch_j: float = 0.0
    unavoidable_j: float = 0.0
    condenser_j: float = 0.0
    oil_cooler_j: float = 0.0
    oil_heater_j: float = 0.0
    oil_pump_j: float = 0.0
    ambient_j: float = 0.0
    electrical_j: float = 0.0
    condenser_fans_j: float = 0.0


@dataclass(slots=True)
class PlantState:
    """The whole plant at `time_ms`."""

    time_ms: int = 0
    vessel: VesselState = field(default_factory=VesselState)
    room_k: float = 268.15  # closed: the groups' rooms, weighted with their capacities
    evaporator: EvaporatorState = field(default_factory=EvaporatorState)
    suction: SuctionState = field(default_factory=SuctionState)
    separator: SeparatorState = field(default_factory=SeparatorState)
    discharge: DischargeState = field(default_factory=DischargeState)
    oil: OilState = field(default_factory=OilState)
    motor: MotorState = field(default_factory=MotorState)
    capacity: SlideState = field(default_factory=SlideState)
    volume_ratio: SlideState = field(default_factory=SlideState)
    compression: CompressionResult = field(default_factory=CompressionResult)  # closed
    rating: RatingState = field(default_factory=RatingState)  # closed, with a rating set
    rates: Rates = field(default_factory=Rates)
    previous: Rates = field(default_factory=Rates)
    has_previous: bool = False  # false: the next step is an Euler step
    switches: int = -1  # bits of the last step's switched inputs; a change starts the integration afresh
    inputs_mark: float = -1.0  # one number from the last step's other inputs, for the same purpose
    load_since_ms: int = 0
    wet_bulb_since_ms: int = 0
    ledger: Ledger = field(default_factory=Ledger)
    lagged: Annotated[list[float], 15] = field(default_factory=lambda: [0.0] * CHANNELS)  # sensors, fraction of span
    held_milliamp: Annotated[list[float], 15] = field(default_factory=lambda: [4.0] * CHANNELS)
    noise: Annotated[list[float], 15] = field(
        default_factory=lambda: [0.0] * CHANNELS
    )  # the engine writes N(0, 1) here
