"""Two slides on one plant: how far each one's loop feels the other, and how slow the volume-ratio loop has to be.

Capacity travel moves the volume ratio that the gas sees, Vi = c·Vi_f, and with it the best place of the other slide.
Volume-ratio travel moves the flow only through leakage, the through-path (where the port opens before the flute is
sealed) and the oil that both drives share.  The relative gain array says what that amounts to when both loops are closed
(Bristol, IEEE Trans. Automatic Control 11, 1966): 1 is no coupling, and it may be taken at any frequency.

Inputs: capacity and volume-ratio travel in %.  Outputs: measured suction pressure in kPa, and 100·ln(Vi/Vi_ideal) in %:
the error of the volume ratio, not power, whose slope is zero at the optimum, so that a gain array on it means nothing.

The volume-ratio loop works its place out from suction pressure, discharge pressure and the capacity slide's position
(`controller/volume_ratio_control.py`) and goes there through a filter.  So what the capacity loop has before it is not
G11 but G11 + G12·H, H being how the other slide follows: the loop's Ms with and without H is what coupling costs.
`least_filter_ms` is the shortest filter that costs no more than COST_MS anywhere on the map.

Results are an engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from controller.slide_curve import curve_position_pct
from controller.volume_ratio_control import VolumeRatioSettings, best_full_load_ratio
from plant_model.derived import Parameters
from plant_model.slide_actuator import drive_speed_frac_s
from tools.tuning.gain_schedule import FREQUENCIES, W_HIGH, W_LOW, sensitivity_peaks
from tools.tuning.linear_process import PiSettings
from tools.tuning.linearisation import Complex, Direction, Float, LinearPlant, PointError, linear_plant, steady_point
from tools.tuning.operating_map import MapPoint

NEAR_ONE = 0.02  # |λ − 1| that counts as no coupling: 2 % of loop gain
COST_MS = 0.02  # of the sensitivity peak: far within what a spread of 20 % does to it
FILTERS_MS = (
    0,
    500,
    1_000,
    2_000,
    3_000,
    5_000,
    7_500,
    10_000,
    15_000,
    20_000,
    30_000,
    45_000,
    60_000,
    120_000,
    300_000,
)
FREE_MS = 1.4  # below it there is margin to spare, and a rise costs nothing (AMIGO designs for 1.4)
_PRESSURE_STEP_KPA = 1.0
_TRAVEL_STEP_PCT = 0.5
GainOf = Callable[[MapPoint], PiSettings]


def relative_gain_array(gains: Complex | Float) -> Complex | Float:
    """G ∘ (G⁻¹)ᵀ of a square matrix of gains.  Raises ValueError for a singular one.

    Wood and Berry's column (Chem. Eng. Sci. 28, 1973, gains recalled in the reference): 2.009.

    >>> round(float(relative_gain_array(np.array([[12.8, -18.9], [6.6, -19.4]]))[0, 0]), 5)
    2.00939
    """
    matrix = np.asarray(gains)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1]:
        raise ValueError(f"relative gain array: a square matrix is needed, got {matrix.shape}")
    try:
        return np.asarray(matrix * np.linalg.inv(matrix).T)
    except np.linalg.LinAlgError as error:
        raise ValueError("relative gain array: the gains are singular, so the loops cannot be told apart") from error


@dataclass(frozen=True, slots=True)
class Coupling:
    """Cross gains at one point; matrices are rows (suction kPa, volume-ratio error %), columns (capacity, volume ratio)."""

    capacity_travel_frac: float
    volume_ratio_travel_frac: float
    pressure_ratio: float
    direction: Direction
    static: tuple[tuple[float, float], tuple[float, float]]
    at_crossover: tuple[tuple[complex, complex], tuple[complex, complex]]
    w_rad_s: float
    relative_gain: float  # static
    relative_gain_at_crossover: complex
    through_path_kg_s: float

    @property
    def near_one(self) -> bool:
        """No coupling to speak of, neither at rest nor where the capacity loop works."""
        return abs(self.relative_gain - 1.0) <= NEAR_ONE and abs(self.relative_gain_at_crossover - 1.0) <= NEAR_ONE


def coupling_of(
    plant: LinearPlant,
    w_rad_s: float,
    capacity_travel_frac: float,
    volume_ratio_travel_frac: float,
    pressure_ratio: float,
    direction: Direction,
    through_path_kg_s: float,
) -> Coupling:
    """Cross gains and relative gains of a linearised plant, static and at a frequency."""
    static = plant.gains()[:2, :2]
    there = plant.response(np.array([w_rad_s]))[:2, :2, 0]
    return Coupling(
        capacity_travel_frac=capacity_travel_frac,
        volume_ratio_travel_frac=volume_ratio_travel_frac,
        pressure_ratio=pressure_ratio,
        direction=direction,
        static=((float(static[0, 0]), float(static[0, 1])), (float(static[1, 0]), float(static[1, 1]))),
        at_crossover=(
            (complex(there[0, 0]), complex(there[0, 1])),
            (complex(there[1, 0]), complex(there[1, 1])),
        ),
        w_rad_s=w_rad_s,
        relative_gain=float(relative_gain_array(static)[0, 0].real),
        relative_gain_at_crossover=complex(relative_gain_array(there)[0, 0]),
        through_path_kg_s=through_path_kg_s,
    )


def map_coupling(point: MapPoint) -> Coupling:
    """Coupling at a point of the map, at half the frequency of −180°: about where its loop crosses gain 1."""
    return coupling_of(
        point.plant,
        0.5 * point.band_rad_s[1],
        point.capacity_travel_frac,
        point.volume_ratio_travel_frac,
        point.pressure_ratio,
        point.direction,
        point.steady.state.compression.through_path_kg_s,
    )


def square_coupling(
    parameters: Parameters,
    suction_pa: float,
    discharge_pa: float,
    capacity_travel_frac: Sequence[float] = (0.05, 0.15, 0.30, 0.50, 0.75, 0.97),
    volume_ratio_travel_frac: Sequence[float] = (0.03, 0.25, 0.50, 0.75, 0.97),
    w_rad_s: float = 0.4,
    direction: Direction = Direction.FALLING,
) -> Iterator[Coupling]:
    """Coupling over the travel square, off the best volume ratio too: where the through-path opens, it shows.

    Places at which the plant cannot stand are left out.
    """
    for capacity in capacity_travel_frac:
        for ratio in volume_ratio_travel_frac:
            try:
                steady = steady_point(parameters, capacity, suction_pa, discharge_pa, ratio)
                plant = linear_plant(steady, direction)
            except PointError:
                continue
            through = steady.state.compression.through_path_kg_s
            yield coupling_of(plant, w_rad_s, capacity, ratio, steady.pressure_ratio, direction, through)


@dataclass(frozen=True, slots=True)
class Following:
    """How the best volume-ratio position moves, in % of travel: per % of capacity position, per kPa of each pressure."""

    per_capacity_pct: float
    per_suction_kpa: float
    per_discharge_kpa: float


def following(settings: VolumeRatioSettings, point: MapPoint) -> Following:
    """Slopes of the controller's own rule at a point; 0 where the slide's range or the through-path's margin holds it."""

    def place_pct(suction_kpa: float, discharge_kpa: float, capacity_pct: float) -> float:
        ratio = best_full_load_ratio(settings, suction_kpa, discharge_kpa, capacity_pct)
        return curve_position_pct(settings.full_load_volume_ratio, ratio)

    at = [point.suction_pa / 1000.0, point.discharge_pa / 1000.0, 100.0 * point.capacity_travel_frac]
    slopes = []
    for k, step in ((2, _TRAVEL_STEP_PCT), (0, _PRESSURE_STEP_KPA), (1, _PRESSURE_STEP_KPA)):
        up, down = list(at), list(at)
        up[k] += step
        down[k] -= step
        slopes.append((place_pct(*up) - place_pct(*down)) / (2.0 * step))
    return Following(*slopes)


def volume_ratio_delay_s(settings: VolumeRatioSettings, point: MapPoint, scan_ms: int = 100) -> float:
    """Dead time of the volume-ratio loop: half its interval, a scan, its solenoid and half of a neutral zone's move."""
    p = point.steady.parameters
    state, _ = point.steady.copy()
    state.volume_ratio.direction, state.volume_ratio.velocity_frac_s = 1, 1.0
    drive = p.plant.volume_ratio_drive
    speed_frac_s = drive_speed_frac_s(p, state, drive, p.derived.volume_ratio_drive, state.volume_ratio)
    if speed_frac_s <= 0.0:
        raise PointError("the volume-ratio slide's drive is stalled")
    move_s = 0.01 * settings.drive.neutral_zone_pct / speed_frac_s
    return 0.001 * (0.5 * settings.interval_ms + scan_ms + drive.dead_time_ms) + 0.5 * move_s


class FollowedLoop:
    """The capacity loop of one map point with the volume-ratio slide following it; what does not change is kept."""

    def __init__(self, point: MapPoint, settings: VolumeRatioSettings) -> None:
        self.point = point
        self.w_rad_s = np.geomspace(W_LOW, W_HIGH, FREQUENCIES) * point.band_rad_s[1]
        self._g = point.plant.response(self.w_rad_s)
        self._rule = following(settings, point)
        self._delay_s = volume_ratio_delay_s(settings, point)

    def response(self, filter_ms: int, shared_oil: bool = False, follows: bool = True) -> Complex:
        """What the capacity loop has before it, kPa per %, in the sign of `MapPoint.process`.

        shared_oil: as if both slides always moved together, each at its share of the speed: the worst the oil can do.
        """
        s, g, rule = 1j * self.w_rad_s, self._g, self._rule
        response = g[0, 0]
        if follows:
            follow = np.exp(-self._delay_s * s) / (0.001 * filter_ms * s + 1.0)
            # the rule reads the true pressures here: the transmitters' lags are short against the loop
            by_capacity = rule.per_capacity_pct + rule.per_suction_kpa * g[3, 0] + rule.per_discharge_kpa * g[4, 0]
            response = response + g[0, 1] * follow * by_capacity / (1.0 - follow * self._by_itself())
        delay_s = self.point.drive.total_s
        if shared_oil:
            share = self.point.steady.parameters.plant.capacity_drive.shared_flow_frac
            delay_s += 2.0 * self.point.drive.half_move_s * (1.0 / share - 1.0)
        return np.asarray(-response * np.exp(-delay_s * s) / (self.point.filter_s * s + 1.0), dtype=np.complex128)

    def _by_itself(self) -> Complex:
        rule, g = self._rule, self._g
        return np.asarray(rule.per_suction_kpa * g[3, 1] + rule.per_discharge_kpa * g[4, 1], dtype=np.complex128)

    def cost(self, filter_ms: int, pi: PiSettings) -> CouplingCost:
        """Ms alone, followed, and with the oil shared all the time.  Raises ValueError if the loop alone is unstable."""
        rows = np.array(
            [self.response(filter_ms, follows=False), self.response(filter_ms), self.response(filter_ms, True)]
        )
        alone, coupled, shared = (float(v) for v in sensitivity_peaks(self.w_rad_s, rows, pi))
        if math.isinf(alone):
            raise ValueError(
                f"coupling: the capacity loop alone is unstable with {pi.gain_pct_kpa:.3g} %/kPa and {pi.integral_s:.3g} s "
                f"at {self.point.where()}; fit its schedule first"
            )
        return CouplingCost(self.point, alone, coupled, shared, float(np.abs(self._by_itself()).max()))


@dataclass(frozen=True, slots=True)
class CouplingCost:
    """What following costs the capacity loop at one point."""

    point: MapPoint
    ms_alone: float
    ms_coupled: float
    ms_shared_oil: float  # coupled, and both slides always at their shared speed
    self_gain: (
        float  # greatest |gain| of the volume-ratio rule round its own effect on the pressures; below 1 is stable
    )

    @property
    def cost(self) -> float:
        """Rise of Ms by coupling, as far as it goes beyond FREE_MS."""
        return max(self.ms_coupled, FREE_MS) - max(self.ms_alone, FREE_MS)


def coupling_cost(point: MapPoint, settings: VolumeRatioSettings, pi: PiSettings) -> CouplingCost:
    """What the volume-ratio loop's present settings cost the capacity loop at a point."""
    return FollowedLoop(point, settings).cost(settings.filter_ms, pi)


@dataclass(frozen=True, slots=True)
class SpeedLimit:
    """The volume-ratio loop's speed for which coupling costs no margin, with the figures behind it."""

    filter_ms: int
    fastest_pct: float  # at an interval
    worst: CouplingCost  # at this filter
    bandwidth_ratio: float  # the capacity loop's frequency of −180° over the filter's corner, least over the map
    held: bool  # False: even the slowest filter costs more than COST_MS somewhere

    def text(self) -> str:
        """The rule in words."""
        where = f"at worst {self.worst.cost:+.3f}, {self.worst.point.where()}"
        rate = f"demand at most {self.fastest_pct:.2g} % an interval"
        if not self.held:
            return f"even a volume-ratio filter of {self.filter_ms} ms raises the capacity loop's Ms ({where})"
        if self.filter_ms == 0:
            return f"the volume-ratio loop needs no filter for the capacity loop's sake; {rate}; rise of Ms {where}"
        return (
            f"volume-ratio filter at least {self.filter_ms} ms, its corner {self.bandwidth_ratio:.1f} times below the "
            f"frequency of −180° of the capacity loop; {rate}; rise of Ms {where}"
        )


def least_filter_ms(
    points: Sequence[MapPoint],
    settings: VolumeRatioSettings,
    pi_of: GainOf,
    cost_ms: float = COST_MS,
) -> SpeedLimit:
    """The shortest filter from FILTERS_MS at which, and above which, no point's Ms rises by more than `cost_ms`.

    `fastest_pct` comes from the drives: while both slides move they share the oil, so the demand may move no faster than
    the slide itself does at its shared speed; a faster demand keeps the drive on without a pause, and the capacity slide
    at its shared speed for as long.  Raises ValueError where the capacity loop is unstable by itself.
    """
    if not points:
        raise ValueError("coupling: no points")
    loops = [FollowedLoop(point, settings) for point in points]
    gains = [pi_of(point) for point in points]

    def worst_at(filter_ms: int) -> CouplingCost:
        return max((loop.cost(filter_ms, pi) for loop, pi in zip(loops, gains, strict=True)), key=lambda c: c.cost)

    filter_ms = FILTERS_MS[-1]
    worst = worst_at(filter_ms)
    held = worst.cost <= cost_ms
    for shorter_ms in reversed(FILTERS_MS[:-1]) if held else ():
        found = worst_at(shorter_ms)
        if found.cost > cost_ms:
            break
        filter_ms, worst = shorter_ms, found
    drive = points[0].steady.parameters.plant.volume_ratio_drive
    stroke_s = 0.001 * max(drive.load_stroke_ms, drive.unload_stroke_ms) / drive.shared_flow_frac
    fastest_pct = min(settings.fastest_pct, 100.0 * 0.001 * settings.interval_ms / stroke_s)
    ratio = min(point.band_rad_s[1] for point in points) * 0.001 * filter_ms
    return SpeedLimit(filter_ms, fastest_pct, worst, ratio, held)
