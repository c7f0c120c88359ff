"""How often a motor may be started: the table of NEMA MG 10 (published checks, section 6).

A is the most starts an hour, B the most of starts an hour times load inertia (lb·ft²), C the least rest between starts;
what holds is the lesser of A and B over the load's inertia.  The table is a limit for the motor's heat, not advice for a
compressor, whose maker may allow fewer.  An engineering aid; nothing here is a safety system.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

W_PER_HP = 745.6998715822702  # 550 ft·lbf/s, exact by definition
KG_M2_PER_LB_FT2 = 0.45359237 * 0.3048 * 0.3048  # exact by definition
TOLERANCE_FRAC = 0.01  # a motor of 75 kW is a 100 hp motor (74.57 kW)

# (hp, poles) → A 1/h, B lb·ft²/h, C s; only the rows read in the reproductions of the table, one without its C
ROWS: dict[tuple[float, int], tuple[float, float, float | None]] = {
    (25.0, 4): (8.8, 122.0, None),
    (100.0, 2): (2.6, 92.0, 220.0),
    (100.0, 4): (5.2, 441.0, 110.0),
    (100.0, 6): (5.9, 1181.0, 97.0),
    (150.0, 2): (2.2, 133.0, 320.0),
    (150.0, 4): (4.5, 640.0, 160.0),
    (150.0, 6): (5.1, 1719.0, 140.0),
    (200.0, 2): (2.0, 172.0, 600.0),
    (200.0, 4): (4.0, 831.0, 300.0),
    (200.0, 6): (4.5, 2238.0, 265.0),
    (250.0, 2): (1.8, 210.0, 1000.0),
    (250.0, 4): (3.7, 1017.0, 500.0),
    (250.0, 6): (4.2, 2744.0, 440.0),
}


class NoStartsRowError(ValueError):
    """The table has no row for such a motor; the message says which motors it has."""


@dataclass(frozen=True, slots=True)
class StartsLimit:
    """What the table allows.  `rest_s` is None where its row was read without it."""

    starts_1_h: float
    rest_s: float | None
    row_hp: float


def starts_per_hour_limit(rated_power_w: float, poles: int, load_inertia_kg_m2: float) -> StartsLimit:
    """Starts an hour and least rest for a motor of `rated_power_w` with `poles` poles against a load inertia in kg·m².

    Between two rows the larger motor's holds, which allows less.  NoStartsRowError for a motor beyond the table's rows,
    ValueError for a power or an inertia that cannot be.
    """
    if not (math.isfinite(rated_power_w) and rated_power_w > 0.0):
        raise ValueError(f"rated power {rated_power_w:g} W: must be above 0")
    if not (math.isfinite(load_inertia_kg_m2) and load_inertia_kg_m2 >= 0.0):
        raise ValueError(f"load inertia {load_inertia_kg_m2:g} kg·m²: must not be negative")
    wanted_hp = rated_power_w / W_PER_HP
    rows = sorted(hp for hp, row_poles in ROWS if row_poles == poles)
    fitting = [hp for hp in rows if wanted_hp <= hp * (1.0 + TOLERANCE_FRAC)]
    if not fitting:
        known = f"it ends at {rows[-1]:g} hp for {poles} poles" if rows else "it has 2, 4 and 6 poles"
        raise NoStartsRowError(
            f"starts of a motor of {wanted_hp:.0f} hp with {poles} poles are not in the table: {known}"
        )
    most_1_h, product_lb_ft2_h, rest_s = ROWS[fitting[0], poles]
    inertia_lb_ft2 = load_inertia_kg_m2 / KG_M2_PER_LB_FT2
    starts_1_h = min(most_1_h, product_lb_ft2_h / inertia_lb_ft2) if inertia_lb_ft2 > 0.0 else most_1_h
    return StartsLimit(starts_1_h, rest_s, fitting[0])
