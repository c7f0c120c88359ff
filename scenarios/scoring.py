"""Scores of a run: each defined once, a number with a unit and a direction.  Weights belong to the user.

Window.  Pressure stability, slide wear and energy are taken from the end of the first pull-down (the first row in
AUTOMATIC with saturated suction within ± 1 K of the set point) to the last row of the run, whatever happens between;
starts and safety are taken over the whole run.  A stop in it counts as the plant sees it: it is no less warm for the
reason of the stop, and a law that trips or idles must not score by it.  How long the stops were and the deviation in
automatic alone stand beside.  Deviations are the true suction pressure at the
flange (not the noisy reading) less the working set point that the controller reports.  States and drives are exact
(events); pressures and travel are seen at the logged rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from controller.process_image import Inhibit, Mode, Trip
from scenarios.limits import Limits, TripLimit
from scenarios.regulation import HARRIS_DELAY_SAMPLES, HARRIS_SAMPLE_S, harris_index
from scenarios.score_records import (
    CYCLING,
    ENERGY,
    GROUPS,
    HIGHER,
    LOWER,
    NONE,
    PRESSURE,
    SAFETY,
    Comparison,
    Score,
    Scores,
    compare,
    energy_at_equal_cooling_kwh,
    from_json,
    read_scores,
)
from scenarios.score_view import BAND_K, Floats, View
from scenarios.steps import steps

if TYPE_CHECKING:
    from scenarios.trace import Trace

__all__ = [
    "DEFINITIONS",
    "GROUPS",
    "Comparison",
    "Definition",
    "Score",
    "Scores",
    "compare",
    "energy_at_equal_cooling_kwh",
    "from_json",
    "least_margin",
    "read_scores",
    "score",
]

MINIMUM_LOAD_BAND_FRAC = 0.02  # travel this near above minimum load still is minimum load; common practice, no source
EXPONENT = 1.3  # effective isentropic exponent of ammonia, fair within 1.5 % (reference §1, computed)
KWH_J = 3.6e6

Compute = Callable[[View], "float | None"]


@dataclass(frozen=True, slots=True)
class Definition:
    """A score before it has a value.  `needs` is "window", "set point" or "run" (nothing)."""

    name: str
    label: str
    group: str
    unit: str
    direction: str
    formula: str
    compute: Compute
    needs: str = "window"

    def of(self, view: View) -> Score:
        """The score of a run; a value that is no finite number is none."""
        able = {"window": view.valid, "set point": view.valid and view.has_set_point, "run": True}[self.needs]
        value = self.compute(view) if able else None
        if value is not None and not np.isfinite(value):
            value = None
        return Score(
            self.name, self.label, self.group, self.unit, self.direction, self.formula,
            None if value is None else float(value) + 0.0,
        )  # fmt: skip


def _mean(view: View, data: Floats) -> float:
    return float(np.sum(data * view.seconds) / np.sum(view.seconds))


def _rms(view: View, data: Floats) -> float:
    return float(np.sqrt(_mean(view, data * data)))


def _rms_automatic(view: View) -> float | None:
    seconds = view.seconds[view.automatic]
    total = float(np.sum(seconds))
    return float(np.sqrt(np.sum(view.deviation_k[view.automatic] ** 2 * seconds) / total)) if total else None


def _harris(view: View) -> float | None:
    """Of the reading, because its noise is what the loop must live with."""
    times_ms = view["time_ms"]
    every = np.arange(times_ms[0], view.end_ms, 1000.0 * HARRIS_SAMPLE_S)
    deviation_pa = view["suction_pressure_measured_pa"] - view.set_point_pa
    return harris_index(np.interp(every, times_ms, deviation_pa), HARRIS_DELAY_SAMPLES)


def _reversals(view: View, up: str, down: str) -> float:
    directions = [direction for _, direction in view.operations(up, down)]
    return sum(a != b for a, b in pairwise(directions)) / view.hours


def _travel(view: View, column: str) -> float:
    return float(np.sum(np.abs(np.diff(view[column])))) / view.hours


def _shortest(view: View, kind: str) -> float | None:
    run = view.steps("motor_run")
    rises, falls = run.rises_ms().tolist(), run.falls_ms().tolist()
    if kind == "start":
        gaps = [b - a for a, b in pairwise(rises)]
    elif kind == "off":
        gaps = [min((r for r in rises if r > f), default=f) - f for f in falls]
    else:
        gaps = [min((f for f in falls if f > r), default=r) - r for r in rises]
    whole = [gap for gap in gaps if gap > 0]
    return min(whole) / 1000.0 if whole else None


def _start_margin(view: View) -> float | None:
    shortest, limit = _shortest(view, "start"), view.limits.start_to_start_ms
    return None if shortest is None or limit is None else shortest - limit / 1000.0


def _minimum_load(view: View) -> float | None:
    automatic = view["mode"] == Mode.AUTOMATIC  # as reported: minimum load is a demand
    total = float(np.sum(view.seconds[automatic]))
    limit = (view.limits.minimum_demand_frac or 0.0) + MINIMUM_LOAD_BAND_FRAC
    low = automatic & (view["capacity_travel_frac"] <= limit)
    return 100.0 * float(np.sum(view.seconds[low])) / total if total else None


def _total_kwh(view: View) -> float:
    return (view.gained("motor_energy_j") + view.gained("auxiliary_energy_j")) / KWH_J


def _per_cooling(view: View) -> float | None:
    """Of this machine alone: where others share the header, cooling is divided as the gas is."""
    own, others = view.gained("compressor_mass_kg"), view.gained("other_mass_kg")
    if others > 0.0 and own + others <= 0.0:  # gas went back through the machine at rest: no share of its own
        return None
    share = own / (own + others) if others > 0.0 else 1.0
    cooling = view.gained("cooling_energy_j") / KWH_J * share
    return _total_kwh(view) / cooling if cooling > 0.0 else None


def _low_suction_kwh(view: View) -> float:
    power = (EXPONENT - 1.0) / EXPONENT

    def work(suction_pa: Floats, suction_k: Floats) -> Floats:
        ratio = np.maximum(view["discharge_pressure_pa"] / np.maximum(suction_pa, 1.0), 1.0)
        return suction_k * (ratio**power - 1.0)

    now, wanted = work(view["suction_pressure_pa"], view.saturated_k), work(view.set_point_pa, view.set_point_k)
    low = (view.deviation_pa < 0.0) & (now > 0.0) & (wanted > 0.0)
    lost = np.where(low, 1.0 - wanted / np.where(now > 0.0, now, 1.0), 0.0)
    return float(np.sum(view["motor_power_w"] * np.maximum(lost, 0.0) * view.seconds)) / KWH_J


def _alarms(view: View) -> float | None:
    word, count = view.steps("alarm_word"), 0
    for before, after in pairwise(word.values.tolist()):
        count += (after & ~before).bit_count()
    return count / view.run_hours if view.run_hours else None


def _inhibited_min(view: View, ending: str) -> float:
    wanted = np.array([int(member) for member in Inhibit if member.name.endswith(ending)], dtype=np.int64)
    chosen = view.steps("inhibit").where(wanted)
    return sum(end - start for start, end in chosen.spans_ms()) / 60_000.0


def least_margin(trace: Trace, limit: TripLimit) -> float | None:
    """Least distance to a trip while the motor runs, in SI units; negative beyond it.  None if it never ran.

    The stretch after each start in which the trip is blocked is left out.
    """
    running = trace["motor_running"] != 0.0
    for start in steps(trace, "motor_run").rises_ms() if limit.bypass_ms else ():
        running &= ~((trace["time_ms"] >= start) & (trace["time_ms"] < start + limit.bypass_ms))
    if not running.any():
        return None
    return float(np.min(limit.direction * (limit.limit - trace[limit.column][running])))


def _margin(cause: Trip, share: bool) -> Compute:
    def compute(view: View) -> float | None:
        limit = view.limits.trip(cause)
        margin = least_margin(view.trace, limit) if limit else None
        if limit is None or margin is None:
            return None
        return 100.0 * margin / limit.span if share else margin * limit.factor

    return compute


def _words(cause: Trip) -> str:
    return cause.name.lower().replace("_", " ")


_CAPACITY, _RATIO = ("capacity_load", "capacity_unload"), ("volume_ratio_increase", "volume_ratio_decrease")
_MARGINS = (
    (Trip.HIGH_DISCHARGE_PRESSURE, "kPa"),
    (Trip.LOW_SUCTION_PRESSURE, "kPa"),
    (Trip.HIGH_DISCHARGE_TEMPERATURE, "K"),
    (Trip.MOTOR_OVERLOAD, "A"),
)

# fmt: off
DEFINITIONS: tuple[Definition, ...] = (
    Definition("suction_deviation_rms_kpa", "suction deviation, RMS", PRESSURE, "kPa", LOWER,
               "root of the time mean of (suction pressure − set point)², stops included",
               lambda v: _rms(v, v.deviation_pa) / 1e3, "set point"),
    Definition("suction_deviation_rms_k", "suction deviation, RMS, saturated", PRESSURE, "K", LOWER,
               "root of the time mean of (saturation temperature at suction − at set point)²",
               lambda v: _rms(v, v.deviation_k), "set point"),
    Definition("suction_deviation_rms_automatic_k", "suction deviation, RMS, in automatic", PRESSURE, "K", LOWER,
               "the same, saturated, over the time in automatic alone: what the law did, stops left out",
               _rms_automatic, "set point"),
    Definition("out_of_automatic_min", "time out of automatic", PRESSURE, "min", NONE,
               "from the end of the first pull-down on: stopped, starting or unloading; it counts in the others",
               lambda v: float(np.sum(v.seconds[~v.automatic])) / 60.0),
    Definition("suction_deviation_peak_kpa", "suction deviation, peak", PRESSURE, "kPa", LOWER,
               "greatest |suction pressure − set point|",
               lambda v: float(np.max(np.abs(v.deviation_pa))) / 1e3, "set point"),
    Definition("suction_deviation_peak_k", "suction deviation, peak, saturated", PRESSURE, "K", LOWER,
               "greatest |saturation temperature at suction − at set point|",
               lambda v: float(np.max(np.abs(v.deviation_k))), "set point"),
    Definition("time_within_1_k_pct", "time within ± 1 K", PRESSURE, "%", HIGHER,
               "share of time with saturated suction within ± 1 K of the set point",
               lambda v: 100.0 * _mean(v, (np.abs(v.deviation_k) <= BAND_K).astype(np.float64)), "set point"),
    Definition("suction_iae_kpa_s", "integral of absolute deviation", PRESSURE, "kPa·s", LOWER,
               "∫ |suction pressure − set point| dt",
               lambda v: float(np.sum(np.abs(v.deviation_pa) * v.seconds)) / 1e3, "set point"),
    Definition("settling_worst_s", "settling time, worst disturbance", PRESSURE, "s", LOWER,
               "longest time from a disturbance to staying within ± 1 K, up to the next disturbance or the end",
               lambda v: max((s.settling_s for s in v.settling), default=None), "set point"),
    Definition("unsettled_count", "disturbances not settled", PRESSURE, "1", LOWER,
               "disturbances still outside ± 1 K at the next one or at the end",
               lambda v: sum(not s.settled for s in v.settling), "set point"),
    Definition("room_temperature_mean_c", "room temperature, mean", PRESSURE, "°C", NONE, "time mean",
               lambda v: _mean(v, v["room_temperature_k"]) - 273.15),
    Definition("room_temperature_spread_k", "room temperature, spread", PRESSURE, "K", LOWER, "highest − lowest",
               lambda v: float(np.ptp(v["room_temperature_k"]))),
    Definition("harris_index", "minimum-variance index (diagnostic)", PRESSURE, "1", NONE,
               "least possible over actual variance of the deviation as read; "
               f"AR(20), sampled at {HARRIS_SAMPLE_S:g} s, "
               f"delay {HARRIS_DELAY_SAMPLES} samples; 1 = nothing to gain", _harris, "set point"),
    Definition("starts_per_h", "motor starts", CYCLING, "1/h", LOWER, "motor commands per hour, over the whole run",
               lambda v: len(v.steps("motor_run").rises_ms()) / v.run_hours if v.run_hours else None, "run"),
    Definition("shortest_run_s", "shortest run", CYCLING, "s", HIGHER, "shortest time from a start to its stop",
               lambda v: _shortest(v, "run"), "run"),
    Definition("shortest_off_s", "shortest rest", CYCLING, "s", HIGHER, "shortest time from a stop to the next start",
               lambda v: _shortest(v, "off"), "run"),
    Definition("shortest_start_to_start_s", "shortest start to start", CYCLING, "s", HIGHER,
               "shortest time between two starts", lambda v: _shortest(v, "start"), "run"),
    Definition("start_to_start_margin_s", "start-to-start margin", CYCLING, "s", HIGHER,
               "shortest start to start − the set wait", _start_margin, "run"),
    Definition("capacity_reversals_per_h", "capacity slide reversals", CYCLING, "1/h", LOWER,
               "drive operations against the direction of the one before, per hour",
               lambda v: _reversals(v, *_CAPACITY)),
    Definition("volume_ratio_reversals_per_h", "volume-ratio slide reversals", CYCLING, "1/h", LOWER,
               "drive operations against the direction of the one before, per hour", lambda v: _reversals(v, *_RATIO)),
    Definition("capacity_operations_per_h", "capacity solenoid operations", CYCLING, "1/h", LOWER,
               "load and unload drives switched on, per hour", lambda v: len(v.operations(*_CAPACITY)) / v.hours),
    Definition("volume_ratio_operations_per_h", "volume-ratio solenoid operations", CYCLING, "1/h", LOWER,
               "increase and decrease drives switched on, per hour", lambda v: len(v.operations(*_RATIO)) / v.hours),
    Definition("capacity_strokes_per_h", "capacity slide travel", CYCLING, "strokes/h", LOWER,
               "Σ |change of travel| between rows, in full strokes per hour",
               lambda v: _travel(v, "capacity_travel_frac")),
    Definition("volume_ratio_strokes_per_h", "volume-ratio slide travel", CYCLING, "strokes/h", LOWER,
               "Σ |change of travel| between rows, in full strokes per hour",
               lambda v: _travel(v, "volume_ratio_travel_frac")),
    Definition("minimum_load_time_pct", "time at minimum load", CYCLING, "%", LOWER,
               "share of the time in automatic with the capacity slide at most 2 % of travel above minimum load",
               _minimum_load),
    Definition("total_energy_kwh", "energy, all", ENERGY, "kWh", LOWER,
               "compressor motor + oil pump, oil heater and condenser fans", _total_kwh),
    Definition("motor_energy_kwh", "energy, compressor motor", ENERGY, "kWh", LOWER,
               "∫ electrical power of the motor dt",
               lambda v: v.gained("motor_energy_j") / KWH_J),
    Definition("auxiliary_energy_kwh", "energy, auxiliaries", ENERGY, "kWh", LOWER,
               "∫ electrical power of oil pump, oil heater and condenser fans dt",
               lambda v: v.gained("auxiliary_energy_j") / KWH_J),
    Definition("cooling_energy_kwh", "cooling delivered", ENERGY, "kWh", NONE, "∫ heat taken up by the evaporators dt",
               lambda v: v.gained("cooling_energy_j") / KWH_J),
    Definition("specific_energy_kwh_per_kwh", "energy per cooling", ENERGY, "kWh/kWh", LOWER,
               "energy, all / cooling delivered by this machine (by its share of the gas)", _per_cooling),
    Definition("mismatch_energy_kwh", "lost to volume-ratio mismatch", ENERGY, "kWh", LOWER,
               "shaft energy above that of the best attainable volume-ratio slide position",
               lambda v: v.gained("mismatch_energy_j") / KWH_J),
    Definition("unavoidable_energy_kwh", "lost beyond the slide's reach", ENERGY, "kWh", NONE,
               "shaft energy of the best attainable position above that of the ideal volume ratio",
               lambda v: v.gained("unavoidable_energy_j") / KWH_J),
    Definition("low_suction_energy_kwh", "lost to low suction", ENERGY, "kWh", LOWER,
               "∫ motor power · (1 − w_set/w) dt while suction is below the set point; "
               "w ∝ T_sat(p)·((p_d/p)^((κ−1)/κ) − 1), κ = 1.3", _low_suction_kwh, "set point"),
    Definition("trips_count", "trips", SAFETY, "1", LOWER, "first-out causes latched",
               lambda v: len(v.steps("trip_first_out").rises_ms()), "run"),
    Definition("alarms_per_h", "alarms", SAFETY, "1/h", LOWER, "alarm bits that come, per hour", _alarms, "run"),
    Definition("load_inhibit_min", "load inhibit", SAFETY, "min", LOWER, "time with a hold",
               lambda v: _inhibited_min(v, "_HOLD"), "run"),
    Definition("forced_unload_min", "forced unload", SAFETY, "min", LOWER, "time with a forced unload",
               lambda v: _inhibited_min(v, "_UNLOAD"), "run"),
    *(definition for cause, unit in _MARGINS for definition in (
        Definition(f"{cause.name.lower()}_margin_{unit.lower()}", f"margin to {_words(cause)} trip", SAFETY, unit,
                   HIGHER,
                   "least distance to the limit while the motor runs and the trip is not blocked; below 0 = beyond it",
                   _margin(cause, False), "run"),
        Definition(f"{cause.name.lower()}_margin_pct", f"margin to {_words(cause)} trip, share", SAFETY, "% of span",
                   HIGHER, "the same, of the transmitter's span", _margin(cause, True), "run"),
    )),
    Definition("violations_count", "invariant violations", SAFETY, "1", LOWER, "breaches of scenarios/requirements",
               lambda v: len(v.verdict.violations), "run"),
)
# fmt: on


def score(trace: Trace, limits: Limits | None, refrigerant: Any) -> Scores:
    """Every score of a run.  `refrigerant` is the plant's property record; limits None for a controller without any."""
    view = View(trace, limits, refrigerant)
    values = tuple(definition.of(view) for definition in DEFINITIONS)
    window = (int(view.start_ms), int(view.end_ms)) if view.valid else None
    return Scores(values, view.settling, view.verdict.violations, view.verdict.skipped, window)
