"""What to do on site, in numbers: two bumps with the curve to expect, stroke times, and where to stop.

The point is half travel at the sheet's set point, at the discharge pressure that belongs to the plant file's wet bulb.
Curves are those of the linearised plant, answering to the slide as its drive moves it.  The band is the root of the sum
of squares of what each value of [uncertainty] does on its own, so it holds with 95 % if the file's ± do, the model is
right and nobody touches the load: the load's wandering is not in it.

A bump is as large as the room to the nearest inhibit allows, and ends before half of that room is used.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scenarios.errors import InputRefused, Problem
from tools.tuning.linear_process import LinearProcess

Float = NDArray[np.float64]

TRAVEL_FRAC = 0.5
BUMP_PCT = 5.0
LEAST_BUMP_PCT = 1.5  # less drowns in a positioner's dither; common practice, no source
LONGEST_S = 180.0  # common practice, no source
SHORTEST_S = 30.0  # a bump that has to end before this tells nothing; common practice, no source
SHARE_OF_ROOM = 0.5  # of the way to the nearest hold
STEP_S = 0.1


@dataclass(frozen=True)
class Bump:
    """One bump: travel in %, times in s from the drive's going on, pressures in kPa absolute."""

    loading: bool
    from_pct: float
    to_pct: float
    drive_on_s: float
    end_s: float  # back again after this
    stop_kpa: float  # back at once if the pressure gets here
    process: LinearProcess  # with drive and filter, as the map has it
    time_s: Float
    expected_kpa: Float
    low_kpa: Float
    high_kpa: Float

    def at(self, time_s: float) -> tuple[float, float, float]:
        """Expected, low and high pressure at a time."""
        return tuple(float(np.interp(time_s, self.time_s, y)) for y in (self.expected_kpa, self.low_kpa, self.high_kpa))  # type: ignore[return-value]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A stroke to time: s for the whole way at the pressures of the point, and for the 40 % that is timed in service."""

    slide: str
    way: str
    full_s: float
    spread_s: float
    part_s: float


@dataclass(frozen=True, slots=True)
class Line:
    """A limit: what, its value and what happens there."""

    name: str
    value: str
    means: str


@dataclass(frozen=True)
class SitePlan:
    """All that the sheet says."""

    plant_title: str
    plant_file: str
    sheet_file: str
    controller: str
    stamp: str
    travel_pct: float
    volume_ratio_pct: float
    suction_kpa: float
    discharge_kpa: float
    load_kw: float
    suction_span_kpa: tuple[float, float]
    noise_kpa: float
    bumps: tuple[Bump, ...]
    strokes: tuple[Stroke, ...]
    limits: tuple[Line, ...]
    uncertain: tuple[str, ...]  # what the band is made of, in words


def site_plan(plant_path: Path, sheet_path: Path) -> SitePlan:
    """Work out the plan.  InputRefused where plant or sheet are wrong, or where there is no room for a bump."""
    from plant_model.derived import derive
    from plant_model.properties import EnvelopeError
    from scenarios.limits import limits_of
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known
    from scenarios.settings_sheet import load_sheet, sheet_controller
    from tools.tuning.linearisation import PointError

    k = known()
    plant = load_plant(
        plant_path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant
    )
    controller = sheet_controller(sheet_path)
    if controller not in k.settings_types:
        text = f'the sheet is for "{controller}", which is no shipped controller: its limits are not known here'
        raise InputRefused(Problem(text, file=str(sheet_path)))
    check = k.settings_cross_checks.get(controller)
    sheet: Any = load_sheet(sheet_path, controller, k.settings_types[controller], plant.site, check)
    limits, common = limits_of(sheet.settings), sheet.settings.common
    assert limits is not None
    suction_pa = 1e3 * common.capacity.suction_set_point_kpa_abs
    try:
        parameters = derive(plant.parameters, plant.refrigerant)
        point = _balanced(parameters, suction_pa)
        rooms = _rooms(limits, suction_pa / 1e3, common)
        bumps = _bumps(plant, point, common.capacity, rooms)
    except (PointError, EnvelopeError) as error:
        text = f"the plant does not stand at half travel and the set point of {suction_pa / 1e3:.0f} kPa: {error}"
        raise InputRefused(Problem(text, file=str(plant_path))) from error
    span = plant.parameters.instruments.suction_pressure
    state = point.state
    return SitePlan(
        plant.title, str(plant_path), str(sheet_path), controller, sheet.stamp, 100.0 * TRAVEL_FRAC,
        100.0 * state.volume_ratio.travel_frac, state.suction.pressure_pa / 1e3,
        state.discharge.volume.pressure_pa / 1e3, point.load_w / 1e3, (span.low_pa / 1e3, span.high_pa / 1e3),
        span.noise_frac * (span.high_pa - span.low_pa) / 1e3, bumps, _strokes(plant, point), _limit_lines(limits),
        tuple(_words(plant)),
    )  # fmt: skip


def _balanced(parameters: Any, suction_pa: float) -> Any:
    """The steady point whose wet bulb is the plant file's, by bisection of the discharge pressure."""
    from plant_model.properties import saturation_pressure_pa
    from tools.tuning.linearisation import PointError, steady_point

    wet_bulb_k = parameters.plant.discharge_side.wet_bulb_k
    low_k, high_k = wet_bulb_k + 0.5, wet_bulb_k + 40.0
    found, reason = None, PointError("no discharge pressure belongs to the wet bulb")
    for _ in range(9):
        middle_k = 0.5 * (low_k + high_k)
        discharge_pa = saturation_pressure_pa(parameters.refrigerant, middle_k)
        try:
            point = steady_point(parameters, TRAVEL_FRAC, suction_pa, discharge_pa)
        except PointError as error:  # a minimum-head valve, or a ratio too small to stand: condense warmer
            low_k, reason = middle_k, error
            continue
        found = point
        if point.disturbances.wet_bulb_k > wet_bulb_k:
            high_k = middle_k
        else:
            low_k = middle_k
    if found is None:
        raise reason
    return found


def _rooms(limits: Any, suction_kpa: float, common: Any) -> dict[bool, float]:
    """How far the pressure may go, kPa, loading (down) and unloading (up), before the nearest limit of the sheet."""
    holds = [v / 1e3 for v in (limits.suction_hold_pa, limits.suction_unload_pa) if v is not None]
    stops = [t.limit / 1e3 for t in limits.trips if t.column == "suction_pressure_measured_pa"]
    down = suction_kpa - max([*holds, *stops], default=0.0)
    return {True: down, False: 0.15 * suction_kpa}  # nothing limits a rise but the rooms: 4 K at −10 °C


def _bumps(plant: Any, point: Any, settings: Any, rooms: dict[bool, float]) -> tuple[Bump, ...]:
    return tuple(_bump(plant, point, settings, loading, rooms[loading]) for loading in (True, False))


def _bump(plant: Any, point: Any, settings: Any, loading: bool, room_kpa: float) -> Bump:
    from tools.tuning.linearisation import Direction
    from tools.tuning.operating_map import map_point

    direction = Direction.FALLING if loading else Direction.RISING
    mapped = map_point(point, direction, settings)
    sign = 1.0 if loading else -1.0
    time_s = np.arange(0.0, LONGEST_S + 0.5 * STEP_S, STEP_S)
    unit = _trace(point, mapped, time_s, sign * BUMP_PCT)
    effects = []
    for _, other in _others(plant):
        variant = _at(other, plant.refrigerant, point)
        effects.append(_trace(variant, map_point(variant, direction, settings), time_s, sign * BUMP_PCT) - unit)
    half = np.sqrt(np.sum(np.square(effects), axis=0)) if effects else np.zeros_like(unit)
    allowed = SHARE_OF_ROOM * room_kpa
    least_s = int(SHORTEST_S / STEP_S)
    size = min(1.0, allowed / max(1e-9, float(np.max(np.abs(unit[:least_s]) + half[:least_s]))))
    bump_pct = np.floor(10.0 * size * BUMP_PCT) / 10.0
    if bump_pct < LEAST_BUMP_PCT:
        text = (
            f"no room for a bump {'down' if loading else 'up'}: {room_kpa:.0f} kPa to the nearest limit, and "
            f"{LEAST_BUMP_PCT:g} % of travel may use more than half of it in half a minute"
        )
        raise InputRefused(Problem(text, way_out="test at another set point, or see the limits in the settings sheet"))
    scale = bump_pct / BUMP_PCT
    expected, half = unit * scale, half * scale
    beyond = np.flatnonzero(np.abs(expected) + half > allowed)
    end_s = float(time_s[beyond[0]]) if len(beyond) else LONGEST_S
    end_s = max(SHORTEST_S, 5.0 * np.floor(end_s / 5.0))
    drive = plant.parameters.capacity_drive  # moves late, and runs on a little
    on_s = 0.01 * bump_pct * mapped.drive.stroke_s + 0.001 * (drive.dead_time_ms - drive.overrun_ms)
    at_kpa = point.state.suction.pressure_pa / 1e3
    return Bump(
        loading, 100.0 * TRAVEL_FRAC, 100.0 * TRAVEL_FRAC + sign * bump_pct, on_s,
        end_s, at_kpa - sign * allowed, mapped.process, time_s, at_kpa + expected, at_kpa + expected - half,
        at_kpa + expected + half,
    )  # fmt: skip


def _trace(point: Any, mapped: Any, time_s: Float, bump_pct: float) -> Float:
    """Pressure from rest, kPa, for a bump made at the drive's speed after its dead time."""
    from tools.tuning.bump_test import linear_trace

    speed_pct_s = 100.0 / mapped.drive.stroke_s
    dead_s = 0.001 * point.parameters.plant.capacity_drive.dead_time_ms
    travel = np.clip((time_s - dead_s) * speed_pct_s, 0.0, abs(bump_pct)) * np.sign(bump_pct)
    return linear_trace(mapped.plant, travel, STEP_S)


def _others(plant: Any) -> Iterator[tuple[Any, Any]]:
    """The plant with each uncertain value at its upper end, one at a time; at the lower where the upper is not allowed."""
    from plant_model.parameters import cross_check
    from scenarios.plant_draws import uncertain_values, with_value

    for value in uncertain_values(plant):
        for sign in (1.0, -1.0):
            moved = value.nominal + sign * value.half_width
            inside = (value.rule.low is None or moved >= value.rule.low) and (
                value.rule.high is None or moved <= value.rule.high
            )
            other = with_value(plant.parameters, value.path, round(moved) if value.rule.kind is int else moved)
            if inside and not cross_check(other):
                yield value, other
                break


def _at(parameters: Any, refrigerant: str, point: Any) -> Any:
    from plant_model.derived import derive
    from tools.tuning.linearisation import steady_point

    s = point.state
    return steady_point(
        derive(parameters, refrigerant), TRAVEL_FRAC, s.suction.pressure_pa, s.discharge.volume.pressure_pa,
        s.volume_ratio.travel_frac,
    )  # fmt: skip


def _strokes(plant: Any, point: Any) -> tuple[Stroke, ...]:
    from plant_model.slide_actuator import drive_speed_frac_s

    p, found = point.parameters, []
    for slide, name in (("capacity", "capacity_drive"), ("volume_ratio", "volume_ratio_drive")):
        for sign, way in ((1, "load"), (-1, "unload")):
            state, _ = point.copy()
            drive, derived, here = getattr(p.plant, name), getattr(p.derived, name), getattr(state, slide)
            here.direction, here.velocity_frac_s = sign, sign * 0.01  # moving: stiction is over
            speed = drive_speed_frac_s(p, state, drive, derived, here)
            word = {"capacity": way, "volume_ratio": "increase" if sign > 0 else "decrease"}[slide]
            if speed <= 0.0:
                found.append(Stroke(slide.replace("_", "-"), word, np.inf, 0.0, np.inf))
                continue
            nominal_ms = getattr(drive, f"{way}_stroke_ms")
            spread_ms = plant.uncertainty.get(f"{name}.{way}_stroke", 0.0)
            full_s = 1.0 / speed
            found.append(Stroke(slide.replace("_", "-"), word, full_s, full_s * spread_ms / nominal_ms, 0.4 * full_s))
    return tuple(found)


def _limit_lines(limits: Any) -> tuple[Line, ...]:
    lines = []
    for name, value, means in (
        ("suction pressure, hold", limits.suction_hold_pa, "the cabinet stops loading"),
        ("suction pressure, unload", limits.suction_unload_pa, "the cabinet unloads"),
        ("discharge pressure, hold", limits.discharge_hold_pa, "the cabinet stops loading"),
        ("discharge pressure, unload", limits.discharge_unload_pa, "the cabinet unloads"),
    ):
        if value is not None:
            lines.append(Line(name, f"{value / 1e3:.0f} kPa", means))
    for trip in limits.trips:
        shown = trip.limit * trip.factor - (273.15 if trip.unit == "K" else 0.0)
        unit = "°C" if trip.unit == "K" else trip.unit
        word = trip.cause.name.lower().replace("_", " ")
        lines.append(Line(word, f"{shown:.0f} {unit}", f"TRIP after {trip.delay_ms / 1000.0:g} s"))
    return tuple(lines)


_SHOWN = {"W": "kW", "W/K": "kW/K", "Pa": "kPa", "J/K": "MJ/K", "ms": "s", "1/s": "1/s"}


def _words(plant: Any) -> Iterator[str]:
    from scenarios.units import find_unit

    for value, _ in _others(plant):
        unit = value.rule.unit
        shown = _SHOWN.get(unit, unit)
        factor = find_unit(unit).factor / find_unit(shown).factor
        nominal = value.nominal - 273.15 if unit == "K" and value.rule.of == "absolute" else value.nominal * factor
        word = "" if shown == "1" else f" {'°C' if unit == 'K' and value.rule.of == 'absolute' else shown}"
        yield f"{value.key} {nominal:.4g}{word} ± {value.half_width * factor:.3g}{' K' if word == ' °C' else word}"
