"""Load inhibit and forced unload: limits that hold capacity back before a trip has to.

Limiting pressure by software never replaces the hard-wired cut-out.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.process_image import Inhibit, Mode
from controller.setting_fields import duration, percent, pressure, pressure_difference, temperature
from controller.setting_fields import temperature_difference as difference_k
from controller.signals import SignalState
from controller.timers import Ton, ton
from controller.trip_causes import (
    HIGH_DISCHARGE_PRESSURE,
    HIGH_DISCHARGE_TEMPERATURE,
    LOW_SUCTION_PRESSURE,
    MOTOR_OVERLOAD,
)

PRACTICE = "common practice, no source"
FREE = 0
HOLD = 1
UNLOAD = 2
NAMED = MOTOR_OVERLOAD | HIGH_DISCHARGE_PRESSURE | LOW_SUCTION_PRESSURE | HIGH_DISCHARGE_TEMPERATURE


@dataclass(frozen=True, slots=True)
class InhibitSettings:
    """Two limits per quantity: HOLD stops the rise, UNLOAD forces a fall; each is left only by its release band."""

    current_hold_pct: float = percent(100.0, 50.0, 120.0, f"of full-load current; {PRACTICE}")
    current_unload_pct: float = percent(105.0, 50.0, 130.0, f"of full-load current; {PRACTICE}")
    current_release_pct: float = percent(3.0, 0.1, 30.0, f"{PRACTICE}")
    discharge_pressure_hold_kpa_abs: float = pressure(1560.0, 400.0, 7000.0, f"40 °C saturated ammonia; {PRACTICE}")
    discharge_pressure_unload_kpa_abs: float = pressure(1620.0, 400.0, 7000.0, f"80 kPa before the trip; {PRACTICE}")
    discharge_pressure_release_kpa: float = pressure_difference(20.0, 0.0, 500.0, f"{PRACTICE}")
    suction_hold_kpa_abs: float = pressure(250.0, 30.0, 3500.0, f"3.7 K below the set point; {PRACTICE}")
    suction_unload_kpa_abs: float = pressure(235.0, 30.0, 3500.0, f"45 kPa before the trip; {PRACTICE}")
    suction_release_kpa: float = pressure_difference(5.0, 0.0, 250.0, f"{PRACTICE}")
    discharge_temperature_hold_c: float = temperature(92.0, 40.0, 130.0, f"13 K before the trip; {PRACTICE}")
    discharge_temperature_unload_c: float = temperature(97.0, 40.0, 130.0, f"8 K before the trip; {PRACTICE}")
    discharge_temperature_release_k: float = difference_k(2.0, 0.1, 20.0, f"{PRACTICE}")
    signal_unload_delay_ms: int = duration(
        3_000, 0, 120_000, f"suction pressure lost this long forces unloading; near NE 43 practice of 4 s; {PRACTICE}"
    )


@dataclass(slots=True)
class InhibitState:
    """Level of each limit (0 free, 1 hold, 2 unload) and the one that speaks."""

    current: int = 0
    discharge_pressure: int = 0
    suction: int = 0
    discharge_temperature: int = 0
    suction_lost: Ton = field(default_factory=Ton)
    inhibit: Inhibit = Inhibit.NONE
    forced: bool = False


@kernel
def limit_level(level: int, value: float, hold: float, unload: float, release: float) -> int:
    """New level of one limit, with the release band as hysteresis.

    >>> [limit_level(1, x, 100.0, 105.0, 3.0) for x in (96.0, 98.0, 101.0, 106.0)]
    [0, 1, 1, 2]
    """
    if value >= unload or (level == UNLOAD and value > unload - release):
        return UNLOAD
    if value >= hold or (level != FREE and value > hold - release):
        return HOLD
    return FREE


@kernel
def inhibit_load(
    settings: InhibitSettings,
    state: InhibitState,
    signals: SignalState,
    mode: Mode,
    full_load_current_a: float,
    hold_word: int,
    unload_word: int,
    dt_ms: int,
) -> None:
    """Levels of all limits, and which one is shown: a forced unload before a hold, then in scan order.

    hold_word, unload_word: due trip causes whose class holds or unloads instead of stopping.  A cause that has no
    limit of its own here is shown as SIGNAL_HOLD or SIGNAL_UNLOAD, and the alarm word names it.

    Only AUTOMATIC can be inhibited: everywhere else the sequence drives the slides to minimum or leaves them alone.
    """
    c = settings
    s = state
    if mode != Mode.AUTOMATIC:
        s.current = FREE
        s.discharge_pressure = FREE
        s.suction = FREE
        s.discharge_temperature = FREE
        ton(s.suction_lost, False, c.signal_unload_delay_ms, dt_ms)
        s.inhibit = Inhibit.NONE
        s.forced = False
        return
    current_pct = 0.0
    if full_load_current_a > 0.0:
        current_pct = 100.0 * signals.motor_current_a / full_load_current_a
    s.current = limit_level(s.current, current_pct, c.current_hold_pct, c.current_unload_pct, c.current_release_pct)
    s.discharge_pressure = limit_level(
        s.discharge_pressure,
        signals.discharge_pressure_kpa_abs,
        c.discharge_pressure_hold_kpa_abs,
        c.discharge_pressure_unload_kpa_abs,
        c.discharge_pressure_release_kpa,
    )
    s.suction = limit_level(
        s.suction,
        -signals.suction_pressure_kpa_abs,
        -c.suction_hold_kpa_abs,
        -c.suction_unload_kpa_abs,
        c.suction_release_kpa,
    )
    s.discharge_temperature = limit_level(
        s.discharge_temperature,
        signals.discharge_temperature_c,
        c.discharge_temperature_hold_c,
        c.discharge_temperature_unload_c,
        c.discharge_temperature_release_k,
    )
    lost = ton(s.suction_lost, not signals.suction_pressure_good, c.signal_unload_delay_ms, dt_ms)
    s.forced = True
    if s.current == UNLOAD or unload_word & MOTOR_OVERLOAD != 0:
        s.inhibit = Inhibit.CURRENT_UNLOAD
    elif s.discharge_pressure == UNLOAD or unload_word & HIGH_DISCHARGE_PRESSURE != 0:
        s.inhibit = Inhibit.DISCHARGE_PRESSURE_UNLOAD
    elif s.suction == UNLOAD or unload_word & LOW_SUCTION_PRESSURE != 0:
        s.inhibit = Inhibit.SUCTION_UNLOAD
    elif s.discharge_temperature == UNLOAD or unload_word & HIGH_DISCHARGE_TEMPERATURE != 0:
        s.inhibit = Inhibit.DISCHARGE_TEMPERATURE_UNLOAD
    elif lost or unload_word & ~NAMED != 0:
        s.inhibit = Inhibit.SIGNAL_UNLOAD
    else:
        s.forced = False
        if s.current == HOLD or hold_word & MOTOR_OVERLOAD != 0:
            s.inhibit = Inhibit.CURRENT_HOLD
        elif s.discharge_pressure == HOLD or hold_word & HIGH_DISCHARGE_PRESSURE != 0:
            s.inhibit = Inhibit.DISCHARGE_PRESSURE_HOLD
        elif s.suction == HOLD or hold_word & LOW_SUCTION_PRESSURE != 0:
            s.inhibit = Inhibit.SUCTION_HOLD
        elif s.discharge_temperature == HOLD or hold_word & HIGH_DISCHARGE_TEMPERATURE != 0:
            s.inhibit = Inhibit.DISCHARGE_TEMPERATURE_HOLD
        elif not signals.all_good or hold_word & ~NAMED != 0:
            s.inhibit = Inhibit.SIGNAL_HOLD
        else:
            s.inhibit = Inhibit.NONE


def cross_check(settings: InhibitSettings) -> list[str]:
    """Contradictions between fields, in plain words."""
    c = settings
    found = []
    if c.current_hold_pct >= c.current_unload_pct:
        found.append("inhibit: the current hold must lie below the current unload")
    if c.discharge_pressure_hold_kpa_abs >= c.discharge_pressure_unload_kpa_abs:
        found.append("inhibit: the discharge pressure hold must lie below its unload")
    if c.suction_hold_kpa_abs <= c.suction_unload_kpa_abs:
        found.append("inhibit: the low suction hold must lie above its unload")
    if c.discharge_temperature_hold_c >= c.discharge_temperature_unload_c:
        found.append("inhibit: the discharge temperature hold must lie below its unload")
    return found
