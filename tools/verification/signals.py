"""Windows, timers and latches over scans, vectorised: each is linear in the number of scans.

A window [a, b] counts in scans and includes both ends.  A future window gives n − b values, those whose whole window
lies in the run; a past one gives n, and what lies before the run does not count.  Robustness as in Donzé and Maler,
"Robust satisfaction of temporal logic over real-valued signals", FORMATS 2010: min for always, max for eventually.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Longs = NDArray[np.int64]


def _extreme(values: Floats, width: int, greatest: bool) -> Floats:
    """Minimum (maximum) of each `width` neighbours, shape n − width + 1."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    if width == 1:
        return values
    run = maximum_filter1d if greatest else minimum_filter1d
    filtered: Floats = run(values, width, mode="nearest")
    first = width // 2  # the filter's window of the value k begins at k − width // 2
    return filtered[first : first + len(values) - width + 1]


def _any(holds: Bools, width: int) -> Bools:
    """Whether any of each `width` neighbours holds, shape n − width + 1."""
    if width == 1:
        return holds
    so_far = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(holds, dtype=np.int64)))
    found: Bools = so_far[width:] > so_far[:-width]
    return found


def future(holds: Bools, low: int, high: int, any_of: bool) -> Bools:
    """any_of: whether it holds in any scan of [t + low, t + high]; else in all of them."""
    inside = holds[low:]
    return _any(inside, high - low + 1) if any_of else ~_any(~inside, high - low + 1)


def future_margin(margin: Floats, low: int, high: int, any_of: bool) -> Floats:
    """The same for margins."""
    return _extreme(margin[low:], high - low + 1, any_of)


def past(holds: Bools, low: int, high: int, any_of: bool) -> Bools:
    """Whether it held in any (or all) of [t − high, t − low]; scans before the run hold for all and count for none."""
    n = len(holds)
    low, high = min(low, n), min(high, n + low)
    padded = np.concatenate((np.full(high, not any_of), holds))[: n + high - low]
    return _any(padded, high - low + 1) if any_of else ~_any(~padded, high - low + 1)


def past_margin(margin: Floats, low: int, high: int, any_of: bool) -> Floats:
    """The same for margins; before the run they are endless."""
    n = len(margin)
    low, high = min(low, n), min(high, n + low)
    padded = np.concatenate((np.full(high, -np.inf if any_of else np.inf), margin))[: n + high - low]
    return _extreme(padded, high - low + 1, any_of)


def until(first: Bools, second: Bools, low: int, high: int) -> Bools:
    """Whether `second` holds in a scan of [t + low, t + high], and `first` from t up to and with that scan."""
    n = len(first)
    places = np.arange(n)
    # the next scan in which both hold, and the next in which the first does not
    meets = _next(first & second)
    breaks = _next(~first)
    open_end = meets <= breaks  # `first` lasts until then
    open_end &= meets < n
    keeps = breaks - places  # scans from t on for which `first` holds
    count = n - high
    t = np.arange(count)
    return (keeps[:count] >= low) & open_end[t + low] & future(second, low, high, True)[:count]


def until_margin(first: Floats, second: Floats, low: int, high: int) -> Floats:
    """max over t' of min(second(t'), min of first on [t, t']).

    U[a, b] = min(G[0, a] first, F[a, b] second, unbounded until at t + a): Donzé, Ferrère and Maler, "Efficient robust
    monitoring for STL", CAV 2013 (from memory); with `first` counted up to and with t'.
    """
    best, open_end = -np.inf, []
    for a, b in zip(first[::-1].tolist(), second[::-1].tolist(), strict=True):
        best = min(a, max(b, best))
        open_end.append(best)
    later = np.array(open_end[::-1])[low:]
    count = len(first) - high
    lasting = _extreme(first, low + 1, False)[:count]
    reached = future_margin(second, low, high, True)[:count]
    found: Floats = np.minimum(np.minimum(lasting, reached), later[:count])
    return found


def _next(holds: Bools) -> Longs:
    """Place of the next scan in which it holds, this one counted; n where there is none."""
    n = len(holds)
    places = np.where(holds, np.arange(n), n)
    found: Longs = np.minimum.accumulate(places[::-1])[::-1]
    return found


def last_place(holds: Bools) -> Longs:
    """Place of the last scan in which it held, this one counted; −1 where there is none."""
    found: Longs = np.maximum.accumulate(np.where(holds, np.arange(len(holds)), -1))
    return found


def rises(holds: Bools) -> Bools:
    """The scans in which it begins to hold; the first row is none."""
    out = np.zeros(len(holds), dtype=np.bool_)
    out[1:] = holds[1:] & ~holds[:-1]
    return out


def duration(holds: Bools) -> Longs:
    """Scans since it began to hold; 0 in that scan, and where it does not hold."""
    n = len(holds)
    since = last_place(~holds)
    return np.where(holds, np.arange(n) - since - 1, 0)


def age(holds: Bools) -> Floats:
    """Scans since it last held before this one; endless if it did not."""
    n = len(holds)
    before = np.concatenate((np.full(1, -1, dtype=np.int64), last_place(holds)[:-1]))
    return np.where(before >= 0, np.arange(n) - before, np.inf)


def wait(holds: Bools, most: int) -> Longs:
    """Scans until it first holds, at most `most` + 1; shape n − most."""
    count = len(holds) - most
    found: Longs = np.minimum(_next(holds)[:count] - np.arange(count), most + 1)
    return found


def count(holds: Bools, scans: int) -> Longs:
    """In how many of the last `scans` scans it held, this one counted."""
    so_far = np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(holds, dtype=np.int64)))
    places = np.arange(1, len(holds) + 1)
    found: Longs = so_far[places] - so_far[np.maximum(places - scans, 0)]
    return found


def latched(on: Bools, off: Bools) -> Bools:
    """Set by `on`, reset by `off`, which wins."""
    found: Bools = last_place(on & ~off) > last_place(off)
    return found


def sampled(values: Floats, at: Bools) -> Floats:
    """The value in the last scan in which `at` held; before the first, the value now."""
    places = last_place(at)
    found: Floats = np.where(places >= 0, values[np.maximum(places, 0)], values)
    return found
