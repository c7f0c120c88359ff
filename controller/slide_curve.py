"""Slide curves as tables: 11 points over 0…100 % position, linear between them."""

from __future__ import annotations

from itertools import pairwise

from numba.extending import register_jitable as kernel

Curve = tuple[float, float, float, float, float, float, float, float, float, float, float]


@kernel
def curve_at(curve: Curve, position_pct: float) -> float:
    """Value of the curve at a position in %; held at its ends outside 0…100 %.

    >>> curve_at((0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0), 25.0)
    2.5
    """
    if position_pct >= 100.0:
        return curve[10]
    if position_pct > 0.0:
        place = position_pct * 0.1
        i = min(int(place), 9)
        return curve[i] + (curve[i + 1] - curve[i]) * (place - i)
    return curve[0]


@kernel
def curve_position_pct(curve: Curve, value: float) -> float:
    """Position in % at which a rising curve has the value; 0 or 100 where it lies outside.

    >>> curve_position_pct((0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0), 2.5)
    25.0
    """
    if not value > curve[0]:
        return 0.0
    for i in range(10):
        if value <= curve[i + 1]:
            # the value lies above curve[i], so the step is not flat
            return 10.0 * (i + (value - curve[i]) / (curve[i + 1] - curve[i]))
    return 100.0


def rising(curve: Curve) -> bool:
    """Whether every point lies above the one before."""
    return all(b > a for a, b in pairwise(curve))
