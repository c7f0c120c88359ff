"""End-stop calibration: where the position signal really stands at each stop, and when that was last seen.

While the motor is off and the oil pump on, before a start, a slide that its drive no longer moves stands at its stop.
The low stop is read on the way down that a start needs anyway; the high stop, if wanted, by a stroke up first.  A span
under 80 % (practitioner's memory), or a low reading far from zero, is refused: that is a slide that is stuck, not a stop.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.positioner import DriveSettings
from controller.setting_fields import Switch, choice, duration, percent

PRACTICE = "common practice, no source"
IDLE = 0
GOING_UP = 1
GOING_DOWN = 2
RETURNING = 3  # down again after the high stop: the start waits for it
DONE = 4


@dataclass(frozen=True, slots=True)
class CalibrationSettings:
    """When a stop is looked for, and what counts as one."""

    low_stop: Switch = field(
        default=Switch.ON, metadata=choice(Switch, f"costs nothing: a start goes there anyway; {PRACTICE}")
    )
    high_stop: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, f"costs two strokes before a start; {PRACTICE}")
    )
    interval_ms: int = duration(2_592_000_000, 60_000, 31_536_000_000, f"30 days between high readings; {PRACTICE}")
    settle_ms: int = duration(2_000, 200, 20_000, f"driven this long without moving is a stop; {PRACTICE}")
    still_pct: float = percent(0.3, 0.05, 2.0, f"less is no movement; {PRACTICE}")
    low_window_pct: float = percent(2.0, 0.5, 10.0, f"a low stop that reads more is refused; {PRACTICE}")
    least_span_pct: float = percent(80.0, 50.0, 95.0, "a smaller span is refused (practitioner's memory)")


@dataclass(slots=True)
class StopReadings:
    """The two readings with the controller's clock at each, and the search in hand."""

    low_pct: float = 0.0
    high_pct: float = 100.0
    scale: float = 1.0  # position = (signal − low)·scale
    low_at_ms: int = 0
    high_at_ms: int = 0
    low_known: bool = False
    high_known: bool = False
    refused: bool = False
    phase: int = IDLE
    reference_pct: float = 0.0
    still_ms: int = 0
    searched_ms: int = 0


@kernel
def take_span(settings: CalibrationSettings, state: StopReadings, low_pct: float, high_pct: float) -> bool:
    """Take both readings over if their span will do; says whether it did."""
    span_pct = high_pct - low_pct
    state.refused = span_pct < settings.least_span_pct
    if not state.refused:
        state.low_pct = low_pct
        state.high_pct = high_pct
        state.scale = 100.0 / span_pct
    return not state.refused


@kernel
def look_for_stop(
    settings: CalibrationSettings,
    drive: DriveSettings,
    state: StopReadings,
    signal_pct: float,
    driven: int,
    clock_ms: int,
    dt_ms: int,
) -> None:
    """One step of a search that is under way."""
    c = settings
    s = state
    s.searched_ms += dt_ms
    if abs(signal_pct - s.reference_pct) > c.still_pct:
        s.reference_pct = signal_pct
        s.still_ms = 0
    elif driven != 0:
        s.still_ms += dt_ms
    if s.phase == GOING_UP:
        if driven < 0:
            s.still_ms = 0
        if s.still_ms >= c.settle_ms:
            if take_span(c, s, s.low_pct, signal_pct):
                s.high_known = True
                s.high_at_ms = clock_ms
            s.phase = RETURNING
            s.still_ms = 0
        elif s.searched_ms > 2 * drive.stroke_up_ms:
            s.refused = True
            s.phase = RETURNING
            s.still_ms = 0
    else:
        if driven > 0:
            s.still_ms = 0
        if s.still_ms >= c.settle_ms:
            if signal_pct > c.low_window_pct:
                s.refused = True
            elif take_span(c, s, signal_pct, s.high_pct):
                s.low_known = True
                s.low_at_ms = clock_ms
            s.phase = DONE


@kernel
def calibrate(
    settings: CalibrationSettings,
    drive: DriveSettings,
    state: StopReadings,
    signal_pct: float,
    believed: bool,
    permitted: bool,
    driven: int,
    clock_ms: int,
    dt_ms: int,
) -> bool:
    """Look for the stops while permitted (motor off, pump on, slides on their way down); True asks for a stroke up.

    signal_pct: the position as wired; driven: direction of the drive since the last scan.
    """
    c = settings
    s = state
    if not permitted:
        s.phase = IDLE
        return False
    if not believed:
        s.phase = DONE
        return False
    if s.phase == IDLE:
        s.reference_pct = signal_pct
        s.still_ms = 0
        s.searched_ms = 0
        s.phase = DONE
        if c.high_stop == Switch.ON and (not s.high_known or clock_ms - s.high_at_ms >= c.interval_ms):
            s.phase = GOING_UP
        elif c.low_stop == Switch.ON:
            s.phase = GOING_DOWN
    elif s.phase != DONE:
        look_for_stop(c, drive, s, signal_pct, driven, clock_ms, dt_ms)
    return s.phase == GOING_UP


def cross_check(settings: CalibrationSettings, drive: DriveSettings, slide: str) -> list[str]:
    """Contradictions between fields, in plain words."""
    found = []
    if settings.settle_ms >= drive.end_stop_guard_ms:
        found.append(f"{slide}: the calibration's settle time must be shorter than end_stop_guard")
    moves_pct = 100.0 * settings.settle_ms / max(drive.stroke_up_ms, drive.stroke_down_ms)
    if moves_pct <= 2.0 * settings.still_pct:
        found.append(f"{slide}: in the calibration's settle time a slow slide must move clearly more than still_pct")
    return found
