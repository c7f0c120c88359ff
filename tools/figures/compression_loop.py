"""The compression loop: pressure against flute volume at one moment, and what over- or under-compression costs there.

Gas is taken in at suction pressure up to the trapped volume, compressed until the port opens, brought to discharge
pressure at that volume, and pushed out.  It is the same law of compression that the plant model integrates
(plant_model/compression.py:real_gas_work), so the shaded area times the flutes swept is power of that model: the loss
against the ideal volume ratio.  Leakage, port loss and friction are not in the loop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from plant_model.compression import real_gas_work
from plant_model.properties import isentropic_exponent_at, pressure_coordinate_from_log

CURVE_POINTS = 14  # of each curved part: the loop's area is then right to 0.2 %
FITS_SHARE = 0.005  # nearer to discharge pressure than this the opening is neither over nor under: no eye sees it
LEAST_LOG_RATIO = 0.05  # below, the plant model too takes one exponent

Point = tuple[float, float]  # share of the full-load flute volume, kPa abs


@dataclass(frozen=True, slots=True)
class LoopLaw:
    """One moment's law of compression: ln(p/p1) = kappa l + bend (l² − log_ideal l), l = ln(V1/V)."""

    suction_pa: float
    discharge_pa: float
    kappa: float
    bend: float
    log_ideal: float
    trapped_frac: float
    volume_ratio: float  # as the gas sees it

    def pressure_pa(self, log_volume: float) -> float:
        """Pressure at l = ln(V1/V)."""
        l_ = log_volume
        return self.suction_pa * math.exp(self.kappa * l_ + self.bend * (l_ * l_ - self.log_ideal * l_))

    def work(self, volume_ratio: float) -> float:
        """Work per p1·V1 with the port opening at a volume ratio; dimensionless."""
        ratio = self.discharge_pa / self.suction_pa
        return float(real_gas_work(self.kappa, self.bend, self.log_ideal, ratio, volume_ratio))


@dataclass(frozen=True, slots=True)
class Loop:
    """What to draw.  kind: "over", "under" or "none"; lost_w: the shaded area's power, 0 at rest."""

    loop: tuple[Point, ...]
    shade: tuple[Point, ...]
    kind: str
    lost_w: float
    opening_pa: float  # in the flute, just before the port opens

    def as_data(self) -> dict[str, Any]:
        """For `figures.js`, rounded to what a screen shows."""
        return {
            "loop": [[round(v, 4), round(p, 1)] for v, p in self.loop],
            "shade": [[round(v, 4), round(p, 1)] for v, p in self.shade],
            "kind": self.kind,
            "lost_kw": round(self.lost_w / 1000.0, 2),
            "opening_kpa": round(self.opening_pa / 1000.0, 1),
        }

    def in_words(self) -> str:
        """The figure for those who cannot see it."""
        at = f"The port opens at {self.opening_pa / 1000.0:.0f} kPa in the flute"
        if self.kind == "none":
            return f"{at}, as good as discharge pressure."
        word = "above" if self.kind == "over" else "below"
        gap_kpa = abs(self.opening_pa / 1000.0 - self.loop[-2][1])
        return f"{at}, {gap_kpa:.0f} kPa {word} discharge: {self.kind}-compression, {self.lost_w / 1000.0:.1f} kW."


def loop_law(refrigerant: Any, row: Any) -> LoopLaw:
    """The law of a trace row (`row["suction_pressure_pa"]` and so on, SI) with the plant's property record."""
    suction_pa = max(1.0, float(row["suction_pressure_pa"]))
    discharge_pa = max(suction_pa, float(row["separator_pressure_pa"]))
    x1 = pressure_coordinate_from_log(refrigerant, math.log(suction_pa))
    x2 = pressure_coordinate_from_log(refrigerant, math.log(discharge_pa))
    superheat_k = float(row["suction_superheat_k"])
    kappa = isentropic_exponent_at(refrigerant, x1, x2, superheat_k)
    log_ideal = math.log(discharge_pa / suction_pa) / kappa
    bend = 0.0
    if log_ideal > LEAST_LOG_RATIO:
        bend = (kappa - isentropic_exponent_at(refrigerant, x1, x1, superheat_k)) / log_ideal
    trapped = float(row["trapped_fraction_frac"])
    return LoopLaw(suction_pa, discharge_pa, kappa, bend, log_ideal, trapped, float(row["volume_ratio"]))


def _arc(law: LoopLaw, first: float, last: float) -> list[Point]:
    """The compression curve from l = first to l = last."""
    logs = [first + (last - first) * k / (CURVE_POINTS - 1) for k in range(CURVE_POINTS)]
    return [(law.trapped_frac * math.exp(-x), law.pressure_pa(x) / 1000.0) for x in logs]


def loop_of(law: LoopLaw, displacement_m3: float, filling_frac: float, speed_1_s: float) -> Loop:
    """The figure of a moment; displacement per turn, share of it filled, turns a second."""
    opens = math.log(max(1.0, law.volume_ratio))  # a port that is open before the flute is sealed compresses nothing
    low_kpa, high_kpa = law.suction_pa / 1000.0, law.discharge_pa / 1000.0
    opening_pa = law.pressure_pa(opens)
    volume = law.trapped_frac * math.exp(-opens)
    outline = [(0.0, low_kpa), *_arc(law, 0.0, opens), (volume, high_kpa), (0.0, high_kpa)]
    lost = law.work(law.volume_ratio) - law.work(math.exp(law.log_ideal))
    swept_w = law.suction_pa * displacement_m3 * law.trapped_frac * filling_frac * max(0.0, speed_1_s)
    if abs(opening_pa - law.discharge_pa) < FITS_SHARE * law.discharge_pa:
        return Loop(tuple(outline), (), "none", max(0.0, swept_w * lost), opening_pa)
    shade = [*_arc(law, opens, law.log_ideal), (volume, high_kpa)]
    kind = "over" if opening_pa > law.discharge_pa else "under"
    return Loop(tuple(outline), tuple(shade), kind, max(0.0, swept_w * lost), opening_pa)


def loop_at(parameters: Any, row: Any) -> Loop:
    """The figure of a trace row of a plant (`Prepared.parameters`)."""
    law = loop_law(parameters.refrigerant, row)
    filling = parameters.plant.machine.filling_frac
    return loop_of(law, parameters.curves.displacement_m3, filling, float(row["motor_speed_1_s"]))
