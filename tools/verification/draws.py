"""How the hunt chooses trials: independent draws, each kind of happening alone, and changes to a trial.

A draw leans to what tells most, and knows nothing of the controller: few happenings rather than many, out of a few kinds
each time, soon after one another, at the ends of their sizes; half of them on the plant as its file has it and under the
sheet as it is.  The distribution is the same for every draw of every round: the zero-failure bound is about it.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

from tools.verification.trial import (
    CONDENSING_K,
    LAST_S,
    LOAD_PCT,
    MOST_HAPPENINGS,
    MOST_SETTINGS,
    MOVED,
    NAMES,
    PLANTS,
    SUCTION_K,
    TEMPLATES,
    WRAP_S,
    Happening,
    Trial,
)

KINDS = (2, 8)  # kinds of happenings that one draw chooses from
_HOW_MANY = (3, 3, 2, 2, 1, 1)  # chances of one happening, of two, …; a choice of this project's own, like those below
assert len(_HOW_MANY) == MOST_HAPPENINGS
_PLAIN = 0.5  # share of draws without moved settings and plant
_AT_HIGH, _AT_LOW = 0.3, 0.15  # shares of sizes at an end of their range
_SOON = 0.6  # share of happenings that follow on another one
_SOON_S = 600
_EARLY, _FOLLOWED = 0.3, 0.75  # shares of what is tried alone again: during the start, and with another one after it
_IN_SERVICE_S = (300, 900)  # a start with its pre-lubrication and run-up is over by then
ACTIONS = tuple(name for name in NAMES if dict(TEMPLATES[name].event)["kind"] == "operator")
_TIMES = ("s", "ms", "over", "scans")  # sizes that are times: the short end of one shows little


def draw(rng: random.Random) -> Trial:
    """One independent trial: what the zero-failure bound counts."""
    names = rng.sample(NAMES, rng.randint(*KINDS))
    happenings: list[Happening] = []
    for _ in range(rng.choices(range(1, MOST_HAPPENINGS + 1), _HOW_MANY)[0]):
        happenings.append(_one(rng, rng.choice(names), happenings))
    plain = rng.random() < _PLAIN
    moved = [] if plain else rng.sample(tuple(MOVED), rng.randint(0, MOST_SETTINGS))
    plant = 0 if plain else rng.choice((0, rng.randint(1, PLANTS)))
    settings = tuple((name, rng.randint(*MOVED[name])) for name in moved)
    return Trial(*_start(rng), rng.randint(0, 99), tuple(happenings), rng.randint(*WRAP_S), plant, settings)


def alone(rng: random.Random, seed: int, place: int) -> Trial:
    """The trial at a place of the endless row of all happenings alone, each at each end of its sizes, in an order that
    the seed gives: first in service, from the second turn on during the start too, and most with another one soon after,
    often a person's action."""
    kinds = both_ends(seed)
    turn, k = divmod(place, len(kinds))
    name, high = kinds[k]
    sizes = tuple(
        (low_end, high_end)[high] if size not in _TIMES else rng.choice((low_end, high_end)) if size == "over" else high_end
        for size, low_end, high_end in TEMPLATES[name].sizes
    )  # fmt: skip
    early = turn > 0 and rng.random() < _EARLY
    at_s = _log_uniform(rng, 1, _IN_SERVICE_S[0]) if early else rng.randint(*_IN_SERVICE_S)
    happenings = [Happening(name, at_s, sizes)]
    if turn > 0 and rng.random() < _FOLLOWED:
        follower = rng.choice(ACTIONS if rng.random() < 0.5 else NAMES)
        after_s = min(LAST_S, at_s + _log_uniform(rng, 1, _SOON_S))
        happenings.append(Happening(follower, after_s, _sizes(rng, follower)))
    return Trial(*_start(rng), rng.randint(0, 99), tuple(happenings), rng.randint(*WRAP_S))


def _start(rng: random.Random) -> tuple[int, int, int]:
    """Load, condensing and suction at the start."""
    return rng.randint(*LOAD_PCT), rng.randint(*CONDENSING_K), rng.randint(*SUCTION_K)


def both_ends(seed: int) -> list[tuple[str, bool]]:
    """Every kind of happening with its high end, then those whose low end is another thing (nothing at all, or the other
    way) and not only a small fault, each in a drawn order."""
    rng = random.Random(seed)
    low = [name for name in NAMES if any(size not in _TIMES and end <= 0 for size, end, _ in TEMPLATES[name].sizes)]
    return [(name, True) for name in rng.sample(NAMES, len(NAMES))] + [
        (name, False) for name in rng.sample(low, len(low))
    ]


def changed(rng: random.Random, trial: Trial) -> Trial:
    """A trial with one thing about it changed: a happening added, left out, moved in time or size, or the conditions."""
    happenings = list(trial.happenings)
    what = rng.choice(("add", "add", "time", "size", "size", "conditions", "leave out"))
    k = rng.randrange(len(happenings)) if happenings else 0
    if what == "add" and len(happenings) < MOST_HAPPENINGS:
        happenings.append(_one(rng, rng.choice(NAMES), happenings))
    elif what == "leave out" and len(happenings) > 1:
        del happenings[k]
    elif what == "time" and happenings:
        step_s = _log_uniform(rng, 1, _SOON_S) * rng.choice((-1, 1))
        happenings[k] = replace(happenings[k], at_s=min(LAST_S, max(0, happenings[k].at_s + step_s)))
    elif what == "size" and happenings and happenings[k].sizes:
        happenings[k] = replace(happenings[k], sizes=_sizes(rng, happenings[k].name))
    else:
        load_pct, condensing_k, suction_k = _start(rng)
        trial = replace(trial, load_pct=load_pct, condensing_k=condensing_k, suction_k=suction_k)
    return replace(trial, happenings=tuple(happenings))


def _one(rng: random.Random, name: str, before: list[Happening]) -> Happening:
    """A happening of this kind, often soon after one that is there already."""
    if before and rng.random() < _SOON:
        at_s = min(LAST_S, rng.choice(before).at_s + _log_uniform(rng, 1, _SOON_S))
    else:
        at_s = rng.choice((rng.randint(0, LAST_S), _log_uniform(rng, 1, LAST_S)))
    return Happening(name, at_s, _sizes(rng, name))


def _sizes(rng: random.Random, name: str) -> tuple[int, ...]:
    return tuple(_size(rng, low, high) for _, low, high in TEMPLATES[name].sizes)


def _size(rng: random.Random, low: int, high: int) -> int:
    chance = rng.random()
    if chance < _AT_HIGH:
        return high
    return low if chance < _AT_HIGH + _AT_LOW else rng.randint(low, high)


def _log_uniform(rng: random.Random, low: int, high: int) -> int:
    return round(math.exp(rng.uniform(math.log(low), math.log(high))))
