"""Model-based: an observer estimates the load, and the capacity slide is put where that load is carried.

The cabinet's model is three things: the slide's curve c(x), flow that follows suction density, and one vessel,

    dp/dt = (p0/T)·(q − c(x)·p/p0)        p0 design suction, T vessel_time, q load as a share of full capacity

From the measured suction p and the *actual* position x the observer estimates q; so nothing winds up at an end stop,
under an inhibit or by hand.  Wanted is p' = −(p − set point)/t, t return_time, hence c = (q + (T/p0)·(p − set point)/t)
·p0/p, and the curve read backwards is the demand.  It moves only when the pressure predicted at `horizon`, slide at
rest, leaves the hold zone, and goes on until that pressure is inside the settled zone or beyond it: noise and a load that
wavers move nothing, a real change moves the slide once.  A move goes one way: what noise is left in the estimate may hasten
it, never turn it.

Going on the way of the last move costs a pulse, turning round wears the linkage: so the hold zone is meant for the one and
a wider turn zone for the other.  Inside the turn zone the slide waits, and turns only when the deviation has cost as much
as a turn: once the integral of (deviation/turn zone)² since it changed sides has reached `turn_time`.  Waiting until that
is so costs at most twice what foreknowledge would (the ski rental of Karlin, Manasse, Rudolph & Sleator, Algorithmica 3,
1988; recalled), and a load that comes and goes sooner costs no turn at all.

The positioner leaves a small wish alone, and where the load falls with rising suction (rooms that stay as warm as they
are) small wishes are all there is: suction would stand off for ever.  So as long as the predicted pressure is outside
the hold zone a trim grows, at most to the drive's reversal zone: enough to be heard, too little to wind up.

Linear argument, for a move as long as it lasts and as if it could go both ways; To observer_time, A(s) the slide's answer,
κ real over modelled curve slope, Tr the real vessel's time, c0 the position's capacity, Q = 1/(1 + To·s)²:

    loop L = κ·A·(Q·(T·s + c0) + T/t − c0) / ((1 − A·Q)·(Tr·s + c0))

With a quick slide and a true model 1 + L = 0 is (1 + To·s)²·(1 + t·s) = 0; 1 − A·Q vanishes at s = 0, which is integral
action.  With 3 s of delay and the default times max |1/(1 + L)| is 1.35 (far from the set point 1.39); with κ and Tr
each ± 30 % off and c0 between 0.2 and 0.9 it is 1.75 (1.84).  A vessel of 45 s, about what skin and rooms of the demo
plant are to a rising pressure at 0.1 rad/s (an estimate), gives 1.60 (1.67), and ± 30 % about that at worst 2.65
(2.89): stable, but no longer below 2; a brisker vessel wants its own vessel_time.  Computed from this formula in
tests/controller/test_model_based.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.contract import Controller
from controller.frame import CommonState, begin, finish, law_in_charge
from controller.process_image import Inputs, Mode, Outputs
from controller.scaling import clamp
from controller.setting_fields import duration, number, pressure, pressure_difference
from controller.settings import CommonSettings
from controller.settings import cross_check as common_cross_check
from controller.slide_curve import curve_at, curve_position_pct

PRACTICE = "common practice, no source"
FAR_ZONES = 2.0  # from this many hold zones off the set point the return is the quicker one
RAMP_STROKES = 4.0  # the wish runs four times as fast as the slide loads: no bump where a hold ends or a hand lets go
HIGHEST_LOAD_PCT = 200.0  # an estimate beyond that is no load
LOWEST_SUCTION_FRAC = 0.2  # of design suction: below it the density is no longer followed


@dataclass(frozen=True, slots=True)
class ModelSettings:
    """The model of the plant, and what is wanted of the loop."""

    design_suction_kpa_abs: float = pressure(
        290.6, 30.0, 3500.0, "suction at which the machine has its full capacity: −10 °C saturated ammonia (CoolProp)"
    )
    vessel_time_ms: int = duration(
        75_000, 2_000, 3_600_000,
        "design suction by the speed at which full capacity pulls it down without load; demo vessel: about 50 s rising, "
        "over 100 s falling (estimated), found between",
    )  # fmt: skip
    observer_time_ms: int = duration(
        7_000, 500, 600_000, "time constant of the load estimate: a little more than twice the loop's delay of 3 s"
    )
    return_time_ms: int = duration(
        45_000, 1_000, 3_600_000, "suction's way back to the set point: found on the demo plant"
    )
    far_return_time_ms: int = duration(
        27_000, 1_000, 3_600_000, "the same for what lies beyond two hold zones: a pull-down should not dawdle"
    )
    horizon_ms: int = duration(8_000, 0, 3_600_000, "how far ahead suction is predicted: about one observer time")
    hold_zone_kpa: float = pressure_difference(
        1.25, 0.5, 50.0, "either side, ± 0.1 K at −10 °C; predicted suction inside it moves nothing"
    )
    settled_zone_kpa: float = pressure_difference(
        0.0, 0.0, 50.0, "either side: a move is over once predicted suction is inside or beyond"
    )
    turn_zone_kpa: float = pressure_difference(
        3.5,
        0.5,
        50.0,
        "the hold zone on the side that asks for turning round, ± 0.3 K: beyond it the slide turns at once",
    )
    turn_time_ms: int = duration(
        900_000,
        0,
        36_000_000,
        "as long stands a deviation of one turn zone before the slide turns inside it, half of one four times as long",
    )
    trim_time_ms: int = duration(
        120_000,
        1_000,
        36_000_000,
        "a prediction one hold zone off adds the drive's reversal zone to the wish in this time",
    )
    feed_forward_gain: float = number(
        1.0, 0.0, 3.0, f"share of an announced load that is believed; the observer corrects it in time; {PRACTICE}"
    )


@dataclass(frozen=True, slots=True)
class ModelBasedSettings:
    """All settings of the model-based controller; the slide's curve is that of the volume-ratio layer."""

    common: CommonSettings = field(default_factory=CommonSettings)
    model: ModelSettings = field(default_factory=ModelSettings)


@dataclass(slots=True)
class ModelBasedState:
    """All state of the model-based controller."""

    common: CommonState = field(default_factory=CommonState)
    load_pct: float = 0.0  # estimate, of full capacity at design suction
    suction_kpa_abs: float = 0.0  # as the model has it
    announced_load_pct: float = 0.0
    following: bool = False
    moving: bool = False
    direction: int = 0  # of the move, or of the last one: its wish goes this way only
    waited_ms: float = 0.0  # of turn_time, with the deviation on the side that asks for turning round
    trim_pct: float = 0.0  # travel added because the drive's zone swallows a small wish


@kernel
def observe(settings: ModelBasedSettings, state: ModelBasedState, inputs: Inputs, dt_ms: int) -> float:
    """Estimate load and suction from measured suction and position.  Returns the capacity at this position, frac.

    Both poles of the estimate lie at 1/observer_time.  Outside AUTOMATIC and without a suction signal it rests, and
    begins again with the load that the slide is carrying.
    """
    c = settings.model
    s = state
    signals = s.common.signals
    p0_kpa = c.design_suction_kpa_abs
    capacity_frac = curve_at(settings.common.volume_ratio.trapped_fraction_frac, signals.capacity_position_pct)
    taken_pct = 100.0 * capacity_frac * signals.suction_pressure_kpa_abs / p0_kpa
    announced_pct = clamp(inputs.announced_load_pct, -100.0, 100.0)
    if s.common.sequence.mode != Mode.AUTOMATIC or not signals.suction_pressure_good:
        s.following = False
    elif not s.following:
        s.following = True
        s.load_pct = min(taken_pct, HIGHEST_LOAD_PCT)
        s.suction_kpa_abs = signals.suction_pressure_kpa_abs
    else:
        innovation_kpa = signals.suction_pressure_kpa_abs - s.suction_kpa_abs
        passed_ms = min(dt_ms, 0.5 * c.observer_time_ms)  # late scans must not shake the estimate
        share = passed_ms / c.observer_time_ms
        rise_kpa = 0.01 * p0_kpa * (s.load_pct - taken_pct) * passed_ms / c.vessel_time_ms
        s.suction_kpa_abs += rise_kpa + 2.0 * share * innovation_kpa
        s.load_pct += 100.0 * share * innovation_kpa * c.vessel_time_ms / (c.observer_time_ms * p0_kpa)
        s.load_pct += c.feed_forward_gain * (announced_pct - s.announced_load_pct)
        s.load_pct = clamp(s.load_pct, 0.0, HIGHEST_LOAD_PCT)
    s.announced_load_pct = announced_pct
    return capacity_frac


@kernel
def wants_to_move(settings: ModelBasedSettings, state: ModelBasedState, coming_kpa: float, dt_ms: int) -> bool:
    """Whether a predicted deviation moves the slide: soon on the way of the last move, later the other way."""
    c = settings.model
    if coming_kpa * state.direction >= 0.0:
        state.waited_ms = 0.0
        return abs(coming_kpa) > c.hold_zone_kpa
    share = state.common.capacity.error_kpa / c.turn_zone_kpa
    state.waited_ms = min(state.waited_ms + share * share * min(dt_ms, c.observer_time_ms), c.turn_time_ms)
    waited = state.waited_ms >= c.turn_time_ms and abs(coming_kpa) > c.hold_zone_kpa
    return waited or abs(coming_kpa) > c.turn_zone_kpa


@kernel
def model_law(settings: ModelBasedSettings, state: ModelBasedState, inputs: Inputs, dt_ms: int) -> None:
    """Predict suction with the slide at rest; if it leaves its zone, wish for the position that carries the load."""
    c = settings.model
    s = state
    capacity_frac = observe(settings, s, inputs, dt_ms)
    if not law_in_charge(s.common, inputs):
        s.moving = False
        s.direction = 0  # whoever is in charge may move the slide either way
        s.trim_pct = 0.0
        return
    p0_kpa = c.design_suction_kpa_abs
    p_kpa = max(s.suction_kpa_abs, LOWEST_SUCTION_FRAC * p0_kpa)
    error_kpa = s.common.capacity.error_kpa
    # one implicit step over the horizon: right at its beginning and at rest, no exponential in between
    ahead = c.horizon_ms / c.vessel_time_ms
    load_kpa = 0.01 * s.load_pct * p0_kpa  # the suction that would carry it at full travel
    drift_kpa = ahead * (load_kpa - capacity_frac * p_kpa) / (1.0 + ahead * capacity_frac)
    coming_kpa = error_kpa + drift_kpa
    position_pct = s.common.signals.capacity_position_pct
    way = -1
    if coming_kpa > 0.0:
        way = 1
    if wants_to_move(settings, s, coming_kpa, dt_ms):
        if not s.moving or s.direction != way:
            s.moving = True
            s.direction = way
            s.trim_pct = 0.0
            s.common.capacity.free_pct = position_pct
        zone_pct = settings.common.capacity.drive.reversal_zone_pct
        passed_ms = min(dt_ms, c.observer_time_ms)  # a late scan is no reason to move
        s.trim_pct += zone_pct * coming_kpa * passed_ms / (c.hold_zone_kpa * c.trim_time_ms)
        s.trim_pct = clamp(s.trim_pct, -zone_pct, zone_pct)
    else:
        s.trim_pct = 0.0
        if s.moving and (abs(coming_kpa) <= c.settled_zone_kpa or way != s.direction):
            s.moving = False
            s.common.capacity.free_pct = position_pct  # it ends here, not where the wish had run to
    if s.moving:
        edge_kpa = FAR_ZONES * c.hold_zone_kpa
        near_kpa = clamp(error_kpa, -edge_kpa, edge_kpa)
        return_kpa_ms = near_kpa / c.return_time_ms + (error_kpa - near_kpa) / c.far_return_time_ms
        wanted_frac = (load_kpa + c.vessel_time_ms * return_kpa_ms) / p_kpa
        curve = settings.common.volume_ratio.trapped_fraction_frac
        wish_pct = curve_position_pct(curve, wanted_frac) + s.trim_pct
        free_pct = s.common.capacity.free_pct
        if s.direction > 0:
            wish_pct = max(wish_pct, free_pct)
        else:
            wish_pct = min(wish_pct, free_pct)
        most_pct = 100.0 * RAMP_STROKES * dt_ms / settings.common.capacity.drive.stroke_up_ms
        s.common.capacity.free_pct = clamp(wish_pct, free_pct - most_pct, free_pct + most_pct)


@kernel
def scan(settings: ModelBasedSettings, state: ModelBasedState, inputs: Inputs, outputs: Outputs, now_ms: int) -> int:
    """One scan; see `controller.contract`."""
    dt_ms = begin(settings.common, state.common, inputs, outputs, now_ms)
    model_law(settings, state, inputs, dt_ms)
    finish(settings.common, state.common, inputs, outputs, dt_ms)
    return 0


def cross_check(settings: ModelBasedSettings) -> list[str]:
    """Contradictions between fields, in plain words; empty when there is none."""
    found = common_cross_check(settings.common)
    c = settings.model
    if c.settled_zone_kpa > c.hold_zone_kpa:
        found.append("model: settled_zone must not be wider than hold_zone, or a move would end as it begins")
    if c.turn_zone_kpa < c.hold_zone_kpa:
        found.append("model: turn_zone must not be narrower than hold_zone, or turning round would be the easier way")
    if c.far_return_time_ms > c.return_time_ms:
        found.append("model: far_return_time must not be longer than return_time")
    if c.return_time_ms <= c.observer_time_ms:
        found.append("model: return_time must be longer than observer_time, or the loop acts on a load not yet known")
    return found


CONTROLLER = Controller(
    name="model_based",
    settings_type=ModelBasedSettings,
    state_type=ModelBasedState,
    scan=scan,
    purpose="load estimated from suction pressure and slide position; the slide is put where it is carried",
)
