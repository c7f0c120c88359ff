"""What a number of cases without a failure says about the share of cases that fail: the exact one-sided bound.

Clopper & Pearson, Biometrika 26, 1934; without a failure 1 − (1 − confidence)^(1/n).  It holds for independent draws of
the same distribution, and says nothing about any other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

CONFIDENCE = 0.95


def upper_bound(failures: int, cases: int, confidence: float = CONFIDENCE) -> float:
    """Exact one-sided upper bound on the share of failing cases; 1 − (1 − confidence)^(1/n) without a failure.

    >>> round(upper_bound(0, 299), 8)
    0.00996915
    """
    from scipy.stats import beta

    if not 0 <= failures <= cases or cases < 1:
        raise ValueError(f"{failures} failures of {cases} cases")
    return 1.0 if failures == cases else float(beta.ppf(confidence, failures + 1, cases - failures))


def cases_needed(share: float, failures: int = 0, confidence: float = CONFIDENCE) -> int:
    """Least number of cases with at most `failures` failing that bounds the failing share to `share`.

    >>> cases_needed(0.01), cases_needed(0.01, 3)
    (299, 773)
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"a share of {share}")
    low, high = failures, failures + 1
    while upper_bound(failures, high, confidence) > share:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if upper_bound(failures, middle, confidence) <= share else (middle, high)
    return high


@dataclass(frozen=True, slots=True)
class Bound:
    """How many cases failed, and at most what share of all such cases does, at `confidence`."""

    failures: int
    cases: int
    confidence: float
    at_most: float


def bound_of(fails: Sequence[bool], confidence: float = CONFIDENCE) -> Bound:
    """The bound on a share, from which cases failed."""
    return Bound(sum(fails), len(fails), confidence, upper_bound(sum(fails), len(fails), confidence))
