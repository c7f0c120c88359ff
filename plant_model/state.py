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

CHANNELS = 15


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
class Disturbances:
    """What happens from outside; load and wet bulb are straight lines from their `_since_ms` on.

    `fault_kind[i]`, `fault_size_frac[i]` belong to instrument `Channel(i)`: kinds are `instruments.Fault`, the size is
    the bias as a fraction of the span.
    """

    load_heat_w: float = 380.0e3
    load_heat_rate_w_s: float = 0.0
    load_since_ms: int = 0
    wet_bulb_k: float = 295.15
    wet_bulb_rate_k_s: float = 0.0
    wet_bulb_since_ms: int = 0
    evaporator_open_frac: float = 1.0
    condenser_fans_frac: float = 1.0
    fault_kind: Annotated[list[int], 15] = field(default_factory=lambda: [0] * CHANNELS)
    fault_size_frac: Annotated[list[float], 15] = field(default_factory=lambda: [0.0] * CHANNELS)


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


@dataclass(slots=True)
class SuctionState:
    """At the compressor's flange, after stop-check valve and strainer; closed."""

    pressure_pa: float = 0.0
    superheat_k: float = 0.0
    temperature_k: float = 0.0


@dataclass(slots=True)
class DischargeState:
    """Condenser and receiver as one volume, their metal in equilibrium with the refrigerant."""

    mass_kg: float = 0.0
    energy_j: float = 0.0
    volume: TwoPhase = field(default_factory=TwoPhase)  # closed
    level_frac: float = 0.0  # closed


@dataclass(slots=True)
class OilState:
    """Oil and hot gas: pump, filter, cooler, sump, and the mixture that leaves the rotors."""

    mixture_k: float = 293.15  # gas and oil at the discharge flange
    metal_k: float = 293.15
    sump_k: float = 293.15
    supply_k: float = 293.15
    pump_frac: float = 0.0  # pump's pressure rise as a fraction of its rated one
    before_filter_pa: float = 0.0  # closed
    supply_pa: float = 0.0  # closed: after the filter
    flow_kg_s: float = 0.0  # closed
    level_frac: float = 0.0  # closed
    discharge_enthalpy_j_kg: float = 0.0  # closed: of the gas that leaves with the mixture


@dataclass(slots=True)
class MotorState:
    """Motor and the shaft it turns."""

    speed_rad_s: float = 0.0
    contactor_closed: bool = False
    running: bool = False  # auxiliary contact and a fifth of synchronous speed
    torque_n_m: float = 0.0
    current_a: float = 0.0
    power_w: float = 0.0


@dataclass(slots=True)
class SlideState:
    """One pair of slides; travel 0 is minimum capacity or minimum volume ratio."""

    travel_frac: float = 0.0
    velocity_frac_s: float = 0.0  # mean over the last step
    direction: int = 0  # +1 load/increase, −1 unload/decrease: the drive energised last
    energised_ms: int = 0  # how long it has been
    overrun_ms: int = 0  # motion still to come after it dropped out


@dataclass(slots=True)
class Rates:
    """One evaluation of the right-hand side: time derivatives of the integrated states, and the flows behind them."""

    zone_kg_s: float = 0.0
    zone_energy_w: float = 0.0
    bulk_kg_s: float = 0.0
    bulk_energy_w: float = 0.0
    room_k_s: float = 0.0
    discharge_kg_s: float = 0.0
    discharge_energy_w: float = 0.0
    mixture_k_s: float = 0.0
    metal_k_s: float = 0.0
    sump_k_s: float = 0.0
    supply_k_s: float = 0.0
    compressor_kg_s: float = 0.0
    feed_kg_s: float = 0.0
    injection_kg_s: float = 0.0
    load_w: float = 0.0
    refrigeration_w: float = 0.0
    line_w: float = 0.0
    shaft_w: float = 0.0
    mismatch_w: float = 0.0
    unavoidable_w: float = 0.0
    condenser_w: float = 0.0
    oil_cooler_w: float = 0.0
    oil_heater_w: float = 0.0
    oil_pump_w: float = 0.0
    ambient_w: float = 0.0
    electrical_w: float = 0.0
    condenser_fans_w: float = 0.0


@dataclass(slots=True)
class Ledger:
    """Integrals since the start, by the quadrature that moves the states."""

    compressor_kg: float = 0.0
    feed_kg: float = 0.0
    load_j: float = 0.0
    refrigeration_j: float = 0.0
    line_j: float = 0.0
    shaft_j: float = 0.0
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
    room_k: float = 268.15
    suction: SuctionState = field(default_factory=SuctionState)
    discharge: DischargeState = field(default_factory=DischargeState)
    oil: OilState = field(default_factory=OilState)
    motor: MotorState = field(default_factory=MotorState)
    capacity: SlideState = field(default_factory=SlideState)
    volume_ratio: SlideState = field(default_factory=SlideState)
    compression: CompressionResult = field(default_factory=CompressionResult)  # closed
    rates: Rates = field(default_factory=Rates)
    previous: Rates = field(default_factory=Rates)
    has_previous: bool = False  # false: the next step is an Euler step
    switches: int = -1  # bits of the last step's switched inputs; a change starts the integration afresh
    open_frac: float = -1.0  # last step's, for the same purpose
    fans_frac: float = -1.0
    load_since_ms: int = 0
    wet_bulb_since_ms: int = 0
    ledger: Ledger = field(default_factory=Ledger)
    lagged: Annotated[list[float], 15] = field(default_factory=lambda: [0.0] * CHANNELS)  # sensors, fraction of span
    held_milliamp: Annotated[list[float], 15] = field(default_factory=lambda: [4.0] * CHANNELS)
    noise: Annotated[list[float], 15] = field(
        default_factory=lambda: [0.0] * CHANNELS
    )  # the engine writes N(0, 1) here
