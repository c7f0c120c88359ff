"""Viscosity of the oil with temperature.

Walther's equation (ASTM D341, recalled), log10 log10(v + 0.7) = A − B log10 T with v in mm²/s and T in K, through the
two temperatures at which every oil's sheet gives it.  Kernels read its ratio to the viscosity at the oil's set point
from a table, which is exactly 1 there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from numba.extending import register_jitable as kernel

from plant_model.oil_parameters import OilParameters

POINTS = 33
STEP_K = 4.0
BELOW = 20  # grid points below the set point
LOW_M2_S, HIGH_M2_S = 1.0e-6, 0.1  # thinner is no oil, and thicker no longer flows

if TYPE_CHECKING:
    ViscosityGrid = tuple[float, ...]
else:  # a record field needs its fixed length at run time
    ViscosityGrid = tuple[(float,) * POINTS]


@dataclass(frozen=True, slots=True)
class ViscosityTable:
    """Viscosity over that at the set point, on a uniform grid of temperature."""

    low_k: float
    ratio: ViscosityGrid


def viscosity_m2_s(w: OilParameters, t_k: float) -> float:
    """Kinematic viscosity, m²/s, at a temperature in K, held within 1 to 100,000 mm²/s.

    ValueError when the oil does not thin with temperature.
    """
    at_40, at_100 = w.viscosity_at_40c_m2_s * 1.0e6, w.viscosity_at_100c_m2_s * 1.0e6
    if at_100 >= at_40:
        raise ValueError(f"oil viscosity {at_100:g} mm²/s at 100 °C is not below {at_40:g} mm²/s at 40 °C")
    y_40, y_100 = (math.log10(math.log10(v + 0.7)) for v in (at_40, at_100))
    x_40, x_100 = math.log10(313.15), math.log10(373.15)
    slope = (y_40 - y_100) / (x_100 - x_40)
    y = y_40 + slope * (x_40 - math.log10(t_k))
    exponent = min(9.0, math.exp(y * math.log(10.0)))
    return min(HIGH_M2_S, max(LOW_M2_S, (math.exp(exponent * math.log(10.0)) - 0.7) * 1.0e-6))


def viscosity_table(w: OilParameters) -> ViscosityTable:
    """The table about the oil's set point, 80 K down and 48 K up."""
    low_k = w.set_point_k - BELOW * STEP_K
    at_set_m2_s = viscosity_m2_s(w, w.set_point_k)
    return ViscosityTable(low_k, tuple(viscosity_m2_s(w, low_k + STEP_K * i) / at_set_m2_s for i in range(POINTS)))


@kernel
def viscosity_ratio(table: ViscosityTable, t_k: float) -> float:
    """Viscosity over that at the set point, straight between the grid's points and held at its ends."""
    place = min(POINTS - 1.0, max(0.0, (t_k - table.low_k) * (1.0 / STEP_K)))
    i = min(POINTS - 2, int(place))
    return table.ratio[i] + (table.ratio[i + 1] - table.ratio[i]) * (place - i)
