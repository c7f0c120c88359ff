"""The proof: chosen settings and the baseline side by side on cases that the search has not seen.

Every case is run under both, with the same plant draw, noise and events, so that each difference is of a pair.  What is
claimed:

* no trip, and starts within the motor's limit: the exact one-sided upper bound on the share of failing cases (Clopper &
  Pearson, Biometrika 26, 1934).  299 cases without a failure bound it to 1 % at 95 %.
* improvement: ratio of pressure RMS, ratio of reversals, difference of energy per cooling, each with a paired bootstrap
  interval (bias-corrected and accelerated; Efron, J. Am. Stat. Assoc. 82, 1987).

Both take the cases as independent draws of what the plant may meet.  Draws and chance are; scenarios are those that
somebody wrote, and nothing is said about others.  An engineering aid: no bound here replaces a hard-wired cut-out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scenarios.chance import generator
from scenarios.errors import InputRefused, Problem
from scenarios.zero_failures import CONFIDENCE as CONFIDENCE
from scenarios.zero_failures import Bound as Bound
from scenarios.zero_failures import bound_of as bound_of
from scenarios.zero_failures import cases_needed as cases_needed
from scenarios.zero_failures import upper_bound as upper_bound
from tools.tuning.cases import Bench, Case, CaseFigures, CaseSet
from tools.tuning.trials import Floats

LEAST_CASES = 299
RESAMPLES = 9999


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure with the ends of its two-sided interval; nan where it cannot be had."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Pair:
    """One case under both."""

    case: Case
    chosen: CaseFigures
    baseline: CaseFigures


@dataclass(frozen=True, slots=True)
class Proof:
    """What the unseen cases show; a case that ended in a fault counts as failing all three bounds.

    Ratios are chosen / baseline: below 1 is better.  Energy is in % of the baseline's.
    """

    pairs: tuple[Pair, ...]
    new_scenarios: bool  # no scenario file of the search among them; else only plants and chance are new
    no_trip: Bound
    starts_within_limit: Bound
    no_violation: Bound
    baseline_no_trip: Bound
    rms_ratio: Interval
    reversals_ratio: Interval
    energy_difference_pct: Interval


def paired_interval(
    statistic: Callable[..., Any], chosen: Sequence[Floats], seed: int, confidence: float = CONFIDENCE
) -> Interval:
    """A statistic of paired samples with its bootstrap interval; the statistic takes the samples and `axis`.

    Where all pairs agree exactly the interval is the value itself.  Percentiles stand in where the acceleration cannot
    be computed.
    """
    import warnings

    from scipy.stats import DegenerateDataWarning, bootstrap

    with np.errstate(all="ignore"):
        value = float(statistic(*chosen, axis=-1))
    if not math.isfinite(value) or len(chosen[0]) < 2:
        return Interval(value, math.nan, math.nan)
    for method in ("BCa", "percentile"):
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore", DegenerateDataWarning)
            found = bootstrap(
                tuple(chosen), statistic, paired=True, vectorized=True, n_resamples=RESAMPLES, batch=500, method=method,
                confidence_level=confidence, rng=generator(seed, "bootstrap"),
            )  # fmt: skip
        low, high = float(found.confidence_interval.low), float(found.confidence_interval.high)
        if math.isfinite(low) and math.isfinite(high):
            return Interval(value, low, high)
    return Interval(value, math.nan, math.nan)


def _rms_ratio(chosen2: Floats, baseline2: Floats, axis: int = -1) -> Any:
    return np.sqrt(np.mean(chosen2, axis=axis) / np.mean(baseline2, axis=axis))


def _ratio(chosen: Floats, baseline: Floats, axis: int = -1) -> Any:
    return np.mean(chosen, axis=axis) / np.mean(baseline, axis=axis)


def _difference_pct(chosen: Floats, baseline: Floats, axis: int = -1) -> Any:
    return 100.0 * (_ratio(chosen, baseline, axis) - 1.0)


def check_unseen(search: CaseSet, unseen: CaseSet) -> bool:
    """True if no scenario file is common to both.  InputRefused where plants and chance could be common as well."""
    if (unseen.label, unseen.seed) == (search.label, search.seed):
        text = (
            f"the proof would draw plants and chance from the search's own streams ({search.label}, seed {search.seed})"
        )
        raise InputRefused(Problem(text, value=unseen.label, way_out='give the case set the label "proof"'))
    if unseen.first_draw == 0:
        text = "draw 0 is the plant file's own plant, which the search has seen"
        raise InputRefused(Problem(text, value="0", way_out="begin at draw 1"))
    known = {p.scenario.sha256.get("scenario") for p in search.prepared}
    return all(p.scenario.sha256.get("scenario") not in known for p in unseen.prepared)


def prove(
    search: CaseSet,
    chosen_cases: CaseSet,
    chosen: Any,
    baseline_cases: CaseSet,
    baseline: Any,
    progress: Callable[[float], None] | None = None,
    least_cases: int = LEAST_CASES,
) -> Proof:
    """Run both settings on every unseen case.

    The two case sets differ in the controller only: same scenarios, seed, draws and label.  InputRefused for fewer than
    `least_cases`, for cases that the search has seen, or for sets that do not pair.
    """
    new_scenarios = check_unseen(search, chosen_cases)
    benches = (Bench(chosen_cases), Bench(baseline_cases))
    cases = benches[0].cases
    if cases != benches[1].cases:
        raise InputRefused(Problem("the cases of the chosen settings and of the baseline do not pair"))
    if len(cases) < least_cases:
        text = f"{len(cases)} unseen cases bound a share without a failure to {100 * upper_bound(0, len(cases)):.2g} %"
        limit = f"{least_cases} cases are wanted"
        raise InputRefused(Problem(text, value=str(len(cases)), limit=limit, way_out="give more draws or scenarios"))
    pairs = []
    for k, case in enumerate(cases):
        pairs.append(Pair(case, benches[0].play(case, chosen), benches[1].play(case, baseline)))
        if progress is not None:
            progress((k + 1) / len(cases))
    return summarise(pairs, chosen_cases.seed, new_scenarios)


def summarise(pairs: Sequence[Pair], seed: int, new_scenarios: bool) -> Proof:
    """Bounds and intervals of pairs that were run; improvement is over the pairs in which both were scored."""
    scored = [p for p in pairs if not p.chosen.fault and not p.baseline.fault]

    def both(figure: Callable[[CaseFigures], float]) -> list[Floats]:
        return [np.array([figure(p.chosen) for p in scored]), np.array([figure(p.baseline) for p in scored])]

    return Proof(
        tuple(pairs),
        new_scenarios,
        no_trip=bound_of([p.chosen.trips_count > 0 or bool(p.chosen.fault) for p in pairs]),
        starts_within_limit=bound_of([p.chosen.starts_beyond_limit > 0 or bool(p.chosen.fault) for p in pairs]),
        no_violation=bound_of([p.chosen.violations_count > 0 or bool(p.chosen.fault) for p in pairs]),
        baseline_no_trip=bound_of([p.baseline.trips_count > 0 or bool(p.baseline.fault) for p in pairs]),
        rms_ratio=paired_interval(_rms_ratio, both(lambda f: f.suction_deviation_rms_kpa**2), seed),
        reversals_ratio=paired_interval(_ratio, both(lambda f: f.capacity_reversals_per_h), seed),
        energy_difference_pct=paired_interval(_difference_pct, both(lambda f: f.energy_per_cooling), seed),
    )
