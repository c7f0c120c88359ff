"""A machine by its published rating: ten coefficients each for mass flow and shaft power at full load.

    X = C1 + C2 S + C3 D + C4 S² + C5 S D + C6 D² + C7 S³ + C8 D S² + C9 S D² + C10 D³

with suction dew temperature S and discharge dew temperature D (AHRI 540, EN 12900; order of terms recalled, published
checks section 8).  The set gives full load at its own superheat; slides, speed, superheat and what lies outside its
range come from the computed machine, scaled by rated over computed full load at the same two temperatures.  Outside its
range the scale is held at the border and `outside` says so: a polynomial of third order is never extrapolated.

The scale is tabulated once on a grid over the range and read bilinearly: exact on the grid, and between its points as good
as the ratio is smooth (tested: 0.1 %).  An economiser's rating does not fit: the model has none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING

from numba.extending import register_jitable as kernel

from plant_model.compression import CompressionResult, CompressorParameters, compress, volume_ratio_travel_frac
from plant_model.parameter_field import PRACTICE, absolute, difference, value
from plant_model.properties import Refrigerant, require_saturation_temperature, saturation_pressure_pa
from plant_model.rotor_geometry import SlideCurves

COEFFICIENTS = 10
SIDE = 17  # grid points along each temperature
KG_S_PER_LB_H = 0.45359237 / 3600.0

if TYPE_CHECKING:
    Coefficients = tuple[float, ...]
    ScaleGrid = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    Coefficients = tuple[(float,) * COEFFICIENTS]
    ScaleGrid = tuple[(float,) * (SIDE * SIDE)]


class RatingUnits(IntEnum):
    """Units of temperatures and mass flow; power is in W in both."""

    CELSIUS_KG_H = 0  # as sets after EN 12900 are usually given (recalled)
    FAHRENHEIT_LB_H = 1  # AHRI 540, inch-pound form


_NONE = (0.0,) * COEFFICIENTS


@dataclass(frozen=True, slots=True)
class RatingSetParameters:
    """A rating set with its range; used only if `use` is true.  Raises ValueError for a range that is upside down."""

    use: bool = field(default=False, metadata={"unit": "1", "why": "no set for ammonia is published; else computed"})
    units: RatingUnits = field(
        default=RatingUnits.CELSIUS_KG_H, metadata={"unit": "1", "why": "what the set's sheet says"}
    )
    mass_flow: Coefficients = field(
        default=_NONE,
        metadata={"unit": "1", "low": -1.0e9, "high": 1.0e9, "why": "from the machine's sheet, in its units; 0: none"},
    )
    power: Coefficients = field(
        default=_NONE,
        metadata={
            "unit": "1",
            "low": -1.0e9,
            "high": 1.0e9,
            "why": "from the machine's sheet, W at the shaft; 0: none",
        },
    )
    suction_low_k: float = absolute(
        243.15, "K", 150.0, 340.0, f"−30 °C dew, where sheets of such machines end: {PRACTICE}"
    )
    suction_high_k: float = absolute(278.15, "K", 150.0, 340.0, f"5 °C dew: {PRACTICE}")
    discharge_low_k: float = absolute(293.15, "K", 200.0, 400.0, f"20 °C dew: {PRACTICE}")
    discharge_high_k: float = absolute(318.15, "K", 200.0, 400.0, f"45 °C dew: {PRACTICE}")
    superheat_k: float = difference(5.0, "K", 0.0, 40.0, f"suction superheat of the rating: {PRACTICE}")
    speed_1_s: float = value(49.2, "1/s", 5.0, 120.0, "speed of the rating: two-pole motor at 50 Hz with slip")

    def __post_init__(self) -> None:
        if not (self.suction_low_k < self.suction_high_k and self.discharge_low_k < self.discharge_high_k):
            raise ValueError("rating set: the low end of a temperature range is not below its high end")
        if self.discharge_low_k <= self.suction_low_k:
            raise ValueError("rating set: discharge temperatures must lie above suction temperatures")


@dataclass(frozen=True, slots=True)
class RatingScale:
    """Rated over computed full load on a uniform grid, suction temperature slowest."""

    suction_low_k: float
    suction_high_k: float
    discharge_low_k: float
    discharge_high_k: float
    per_suction_step_k: float
    per_discharge_step_k: float
    mass_flow: ScaleGrid
    power: ScaleGrid


@dataclass(slots=True)
class RatingState:
    """What the scale came to at the last step."""

    mass_flow_factor: float = 1.0
    power_factor: float = 1.0
    outside: bool = False


def rating_polynomial(coefficients: Sequence[float], suction: float, discharge: float) -> float:
    """The ten-term polynomial; temperatures and result in the set's own units."""
    c, s, d = coefficients, suction, discharge
    return float(
        c[0]
        + c[1] * s
        + c[2] * d
        + c[3] * s * s
        + c[4] * s * d
        + c[5] * d * d
        + c[6] * s * s * s
        + c[7] * d * s * s
        + c[8] * s * d * d
        + c[9] * d * d * d
    )


def _own_temperature(units: RatingUnits, t_k: float) -> float:
    celsius = t_k - 273.15
    return celsius * 1.8 + 32.0 if units is RatingUnits.FAHRENHEIT_LB_H else celsius


def rated_mass_flow_kg_s(r: RatingSetParameters, suction_k: float, discharge_k: float) -> float:
    """Mass flow of the set at dew temperatures in K, kg/s; no check of the range."""
    flow = rating_polynomial(r.mass_flow, _own_temperature(r.units, suction_k), _own_temperature(r.units, discharge_k))
    return flow * KG_S_PER_LB_H if r.units is RatingUnits.FAHRENHEIT_LB_H else flow / 3600.0


def rated_power_w(r: RatingSetParameters, suction_k: float, discharge_k: float) -> float:
    """Shaft power of the set at dew temperatures in K, W; no check of the range."""
    return rating_polynomial(r.power, _own_temperature(r.units, suction_k), _own_temperature(r.units, discharge_k))


def full_load(
    m: CompressorParameters,
    refrigerant: Refrigerant,
    curves: SlideCurves,
    r: RatingSetParameters,
    suction_k: float,
    discharge_k: float,
) -> CompressionResult:
    """The computed machine at the rating's conditions: full capacity, volume ratio as good as the slide reaches."""
    p1_pa = saturation_pressure_pa(refrigerant, suction_k)
    p2_pa = max(1.02 * p1_pa, saturation_pressure_pa(refrigerant, discharge_k))
    out = CompressionResult()
    travel_frac = 0.5
    for _ in range(2):  # once to learn the attainable volume ratio, once at it
        compress(
            m,
            refrigerant,
            curves,
            p1_pa,
            r.superheat_k,
            p2_pa,
            discharge_k + 45.0,
            r.speed_1_s,
            1.0,
            travel_frac,
            out,
        )
        travel_frac = volume_ratio_travel_frac(curves, out.volume_ratio_attainable / out.trapped_fraction_frac)
    return out


def _grid_k(r: RatingSetParameters) -> list[tuple[float, float]]:
    """The grid's points (suction, discharge dew temperature), suction slowest."""
    suction_step_k = (r.suction_high_k - r.suction_low_k) / (SIDE - 1)
    discharge_step_k = (r.discharge_high_k - r.discharge_low_k) / (SIDE - 1)
    return [
        (r.suction_low_k + i * suction_step_k, r.discharge_low_k + j * discharge_step_k)
        for i in range(SIDE)
        for j in range(SIDE)
    ]


def rating_violations(r: RatingSetParameters) -> list[str]:
    """What is wrong with a set that is used, in words: the first point of its range without positive flow and power."""
    for suction_k, discharge_k in _grid_k(r) if r.use else []:
        flow_kg_s, power_w = rated_mass_flow_kg_s(r, suction_k, discharge_k), rated_power_w(r, suction_k, discharge_k)
        if not (flow_kg_s > 0.0 and power_w > 0.0):
            return [
                f"rating: at {suction_k - 273.15:.4g}/{discharge_k - 273.15:.4g} °C the set gives {flow_kg_s:.4g} kg/s "
                f"and {power_w / 1e3:.4g} kW; both must be above 0 in all its range: check coefficients, units and range"
            ]
    return []


def rating_scale(
    r: RatingSetParameters, m: CompressorParameters, refrigerant: Refrigerant, curves: SlideCurves
) -> RatingScale:
    """Tabulate rated over computed full load; all ones when the set is not used.

    ValueError where the set gives no positive flow or power inside its range, or its range leaves the property tables.
    """
    bad = rating_violations(r)
    if bad:
        raise ValueError(bad[0])
    flows, powers = [1.0] * (SIDE * SIDE), [1.0] * (SIDE * SIDE)
    if r.use:
        for end_k in (r.suction_low_k, r.suction_high_k, r.discharge_low_k, r.discharge_high_k):
            require_saturation_temperature("refrigerant", refrigerant, end_k, "border of the rating set")
        for k, (suction_k, discharge_k) in enumerate(_grid_k(r)):
            computed = full_load(m, refrigerant, curves, r, suction_k, discharge_k)
            flows[k] = rated_mass_flow_kg_s(r, suction_k, discharge_k) / computed.mass_flow_kg_s
            powers[k] = rated_power_w(r, suction_k, discharge_k) / computed.shaft_power_w
    return RatingScale(
        suction_low_k=r.suction_low_k,
        suction_high_k=r.suction_high_k,
        discharge_low_k=r.discharge_low_k,
        discharge_high_k=r.discharge_high_k,
        per_suction_step_k=(SIDE - 1) / (r.suction_high_k - r.suction_low_k),
        per_discharge_step_k=(SIDE - 1) / (r.discharge_high_k - r.discharge_low_k),
        mass_flow=tuple(flows),
        power=tuple(powers),
    )


@kernel
def _bilinear(grid: ScaleGrid, i: int, j: int, u: float, v: float) -> float:
    k = i * SIDE + j
    low = grid[k] + (grid[k + 1] - grid[k]) * v
    high = grid[k + SIDE] + (grid[k + SIDE + 1] - grid[k + SIDE]) * v
    return low + (high - low) * u


@kernel
def rating_factors(scale: RatingScale, suction_k: float, discharge_k: float, out: RatingState) -> None:
    """Fill `out` with the factors on computed mass flow and power at two dew temperatures, held at the range's border."""
    held_suction_k = min(scale.suction_high_k, max(scale.suction_low_k, suction_k))
    held_discharge_k = min(scale.discharge_high_k, max(scale.discharge_low_k, discharge_k))
    out.outside = held_suction_k != suction_k or held_discharge_k != discharge_k
    x = (held_suction_k - scale.suction_low_k) * scale.per_suction_step_k
    y = (held_discharge_k - scale.discharge_low_k) * scale.per_discharge_step_k
    i = min(SIDE - 2, int(x))
    j = min(SIDE - 2, int(y))
    out.mass_flow_factor = _bilinear(scale.mass_flow, i, j, x - i, y - j)
    out.power_factor = _bilinear(scale.power, i, j, x - i, y - j)


@kernel
def apply_rating(out: CompressionResult, factors: RatingState) -> None:
    """Scale what `compress` found: flows by one factor, torque and all powers by the other."""
    flow = factors.mass_flow_factor
    power = factors.power_factor
    out.mass_flow_kg_s *= flow
    out.leakage_kg_s *= flow
    out.through_path_kg_s *= flow
    out.indicated_power_w *= power
    out.port_loss_power_w *= power
    out.recompression_power_w *= power
    out.friction_power_w *= power
    out.shaft_power_w *= power
    out.shaft_torque_n_m *= power
    out.mismatch_power_w *= power
    out.unavoidable_power_w *= power
