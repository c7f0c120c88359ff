"""How sensitive the scores are to each setting: what 10 % more of it does to them, and whether that is told from noise.

Method.  Each searched setting is moved to 0.9 and 1.1 of its chosen value, one at a time, and both candidates are run on
the same cases with the same plants, noise and events (common random numbers).  Half of the relative difference between
the two is the effect of 10 % more.  Its spread is that of the cases: jackknife over them (Efron & Stein, Ann. Stat. 9,
1981), Student's t interval at 95 %.  "Told from noise" is stricter, because many effects are looked at at once: Holm's
step-down test (Scand. J. Stat. 6, 1979) over all of them at a family level of 5 %.

What it does not say: effects of larger moves, of two settings at once, and on other cases.  Where one of the two
neighbours breaks a limit (a trip, a contradiction) the chosen value itself stands in for it; where both do there is no
figure.  `words` says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tools.tuning.executors import Executor
from tools.tuning.proof import CONFIDENCE
from tools.tuning.space import Knob, Space, Vector, rounded, rule_at
from tools.tuning.trials import OBJECTIVES, Constraints, Context, Floats, Outcome, Task
from tools.tuning.tuning_result import Between, Effect

STEP_FRAC = 0.10
METHOD = (
    "Each searched setting was moved 10 % down and up from its chosen value, alone, on {cases} cases with the same plants, "
    "noise and events. The figure is what 10 % more of the setting does to the score, in % of the score, with its 95 % "
    "interval over the cases. “Not told from noise”: it does not pass Holm's test over all {tests} effects at 5 %."
)


@dataclass(frozen=True, slots=True)
class ScoreEffects:
    """Effects by the setting's attribute path, in the order of OBJECTIVES; words: what could not be had; method in words."""

    by_path: dict[str, tuple[Effect, ...]]
    words: tuple[str, ...]
    method: str


@dataclass(frozen=True, slots=True)
class _Pair:
    """A knob's two candidates; None where the range or rounding leaves no other value on that side."""

    knob: Knob
    low: tuple[float, tuple[float, ...]] | None  # value and vector
    high: tuple[float, tuple[float, ...]] | None


def _candidates(space: Space, chosen: Sequence[float] | Vector) -> list[_Pair]:
    values = space.values(chosen)
    out = []
    for k, knob in enumerate(space.knobs):
        value, rule = values[knob.name], rule_at(type(space.base), knob.path)
        sides: list[tuple[float, tuple[float, ...]] | None] = []
        for factor in (1.0 - STEP_FRAC, 1.0 + STEP_FRAC):
            wanted = rounded(min(max(factor * value, knob.low), knob.high), rule)
            vector = np.array(chosen, dtype=np.float64)
            vector[k] = knob.share(float(wanted))
            sides.append(None if wanted == value else (float(wanted), tuple(vector.tolist())))
        out.append(_Pair(knob, sides[0], sides[1]))
    return out


def _ratio(score: int, high: Floats, low: Floats) -> float:
    """high/low of a score from contributions of cases; the first objective is the root of a mean."""
    with np.errstate(all="ignore"):
        ratio = float(np.sum(high[:, score]) / np.sum(low[:, score]))
    return math.sqrt(ratio) if score == 0 and ratio >= 0.0 else ratio


def effect_of(score: int, high: Floats, low: Floats, steps: float) -> tuple[Between, float]:
    """Change in % for one step, with its interval, and the p-value of no change; `steps`: how many lie between the two.

    high, low: contributions (cases, 4).  Where no case differs the change is 0 ± 0 and p is 1.  nan where the score is 0
    in all cases of `low`, or with fewer than three cases.
    """
    from scipy.stats import t

    def change_pct(kept: NDArray[np.intp]) -> float:
        return 100.0 * (_ratio(score, high[kept], low[kept]) - 1.0) / steps

    cases = len(high)
    everything = np.arange(cases)
    if np.array_equal(high[:, score], low[:, score]):
        return Between(0.0, 0.0, 0.0), 1.0
    value = change_pct(everything)
    without = np.array([change_pct(np.delete(everything, k)) for k in range(cases)])
    if cases < 3 or not math.isfinite(value) or not np.isfinite(without).all():
        return Between(value, math.nan, math.nan), 1.0
    error = math.sqrt((cases - 1) / cases * float(np.sum((without - without.mean()) ** 2)))
    if error == 0.0:
        return Between(value, value, value), 0.0
    half = float(t.ppf(0.5 + 0.5 * CONFIDENCE, cases - 1)) * error
    return Between(value, value - half, value + half), 2.0 * float(t.sf(abs(value) / error, cases - 1))


def holm(p_values: Sequence[float], level: float = 1.0 - CONFIDENCE) -> list[bool]:
    """Which hypotheses of no effect fall, at a family level: step-down over the ordered p-values.

    Holm's own order: 0.01 ≤ 0.05/4, 0.013 ≤ 0.05/3, then 0.03 > 0.05/2 ends it.

    >>> holm([0.03, 0.01, 0.04, 0.013])
    [False, True, False, True]
    """
    order = sorted(range(len(p_values)), key=lambda k: p_values[k])
    falls = [False] * len(p_values)
    for rank, k in enumerate(order):
        if p_values[k] > level / (len(p_values) - rank):
            break
        falls[k] = True
    return falls


def score_effects(
    context: Context,
    chosen: Sequence[float] | Vector,
    make_executor: Callable[[Context], Executor],
    progress: Callable[[float], None] | None = None,
    known: Callable[[int], Outcome | None] = lambda number: None,
    keep: Callable[[Outcome], None] = lambda outcome: None,
) -> ScoreEffects:
    """Run the neighbours of a vector on the context's cases; its limits on Ms, duty, RMS and wear are set aside.

    Two trials a knob, and one.  The same cases and vector give the same answer, whoever computes it.  known: a trial of
    an earlier run by its number; keep: is told of every trial that was computed.
    """
    free = replace(context, constraints=Constraints(sensitivity=None, too_warm_pct=100.0))
    pairs = _candidates(context.space, chosen)
    middle = tuple(float(share) for share in chosen)
    vectors: list[tuple[float, ...]] = [side[1] for pair in pairs for side in (pair.low, pair.high) if side is not None]
    vectors.append(middle)
    there = [known(k) for k in range(len(vectors))]
    found = {vectors[o.number]: o for o in there if o is not None}
    tasks = [Task(k, vector) for k, vector in enumerate(vectors) if there[k] is None]
    if tasks:
        executor = make_executor(free)
        try:
            for outcome in executor.run(tasks, None):
                keep(outcome)
                found[vectors[outcome.number]] = outcome
                if progress:
                    progress(len(found) / len(vectors))
        finally:
            executor.close()
    return _summary(pairs, middle, found, len(context.case_set.cases()))


def _summary(
    pairs: Sequence[_Pair], middle: tuple[float, ...], found: dict[tuple[float, ...], Outcome], cases: int
) -> ScoreEffects:
    figures: list[tuple[str, int, Between, float]] = []
    words: list[str] = []
    for pair in pairs:
        name = pair.knob.name
        sides = [found[side[1]] if side else None for side in (pair.low, pair.high)]
        good = [side if side is not None and side.contributions else None for side in sides]
        reasons = [f"{way}: {side.reason}" for way, side in zip(("10 % less", "10 % more"), sides, strict=True)
                   if side is not None and not side.contributions]  # fmt: skip
        here = found[middle]
        low, high = (side or (here if here.contributions else None) for side in good)
        if good == [None, None] or low is None or high is None:
            words.append(f"{name}: no figure; {'; '.join(reasons) or '10 % of it is no other value'}")
            continue
        if reasons:
            words.append(f"{name}: from one side only; {reasons[0]}")
        steps = 2.0 if None not in good else 1.0
        for score in range(len(OBJECTIVES)):
            between, p = effect_of(score, np.array(high.contributions), np.array(low.contributions), steps)
            figures.append((name, score, between, p))
    told = holm([p for *_, p in figures])
    by_path: dict[str, list[Effect]] = {}
    for (name, score, between, _), clear in zip(figures, told, strict=True):
        by_path.setdefault(name, []).append(Effect(OBJECTIVES[score], between, clear))
    method = METHOD.format(cases=cases, tests=len(figures))
    return ScoreEffects({name: tuple(rows) for name, rows in by_path.items()}, tuple(words), method)
