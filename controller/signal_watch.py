"""Signals that lie with a good face: frozen ones, and ones that contradict each other.

A live signal moves by at least one count of its input card.  It is called frozen when it has not for a set time in which
the plant has moved so far that it must have: so a quiet plant freezes nobody.  The plant's movement is the capacity
slide's travel; for the pressures also the motor current's, and for suction the discharge pressure's, because a control
loop that sees its set point for ever never moves its slide.  Found only while the motor runs; the verdict stands, at
standstill too, until the signal changes by a count.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.setting_fields import Switch, choice, duration, percent, pressure_difference
from controller.timers import Ton, ton

PRACTICE = "common practice, no source"
LOOK_MS = 1_000  # seldom is enough for times of minutes, and spares every scan the work


@dataclass(frozen=True, slots=True)
class SignalSettings:
    """Which signals are watched for freezing, and what is implausible."""

    suction_pressure_watched: Switch = field(
        default=Switch.ON, metadata=choice(Switch, "answers capacity within seconds")
    )
    discharge_pressure_watched: Switch = field(
        default=Switch.ON, metadata=choice(Switch, "answers capacity within a minute")
    )
    motor_current_watched: Switch = field(default=Switch.ON, metadata=choice(Switch, "answers capacity at once"))
    discharge_temperature_watched: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, "a thermowell may be quiet for long")
    )
    oil_pressure_watched: Switch = field(
        default=Switch.OFF, metadata=choice(Switch, "a relief valve may hold it still")
    )
    frozen_after_ms: int = duration(60_000, 10_000, 3_600_000, f"without one count of change; {PRACTICE}")
    frozen_travel_pct: float = percent(
        10.0, 5.0, 200.0, f"the plant has moved meanwhile: % of travel, of full-load current, of 1 MPa; {PRACTICE}"
    )
    implausible_after_ms: int = duration(10_000, 0, 300_000, f"{PRACTICE}")
    implausible_pressure_kpa: float = pressure_difference(
        60.0, 5.0, 500.0, f"discharge below suction, or oil after the filter above oil before it; {PRACTICE}"
    )
    no_load_current_pct: float = percent(8.0, 0.0, 25.0, f"of full load: a turning motor draws more; {PRACTICE}")


@dataclass(slots=True)
class Stillness:
    """How long one signal has stood at one value, the plant's movement when it came there, and the verdict."""

    value: float = 0.0
    from_travel_pct: float = 0.0
    still_ms: int = 0
    frozen: bool = False


@dataclass(slots=True)
class Movement:
    """How far a quantity has moved so far, in steps, and where it stood at the last step."""

    travelled_pct: float = 0.0
    position_pct: float = 0.0


@dataclass(slots=True)
class WatchState:
    """Stillness of each signal, what has moved so far, and the contradictions."""

    suction_pressure: Stillness = field(default_factory=Stillness)
    discharge_pressure: Stillness = field(default_factory=Stillness)
    motor_current: Stillness = field(default_factory=Stillness)
    discharge_temperature: Stillness = field(default_factory=Stillness)
    oil_pressure: Stillness = field(default_factory=Stillness)
    pressures: Ton = field(default_factory=Ton)
    current: Ton = field(default_factory=Ton)
    filter: Ton = field(default_factory=Ton)
    suction_pressure_lies: bool = False
    discharge_pressure_lies: bool = False
    motor_current_lies: bool = False
    discharge_temperature_lies: bool = False
    oil_pressure_lies: bool = False
    before_filter_lies: bool = False
    lies: bool = False  # any of them
    running: bool = False
    waited_ms: int = 0  # since the last look
    capacity_moved: Movement = field(default_factory=Movement)
    current_moved: Movement = field(default_factory=Movement)  # % of full load
    discharge_moved: Movement = field(default_factory=Movement)  # % of 1 MPa


@kernel
def count_travel(state: Movement, position_pct: float) -> None:
    """Add up movement in steps of at least 1 %, so that noise does not add up."""
    step_pct = abs(position_pct - state.position_pct)
    if step_pct >= 1.0:
        state.travelled_pct += step_pct
        state.position_pct = position_pct


@kernel
def frozen(
    settings: SignalSettings, state: Stillness, watched: Switch, value: float, travelled_pct: float, dt_ms: int
) -> bool:
    """Whether a signal that should have moved has not; values come in counts of the input card."""
    if watched == Switch.OFF:
        state.frozen = False
        return False
    if value != state.value:
        state.value = value
        state.from_travel_pct = travelled_pct
        state.still_ms = 0
        state.frozen = False
        return False
    state.still_ms += dt_ms
    if state.still_ms >= settings.frozen_after_ms:
        if travelled_pct - state.from_travel_pct >= settings.frozen_travel_pct:
            state.frozen = True
    return state.frozen


@kernel
def still_frozen(state: Stillness, value: float) -> bool:
    """At standstill: whether a signal found frozen still is; it is not once it has changed."""
    if value != state.value:
        state.frozen = False
    return state.frozen


@kernel
def note_lies(state: WatchState) -> None:
    """Whether any of them lies."""
    w = state
    w.lies = (
        w.suction_pressure_lies
        or w.discharge_pressure_lies
        or w.motor_current_lies
        or w.discharge_temperature_lies
        or w.oil_pressure_lies
        or w.before_filter_lies
    )


@kernel
def forget(state: WatchState) -> None:
    """The motor stands: nothing has to move, and nothing contradicts; what was frozen stays so until it moves."""
    w = state
    w.suction_pressure.still_ms = 0
    w.discharge_pressure.still_ms = 0
    w.motor_current.still_ms = 0
    w.discharge_temperature.still_ms = 0
    w.oil_pressure.still_ms = 0
    ton(w.pressures, False, 0, 0)
    ton(w.current, False, 0, 0)
    ton(w.filter, False, 0, 0)
    w.suction_pressure_lies = w.suction_pressure.frozen
    w.discharge_pressure_lies = w.discharge_pressure.frozen
    w.motor_current_lies = w.motor_current.frozen
    w.discharge_temperature_lies = w.discharge_temperature.frozen
    w.oil_pressure_lies = w.oil_pressure.frozen
    w.before_filter_lies = False
    note_lies(w)
    w.waited_ms = 0
