"""Timers of IEC 61131-3: on-delay (TON), off-delay (TOF) and pulse (TP), in whole milliseconds.

A timer is told how much time has passed since its last call; it reads no clock.  Time counts only between two calls
at which the condition was seen, so a late scan makes a timer late and never early.
"""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel


@dataclass(slots=True)
class Ton:
    """On-delay: Q follows IN after IN has been true for the preset."""

    elapsed_ms: int = 0
    was_on: bool = False


@dataclass(slots=True)
class Tof:
    """Off-delay: Q rises with IN and falls when IN has been false for the preset."""

    elapsed_ms: int = 0
    was_on: bool = False
    q: bool = False


@dataclass(slots=True)
class Tp:
    """Pulse: a rising IN gives one pulse of the preset length, whatever IN does meanwhile."""

    elapsed_ms: int = 0
    was_on: bool = False
    q: bool = False


@kernel
def ton(t: Ton, condition: bool, preset_ms: int, dt_ms: int) -> bool:
    """Q of an on-delay.

    >>> t = Ton(); ton(t, True, 100, 100), ton(t, True, 100, 100)
    (False, True)
    """
    if not condition:
        t.elapsed_ms = 0
        t.was_on = False
        return False
    if t.was_on:
        t.elapsed_ms = min(t.elapsed_ms + dt_ms, preset_ms)
    t.was_on = True
    return t.elapsed_ms >= preset_ms


@kernel
def tof(t: Tof, condition: bool, preset_ms: int, dt_ms: int) -> bool:
    """Q of an off-delay.

    >>> t = Tof(); tof(t, True, 100, 100), tof(t, False, 100, 100), tof(t, False, 100, 100)
    (True, True, False)
    """
    if condition:
        t.elapsed_ms = 0
        t.q = True
    elif t.was_on:
        t.elapsed_ms = 0
        t.q = preset_ms > 0
    elif t.q:
        t.elapsed_ms = min(t.elapsed_ms + dt_ms, preset_ms)
        t.q = t.elapsed_ms < preset_ms
    t.was_on = condition
    return t.q


@kernel
def tp(t: Tp, condition: bool, preset_ms: int, dt_ms: int) -> bool:
    """Q of a pulse timer; IN must have been false before it can fire again.

    >>> t = Tp(); tp(t, True, 100, 100), tp(t, True, 100, 100)
    (True, False)
    """
    if t.q:
        t.elapsed_ms = min(t.elapsed_ms + dt_ms, preset_ms)
        t.q = t.elapsed_ms < preset_ms
    elif condition and not t.was_on:
        t.elapsed_ms = 0
        t.q = preset_ms > 0
    if not t.q and not condition:
        t.elapsed_ms = 0
    t.was_on = condition
    return t.q
