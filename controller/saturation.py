"""Saturation of the refrigerant as a table: 21 temperatures over the fourth root of pressure, linear between them.

Over that root the saturation line is nearly straight, so 21 points hold ammonia within 0.04 K (against CoolProp); the
root costs two square roots, no logarithm.  A refrigerant of higher pressures stretches the table by its `pressure_scale`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from numba.extending import register_jitable as kernel

from controller.setting_fields import number, temperatures

SaturationTable = tuple[
    float, float, float, float, float, float, float, float, float, float, float,
    float, float, float, float, float, float, float, float, float, float,
]  # fmt: skip

FIRST_ROOT = 2.0  # (16 kPa)^(1/4); the last point is 7.0, 2401 kPa, about the span of the discharge pressure input
STEPS_PER_ROOT = 4.0
LAST = 20

# °C at 16, 25.6, 39.1, 57.2, 81, 111.6, 150.1, 197.8, 256, 326.3, 410.1, 509.1, 625, 759.7, 915.1, 1092.7, 1296,
# 1525.9, 1785.1, 2075.9, 2401 kPa: dew points from CoolProp (ammonia, equation of 2020), rounded to 0.01 K
AMMONIA_C: SaturationTable = (
    -64.61, -57.54, -50.72, -44.12, -37.68, -31.38, -25.19, -19.1, -13.08, -7.12, -1.22,
    4.65, 10.48, 16.28, 22.06, 27.83, 33.59, 39.33, 45.07, 50.81, 56.54,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class RefrigerantSettings:
    """What the cabinet knows of the refrigerant."""

    saturation_c: SaturationTable = field(
        default=AMMONIA_C,
        metadata=temperatures(-110.0, 110.0, "dew points of ammonia (CoolProp) at (2, 2.25 … 7)^4 kPa, 16 to 2401 kPa"),
    )
    pressure_scale: float = number(
        1.0, 1.0, 4.0, "the table's pressures are (2, 2.25 … 7)^4 kPa times this: 2 reaches 4802 kPa, for R744"
    )


@kernel
def saturation_temperature_c(refrigerant: RefrigerantSettings, pressure_kpa_abs: float) -> float:
    """Saturation temperature in °C at a pressure in kPa absolute; held at its ends outside the table, 16…2401 kPa.

    >>> round(saturation_temperature_c(RefrigerantSettings(), 290.6), 1)
    -10.0
    """
    table = refrigerant.saturation_c
    scaled_kpa = pressure_kpa_abs / refrigerant.pressure_scale
    place = 0.0
    if scaled_kpa > 16.0:
        place = (math.sqrt(math.sqrt(scaled_kpa)) - FIRST_ROOT) * STEPS_PER_ROOT
    if place >= 20.0:
        return table[LAST]
    i = int(place)
    return table[i] + (table[i + 1] - table[i]) * (place - i)


@kernel
def saturation_pressure_kpa_abs(refrigerant: RefrigerantSettings, temperature_c: float) -> float:
    """Saturation pressure in kPa absolute at a temperature in °C; held at its ends outside the table.

    >>> round(saturation_pressure_kpa_abs(RefrigerantSettings(), -10.0), 0)
    291.0
    """
    table = refrigerant.saturation_c
    if not temperature_c > table[0]:
        return 16.0 * refrigerant.pressure_scale
    root = 7.0
    for i in range(LAST):
        if temperature_c <= table[i + 1]:
            share = (temperature_c - table[i]) / (table[i + 1] - table[i])  # it lies above table[i]: no step is flat
            root = FIRST_ROOT + (i + share) / STEPS_PER_ROOT
            break
    return root * root * root * root * refrigerant.pressure_scale


def rising(table: SaturationTable) -> bool:
    """Whether every point lies above the one before."""
    return all(b > a for a, b in pairwise(table))
