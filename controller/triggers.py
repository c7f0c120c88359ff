"""Edge detection and bistables of IEC 61131-3: R_TRIG, F_TRIG, SR (set dominant) and RS (reset dominant)."""

from __future__ import annotations

from dataclasses import dataclass

from numba.extending import register_jitable as kernel


@dataclass(slots=True)
class Edge:
    """Memory of an edge detector; the standard's initial value is false."""

    was_on: bool = False


@dataclass(slots=True)
class FallingEdge:
    """Memory of a falling-edge detector: it holds NOT CLK; the standard's initial value is false."""

    was_off: bool = False


@dataclass(slots=True)
class Bistable:
    """Memory of a bistable."""

    q: bool = False


@kernel
def r_trig(t: Edge, clock: bool) -> bool:
    """True for exactly one call after a rise; true on a first call that finds the input already true."""
    q = clock and not t.was_on
    t.was_on = clock
    return q


@kernel
def f_trig(t: FallingEdge, clock: bool) -> bool:
    """True for exactly one call after a fall; true on a first call that finds the input already false."""
    q = not clock and not t.was_off
    t.was_off = not clock
    return q


@kernel
def sr(t: Bistable, set1: bool, reset: bool) -> bool:
    """Set dominant: both inputs true give true."""
    t.q = set1 or (t.q and not reset)
    return t.q


@kernel
def rs(t: Bistable, set_: bool, reset1: bool) -> bool:
    """Reset dominant: both inputs true give false."""
    t.q = not reset1 and (set_ or t.q)
    return t.q
