"""One round of the hunt: independent draws and happenings alone, sequences by hypothesis, then steps towards an aim.

The first rounds go through every kind of happening alone, which exercises most requirements in few runs; later ones
search.  A round is by itself: the same seed and number give the same round, whatever ran before it and wherever.
"""

from __future__ import annotations

import contextlib
import math
import random
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scenarios.chance import generator
from tools.verification.draws import KINDS, alone, both_ends, changed, draw
from tools.verification.findings import Finding, Verdict
from tools.verification.ground import Ground
from tools.verification.pack import Pack
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
from tools.verification.trial_judge import Judge, Player, player_of

DRAWS_A_ROUND = 3
ALONE_AT_FIRST, ALONE_LATER = 10, 8  # happenings alone: in each round until all have been tried, and from then on
SEQUENCES_A_ROUND = 4
SHRINKS_AT_MOST = 60  # runs that making one failure smaller may take
STEPS_A_ROUND = 8
_NO_MARGIN = 1e-6


@dataclass(slots=True)
class Nearest:
    """How near a requirement came to breaking, and in which trial."""

    share: float
    margin: float
    unit: str
    trial: Trial


@dataclass(slots=True)
class Round:
    """What one round found.  drawn: independent trials; failed_drawn: those of them that broke something; runs: all."""

    number: int
    drawn: int = 0
    failed_drawn: int = 0
    runs: int = 0
    broken: dict[str, Trial] = field(default_factory=dict)  # requirement: the smallest trial that breaks it
    nearest: dict[str, Nearest] = field(default_factory=dict)
    exercised: dict[str, int] = field(default_factory=dict)  # requirement: trials in which it counted


class _Broken(AssertionError):
    """A trial broke a requirement."""


def _failed(found: list[Finding]) -> list[str]:
    return [one.id for one in found if one.verdict is Verdict.FAILED]


def _strategy(rng: random.Random) -> Any:
    """Sequences out of a few kinds of happenings, every other time with settings and plant moved."""
    from hypothesis import strategies as st

    def happening(name: str) -> Any:
        sizes = [st.integers(low, high) for _, low, high in TEMPLATES[name].sizes]
        return st.builds(lambda at_s, row: Happening(name, at_s, row), st.integers(0, LAST_S), st.tuples(*sizes))

    some = st.sampled_from(rng.sample(NAMES, rng.randint(*KINDS))).flatmap(happening)
    moved = st.sampled_from(tuple(MOVED)).flatmap(lambda name: st.tuples(st.just(name), st.integers(*MOVED[name])))
    wide = rng.random() < 0.5
    return st.builds(
        Trial,
        st.integers(*LOAD_PCT),
        st.integers(*CONDENSING_K),
        st.integers(*SUCTION_K),
        st.integers(0, 99),
        st.lists(some, min_size=1, max_size=MOST_HAPPENINGS).map(tuple),
        st.integers(*WRAP_S),
        st.integers(0, PLANTS if wide else 0),
        st.lists(moved, max_size=MOST_SETTINGS if wide else 0, unique_by=lambda one: one[0]).map(tuple),
    )


def one_round(ground: Ground, seed: int, number: int, pack: Pack, player: Player | None = None) -> Round:
    """One round, by itself."""
    out = Round(number)
    with tempfile.TemporaryDirectory(prefix="twoslide-hunt-") as folder:
        judge = Judge(ground, pack, Path(folder), player or player_of(Path(folder)))
        rng = random.Random(int(generator(seed, f"hunt {number}").integers(2**62)))
        tried = []
        for _ in range(DRAWS_A_ROUND):
            tried.append(draw(rng))
            out.drawn += 1
            out.failed_drawn += bool(_note(out, tried[-1], judge(tried[-1])))
        for place in _places(seed, number):
            tried.append(alone(rng, seed, place))
            _note(out, tried[-1], judge(tried[-1]))
        if number >= _first_rounds(seed):
            _sequences(out, judge, rng)
            if number % 3:
                _towards(out, judge, rng, tried, aims(pack, seed, number))
            else:
                _sizes(out, judge, number)
        for name in sorted(out.broken):
            _shrink(out, name, judge)
        out.runs = judge.runs
    return out


def _first_rounds(seed: int) -> int:
    """How many rounds it takes to try every happening alone."""
    return math.ceil(len(both_ends(seed)) / ALONE_AT_FIRST)


def _places(seed: int, number: int) -> range:
    """The happenings alone that a round tries."""
    first = _first_rounds(seed)
    if number < first:
        return range(ALONE_AT_FIRST * number, ALONE_AT_FIRST * (number + 1))
    begun = ALONE_AT_FIRST * first + ALONE_LATER * (number - first)
    return range(begun, begun + ALONE_LATER)


def aims(pack: Pack, seed: int, number: int) -> list[str]:
    """The requirements in the order in which a round would aim at them: each round begins with another one."""
    names = [one.id for one in pack.requirements]
    random.Random(seed).shuffle(names)
    k = 2 * number // 3 % len(names)  # two rounds of three aim
    return names[k:] + names[:k]


def _note(out: Round, trial: Trial, found: list[Finding]) -> list[str]:
    """Keep what a trial says; the requirements that it broke."""
    failed = _failed(found)
    for name in failed:
        if name not in out.broken or trial.size < out.broken[name].size:
            out.broken[name] = trial
    for one in found:
        if one.exercised:
            out.exercised[one.id] = out.exercised.get(one.id, 0) + 1
        if (
            one.verdict is Verdict.HELD
            and one.share is not None
            and one.margin is not None
            and math.isfinite(one.share)
        ):
            known = out.nearest.get(one.id)
            if known is None or one.share < known.share:
                out.nearest[one.id] = Nearest(one.share, one.margin, one.unit, trial)
    return failed


def _sequences(out: Round, judge: Judge, rng: random.Random) -> None:
    """Hypothesis draws and shrinks; one exception type a requirement, so that it shrinks one failure and not another."""
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis.errors import HypothesisException

    started, known = judge.runs, set(out.broken)

    @seed(rng.getrandbits(60))
    @settings(
        max_examples=SEQUENCES_A_ROUND, database=None, deadline=None, derandomize=False, report_multiple_bugs=False,
        phases=(Phase.generate, Phase.shrink), suppress_health_check=list(HealthCheck), print_blob=False,
    )  # fmt: skip
    @given(_strategy(rng))
    def probe(trial: Trial) -> None:
        if judge.runs - started > SHRINKS_AT_MOST + SEQUENCES_A_ROUND:
            return
        failed = [name for name in _note(out, trial, judge(trial)) if name not in known]
        if failed:
            raise type(f"Broken_{failed[0]}", (_Broken,), {})(failed[0])

    # what broke is noted; a shrink that was cut short says that it is flaky
    with contextlib.suppress(_Broken, HypothesisException, ExceptionGroup):
        probe()


def _shrink(out: Round, name: str, judge: Judge) -> None:
    """Leave things out of the smallest trial that breaks a requirement, as long as it still does."""
    smaller = True
    while smaller:
        smaller = any(name in _note(out, one, judge(one)) for one in out.broken[name].smaller())


def _towards(out: Round, judge: Judge, rng: random.Random, tried: list[Trial], order: list[str]) -> None:
    """Change a trial step by step, and keep what comes nearer to exercising the first requirement of an order that no
    trial of this round has exercised, and then to breaking it."""
    able = set[str]().union(*(judge.lacks(trial) for trial in tried)) - set(out.exercised)
    name = next((one for one in order if one in able), None)
    if name is None:
        return

    def far(trial: Trial) -> tuple[float, float]:
        one = next(f for f in judge(trial) if f.id == name)
        share = math.inf if one.share is None else one.share
        return (0.0, share) if one.exercised else (judge.lacks(trial).get(name, math.inf), math.inf)

    base = min(tried, key=lambda trial: (far(trial), trial.size))
    for _ in range(STEPS_A_ROUND):
        trial = changed(rng, base)
        _note(out, trial, judge(trial))
        if far(trial) <= far(base):
            base = trial


def _sizes(out: Round, judge: Judge, number: int) -> None:
    """Move times and sizes of a trial that came near, to bring it nearer: another requirement each round."""
    from scipy.optimize import minimize

    # a margin of nothing at all is an equality that holds ("not above the last one"): there is nothing to gain on it
    able = [name for name, near in out.nearest.items() if name not in out.broken and near.share > _NO_MARGIN]
    ranked = sorted(able, key=lambda name: out.nearest[name].share)
    if not ranked:
        return
    name = ranked[number % min(len(ranked), 8)]
    base = out.nearest[name].trial
    values, ranges = base.numbers()
    spans = [max(1, high - low) for low, high in ranges]

    def share(row: Any) -> float:
        trial = base.moved([low + span * v for (low, _), span, v in zip(ranges, spans, row, strict=True)])
        found = judge(trial)
        _note(out, trial, found)
        one = next(f for f in found if f.id == name)
        return one.share if one.share is not None and one.exercised and math.isfinite(one.share) else 10.0

    start = [(v - low) / span for v, (low, _), span in zip(values, ranges, spans, strict=True)]
    simplex = [start] + [
        [x + (0.08 if x < 0.5 else -0.08) * (k == j) for j, x in enumerate(start)] for k in range(len(start))
    ]
    minimize(
        share, start, method="Nelder-Mead",
        options={"maxfev": STEPS_A_ROUND, "initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-4},
    )  # fmt: skip
