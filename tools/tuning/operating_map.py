"""The operating map: what the capacity loop meets at every travel, pressure ratio, fill and suction temperature.

At each point the plant is settled (`running_state` and Newton's method), differentiated for a falling and a rising
suction pressure (`linearisation`), and given the drive, the transmitter, the scan and the measurement's filter.  The load
is what the machine takes there.  The frequency response of that, exact dead time included, is reduced to a LinearProcess
by least squares of ln(fit/response) over the band that matters for the loop: from a fifth of the frequency at which the
phase reaches −180° up to that frequency, where the sensitivity peak sits.  Slower parts of the plant are the integral's
business; where an integrator fits as well as a lag in that band, it is called one.

A direct part (the strainer's pressure drop moves with the slide at once) and the boiling bulk make no exact first order:
`fit_error_frac` says by how much, and `loop_response` is the unreduced truth, which margins are to be taken from.

The drive.  A slide moves at constant speed for as long as its travel takes, and the positioner waits between two pulses:
an inner loop that is no linear element.  For small moves it is taken as a pure dead time: one scan, the solenoid's own,
half of a move's time (the delay of a ramp's middle) and half of pulse and pause (the mean wait for the next one).  The
limit cycle that its neutral zone makes is `limit_cycles`' business.  Processes here hold scan and filter already.

Results are an engineering aid on a simulated plant, and no safety system.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from controller.capacity_control import CapacitySettings
from plant_model.derived import Parameters
from plant_model.properties import saturation_pressure_pa
from plant_model.slide_actuator import drive_speed_frac_s
from tools.tuning.linear_process import LinearProcess
from tools.tuning.linearisation import (
    Complex,
    Direction,
    Float,
    LinearPlant,
    PointError,
    SteadyPoint,
    linear_plant,
    replace_fill,
    steady_point,
)

POINTS_AT_MOST = 200
BAND = (0.2, 1.0)  # of the frequency of −180°
INTEGRATING_WITHIN = 0.02  # so little more error, and the integrator is taken
FIT_ERROR_FRAC = 0.10  # a single lag that misses more than this is given a second one
_FREQUENCIES = 40
_LOWEST_RAD_S, _HIGHEST_RAD_S = 1.0e-3, 30.0


@dataclass(frozen=True, slots=True)
class Grid:
    """Axes of the map.  Pressures at the flange and in the condenser; fill as the level set point of the vessel."""

    capacity_travel_frac: tuple[float, ...] = (0.05, 0.15, 0.30, 0.45, 0.60, 0.80, 0.97)
    pressure_ratio: tuple[float, ...] = (2.8, 3.7, 4.6, 5.5)
    level_frac: tuple[float, ...] = (0.30, 0.40, 0.55)
    evaporating_k: tuple[float, ...] = (255.15, 263.15)

    def __len__(self) -> int:
        """Points, directions not counted."""
        return (
            len(self.capacity_travel_frac) * len(self.pressure_ratio) * len(self.level_frac) * len(self.evaporating_k)
        )

    def points(self) -> Iterator[tuple[float, float, float, float]]:
        """(evaporating, level, pressure ratio, travel), travel running fastest."""
        return product(self.evaporating_k, self.level_frac, self.pressure_ratio, self.capacity_travel_frac)


@dataclass(frozen=True, slots=True)
class DriveDelay:
    """Where the dead time of drive and cabinet comes from, s; `move_pct` is the move that it is reckoned for."""

    scan_s: float
    solenoid_s: float
    half_move_s: float
    positioner_wait_s: float
    stroke_s: float  # full stroke at this point's pressures
    move_pct: float

    @property
    def total_s(self) -> float:
        """All of it."""
        return self.scan_s + self.solenoid_s + self.half_move_s + self.positioner_wait_s


@dataclass(frozen=True)
class MapPoint:
    """One point and direction of the map."""

    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    direction: Direction
    suction_pa: float
    discharge_pa: float
    volume_ratio_travel_frac: float
    load_w: float
    static_gain_kpa_pct: float  # when all has settled, negative; the loop never sees it
    process: LinearProcess  # travel in % to measured and filtered pressure in kPa, positive gain
    fit_error_frac: float  # greatest |fit/response − 1| over the band
    band_rad_s: tuple[float, float]
    drive: DriveDelay
    filter_s: float
    plant: LinearPlant = field(repr=False)
    steady: SteadyPoint = field(repr=False)
    measured: bool = False  # `process` was identified on the plant and stands for the model's response as well

    def loop_response(self, w_rad_s: Float) -> Complex:
        """Unreduced response of travel demand to filtered pressure, in the sign of `process`, kPa per %."""
        if self.measured:
            return self.process.response(w_rad_s)
        return _loop_response(self.plant, self.drive.total_s, self.filter_s, w_rad_s)

    def where(self) -> str:
        """The point in words."""
        return (
            f"travel {100.0 * self.capacity_travel_frac:.0f} %, pressure ratio {self.pressure_ratio:.2g}, level "
            f"{100.0 * self.level_frac:.0f} %, evaporating {self.evaporating_k - 273.15:.0f} °C, {self.direction} pressure"
        )


@dataclass(frozen=True, slots=True)
class Skipped:
    """A point of the grid at which the plant cannot stand, and why."""

    capacity_travel_frac: float
    pressure_ratio: float
    level_frac: float
    evaporating_k: float
    reason: str


@dataclass(frozen=True)
class OperatingMap:
    """All points, in the grid's order, falling before rising."""

    points: tuple[MapPoint, ...]
    skipped: tuple[Skipped, ...]

    def worst(self, figure: Callable[[MapPoint], float]) -> MapPoint:
        """The point at which a figure is greatest; the first of equals."""
        return max(self.points, key=figure)


def drive_delay(point: SteadyPoint, settings: CapacitySettings, direction: Direction, scan_ms: int = 100) -> DriveDelay:
    """The drive's delay for a move of the neutral zone or the shortest pulse, whichever is longer.

    Falling pressure is loading.  Raises PointError where the drive is stalled.
    """
    p, drive = point.parameters, settings.drive
    state, _ = point.copy()
    sign = 1 if direction is Direction.FALLING else -1
    state.capacity.direction, state.capacity.velocity_frac_s = sign, 0.0
    speed_frac_s = drive_speed_frac_s(p, state, p.plant.capacity_drive, p.derived.capacity_drive, state.capacity)
    if speed_frac_s > 0.0:  # it breaks away; the speed is that of a moving slide
        state.capacity.velocity_frac_s = sign * speed_frac_s
        speed_frac_s = drive_speed_frac_s(p, state, p.plant.capacity_drive, p.derived.capacity_drive, state.capacity)
    if speed_frac_s <= 0.0:
        raise PointError(
            "the capacity slide's drive is stalled: too little oil pressure against gas force and friction"
        )
    shortest_pct = 100.0 * speed_frac_s * 0.001 * (drive.minimum_pulse_ms + p.plant.capacity_drive.overrun_ms)
    move_pct = max(drive.neutral_zone_pct, shortest_pct)
    move_s = 0.01 * move_pct / speed_frac_s
    return DriveDelay(
        scan_s=0.001 * scan_ms,
        solenoid_s=0.001 * p.plant.capacity_drive.dead_time_ms,
        half_move_s=0.5 * move_s,
        positioner_wait_s=0.5 * (move_s + 0.001 * drive.pause_ms),
        stroke_s=1.0 / speed_frac_s,
        move_pct=move_pct,
    )


def _loop_response(plant: LinearPlant, dead_time_s: float, filter_s: float, w_rad_s: Float) -> Complex:
    s = 1j * np.asarray(w_rad_s, dtype=np.float64)
    value = -plant.response(w_rad_s)[0, 0] * np.exp(-dead_time_s * s) / (filter_s * s + 1.0)
    return np.asarray(value, dtype=np.complex128)


def phase_crossover_rad_s(w_rad_s: Float, response: Complex) -> float:
    """The lowest frequency at which the unwrapped phase reaches −180°.  Raises PointError if none does."""
    phase = np.unwrap(np.angle(response))
    if phase[0] > 0.5 * np.pi:
        phase = phase - 2.0 * np.pi
    below = np.flatnonzero(phase <= -np.pi)
    if len(below) == 0 or below[0] == 0:
        raise PointError("the loop's phase does not cross −180° where it was looked for")
    k = int(below[0])
    share = (-np.pi - phase[k - 1]) / (phase[k] - phase[k - 1])
    return float(np.exp(np.log(w_rad_s[k - 1]) + share * (np.log(w_rad_s[k]) - np.log(w_rad_s[k - 1]))))


def reduce_response(w_rad_s: Float, response: Complex, dead_time_s: float) -> tuple[LinearProcess, float]:
    """The LinearProcess nearest to a response, with `dead_time_s` as the first guess; and max |fit/response − 1|.

    Least squares of ln(fit/response): one lag; two where one misses by more than FIT_ERROR_FRAC and two do better; an
    integrator in place of the long lag where it misses no more than INTEGRATING_WITHIN on top.
    """
    w = np.asarray(w_rad_s, dtype=np.float64)
    process = _fitted(w, response, dead_time_s, False, False)
    error = _fit_error_frac(process, w, response)
    second = False
    if error > FIT_ERROR_FRAC:
        richer = _fitted(w, response, dead_time_s, False, True)
        if _fit_error_frac(richer, w, response) < 0.8 * error:
            process, second = richer, True
            error = _fit_error_frac(richer, w, response)
    if process.lags_s[0] * w[0] > 1.0:
        straight = _fitted(w, response, dead_time_s, True, second)
        if _fit_error_frac(straight, w, response) <= error + INTEGRATING_WITHIN:
            process, error = straight, _fit_error_frac(straight, w, response)
    return process, error


def _fit_error_frac(process: LinearProcess, w: Float, response: Complex) -> float:
    return float(np.abs(process.response(w) / response - 1.0).max())


def _fitted(w: Float, response: Complex, dead_time_s: float, integrating: bool, second_lag: bool) -> LinearProcess:
    """slope·e^(−L·s)/((s + corner)(T2·s + 1)) by least squares in the logarithms of slope, L, corner and T2."""
    from scipy.optimize import least_squares

    slope = float(abs(response[-1]) * w[-1])
    guess = [slope, max(dead_time_s, 0.05)]
    low, high = [slope * 1.0e-5, 1.0e-3], [slope * 1.0e5, 10.0 / w[-1]]
    if not integrating:
        guess, low, high = [*guess, 0.3 * w[0]], [*low, 1.0e-4 * w[0]], [*high, 10.0 * w[-1]]
    if second_lag:
        guess, low, high = [*guess, 0.3 / w[-1]], [*low, 1.0e-3 / w[-1]], [*high, 1.0 / w[0]]

    def process_of(x: Float) -> LinearProcess:
        gain, dead_s, *rest = (float(v) for v in np.exp(x))
        if integrating:
            return LinearProcess(gain, True, dead_s, tuple(rest))
        return LinearProcess(gain / rest[0], False, dead_s, (1.0 / rest[0], *rest[1:]))

    def misses(x: Float) -> Float:
        ratio = process_of(x).response(w) / response
        return np.concatenate([np.log(np.abs(ratio)), np.angle(ratio)])

    found = least_squares(misses, np.log(guess), bounds=(np.log(low), np.log(high)), xtol=1.0e-10, ftol=1.0e-10)
    return process_of(np.asarray(found.x, dtype=np.float64))


def map_point(steady: SteadyPoint, direction: Direction, settings: CapacitySettings, scan_ms: int = 100) -> MapPoint:
    """Linearise and reduce one settled point."""
    plant = linear_plant(steady, direction)
    drive = drive_delay(steady, settings, direction, scan_ms)
    filter_s = 0.001 * settings.measurement_filter_ms
    everywhere = np.geomspace(_LOWEST_RAD_S, _HIGHEST_RAD_S, 400)
    w180 = phase_crossover_rad_s(everywhere, _loop_response(plant, drive.total_s, filter_s, everywhere))
    band = np.geomspace(BAND[0] * w180, BAND[1] * w180, _FREQUENCIES)
    process, error = reduce_response(band, _loop_response(plant, drive.total_s, filter_s, band), drive.total_s)
    s = steady.state
    return MapPoint(
        capacity_travel_frac=s.capacity.travel_frac,
        pressure_ratio=steady.pressure_ratio,
        level_frac=steady.parameters.plant.suction_vessel.level_set_frac,
        evaporating_k=s.vessel.zone.saturation.t_k,
        direction=direction,
        suction_pa=s.suction.pressure_pa,
        discharge_pa=s.discharge.volume.pressure_pa,
        volume_ratio_travel_frac=s.volume_ratio.travel_frac,
        load_w=steady.load_w,
        static_gain_kpa_pct=float(plant.gains()[0, 0]),
        process=process,
        fit_error_frac=error,
        band_rad_s=(float(band[0]), float(band[-1])),
        drive=drive,
        filter_s=filter_s,
        plant=plant,
        steady=steady,
    )


def operating_map(
    parameters: Parameters,
    settings: CapacitySettings,
    grid: Grid | None = None,
    scan_ms: int = 100,
    progress: Callable[[float], None] | None = None,
) -> OperatingMap:
    """Every point of the grid, both directions.  A point where the plant cannot stand is skipped with its reason.

    Raises ValueError for a grid that is empty or larger than POINTS_AT_MOST, and PointError when no point is left.
    """
    grid = grid or Grid()
    if not 0 < len(grid) <= POINTS_AT_MOST:
        raise ValueError(f"operating map of {len(grid)} points: must have 1..{POINTS_AT_MOST}; thin out an axis")
    points: list[MapPoint] = []
    skipped: list[Skipped] = []
    for k, (evaporating_k, level_frac, ratio, travel_frac) in enumerate(grid.points()):
        p = replace_fill(parameters, level_frac)
        try:
            suction_pa = saturation_pressure_pa(parameters.refrigerant, evaporating_k)
            steady = steady_point(p, travel_frac, suction_pa, ratio * suction_pa)
            found = [map_point(steady, direction, settings, scan_ms) for direction in Direction]
        except ValueError as error:  # PointError, StartError, EnvelopeError: all say what stands in the way
            skipped.append(Skipped(travel_frac, ratio, level_frac, evaporating_k, str(error)))
        else:
            points += found
        if progress:
            progress((k + 1) / len(grid))
    if not points:
        raise PointError(f"the plant stands at no point of the grid; the first says: {skipped[0].reason}")
    return OperatingMap(tuple(points), tuple(skipped))
