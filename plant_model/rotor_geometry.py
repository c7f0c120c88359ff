"""Main rotor, gate rotors and the two slides: flute volume, displacement and both slide curves, from the geometry.

A tooth of the gate rotor at gate angle phi (0 where it points at the main rotor's axis) is engaged from
s1 = (A − R1)/cos(phi) to R2 and sweeps, per radian of the main rotor,

    dV/dtheta = b [ A (R2 − s1) − cos(phi) (R2² − s1²) / 2 ],      theta = (11/6) phi

so that the flute volume left at phi is a sum of elementary integrals up to the end of engagement, cos(phi_end) =
(A − R1)/R2.  The tooth's place along the rotor is z = (A − R1) tan(phi).  Six flutes, eleven teeth, a gate rotor on
either side: 12 flute volumes a revolution (Zimmern & Patel, Purdue Int. Compressor Eng. Conf., 1972, recalled).

A capacity-slide edge at z seals the flute there: trapped fraction c = V(z)/V(close).  A volume-ratio-slide edge at z
opens the port there: full-load volume ratio V(close)/V(z).  Edges move linearly with travel.  Where the port's edge is
nearer the suction end than the capacity edge, the two overlap and a path from discharge to suction is open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numba.extending import register_jitable as kernel

FLUTES = 6
GATE_TEETH = 11
EVENTS_PER_REVOLUTION = 2 * FLUTES
GRID = 33

if TYPE_CHECKING:
    Grid = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    Grid = tuple[(float,) * GRID]


def _value(default: float, unit: str, low: float, high: float, why: str) -> Any:
    return field(default=default, metadata={"unit": unit, "low": low, "high": high, "why": why})


@dataclass(frozen=True, slots=True)
class RotorGeometry:
    """The rotors and what the slides may reach.  Defaults: the demo plant.  Raises ValueError when impossible."""

    main_radius_m: float = _value(0.125, "m", 0.02, 0.5, "invented: 600 kW of refrigeration at −10/35 °C and 49.2 1/s")
    gate_radius_ratio: float = _value(1.0, "1", 0.6, 1.4, "R2/R1; a choice of the trial, no source")
    centre_distance_ratio: float = _value(1.6, "1", 1.3, 1.9, "A/R1; a choice of the trial, no source")
    tooth_width_m: float = _value(0.036, "m", 0.002, 0.2, "from the displacement wanted")
    closing_angle_rad: float = _value(
        -0.69813, "rad", -0.9, -0.2, "−40°: gate angle at which an unslid flute is sealed"
    )
    delivered_minimum_frac: float = _value(
        0.12, "1", 0.05, 0.6, "invented; the trade's widest is 0.10, common practice"
    )
    volume_ratio_low: float = _value(
        1.3, "1", 1.05, 3.0, "invented; the trade's widest is 1.2, common practice, no source"
    )
    volume_ratio_high: float = _value(
        6.2, "1", 1.5, 12.0, "invented; the trade's widest is 7.0, common practice, no source"
    )

    def __post_init__(self) -> None:
        reach = self.centre_distance_ratio - 1.0
        if not 0.0 < reach < self.gate_radius_ratio:
            raise ValueError(
                f"centre_distance_ratio {self.centre_distance_ratio:g} with gate_radius_ratio "
                f"{self.gate_radius_ratio:g}: the teeth miss the main rotor; A must lie between R1 and R1 + R2"
            )
        if not -self.end_angle_rad < self.closing_angle_rad < self.end_angle_rad:
            raise ValueError(
                f"closing_angle_rad {self.closing_angle_rad:g}: outside the engagement ±{self.end_angle_rad:.4f} rad"
            )
        if not 1.0 < self.volume_ratio_low < self.volume_ratio_high:
            raise ValueError(
                f"volume_ratio_low {self.volume_ratio_low:g} and volume_ratio_high {self.volume_ratio_high:g}: "
                "need 1 < low < high"
            )

    @property
    def end_angle_rad(self) -> float:
        """Gate angle at which the tooth leaves the flute."""
        return math.acos((self.centre_distance_ratio - 1.0) / self.gate_radius_ratio)

    @property
    def offset_m(self) -> float:
        """A − R1: gate-rotor axis to the main rotor's surface."""
        return (self.centre_distance_ratio - 1.0) * self.main_radius_m

    @property
    def displacement_m3(self) -> float:
        """Volume per revolution of the main rotor, both sides."""
        return EVENTS_PER_REVOLUTION * flute_volume_m3(self, self.closing_angle_rad)


def swept_rate_m3_rad(geometry: RotorGeometry, angle_rad: float) -> float:
    """dV/dtheta of one flute, m³ per radian of main rotor, at a gate angle inside the engagement."""
    cosine = math.cos(angle_rad)
    distance_m = geometry.centre_distance_ratio * geometry.main_radius_m
    gate_m = geometry.gate_radius_ratio * geometry.main_radius_m
    inner_m = geometry.offset_m / cosine
    return geometry.tooth_width_m * (
        distance_m * (gate_m - inner_m) - 0.5 * cosine * (gate_m * gate_m - inner_m * inner_m)
    )


def flute_volume_m3(geometry: RotorGeometry, angle_rad: float) -> float:
    """Volume still to be swept in one flute at a gate angle: the closed integral of `swept_rate_m3_rad`, in m³."""
    end_rad, offset_m = geometry.end_angle_rad, geometry.offset_m
    distance_m = geometry.centre_distance_ratio * geometry.main_radius_m
    gate_m = geometry.gate_radius_ratio * geometry.main_radius_m
    secant = math.asinh(math.tan(end_rad)) - math.asinh(math.tan(angle_rad))  # integral of 1/cos
    area_m2 = (
        distance_m * gate_m * (end_rad - angle_rad)
        - offset_m * (distance_m - 0.5 * offset_m) * secant
        - 0.5 * gate_m * gate_m * (math.sin(end_rad) - math.sin(angle_rad))
    )
    return geometry.tooth_width_m * GATE_TEETH / FLUTES * area_m2


def edge_m(geometry: RotorGeometry, volume_frac: float) -> float:
    """Place z along the rotor, in m, at which the flute holds volume_frac (0..1) of its closing volume."""
    if not 0.0 < volume_frac <= 1.0:
        raise ValueError(f"volume fraction {volume_frac:g}: must lie above 0 and not above 1")
    low, high = geometry.closing_angle_rad, geometry.end_angle_rad
    target_m3 = volume_frac * flute_volume_m3(geometry, low)
    if volume_frac == 1.0:
        return geometry.offset_m * math.tan(low)
    for _ in range(60):  # the volume falls steadily with the angle: bisection down to the last bits
        middle = 0.5 * (low + high)
        if flute_volume_m3(geometry, middle) > target_m3:
            low = middle
        else:
            high = middle
    return geometry.offset_m * math.tan(0.5 * (low + high))


def volume_frac_at(geometry: RotorGeometry, z_m: float) -> float:
    """Flute volume at the edge place z_m, as a fraction of the closing volume."""
    angle_rad = math.atan(z_m / geometry.offset_m)
    return flute_volume_m3(geometry, angle_rad) / flute_volume_m3(geometry, geometry.closing_angle_rad)


@dataclass(frozen=True, slots=True)
class SlideCurves:
    """Both slide curves on a uniform grid of travel, with slopes per grid step (monotone cubic Hermite)."""

    displacement_m3: float
    volume_ratio_low: float
    volume_ratio_high: float
    trapped_frac: Grid
    trapped_slope: Grid
    volume_ratio: Grid
    volume_ratio_slope: Grid
    capacity_edge_m: Grid
    volume_ratio_edge_m: Grid


def _monotone_slopes(values: Any) -> Any:
    """Slopes per grid step of the monotone cubic through equally spaced values (Fritsch & Butland, as in scipy)."""
    from scipy.interpolate import PchipInterpolator  # slow to import, and only measured tables need it

    return PchipInterpolator(np.arange(len(values)), values).derivative()(np.arange(len(values)))


def _limited(values: Any, slopes: Any) -> Any:
    """Exact slopes, held to three times the neighbouring secants: sufficient for monotony (Fritsch & Carlson, 1980)."""
    secants = np.diff(values)
    bound = 3.0 * np.minimum(np.concatenate(([secants[0]], secants)), np.concatenate((secants, [secants[-1]])))
    return np.minimum(slopes, bound)


def _grid(values: Any) -> tuple[float, ...]:
    return tuple(float(v) for v in values)


def slide_curves(geometry: RotorGeometry, leakage_frac: float = 0.06) -> SlideCurves:
    """Curves of slides whose edges move linearly with travel.

    leakage_frac: leakage at the rating point over what the machine takes in at full load (4–8 % usual); it sets the
    smallest trapped fraction, c_min = q + leakage (1 − q), at which q = delivered_minimum_frac is still delivered.
    `compression.rated_leakage_frac` finds it for a machine.  Raises ValueError outside 0..0.5.
    """
    if not 0.0 <= leakage_frac <= 0.5:
        raise ValueError(f"leakage fraction {leakage_frac:g}: must lie in 0..0.5")
    smallest = geometry.delivered_minimum_frac + leakage_frac * (1.0 - geometry.delivered_minimum_frac)
    travel = np.linspace(0.0, 1.0, GRID)
    low_m, high_m = edge_m(geometry, smallest), edge_m(geometry, 1.0)
    capacity_m = low_m + (high_m - low_m) * travel
    low_ratio_m = edge_m(geometry, 1.0 / geometry.volume_ratio_low)
    high_ratio_m = edge_m(geometry, 1.0 / geometry.volume_ratio_high)
    ratio_m = low_ratio_m + (high_ratio_m - low_ratio_m) * travel
    trapped = np.array([volume_frac_at(geometry, z) for z in capacity_m])
    open_frac = np.array([volume_frac_at(geometry, z) for z in ratio_m])
    step_capacity_m, step_ratio_m = (high_m - low_m) / (GRID - 1), (high_ratio_m - low_ratio_m) / (GRID - 1)
    trapped_slope = np.array([_frac_slope_1_m(geometry, z) for z in capacity_m]) * step_capacity_m
    open_slope = np.array([_frac_slope_1_m(geometry, z) for z in ratio_m]) * step_ratio_m
    ratio = 1.0 / open_frac
    return SlideCurves(
        displacement_m3=geometry.displacement_m3,
        volume_ratio_low=geometry.volume_ratio_low,
        volume_ratio_high=geometry.volume_ratio_high,
        trapped_frac=_grid(trapped),
        trapped_slope=_grid(_limited(trapped, trapped_slope)),
        volume_ratio=_grid(ratio),
        volume_ratio_slope=_grid(_limited(ratio, -open_slope * ratio * ratio)),
        capacity_edge_m=_grid(capacity_m),
        volume_ratio_edge_m=_grid(ratio_m),
    )


def _frac_slope_1_m(geometry: RotorGeometry, z_m: float) -> float:
    """Derivative of `volume_frac_at` with the edge's place, per m."""
    angle_rad = math.atan(z_m / geometry.offset_m)
    per_angle_m3 = -swept_rate_m3_rad(geometry, angle_rad) * GATE_TEETH / FLUTES
    cosine = math.cos(angle_rad)
    closed_m3 = flute_volume_m3(geometry, geometry.closing_angle_rad)
    return per_angle_m3 * cosine * cosine / geometry.offset_m / closed_m3


def _checked(rows: Sequence[tuple[float, float]], what: str, low: float, high: float) -> Any:
    if len(rows) < 3:
        raise ValueError(f"{what}: {len(rows)} rows; at least 3 are needed")
    for i, (travel, value) in enumerate(rows):
        if not (math.isfinite(travel) and math.isfinite(value)):
            raise ValueError(f"{what}, row {i}: ({travel}, {value}) is not a pair of finite numbers")
        if not low <= value <= high:
            raise ValueError(f"{what}, row {i}: {value:g} is outside {low:g}..{high:g}")
        if i and travel <= rows[i - 1][0]:
            raise ValueError(f"{what}, row {i}: travel {travel:g} does not rise above {rows[i - 1][0]:g}")
        if i and value <= rows[i - 1][1]:
            raise ValueError(f"{what}, row {i}: {value:g} does not rise above {rows[i - 1][1]:g}")
    for i, end in ((0, 0.0), (len(rows) - 1, 1.0)):
        if rows[i][0] != end:
            raise ValueError(f"{what}, row {i}: travel {rows[i][0]:g}; the table must run from 0 to 1")
    from scipy.interpolate import PchipInterpolator

    table = np.array(rows, dtype=float)
    return PchipInterpolator(table[:, 0], table[:, 1])(np.linspace(0.0, 1.0, GRID))


def measured_slide_curves(
    geometry: RotorGeometry,
    trapped_fraction: Sequence[tuple[float, float]],
    volume_ratio: Sequence[tuple[float, float]],
) -> SlideCurves:
    """Curves from measured rows (travel 0..1, trapped fraction) and (travel 0..1, full-load volume ratio), both rising.

    Rows are joined by a monotone cubic and resampled on the grid; edges follow from the geometry at the same volumes.
    Raises ValueError naming table, row (from 0) and value: a row that does not rise, is out of range, or a missing end.
    """
    trapped = _checked(trapped_fraction, "trapped fraction", 0.02, 1.0)
    ratio = _checked(volume_ratio, "volume ratio", 1.0, 20.0)
    if abs(trapped[-1] - 1.0) > 1e-9:
        raise ValueError(f"trapped fraction, row {len(trapped_fraction) - 1}: {trapped[-1]:g}; full travel must trap 1")
    return SlideCurves(
        displacement_m3=geometry.displacement_m3,
        volume_ratio_low=float(ratio[0]),
        volume_ratio_high=float(ratio[-1]),
        trapped_frac=_grid(trapped),
        trapped_slope=_grid(_monotone_slopes(trapped)),
        volume_ratio=_grid(ratio),
        volume_ratio_slope=_grid(_monotone_slopes(ratio)),
        capacity_edge_m=_grid(edge_m(geometry, min(1.0, float(v))) for v in trapped),
        volume_ratio_edge_m=_grid(edge_m(geometry, 1.0 / float(v)) for v in ratio),
    )


@kernel
def _hermite(y0: float, y1: float, m0: float, m1: float, f: float) -> float:
    rise = y1 - y0
    return y0 + f * (m0 + f * (3.0 * rise - 2.0 * m0 - m1 + f * (m0 + m1 - 2.0 * rise)))


@kernel
def trapped_fraction_frac(c: SlideCurves, travel_frac: float) -> float:
    """Trapped fraction of the flute volume at capacity-slide travel 0..1 (held there)."""
    place = min(1.0, max(0.0, travel_frac)) * (GRID - 1)
    i = min(GRID - 2, int(place))
    return _hermite(c.trapped_frac[i], c.trapped_frac[i + 1], c.trapped_slope[i], c.trapped_slope[i + 1], place - i)


@kernel
def full_load_volume_ratio(c: SlideCurves, travel_frac: float) -> float:
    """Full-load volume ratio at volume-ratio-slide travel 0..1 (held there)."""
    place = min(1.0, max(0.0, travel_frac)) * (GRID - 1)
    i = min(GRID - 2, int(place))
    return _hermite(
        c.volume_ratio[i], c.volume_ratio[i + 1], c.volume_ratio_slope[i], c.volume_ratio_slope[i + 1], place - i
    )


@kernel
def edge_overlap_m(c: SlideCurves, capacity_travel_frac: float, volume_ratio_travel_frac: float) -> float:
    """Length in m over which port edge and capacity edge overlap, 0 when the flute is sealed before the port opens."""
    place = min(1.0, max(0.0, capacity_travel_frac)) * (GRID - 1)
    i = min(GRID - 2, int(place))
    capacity_m = c.capacity_edge_m[i] + (c.capacity_edge_m[i + 1] - c.capacity_edge_m[i]) * (place - i)
    place = min(1.0, max(0.0, volume_ratio_travel_frac)) * (GRID - 1)
    i = min(GRID - 2, int(place))
    port_m = c.volume_ratio_edge_m[i] + (c.volume_ratio_edge_m[i + 1] - c.volume_ratio_edge_m[i]) * (place - i)
    return max(0.0, capacity_m - port_m)
