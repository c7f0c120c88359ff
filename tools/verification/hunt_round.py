"""One round of the hunt: independent draws, sequences by hypothesis, then sizes by an optimiser.

A round is by itself: the same seed and number give the same round, whatever ran before it and wherever.
"""

from __future__ import annotations

import contextlib
import math
import random
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scenarios.chance import generator
from scenarios.preparation import SCAN_MS, Prepared, prepare
from scenarios.trace import Trace
from tools.verification.findings import Finding, Verdict, evaluate
from tools.verification.ground import Ground
from tools.verification.pack import Pack
from tools.verification.trial import (
    CONDENSING_C,
    LAST_S,
    LOAD_KW,
    MOST_HAPPENINGS,
    MOST_SETTINGS,
    MOVED,
    NAMES,
    PLANTS,
    TEMPLATES,
    WRAP_S,
    Happening,
    Trial,
)

TRIALS_A_ROUND = 12
SHRINKS_AT_MOST = 150  # runs that making one failure smaller may take
MOVES_A_ROUND = 16
NAME = "hunt.toml"  # fits no requirement that is meant for some scenarios only
_NO_MARGIN = 1e-6

Player = Callable[[Prepared], tuple[Trace, str]]


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


def player_of(work: Path) -> Player:
    """Runs a prepared trial as `twoslide run` does."""
    from scenarios.runner import play_prepared

    def play(prepared: Prepared) -> tuple[Trace, str]:
        with tempfile.TemporaryDirectory(dir=work) as folder:
            trace, failure, *_ = play_prepared(prepared, Path(folder))
        return trace, failure

    return play


class Judge:
    """Plays trials and judges them; each trial once."""

    def __init__(self, ground: Ground, pack: Pack, work: Path, player: Player) -> None:
        self.ground, self.pack, self.work, self.player = ground, pack, work, player
        self.runs = 0
        self._known: dict[Trial, list[Finding]] = {}

    def __call__(self, trial: Trial) -> list[Finding]:
        """The findings of a trial."""
        found = self._known.get(trial)
        if found is None:
            path = self.work / NAME
            self.ground.write(trial, path)
            prepared = prepare([path], log_ms=SCAN_MS)[0]
            trace, _ = self.player(prepared)
            found = evaluate(self.pack, trace, prepared.settings, NAME)
            self._known[trial] = found
            self.runs += 1
        return found


def _failed(found: list[Finding]) -> list[str]:
    return [one.id for one in found if one.verdict is Verdict.FAILED]


def _strategy() -> Any:
    from hypothesis import strategies as st

    def happening(name: str) -> Any:
        sizes = [st.integers(low, high) for _, low, high in TEMPLATES[name].sizes]
        return st.builds(lambda at_s, row: Happening(name, at_s, row), st.integers(0, LAST_S), st.tuples(*sizes))

    some = st.sampled_from(NAMES).flatmap(happening)
    moved = st.sampled_from(tuple(MOVED)).flatmap(lambda name: st.tuples(st.just(name), st.integers(*MOVED[name])))
    return st.builds(
        Trial,
        st.integers(*LOAD_KW),
        st.integers(*CONDENSING_C),
        st.integers(0, 99),
        st.lists(some, min_size=1, max_size=MOST_HAPPENINGS).map(tuple),
        st.integers(*WRAP_S),
        st.integers(0, PLANTS),
        st.lists(moved, max_size=MOST_SETTINGS, unique_by=lambda one: one[0]).map(tuple),
    )


def draw(rng: random.Random) -> Trial:
    """One independent trial: what the zero-failure bound counts."""
    happenings = []
    for _ in range(rng.randint(1, MOST_HAPPENINGS)):
        name = rng.choice(NAMES)
        sizes = tuple(rng.randint(low, high) for _, low, high in TEMPLATES[name].sizes)
        happenings.append(Happening(name, rng.randint(0, LAST_S), sizes))
    moved = rng.sample(tuple(MOVED), rng.randint(0, MOST_SETTINGS))
    return Trial(
        rng.randint(*LOAD_KW), rng.randint(*CONDENSING_C), rng.randint(0, 99), tuple(happenings), rng.randint(*WRAP_S),
        rng.choice((0, rng.randint(1, PLANTS))), tuple((name, rng.randint(*MOVED[name])) for name in moved),
    )  # fmt: skip


def one_round(ground: Ground, seed: int, number: int, pack: Pack, player: Player | None = None) -> Round:
    """One round, by itself: independent draws, sequences by hypothesis, then sizes by an optimiser."""
    out = Round(number)
    with tempfile.TemporaryDirectory(prefix="twoslide-hunt-") as folder:
        judge = Judge(ground, pack, Path(folder), player or player_of(Path(folder)))
        rng = random.Random(int(generator(seed, f"hunt {number}").integers(2**62)))
        for _ in range(TRIALS_A_ROUND // 2):
            trial = draw(rng)
            out.drawn += 1
            out.failed_drawn += bool(_note(out, trial, judge(trial)))
        _sequences(out, judge, rng.getrandbits(60))
        _sizes(out, judge, number)
        for name in sorted(out.broken):
            _shrink(out, name, judge)
        out.runs = judge.runs
    return out


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


def _sequences(out: Round, judge: Judge, chance: int) -> None:
    """Hypothesis draws and shrinks; one exception type a requirement, so that it shrinks one failure and not another."""
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis.errors import HypothesisException

    started = judge.runs

    @seed(chance)
    @settings(
        max_examples=TRIALS_A_ROUND // 2, database=None, deadline=None, derandomize=False, report_multiple_bugs=False,
        phases=(Phase.generate, Phase.shrink), suppress_health_check=list(HealthCheck), print_blob=False,
    )  # fmt: skip
    @given(_strategy())
    def probe(trial: Trial) -> None:
        if judge.runs - started > SHRINKS_AT_MOST + TRIALS_A_ROUND:
            return
        failed = _note(out, trial, judge(trial))
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
        options={"maxfev": MOVES_A_ROUND, "initial_simplex": simplex, "xatol": 1e-3, "fatol": 1e-4},
    )  # fmt: skip
