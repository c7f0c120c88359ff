"""Moist air: thermodynamic wet-bulb temperature from dry bulb, humidity and pressure.

Saturation pressures of Hyland and Wexler (1983) and the wet-bulb balance of an adiabatic saturator, as printed in
ASHRAE Handbook, Fundamentals, chapter 1 "Psychrometrics", in SI (coefficients from memory; the tests compare them with
CoolProp's real-gas moist air).  Ideal-gas mixture: humidity ratio within 0.5 % of the real gas at sea level.
"""

from __future__ import annotations

import math

FREEZING_K = 273.15
_RATIO = 0.621945  # molar mass of water over that of dry air
_TOLERANCE_K = 1e-7


def saturation_pressure_pa(temperature_k: float) -> float:
    """Saturation pressure of pure water, Pa, at a temperature in K: over ice below 0 °C, over liquid above.

    Fitted from −100 to 200 °C; ValueError outside.

    >>> round(saturation_pressure_pa(293.15), 1)  # 20 °C: 2.339 kPa in every steam table
    2338.8
    """
    t = temperature_k
    if not 173.15 <= t <= 473.15:
        raise ValueError(f"{t - FREEZING_K:g} °C is outside −100 to 200 °C, where the saturation curve holds")
    if t < FREEZING_K:
        powers = -9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13))
        return math.exp(-5.6745359e3 / t + 6.3925247 + t * powers + 4.1635019 * math.log(t))
    powers = -4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8)
    return math.exp(-5.8002206e3 / t + 1.3914993 + t * powers + 6.5459673 * math.log(t))


def humidity_ratio(vapour_pressure_pa: float, pressure_pa: float) -> float:
    """Mass of water vapour by mass of dry air, at the vapour's and the total pressure in Pa."""
    if not 0.0 <= vapour_pressure_pa < pressure_pa:
        raise ValueError(f"a vapour pressure of {vapour_pressure_pa:g} Pa does not fit in {pressure_pa:g} Pa of air")
    return _RATIO * vapour_pressure_pa / (pressure_pa - vapour_pressure_pa)


def _ratio_at_wet_bulb(dry_bulb_k: float, wet_bulb_k: float, pressure_pa: float, ice: bool) -> float:
    """Humidity ratio of air that an adiabatic saturator brings to `wet_bulb_k`: enthalpies in kJ/kg, °C."""
    t, wet = dry_bulb_k - FREEZING_K, wet_bulb_k - FREEZING_K
    saturated = humidity_ratio(saturation_pressure_pa(wet_bulb_k), pressure_pa)
    if ice:
        return ((2830.0 - 0.24 * wet) * saturated - 1.006 * (t - wet)) / (2830.0 + 1.86 * t - 2.1 * wet)
    return ((2501.0 - 2.326 * wet) * saturated - 1.006 * (t - wet)) / (2501.0 + 1.86 * t - 4.186 * wet)


def wet_bulb_k(dry_bulb_k: float, vapour_pressure_pa: float, pressure_pa: float) -> float:
    """Thermodynamic wet-bulb temperature, K, of air with this vapour pressure (Pa) at this total pressure (Pa).

    Below 0 °C the wick is ice; within a few tenths of a kelvin above 0 °C both wicks balance, and the wet one is taken.
    Air that is said to be more than saturated is taken as saturated.  Within 0.05 K of CoolProp's moist air from
    −20 to 45 °C at 80 and 101 kPa (see the tests).
    """
    at_saturation_pa = saturation_pressure_pa(dry_bulb_k)
    if vapour_pressure_pa >= at_saturation_pa:
        return dry_bulb_k
    ratio = humidity_ratio(vapour_pressure_pa, pressure_pa)
    # liquid as long as a liquid wick balances above freezing; what is drier than that has an iced one
    ice = dry_bulb_k <= FREEZING_K or _ratio_at_wet_bulb(dry_bulb_k, FREEZING_K, pressure_pa, False) > ratio
    low = max(dry_bulb_k - 60.0, 173.15) if ice else FREEZING_K
    high = min(dry_bulb_k, FREEZING_K) if ice else dry_bulb_k
    while high - low > _TOLERANCE_K:
        middle = 0.5 * (low + high)
        if _ratio_at_wet_bulb(dry_bulb_k, middle, pressure_pa, ice) > ratio:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def wet_bulb_of_dew_point_k(dry_bulb_k: float, dew_point_k: float, pressure_pa: float) -> float:
    """Wet bulb, K, from a dew point (below 0 °C a frost point), K, at a pressure in Pa."""
    return wet_bulb_k(dry_bulb_k, saturation_pressure_pa(dew_point_k), pressure_pa)


def wet_bulb_of_humidity_k(dry_bulb_k: float, humidity_frac: float, pressure_pa: float) -> float:
    """Wet bulb, K, from a relative humidity (over ice below 0 °C), 0 to 1, at a pressure in Pa.

    >>> round(wet_bulb_of_humidity_k(298.15, 0.5, 101325.0) - 273.15, 1)  # 25 °C, 50 %: 17.9 °C
    17.9
    """
    return wet_bulb_k(dry_bulb_k, humidity_frac * saturation_pressure_pa(dry_bulb_k), pressure_pa)
