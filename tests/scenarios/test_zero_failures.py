"""Bounds without a failure against published figures (reference: Clopper & Pearson 1934; Hanley & Lippman-Hand 1983)."""

from __future__ import annotations

import pytest

from scenarios.zero_failures import bound_of, cases_needed, upper_bound

# one-sided 95 %, computed apart from this code (published checks, 10)
EXACT = {
    10: 0.258866, 30: 0.0950339, 59: 0.0495076, 100: 0.0295130, 299: 0.00996915, 300: 0.00993608, 1000: 0.00299125,
    3000: 0.000998077, 10_000: 0.000299528,
}  # fmt: skip
NEEDED = {
    0.90: (22, 45, 114, 230, 460, 2302), 0.95: (29, 59, 149, 299, 598, 2995), 0.99: (44, 90, 228, 459, 919, 4603),
}  # fmt: skip


@pytest.mark.parametrize(("cases", "share"), EXACT.items())
def test_the_bound_without_a_failure(cases: int, share: float) -> None:
    assert upper_bound(0, cases) == pytest.approx(share, rel=5e-6)  # the printed digits
    assert upper_bound(0, cases) < 3.0 / cases  # the rule of three lies above it


@pytest.mark.parametrize(("confidence", "needed"), NEEDED.items())
def test_cases_needed(confidence: float, needed: tuple[int, ...]) -> None:
    shares = (0.10, 0.05, 0.02, 0.01, 0.005, 0.001)
    assert tuple(cases_needed(share, 0, confidence) for share in shares) == needed


def test_with_failures() -> None:
    assert [cases_needed(0.01, k) for k in range(4)] == [299, 473, 628, 773]
    assert upper_bound(1, 100) == pytest.approx(0.0465598, abs=1e-7)
    assert upper_bound(3, 1000) == pytest.approx(0.00773524, abs=1e-8)
    assert upper_bound(5, 5) == 1.0
    found = bound_of([False] * 299)
    assert (found.failures, found.cases, found.at_most) == (0, 299, pytest.approx(0.00996915, abs=1e-8))


@pytest.mark.parametrize(("failures", "cases"), [(-1, 3), (4, 3), (0, 0)])
def test_impossible_counts_are_refused(failures: int, cases: int) -> None:
    with pytest.raises(ValueError, match="failures of"):
        upper_bound(failures, cases)
