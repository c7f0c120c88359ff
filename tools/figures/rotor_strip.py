"""The rotor strip: the main rotor unrolled to scale, with the edges of both slide pairs and where they seal and open.

Along the rotor z = (A − R1) tan(phi), round it R1 · theta with theta = (11/6) phi (plant_model/rotor_geometry.py): a
flute is the path that a gate-rotor tooth draws on the rotor.  Six flutes, each a sixth of a turn after the other.  Lengths
are in mm, angles in degrees of the main rotor, 0 where the tooth points at the rotor's axis.  One side is drawn; the
opposite gate rotor has the same.  The width of the slides is not to scale: only their edges matter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from plant_model.rotor_geometry import FLUTES, GATE_TEETH, GRID, RotorGeometry, SlideCurves

FLUTE_POINTS = 25


@dataclass(frozen=True, slots=True)
class Strip:
    """What does not move: the rotor's ends and one flute's path, the travel of both edges, where a free flute closes."""

    start_mm: float
    end_mm: float
    pitch_mm: float  # round the rotor from one flute to the next
    flute_mm: tuple[tuple[float, float], ...]  # (along, round)
    closing_mm: float
    capacity_mm: tuple[float, float]  # edge at travel 0 and 1
    volume_ratio_mm: tuple[float, float]

    def as_data(self) -> dict[str, Any]:
        """For `figures.js`."""
        return {
            "start_mm": round(self.start_mm, 2),
            "end_mm": round(self.end_mm, 2),
            "pitch_mm": round(self.pitch_mm, 2),
            "flute_mm": [[round(z, 2), round(y, 2)] for z, y in self.flute_mm],
            "closing_mm": round(self.closing_mm, 2),
            "capacity_mm": [round(z, 2) for z in self.capacity_mm],
            "volume_ratio_mm": [round(z, 2) for z in self.volume_ratio_mm],
        }


@dataclass(frozen=True, slots=True)
class Edges:
    """What moves: both edges, the rotor's angle at which a flute is sealed and opens, and their overlap."""

    capacity_mm: float
    volume_ratio_mm: float
    sealed_deg: float
    opens_deg: float

    @property
    def overlap_mm(self) -> float:
        """Length over which discharge is open to suction; 0 where the flute is sealed before the port opens."""
        return max(0.0, self.capacity_mm - self.volume_ratio_mm)

    def as_data(self) -> dict[str, float]:
        """For `figures.js`."""
        return {
            "capacity_mm": round(self.capacity_mm, 2),
            "volume_ratio_mm": round(self.volume_ratio_mm, 2),
            "sealed_deg": round(self.sealed_deg, 1),
            "opens_deg": round(self.opens_deg, 1),
            "overlap_mm": round(self.overlap_mm, 2),
        }

    def in_words(self) -> str:
        """The figure for those who cannot see it."""
        if self.overlap_mm > 0.0:
            return (
                f"The port opens at {self.opens_deg:.0f}° of the rotor, before the flute is sealed at "
                f"{self.sealed_deg:.0f}°: the edges overlap by {self.overlap_mm:.1f} mm."
            )
        return (
            f"A flute is sealed at {self.sealed_deg:.0f}° of the rotor and opens to the port at {self.opens_deg:.0f}°."
        )


def rotor_angle_deg(geometry: RotorGeometry, z_m: float) -> float:
    """Angle of the main rotor, in degrees, at which a tooth stands at z along it."""
    return math.degrees(GATE_TEETH / FLUTES * math.atan(z_m / geometry.offset_m))


def strip_of(geometry: RotorGeometry, curves: SlideCurves) -> Strip:
    """The strip of a machine."""
    end_rad = geometry.end_angle_rad
    path = []
    for k in range(FLUTE_POINTS):
        gate_rad = -end_rad + 2.0 * end_rad * k / (FLUTE_POINTS - 1)
        round_m = geometry.main_radius_m * GATE_TEETH / FLUTES * gate_rad
        path.append((1000.0 * geometry.offset_m * math.tan(gate_rad), 1000.0 * round_m))
    return Strip(
        start_mm=path[0][0],
        end_mm=path[-1][0],
        pitch_mm=1000.0 * 2.0 * math.pi * geometry.main_radius_m / FLUTES,
        flute_mm=tuple(path),
        closing_mm=1000.0 * geometry.offset_m * math.tan(geometry.closing_angle_rad),
        capacity_mm=(1000.0 * curves.capacity_edge_m[0], 1000.0 * curves.capacity_edge_m[-1]),
        volume_ratio_mm=(1000.0 * curves.volume_ratio_edge_m[0], 1000.0 * curves.volume_ratio_edge_m[-1]),
    )


def _edge_m(grid: tuple[float, ...], travel_frac: float) -> float:
    """An edge at a travel 0..1, as plant_model/rotor_geometry.py:edge_overlap_m joins the grid."""
    place = min(1.0, max(0.0, travel_frac)) * (GRID - 1)
    i = min(GRID - 2, int(place))
    return grid[i] + (grid[i + 1] - grid[i]) * (place - i)


def edges_at(
    geometry: RotorGeometry, curves: SlideCurves, capacity_travel_frac: float, volume_ratio_travel_frac: float
) -> Edges:
    """Both edges at a pair of travels, held to 0..1."""
    capacity_m = _edge_m(curves.capacity_edge_m, capacity_travel_frac)
    ratio_m = _edge_m(curves.volume_ratio_edge_m, volume_ratio_travel_frac)
    return Edges(
        1000.0 * capacity_m,
        1000.0 * ratio_m,
        rotor_angle_deg(geometry, capacity_m),
        rotor_angle_deg(geometry, ratio_m),
    )
