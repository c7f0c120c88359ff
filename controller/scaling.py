"""4–20 mA signals: current to engineering value and back, health of the loop, and the clamp every layer uses."""

from __future__ import annotations

from numba.extending import register_jitable as kernel

from controller.process_image import Health

# NAMUR NE 43 (via several secondary pages): measurement 3.8–20.5 mA, failure at or below 3.6 and at or above 21 mA
FAILURE_LOW_MA = 3.6
FAILURE_HIGH_MA = 21.0


@kernel
def clamp(value: float, low: float, high: float) -> float:
    """`value` held within `low`..`high`; a value that is not a number gives `low`.

    >>> clamp(120.0, 0.0, 100.0), clamp(float("nan"), 0.0, 100.0)
    (100.0, 0.0)
    """
    if value >= low:
        if value > high:
            return high
        return value
    return low


@kernel
def to_engineering(current_ma: float, low: float, high: float) -> float:
    """Engineering value of a loop current in mA; `low` belongs to 4 mA and `high` to 20 mA.

    >>> to_engineering(12.0, 0.0, 1000.0)
    500.0
    """
    return low + (high - low) * (current_ma - 4.0) / 16.0


@kernel
def to_milliampere(value: float, low: float, high: float) -> float:
    """Loop current in mA of an engineering value; 4 mA where the span is zero.

    >>> to_milliampere(500.0, 0.0, 1000.0)
    12.0
    """
    if high == low:
        return 4.0
    return 4.0 + 16.0 * (value - low) / (high - low)


@kernel
def loop_health(current_ma: float) -> Health:
    """Health of a loop current in mA by NAMUR NE 43; a current that is not a number counts as an open circuit.

    >>> loop_health(3.6).name, loop_health(20.5).name, loop_health(21.0).name
    ('UNDER', 'GOOD', 'OVER')
    """
    if current_ma >= FAILURE_HIGH_MA:
        return Health.OVER
    if current_ma > FAILURE_LOW_MA:
        return Health.GOOD
    return Health.UNDER


@kernel
def believable(value: float, health: Health) -> bool:
    """Whether a measurement may be used: GOOD and finite."""
    return health == Health.GOOD and abs(value) < 1.0e9
