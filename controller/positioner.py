"""Slide positioner: a travel error becomes pulses on two on/off drives; and the guard against an end stop.

A direction is an integer, +1 (load, or increase), −1 (unload, or decrease) or 0; so both drives can never be on.
"""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel

from controller.setting_fields import duration, percent

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class DriveSettings:
    """One slide's drive as the positioner knows it."""

    stroke_up_ms: int = duration(50_000, 5_000, 300_000, f"full stroke loading or increasing; {PRACTICE}")
    stroke_down_ms: int = duration(25_000, 5_000, 300_000, f"full stroke unloading or decreasing; {PRACTICE}")
    neutral_zone_pct: float = percent(1.0, 0.1, 10.0, f"error either side that is left alone; {PRACTICE}")
    reversal_zone_pct: float = percent(
        2.5, 0.1, 20.0, f"error that earns a pulse against the last movement: spares drive and linkage; {PRACTICE}"
    )
    minimum_pulse_ms: int = duration(300, 20, 5_000, f"shortest pulse that surely moves the slide; {PRACTICE}")
    overrun_ms: int = duration(100, 0, 2_000, f"travel after the drive is off, in ms of full speed; {PRACTICE}")
    backlash_pct: float = percent(0.0, 0.0, 5.0, "travel lost on a turn, added to the first pulse; none until measured")
    pause_ms: int = duration(1_500, 0, 30_000, f"rest after a pulse until the position can be believed; {PRACTICE}")
    continuous_above_pct: float = percent(4.0, 0.5, 100.0, f"error above which the drive stays on; {PRACTICE}")
    low_end_pct: float = percent(1.0, 0.0, 10.0, f"position that counts as the low end stop; {PRACTICE}")
    high_end_pct: float = percent(99.0, 90.0, 100.0, f"position that counts as the high end stop; {PRACTICE}")
    end_stop_guard_ms: int = duration(3_000, 200, 60_000, f"longest push against an end stop; {PRACTICE}")


@dataclass(slots=True)
class PositionerState:
    """The pulse in hand: its direction, what is left of it, what is left of the rest after it."""

    direction: int = 0
    last_direction: int = 0  # of the last pulse: going on needs less error than turning round
    left_ms: int = 0
    pause_ms: int = 0


@dataclass(slots=True)
class EndStopState:
    """On-time against each end stop since the other direction was used or the stop was left."""

    direction: int = 0
    at_low: bool = False
    at_high: bool = False
    low_on_ms: int = 0
    high_on_ms: int = 0


@kernel
def pulse_ms(settings: DriveSettings, error_pct: float, turning: bool) -> int:
    """On-time in ms that moves the slide by the error in %, less the overrun, at least the minimum pulse.

    A pulse that turns round takes up the backlash first.

    >>> pulse_ms(DriveSettings(), 10.0, False), pulse_ms(DriveSettings(backlash_pct=2.0), -10.0, True)
    (4900, 2900)
    """
    lash_pct = 0.0
    if turning:
        lash_pct = settings.backlash_pct
    if error_pct > 0.0:
        wanted_ms = int((error_pct + lash_pct) * settings.stroke_up_ms * 0.01) - settings.overrun_ms
    else:
        wanted_ms = int((lash_pct - error_pct) * settings.stroke_down_ms * 0.01) - settings.overrun_ms
    return max(wanted_ms, settings.minimum_pulse_ms)


@kernel
def rest(state: PositionerState) -> None:
    """Forget the pulse in hand: somebody else has the drive."""
    state.direction = 0
    state.left_ms = 0
    state.pause_ms = 0


@kernel
def position_slide(
    settings: DriveSettings,
    state: PositionerState,
    position_pct: float,
    demand_pct: float,
    up_allowed: bool,
    down_allowed: bool,
    dt_ms: int,
) -> int:
    """Direction that brings the slide to the demand.

    A large error keeps the drive on; below `continuous_above_pct` the time last computed runs out open loop, then the
    positioner rests, looks, and pulses again if the error still lies outside the neutral zone.
    """
    error_pct = demand_pct - position_pct
    if state.direction != 0:
        state.left_ms -= dt_ms
        if error_pct * state.direction <= 0.0:
            state.left_ms = 0
        elif abs(error_pct) > settings.continuous_above_pct:
            state.left_ms = pulse_ms(settings, error_pct, False)
        if 2 * state.left_ms <= dt_ms:  # a pulse ends at the scan nearest to its end
            state.direction = 0
            state.left_ms = 0
            state.pause_ms = settings.pause_ms
    elif state.pause_ms > 0:
        state.pause_ms -= dt_ms
    if state.direction == 0 and state.pause_ms <= 0:
        up_zone_pct = settings.neutral_zone_pct
        down_zone_pct = settings.neutral_zone_pct
        if state.last_direction < 0:
            up_zone_pct = max(up_zone_pct, settings.reversal_zone_pct)
        elif state.last_direction > 0:
            down_zone_pct = max(down_zone_pct, settings.reversal_zone_pct)
        if error_pct > up_zone_pct:
            state.direction = 1
            state.left_ms = pulse_ms(settings, error_pct, state.last_direction < 0)
        elif error_pct < -down_zone_pct:
            state.direction = -1
            state.left_ms = pulse_ms(settings, error_pct, state.last_direction > 0)
    if (state.direction > 0 and not up_allowed) or (state.direction < 0 and not down_allowed):
        state.direction = 0
        state.left_ms = 0
    if state.direction != 0:
        state.last_direction = state.direction
    return state.direction


@kernel
def guard_end_stop(
    settings: DriveSettings, state: EndStopState, direction: int, position_pct: float, dt_ms: int
) -> int:
    """The direction, or 0 where it would push against an end stop beyond the guard time.

    Once reached, a stop counts as such until the other direction is used or the position has clearly left it: a reading
    that only wavers over its edge neither stops the count nor frees the drive.  A drive is not started when the time it
    would run until the next scan (taken as long as the last) would exceed the guard.
    """
    s = state
    s.at_low = position_pct <= settings.low_end_pct or (s.at_low and position_pct <= settings.low_end_pct + 1.0)
    s.at_high = position_pct >= settings.high_end_pct or (s.at_high and position_pct >= settings.high_end_pct - 1.0)
    if s.direction < 0 and s.at_low:
        s.low_on_ms += dt_ms
    if s.direction > 0 and s.at_high:
        s.high_on_ms += dt_ms
    if direction > 0 or not s.at_low:
        s.low_on_ms = 0
    if direction < 0 or not s.at_high:
        s.high_on_ms = 0
    s.direction = direction
    if direction < 0 and s.at_low and s.low_on_ms + dt_ms > settings.end_stop_guard_ms:
        s.direction = 0
    if direction > 0 and s.at_high and s.high_on_ms + dt_ms > settings.end_stop_guard_ms:
        s.direction = 0
    return s.direction


def cross_check(settings: DriveSettings, slide: str) -> list[str]:
    """Contradictions between fields, in plain words."""
    found = []
    fastest_ms = min(settings.stroke_up_ms, settings.stroke_down_ms)
    shortest_pct = 100.0 * (settings.minimum_pulse_ms + settings.overrun_ms) / fastest_ms
    if shortest_pct > 2.0 * settings.neutral_zone_pct:
        found.append(
            f"{slide}: the shortest pulse moves {shortest_pct:.2g} % and the neutral zone is ± "
            f"{settings.neutral_zone_pct:g} %: it would hunt across; widen the zone or shorten the pulse"
        )
    if settings.continuous_above_pct <= settings.neutral_zone_pct:
        found.append(f"{slide}: continuous_above must be greater than neutral_zone")
    return found
