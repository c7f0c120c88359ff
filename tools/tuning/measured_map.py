"""The operating map brought to what a site's test found: gain and dead time, at the test's point and from there on.

A test is one point of a map of a hundred.  Where the simulated plant is off by a factor at one travel, it is mostly off by
it everywhere (a vessel that holds more, a machine that pumps less), so the whole map is scaled by the ratio found at the
nearest points, and given the dead time that they lack.  The ratio is taken where the loop's margin is decided: at the
point's frequency of −180°.  What the scaling cannot know, how the ratio changes over the map, the spread has to cover.

The search's simulated plant stays that of the file: a ratio far from 1 says that the file wants correcting.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tools.tuning.identification import Identified
from tools.tuning.linear_process import LinearProcess
from tools.tuning.linearisation import LinearPlant
from tools.tuning.operating_map import MapPoint, OperatingMap

FAR_FRAC = 0.3  # a ratio further from 1 asks for another plant file
NEAREST = 4


@dataclass(frozen=True, slots=True)
class Correction:
    """What a test changed: factor on the map's gain, dead time added in s, and where it was found."""

    gain_factor: float
    dead_time_s: float
    where: str
    words: tuple[str, ...]

    @property
    def far(self) -> bool:
        """Whether the plant file itself should be corrected."""
        return abs(self.gain_factor - 1.0) > FAR_FRAC


def nearest_points(operating_map: OperatingMap, travel_pct: float, suction_kpa: float) -> list[MapPoint]:
    """The map's points nearest to a test: travel and suction pressure, each against its span of the map."""
    travels = [100.0 * p.capacity_travel_frac for p in operating_map.points]
    pressures = [0.001 * p.suction_pa for p in operating_map.points]
    wide = [max(np.ptp(travels), 1.0), max(np.ptp(pressures), 1.0)]

    def distance(point: MapPoint) -> float:
        x = (100.0 * point.capacity_travel_frac - travel_pct) / wide[0]
        return float(np.hypot(x, (0.001 * point.suction_pa - suction_kpa) / wide[1]))

    return sorted(operating_map.points, key=distance)[: 2 * NEAREST]


def correction_of(operating_map: OperatingMap, found: Identified) -> Correction:
    """Ratio and dead time between a test and the map's nearest points, both directions together."""
    ratios, extra = [], []
    near = nearest_points(operating_map, found.travel_pct, found.suction_kpa_abs)
    for point in near:
        process = found.in_loop(point.drive.total_s, point.filter_s)
        w = np.array([point.band_rad_s[1]])
        real, model = process.response(w)[0], point.loop_response(w)[0]
        ratios.append(abs(real / model))
        extra.append(-float(np.angle(real / model)) / w[0])
    factor = float(np.exp(np.mean(np.log(ratios))))
    dead_s = float(np.mean(extra))
    least = min(p.drive.scan_s + p.drive.solenoid_s for p in operating_map.points)
    held_s = max(dead_s, -least)
    words = [
        f"the test's process is {factor:.2f} times the map's at {near[0].where()} (nearest points: {min(ratios):.2f} to "
        f"{max(ratios):.2f}), its dead time {dead_s:+.1f} s longer; the whole map is scaled by it"
    ]
    if held_s != dead_s:
        words.append(f"of the dead time {dead_s:+.1f} s only {held_s:+.1f} s can be taken off; the rest is kept")
    correction = Correction(factor, held_s, near[0].where(), ())
    if correction.far:
        words.append(
            "so far from 1 the simulated plant of the search is another plant: correct its file (vessel volume, machine "
            "size, drive times) before the scores are believed; margins and rules already use the test"
        )
    return replace(correction, words=tuple(words))


def corrected_map(operating_map: OperatingMap, correction: Correction) -> OperatingMap:
    """Every point with the factor on its gain and the dead time added to its drive."""

    def corrected(point: MapPoint) -> MapPoint:
        k = correction.gain_factor
        plant, process = point.plant, point.process
        c, d = plant.c.copy(), plant.d.copy()
        b = plant.b.copy()
        b[:, 0] *= k  # what travel does; volume ratio and load keep their own
        d[:, 0] *= k
        drive = replace(point.drive, solenoid_s=point.drive.solenoid_s + correction.dead_time_s)
        dead_s = max(process.dead_time_s + correction.dead_time_s, 0.0)
        return replace(
            point,
            plant=LinearPlant(plant.a, b, c, d),
            drive=drive,
            process=LinearProcess(k * process.gain, process.integrating, dead_s, process.lags_s),
            static_gain_kpa_pct=k * point.static_gain_kpa_pct,
        )

    return replace(operating_map, points=tuple(corrected(p) for p in operating_map.points))
