"""What a log says of the slide's drive: when it moved, how fast each way, and what is lost on a turn.

Where the slide stands, its noisy reading is replaced by its mean: noise of a measured input would make the slope look
smaller than it is.  Speeds are those of moves that last long enough to be seen; the travel lost on a turn is what the
drive ran before the slide moved after a turn, less the same after a move in its own direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from tools.tuning.identification_fit import Interval
from tools.tuning.identification_log import LoggedTest

Float = NDArray[np.float64]
Switch = NDArray[np.bool_]

LEAST_MOVE_PCT = 0.4  # less is not told from noise and resolution; common practice, no source
LOW_END_PCT, HIGH_END_PCT = 1.0, 99.0  # there a slide may push without moving
SAMPLES_OF_A_MOVE = 4


@dataclass(frozen=True, slots=True)
class Move:
    """A stretch in which the slide went one way: row numbers, from the last at rest to the first at rest again."""

    first: int
    last: int
    direction: int
    travel_pct: float


@dataclass(frozen=True, slots=True)
class DriveFound:
    """Speeds in % of travel per s, both positive; backlash: travel lost on a turn, %; None where the log does not say."""

    speed_up_pct_s: Interval | None
    speed_down_pct_s: Interval | None
    backlash_pct: Interval | None
    dead_time_s: Interval | None  # from the drive's command to the first motion
    notes: tuple[str, ...]


def position_noise_pct(position_pct: Float) -> float:
    """Standard deviation of the reading at rest, from second differences, which a steady move does not change."""
    second = np.diff(position_pct, 2)
    moved = np.abs(second[second != 0.0])
    if len(moved) < 0.3 * len(second):  # a reading of steps: nothing between them
        return float(np.sqrt(np.mean(np.square(np.clip(second, -0.05, 0.05))) / 6.0))
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0))


def moves_of(position_pct: Float) -> list[Move]:
    """All moves of at least LEAST_MOVE_PCT, or of ten times the reading's noise where that is more."""
    least = max(LEAST_MOVE_PCT, 6.0 * position_noise_pct(position_pct))
    n = len(position_pct)
    found: list[Move] = []
    # zig-zag: a turning point is one from which the reading has come back by `least`
    turn, direction = 0, 0
    points = [0]
    high = low = 0
    for k in range(1, n):
        value = position_pct[k]
        high = k if value > position_pct[high] else high
        low = k if value < position_pct[low] else low
        if direction >= 0 and value < position_pct[high] - least:
            points.append(high)
            direction, low = -1, k
            high = k
        elif direction <= 0 and value > position_pct[low] + least:
            points.append(low)
            direction, high = 1, k
            low = k
        turn = k
    points.append(turn)
    for a, b in pairwise(points):
        found += _parts(position_pct, a, b, least)
    return found


def _parts(x: Float, a: int, b: int, least: float) -> list[Move]:
    """The moves inside a monotone stretch, which may hold several with rests in between."""
    sign = 1 if x[b] >= x[a] else -1
    noise = max(position_noise_pct(x), 0.01)
    running = sign * x[a : b + 1]
    ahead = np.minimum(np.arange(len(running)) + 2, len(running) - 1)
    behind = np.maximum(np.arange(len(running)) - 2, 0)
    moving = running[ahead] - running[behind] > max(0.15, 5.0 * noise)
    moves = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], moving.astype(np.int8), [0]])))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        first, last = a + max(0, int(start)), a + min(int(end), len(running) - 1)
        travel = float(x[last] - x[first])
        if abs(travel) >= least:
            moves.append(Move(first, last, sign, travel))
    return moves


def calm(position_pct: Float) -> Float:
    """The reading with every rest of at least eight samples replaced by its mean; a rest that creeps stays as read."""
    out = np.array(position_pct, dtype=np.float64)
    noise = max(position_noise_pct(position_pct), 0.01)
    edges = [0]
    for move in moves_of(position_pct):
        edges += [move.first, move.last]
    edges.append(len(out))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        if b - a < 8:
            continue
        part = position_pct[a:b]
        half = len(part) // 2
        spread = 4.0 * noise * np.sqrt(2.0 / half) + 0.02
        if abs(part[:half].mean() - part[half:].mean()) < spread and part.std() < 2.0 * noise + 0.05:
            out[a:b] = part.mean()
    return out


def drive_of(log: LoggedTest) -> DriveFound:
    """Speeds, dead time and backlash, as far as the log supports them."""
    notes: list[str] = []
    x, t = log.position_pct, log.time_s
    moves = moves_of(x)
    slopes: dict[int, list[tuple[float, float]]] = {1: [], -1: []}
    for move in moves:
        inside = slice(move.first + 2, move.last - 1)  # the ends are half rest, half move
        pos, when = x[inside], t[inside]
        free = (pos > LOW_END_PCT) & (pos < HIGH_END_PCT)
        if np.count_nonzero(free) < SAMPLES_OF_A_MOVE:
            continue
        line = np.polyfit(when[free], pos[free], 1)
        off = pos[free] - np.polyval(line, when[free])
        if abs(off).max() > max(0.1 * abs(move.travel_pct), 5.0 * position_noise_pct(x), 0.3):
            continue  # a row of pulses, no steady move
        error = float(np.sqrt(off @ off / max(1, len(off) - 2) / np.sum(np.square(when[free] - when[free].mean()))))
        slopes[move.direction].append((abs(float(line[0])), error))
    speeds = {way: _mean(found) for way, found in slopes.items()}
    for way, word in ((1, "up"), (-1, "down")):
        if speeds[way] is None:
            notes.append(f"speed {word}: no steady move of at least {SAMPLES_OF_A_MOVE + 3} samples in the log")
    if log.load_on is None or log.unload_on is None:
        backlash = _from_demand(log, moves, notes)
        return DriveFound(speeds[1], speeds[-1], backlash, None, tuple(notes))
    late = _delays(log, speeds, notes)
    repeated = [d for turned, d, _ in late if not turned]
    dead = _mean([(d, 0.3 * log.step_s) for d in repeated])
    backlash = None
    turned_pct = [
        (max(0.0, d - float(np.mean(repeated))) * s, 0.4 * log.step_s * s)
        for turned, d, s in late
        if turned and repeated
    ]
    if turned_pct:
        backlash = _mean(turned_pct, floor=0.0)
    else:
        notes.append("backlash: the log has no pair of a move after a turn and one in its own direction")
    return DriveFound(speeds[1], speeds[-1], backlash, dead, tuple(notes))


def _delays(log: LoggedTest, speeds: dict[int, Interval | None], notes: list[str]) -> list[tuple[bool, float, float]]:
    """(after a turn?, seconds from command to motion, speed) of every run of a drive that moved the slide long enough."""
    assert log.load_on is not None
    assert log.unload_on is not None
    t, x = log.time_s, log.position_pct
    runs = []
    for way, on in ((1, log.load_on), (-1, log.unload_on)):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
        runs += [(int(a), int(b), way) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    runs.sort()
    found, before = [], 0
    stop = [run[0] for run in runs[1:]] + [len(t)]
    for (a, b, way), until in zip(runs, stop, strict=True):
        turned, before_now = before not in (0, way), before
        before = way
        speed = speeds[way]
        if speed is None or before_now == 0 or a < 3 or b - a < SAMPLES_OF_A_MOVE:
            continue
        end = min(b + 3, until, len(t))
        rest = float(np.mean(x[max(0, a - 5) : a]))
        moved = way * (x[a:end] - rest)
        here = (moved > max(0.3, 5.0 * position_noise_pct(x))) & (np.arange(len(moved)) < b - a)
        if np.count_nonzero(here) < 3 or rest > HIGH_END_PCT or rest < LOW_END_PCT:
            continue
        # where the line of known speed through the moving samples leaves the rest
        crossing = float(np.mean(t[a:end][here] - moved[here] / speed.value))
        # a drive that reads on first does so up to one step after it went on
        found.append((turned, crossing - t[a] + 0.5 * log.step_s, speed.value))
    if not runs:
        notes.append("the drive columns never say on")
    return found


def _from_demand(log: LoggedTest, moves: list[Move], notes: list[str]) -> Interval | None:
    """Without drive columns: where the slide comes to rest from below and from above the same demand; an upper bound."""
    if log.demand_pct is None:
        notes.append("backlash: needs columns of both drives, or of the demand")
        return None
    rests: dict[int, list[float]] = {1: [], -1: []}
    for k, move in enumerate(moves):
        until = moves[k + 1].first if k + 1 < len(moves) else len(log.time_s)
        if until - move.last >= 3:
            part = slice(move.last, until)
            rests[move.direction].append(float(np.mean(log.position_pct[part] - log.demand_pct[part])))
    if not rests[1] or not rests[-1]:
        notes.append("backlash: the demand never turned")
        return None
    most = max(0.0, float(np.mean(rests[-1])) - float(np.mean(rests[1])))
    notes.append(
        "backlash: only an upper bound, the positioner's neutral zone is in it; log the drives to tell them apart"
    )
    return Interval(0.5 * most, 0.0, most)


def _mean(found: list[tuple[float, float]], floor: float = -np.inf) -> Interval | None:
    """Mean of estimates with their standard errors; the wider of scatter and errors makes the interval."""
    if not found:
        return None
    values = np.array([v for v, _ in found])
    own = float(np.sqrt(np.mean([e**2 for _, e in found]) / len(found)))
    scatter = float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else 0.0
    freedom = max(1, len(values) - 1)
    half = max(1.96 * own, float(student.ppf(0.975, freedom)) * scatter if len(values) > 1 else 0.0)
    mean = float(values.mean())
    return Interval(mean, max(floor, mean - half), mean + half)
