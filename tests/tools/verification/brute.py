"""Temporal operators written out from their definitions, one scan at a time, to hold the fast ones to.

Robustness: Donzé and Maler, "Robust satisfaction of temporal logic over real-valued signals", FORMATS 2010 (c).
Windows count in scans, both ends included; a future operator has a value where its whole window lies in the run.
"""

from __future__ import annotations

import math


def future(margin: list[float], low: int, high: int, any_of: bool) -> list[float]:
    """max (min) over t' in [t + low, t + high]."""
    pick = max if any_of else min
    return [pick(margin[t + low : t + high + 1]) for t in range(len(margin) - high)]


def past(margin: list[float], low: int, high: int, any_of: bool) -> list[float]:
    """max (min) over t' in [t − high, t − low], those before the run left out."""
    pick, nothing = (max, -math.inf) if any_of else (min, math.inf)
    return [
        pick([margin[k] for k in range(t - high, t - low + 1) if k >= 0], default=nothing) for t in range(len(margin))
    ]


def until(first: list[float], second: list[float], low: int, high: int) -> list[float]:
    """max over t' in [t + low, t + high] of min(second(t'), min of first on [t, t'])."""
    return [
        max(min(second[u], min(first[t : u + 1])) for u in range(t + low, t + high + 1))
        for t in range(len(first) - high)
    ]


def duration(holds: list[bool]) -> list[int]:
    """Scans since it began to hold."""
    out: list[int] = []
    for k, now in enumerate(holds):
        out.append(out[-1] + 1 if now and k and holds[k - 1] else 0)
    return out


def age(holds: list[bool]) -> list[float]:
    """Scans since it last held, before this one."""
    return [min((float(t - u) for u in range(t) if holds[u]), default=math.inf) for t in range(len(holds))]


def wait(holds: list[bool], most: int) -> list[int]:
    """Scans until it first holds, most + 1 if it does not within `most`."""
    return [next((u for u in range(most + 1) if holds[t + u]), most + 1) for t in range(len(holds) - most)]


def count(holds: list[bool], scans: int) -> list[int]:
    """In how many of the last `scans` scans it held."""
    return [sum(holds[max(0, t + 1 - scans) : t + 1]) for t in range(len(holds))]


def latched(on: list[bool], off: list[bool]) -> list[bool]:
    """Reset-dominant flip-flop."""
    out, state = [], False
    for a, b in zip(on, off, strict=True):
        state = not b and (a or state)
        out.append(state)
    return out


def sampled(values: list[float], at: list[bool]) -> list[float]:
    """Sample and hold; before the first sample, the value itself."""
    out, held = [], None
    for value, take in zip(values, at, strict=True):
        held = value if take else held
        out.append(value if held is None else held)
    return out
