"""Which cause explains the residuals best, how sure that is, and when the log cannot tell.

Everything is linear round one playback of the log on the plant as its file has it: the plant's neighbourhood (parameters
that may be a few per cent off) and each supposed fault are columns, and a fault's time course is a step, a ramp or a late
rise from some block on.  For each hypothesis the least penalised sum of squares over sizes, onsets and shapes,

    χ² = min_a (r − a v)ᵀ K⁻¹ (r − a v) + (a/σ)²,      K = noise, wandering, offsets and neighbourhood,

goes into a Student-t likelihood of `EFFECTIVE` independent residuals, which is what keeps a model error from being taken
for certainty; with the weight that the first-out and the log's words give each group it becomes a probability.
`EFFECTIVE` and the penalty were set on development nights (seeds 1000–1999), never on those of the tests.
An engineering aid: a diagnosis is where to look first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from controller.process_image import Trip
from tools.replay.fitting import (
    CONDENSER,
    NEIGHBOURHOOD,
    STROKE,
    Evidence,
    Fit,
    amounts_of,
    fit,
    refine,
    signature,
)
from tools.replay.hypotheses import GROUPS, HYPOTHESES, SILENT, a_priori, near_trip
from tools.replay.log_words import limit_margin, words_of
from tools.replay.record import Floats, Record

EFFECTIVE = 24.0
DEGREES = 40.0
PENALTY = 1.5  # for choosing an onset, a shape and a size
REFINED = 2  # hypotheses that are played once more, whatever the first-out says
REFINED_ALONE = 6  # where no first-out speaks
HOPELESS = 25.0  # so far behind in log likelihood, no refinement brings a hypothesis back
SURE = 0.5  # least probability of the first group for a name to be given


@dataclass(slots=True)
class Ranked:
    """A group of look-alikes with its probability, best member first."""

    group: str
    probability: float
    text: str
    check: str
    why: str
    fits: list[Fit] = field(default_factory=list)


@dataclass(slots=True)
class Diagnosis:
    """Groups by probability; `verdict` is the first one, or "" when the log cannot tell."""

    ranked: list[Ranked]
    verdict: str
    null_chi2: float
    count: int
    words: list[str]  # what the log itself said, in words


def _log_likelihood(chi2: float, null: float) -> float:
    return -0.5 * EFFECTIVE * math.log((DEGREES + chi2) / (DEGREES + null))


def diagnose(evidence: Evidence, whole: Record | None = None, settings: Any = None) -> Diagnosis:
    """Rank the hypotheses on a prepared record; `whole`: the log with the trip in it, for what it says in words;
    `settings`: those of a shipped controller, for how far its limits stand from ordinary service."""
    residual_w = solve_triangular(evidence.lower, evidence.stack.values, lower=True)
    null = float(residual_w @ residual_w)
    record = whole or evidence.record
    trip = near_trip(record)
    words, said = words_of(record)
    weight, text = limit_margin(evidence.record, record.trip, settings)
    if text:
        words["settings"] = weight
        said.append(text)
    scores: dict[str, float] = {}
    groups: dict[str, list[tuple[float, Fit]]] = {}
    fits = [found for h in HYPOTHESES if (found := fit(evidence, h, residual_w)) is not None]
    fits.sort(key=lambda one: one.chi2 / a_priori(trip, one.hypothesis.group) ** (1.0 / EFFECTIVE))
    best = -math.inf
    for place, found in enumerate(fits):
        favour = math.log(a_priori(trip, found.hypothesis.group))
        likely = place < (REFINED if trip is not Trip.NONE else REFINED_ALONE) or favour >= math.log(5.0)
        if likely and _log_likelihood(found.chi2, null) + favour > best - HOPELESS:
            found = refine(evidence, found)
        best = max(best, _log_likelihood(found.chi2, null) + favour)
        groups.setdefault(found.hypothesis.group, []).append((_log_likelihood(found.chi2, null) - PENALTY, found))
    names = list(dict.fromkeys([*groups, *SILENT, *words]))
    for name in names:
        members = sorted(groups.get(name, []), key=lambda item: -item[0])
        best = members[0][0] if members else -math.inf
        if name in SILENT or name in words:
            best = max(best, 0.0)
        scores[name] = best + math.log(a_priori(trip, name)) + words.get(name, 0.0)
    top = max(scores.values())
    weights = {name: math.exp(score - top) for name, score in scores.items()}
    total = sum(weights.values())
    ranked = []
    for name in sorted(weights, key=lambda key: -weights[key]):
        fits = [item[1] for item in sorted(groups.get(name, []), key=lambda item: -item[0])]
        text, check = SILENT.get(name, ("", ""))
        if fits:
            text, check = fits[0].hypothesis.text, fits[0].hypothesis.check
        ranked.append(Ranked(name, weights[name] / total, text or name, check, GROUPS.get(name, ""), fits))
    first = ranked[0]
    verdict = first.group if first.probability >= SURE and first.group != "none of these" else ""
    return Diagnosis(ranked, verdict, null, len(residual_w), said)


def likely_fits(evidence: Evidence, diagnosis: Diagnosis, least: float = 0.02) -> list[Fit]:
    """The best fit of every group that is at all likely and explains something."""
    chosen = [ranked.fits[0] for ranked in diagnosis.ranked if ranked.fits and ranked.probability >= least]
    return [one for one in chosen if one.chi2 < diagnosis.null_chi2 - 6.0 and one.amount != 0.0][:4]


def posterior(evidence: Evidence, fits: Sequence[Fit] = ()) -> tuple[dict[str, float], dict[str, float], Floats]:
    """Neighbourhood parameters from the residuals: factor and standard deviation of each, and the covariance of their
    deviations in standard deviations a priori.

    Supposed faults take their share of the residuals first (each as a column with a wide size); what nothing explains
    widens the noise, so that an unknown fault does not end up in the parameters.
    """
    names = list(evidence.columns)
    columns = [evidence.columns[name] for name in names]
    wide = [evidence.stack.column(signature(evidence, one.hypothesis, amounts_of(evidence, one))) for one in fits]
    design = np.column_stack([*columns, *(2.0 * column for column in wide)])
    noise = cho_factor(evidence.stack.covariance + 1.0e-12 * np.diag(np.diag(evidence.stack.covariance)), lower=True)
    values = evidence.stack.values
    square = design.T @ cho_solve(noise, design)
    inner = design.T @ cho_solve(noise, values)
    unit = np.eye(design.shape[1])
    found = np.linalg.solve(square + unit, inner)
    left = values - design @ found
    inflation = max(1.0, float(left @ cho_solve(noise, left)) / max(1, len(values)))
    covariance = np.linalg.inv(square / inflation + unit)
    mean = covariance @ inner / inflation
    sds = {**NEIGHBOURHOOD, "condenser": CONDENSER, "capacity stroke": STROKE, "volume_ratio stroke": STROKE}
    n = len(names)
    factors = {name: 1.0 + sds[name] * float(mean[k]) for k, name in enumerate(names)}
    spread = {name: sds[name] * math.sqrt(float(covariance[k, k])) for k, name in enumerate(names)}
    return factors, spread, np.asarray(covariance[:n, :n], dtype=np.float64)
