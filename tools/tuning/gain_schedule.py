"""The gain schedule of the scheduled PI, fitted to the operating map with as few breakpoints as hold Ms.

At every point of the map and for every corner of the parameter spread the range of proportional gains is found in which
the loop's sensitivity peak Ms stays within its limit: on the unreduced frequency response, not on the fitted process.
What all points at one capacity travel share, over pressure ratios, fills, suction temperatures and both directions, is
where the schedule may be there.  The schedule is a line through breakpoints of the controller's table (0, 10 … 100 %
position, straight between them); it takes the fewest that lose no more than `loss_frac` of the wanted gain anywhere,
because a breakpoint that buys nothing is one more number to get wrong on site.

The integral time is one number for all positions, as the controller has it: from a rule, or where the integral gain
Kp/Ti (which is the inverse of the integrated error after a load step, Åström and Hägglund) is greatest on the mean.

Linear margins say nothing of the neutral zone; see `limit_cycles`.  An engineering aid, and no safety system.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from itertools import combinations, product
from typing import cast

import numpy as np

from controller.scheduled_pi import PiSettings as ScheduleSettings
from controller.slide_curve import Curve, curve_at
from tools.tuning.linear_process import LinearProcess, PiSettings
from tools.tuning.linearisation import Complex, Float
from tools.tuning.margins import Spread
from tools.tuning.operating_map import MapPoint, OperatingMap

MS_NOMINAL = 1.75
MS_SPREAD = 2.0
LOSS_FRAC = 0.15
FEW = 5  # breakpoints; where so many are not enough, all of the table's are taken
NODES = tuple(10.0 * k for k in range(11))
FREQUENCIES = 240
W_LOW, W_HIGH = 0.02, 4.0  # of the band's high end: from where the integral rules to well past the peak
GAIN_STEPS = 48
INTEGRAL_TIMES_S = tuple(float(t) for t in np.geomspace(2.0, 120.0, 16))
_SAME_TRAVEL_PCT = 1.0
Rule = Callable[[LinearProcess], PiSettings]
Bounds = dict[float, tuple[float, float]]  # least and greatest gain by travel in %


@dataclass(frozen=True, slots=True)
class PointMargin:
    """What the schedule does at one point of the map."""

    point: MapPoint
    gain_pct_kpa: float
    ms: float
    ms_spread: float  # the worst corner of the spread


@dataclass(frozen=True)
class GainSchedule:
    """The law's settings and what they reach; `settings` is ready for the sheet."""

    settings: ScheduleSettings
    breakpoints_pct: tuple[float, ...]
    margins: tuple[PointMargin, ...]
    bounds_pct_kpa: tuple[tuple[float, float, float], ...]  # (travel in %, least and greatest gain allowed there)
    loss_frac: float  # greatest share of the wanted gain that is given away
    ms_nominal: float  # the limits
    ms_spread: float

    @property
    def worst(self) -> PointMargin:
        """The point with the greatest nominal Ms."""
        return max(self.margins, key=lambda m: m.ms)

    @property
    def worst_spread(self) -> PointMargin:
        """The point with the greatest Ms over the spread."""
        return max(self.margins, key=lambda m: m.ms_spread)

    @property
    def holds(self) -> bool:
        """Whether both limits hold at every point."""
        return self.worst.ms <= self.ms_nominal and self.worst_spread.ms_spread <= self.ms_spread


class ScheduleError(ValueError):
    """No schedule holds the limits; the message names the point that stands in the way."""


@dataclass(frozen=True)
class _Loops:
    """Responses of one point: nominal first, then the corners of the spread, shape (corners, frequencies)."""

    w_rad_s: Float
    response: Complex


def _loops(point: MapPoint, spread: Spread) -> _Loops:
    """The unreduced response, and how the reduced process says that it changes with gain, dead time and lag."""
    high = point.band_rad_s[1]
    w = np.geomspace(W_LOW * high, W_HIGH * high, FREQUENCIES)
    nominal = point.loop_response(w)
    reduced = point.process.response(w)
    rows = [nominal]
    sides = [(1.0 - s, 1.0 + s) for s in (spread.gain_frac, spread.dead_time_frac, spread.lag_frac)]
    for gain, dead, lag in product(*sides):
        rows.append(nominal * point.process.spread(gain, dead, lag).response(w) / reduced)
    return _Loops(w, np.array(rows))


def sensitivity_peaks(w_rad_s: Float, response: Complex, pi: PiSettings) -> Float:
    """Ms of each row of `response` (kPa per %, positive) with a PI; inf for an unstable loop.

    Nyquist: the process is stable by itself and the PI adds one integrator, so a stable loop turns 1 + L by +90° from
    the lowest frequency to the highest; every encirclement takes 360° off.
    """
    s = 1j * w_rad_s
    distance = 1.0 + response * (pi.gain_pct_kpa * (1.0 + 1.0 / (pi.integral_s * s)))
    angle = np.unwrap(np.angle(distance), axis=-1)
    # the ends stand for 0 and infinity: their own angles are what is missing to −90° and 0°
    turned = angle[..., -1] - angle[..., 0]
    expected = np.angle(distance[..., -1]) - np.angle(distance[..., 0])
    ms = np.asarray(1.0 / np.abs(distance).min(axis=-1))
    return np.where(np.abs(turned - expected) < np.pi, ms, np.inf)


def gain_range(loops: _Loops, integral_s: float, ms_nominal: float, ms_spread: float) -> tuple[float, float]:
    """(least, greatest) gain between which Ms stays within both limits; (0, 0) if there is none.

    There is a least one, because a slow plant behind an integral swings slowly when the proportional part is too small.
    Of several such ranges the highest is taken: the one below is a loop led by its integral alone.
    """
    limits = np.array([ms_nominal] + [ms_spread] * (len(loops.response) - 1))
    # well above any stable gain: where the process is at −180° its gain is about that at the band's high end
    high = 3.0 / float(np.interp(loops.w_rad_s[-1] / W_HIGH, loops.w_rad_s, np.abs(loops.response[0])))

    def within(gain: float) -> bool:
        return bool((sensitivity_peaks(loops.w_rad_s, loops.response, PiSettings(gain, integral_s)) <= limits).all())

    def edge(good: float, bad: float) -> float:
        for _ in range(12):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if within(middle) else (good, middle)
        return good

    gains = [float(g) for g in np.geomspace(high, 1.0e-4 * high, GAIN_STEPS)]
    top = next((k for k, gain in enumerate(gains) if within(gain)), None)
    if top is None:
        return 0.0, 0.0
    greatest = edge(gains[top], gains[top - 1]) if top > 0 else gains[0]
    bottom = next((k for k in range(top + 1, len(gains)) if not within(gains[k])), None)
    least = 0.0 if bottom is None else edge(gains[bottom - 1], gains[bottom])
    return least, greatest


def _travels(points: Sequence[MapPoint]) -> list[float]:
    found: list[float] = []
    for travel_pct in sorted({100.0 * p.capacity_travel_frac for p in points}):
        if not found or travel_pct - found[-1] > _SAME_TRAVEL_PCT:
            found.append(travel_pct)
    return found


def _nearest(travel_pct: float, travels: Sequence[float]) -> float:
    return min(travels, key=lambda t: abs(t - travel_pct))


def _bounds(
    points: Sequence[MapPoint], loops: Sequence[_Loops], integral_s: float, limits: tuple[float, float]
) -> Bounds:
    """The range of gains that all points at a travel share, by travel in %."""
    travels = _travels(points)
    low, high = dict.fromkeys(travels, 0.0), dict.fromkeys(travels, np.inf)
    for point, loop in zip(points, loops, strict=True):
        travel_pct = _nearest(100.0 * point.capacity_travel_frac, travels)
        least, greatest = gain_range(loop, integral_s, *limits)
        low[travel_pct], high[travel_pct] = max(low[travel_pct], least), min(high[travel_pct], greatest)
        if not low[travel_pct] < high[travel_pct]:
            raise ScheduleError(
                f"no gain holds Ms ≤ {limits[0]:g} (≤ {limits[1]:g} with the spread) with an integral time of "
                f"{integral_s:.3g} s at {point.where()}; a longer integral time, a faster drive or a shorter pause would"
            )
    return {t: (low[t], high[t]) for t in travels}


def _line(travel_pct: float, knots_pct: Sequence[float]) -> Float:
    """Weights of the knots' gains at a travel: straight between knots, constant outside."""
    weights = np.zeros(len(knots_pct))
    if travel_pct <= knots_pct[0]:
        weights[0] = 1.0
    elif travel_pct >= knots_pct[-1]:
        weights[-1] = 1.0
    else:
        k = int(np.searchsorted(knots_pct, travel_pct, side="right")) - 1
        share = (travel_pct - knots_pct[k]) / (knots_pct[k + 1] - knots_pct[k])
        weights[k], weights[k + 1] = 1.0 - share, share
    return weights


def fewest_breakpoints(
    bounds: Bounds, wanted_pct_kpa: dict[float, float], loss_frac: float
) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    """Knots (position in %), their gains, and the greatest loss: the fewest knots with wanted·(1 − loss) ≤ line, and the
    line within the bounds.

    Among as many knots those with the smallest loss.  If not even all knots keep the loss, the smallest loss is taken.
    Raises ScheduleError if no line keeps the bounds.
    """
    from scipy.optimize import linprog

    given = sorted(bounds)
    # between the map's travels the bounds are taken for straight, so that the line cannot run wild there
    travels = sorted({*given, *NODES})
    low, top = (np.interp(travels, given, [bounds[t][side] for t in given]) for side in (0, 1))
    want = np.clip(np.interp(travels, given, [wanted_pct_kpa[t] for t in given]), low, top)

    def solve(knots: tuple[float, ...]) -> tuple[float, Float] | None:
        """Minimise z with low ≤ line ≤ want and line ≥ (1 − z)·want, a touch of mean gain to decide between equals."""
        rows = np.array([_line(t, knots) for t in travels])
        n = len(knots)
        cost = np.concatenate([-1.0e-3 * (rows / want[:, None]).mean(axis=0), [1.0]])
        plain = np.hstack([rows, np.zeros((len(travels), 1))])
        answer = linprog(
            cost,
            A_ub=np.vstack([plain, -plain, np.hstack([-rows, -want[:, None]])]),
            b_ub=np.concatenate([want, -low, -want]),
            bounds=[(1.0e-3 * float(want.min()), None)] * n + [(0.0, 1.0)],
        )
        if not answer.success or answer.x is None:
            return None
        return float(answer.x[-1]), np.asarray(answer.x[:-1])

    best: tuple[float, tuple[float, ...], Float] | None = None
    for count in (*range(1, FEW + 1), len(NODES)):
        for knots in combinations(NODES, count):
            found = solve(knots)
            if found is not None and (best is None or found[0] < best[0] - 1.0e-9):
                best = (found[0], knots, found[1])
        if best is not None and best[0] <= loss_frac:
            break
    if best is None:
        raise ScheduleError("no line through the controller's table of positions keeps the bounds at every travel")
    return best[1], tuple(float(g) for g in best[2]), best[0]


def fit_gain_schedule(
    operating_map: OperatingMap,
    spread: Spread | None = None,
    rule: Rule | None = None,
    ms_nominal: float = MS_NOMINAL,
    ms_spread: float = MS_SPREAD,
    loss_frac: float = LOSS_FRAC,
    integral_s: float | None = None,
    base: ScheduleSettings | None = None,
    progress: Callable[[float], None] | None = None,
) -> GainSchedule:
    """Fit the schedule.

    rule: wanted gain at each point and the integral time (the longest of all points); None: as much integral gain as the
    limits allow.  `integral_s` fixes the integral time for either.  `base` holds the settings that are not touched.
    Raises ScheduleError where the limits cannot be held.
    """
    spread = spread or Spread()
    base = base or ScheduleSettings()
    points = operating_map.points
    loops = [_loops(point, spread) for point in points]
    limits = (ms_nominal, ms_spread)
    if rule is not None:
        integral_s = integral_s or max(rule(point.process).integral_s for point in points)
    candidates = INTEGRAL_TIMES_S if integral_s is None else (integral_s,)
    failed: ScheduleError | None = None
    worths: list[tuple[float, float]] = []
    hard = _hardest(points, loops, candidates, limits) if len(candidates) > 1 else ()
    for k, candidate_s in enumerate(candidates):
        try:
            found = _bounds([points[i] for i in hard], [loops[i] for i in hard], candidate_s, limits) if hard else {}
        except ScheduleError as error:
            failed = error
            found = {}
        if found or not hard:
            worth = float(np.mean([np.log(high / candidate_s) for _, high in found.values()])) if found else 0.0
            worths.append((worth, candidate_s))
        if progress:
            progress(0.8 * (k + 1) / len(candidates))
    # the best integral time first; bounds may leave no line through the table, and then the next one has to do
    for _, candidate_s in sorted(worths, reverse=True):
        integral_ms = int(np.ceil(1000.0 * candidate_s))
        try:
            bounds = _bounds(points, loops, 0.001 * integral_ms, limits)
            schedule = _schedule(operating_map, loops, bounds, rule, integral_ms, limits, loss_frac, base)
        except ScheduleError as error:
            failed = error
            continue
        if progress:
            progress(1.0)
        return schedule
    raise failed or ScheduleError("no integral time holds the limits")


def _schedule(
    operating_map: OperatingMap,
    loops: Sequence[_Loops],
    bounds: Bounds,
    rule: Rule | None,
    integral_ms: int,
    limits: tuple[float, float],
    loss_frac: float,
    base: ScheduleSettings,
) -> GainSchedule:
    """The schedule for one integral time.  Raises ScheduleError where no line through the table keeps the bounds."""
    points = operating_map.points
    wanted = {travel_pct: high for travel_pct, (_, high) in bounds.items()}
    if rule is not None:
        for point in points:
            travel_pct = _nearest(100.0 * point.capacity_travel_frac, list(bounds))
            wanted[travel_pct] = min(wanted[travel_pct], rule(point.process).gain_pct_kpa)
    knots, gains, loss = fewest_breakpoints(bounds, wanted, loss_frac)
    settings = schedule_settings(knots, gains, integral_ms, base)
    return GainSchedule(
        settings=settings,
        breakpoints_pct=knots,
        margins=tuple(_margin(p, loop, settings) for p, loop in zip(points, loops, strict=True)),
        bounds_pct_kpa=tuple((t, *bounds[t]) for t in sorted(bounds)),
        loss_frac=loss,
        ms_nominal=limits[0],
        ms_spread=limits[1],
    )


def _hardest(
    points: Sequence[MapPoint], loops: Sequence[_Loops], candidates: Sequence[float], limits: tuple[float, float]
) -> tuple[int, ...]:
    """Points that give the bound at a short, a middle or a long integral time: the others never decide between them."""
    travels = _travels(points)
    found: set[int] = set()
    for integral_s in (candidates[0], candidates[len(candidates) // 2], candidates[-1]):
        ranges = [gain_range(loop, integral_s, *limits) for loop in loops]
        for travel_pct in travels:
            here = [i for i, p in enumerate(points) if _nearest(100.0 * p.capacity_travel_frac, travels) == travel_pct]
            found.add(min(here, key=lambda i: ranges[i][1]))
            found.add(max(here, key=lambda i: ranges[i][0]))
    return tuple(sorted(found))


def schedule_settings(
    knots_pct: Sequence[float], gains_pct_kpa: Sequence[float], integral_ms: int, base: ScheduleSettings
) -> ScheduleSettings:
    """The controller's settings for gains at knots: proportional band for the mean, the rest in the table, rounded down."""
    gain = [float(_line(node, knots_pct) @ np.array(gains_pct_kpa)) for node in NODES]
    limits = {f.name: f.metadata for f in fields(ScheduleSettings)}
    band, table = limits["proportional_band_kpa"], limits["gain_multiplier"]
    # the mean stands for 1, unless the least would fall out of the table's range
    middle = min(float(np.exp(np.mean(np.log(gain)))), min(gain) / (1.02 * table["low"]))
    band_kpa = min(max(float(f"{100.0 / middle:.3g}"), band["low"]), band["high"])
    multiplier = tuple(min(_down(g * band_kpa / 100.0), table["high"]) for g in gain)
    if min(multiplier) < table["low"]:
        raise ScheduleError(
            f"the schedule needs a gain multiplier of {min(multiplier):.3g}; the controller's least is {table['low']:g}"
        )
    integral = limits["integral_time_ms"]
    if not integral["low"] <= integral_ms <= integral["high"]:
        raise ScheduleError(f"integral time {integral_ms} ms: must lie in {integral['low']}..{integral['high']} ms")
    return replace(
        base,
        proportional_band_kpa=band_kpa,
        integral_time_ms=integral_ms,
        gain_multiplier=cast(Curve, multiplier),
    )


def _down(value: float) -> float:
    """Three decimals, never up: rounding must not break a limit."""
    return float(np.floor(1000.0 * value) / 1000.0)


def scheduled_gain_pct_kpa(settings: ScheduleSettings, position_pct: float) -> float:
    """The law's gain at a position, as the controller itself reckons it."""
    return 100.0 / settings.proportional_band_kpa * curve_at(settings.gain_multiplier, position_pct)


def _margin(point: MapPoint, loops: _Loops, settings: ScheduleSettings) -> PointMargin:
    gain = scheduled_gain_pct_kpa(settings, 100.0 * point.capacity_travel_frac)
    pi = PiSettings(gain, 0.001 * settings.integral_time_ms)
    peaks = sensitivity_peaks(loops.w_rad_s, loops.response, pi)
    return PointMargin(point, gain, float(peaks[0]), float(peaks.max()))


def map_margins(
    operating_map: OperatingMap, settings: ScheduleSettings, spread: Spread | None = None
) -> tuple[PointMargin, ...]:
    """Ms of any settings of the scheduled PI at every point of the map, nominal and with the spread."""
    spread = spread or Spread()
    return tuple(_margin(point, _loops(point, spread), settings) for point in operating_map.points)
