"""The proof: bounds against published rows, intervals that cover, and cases that the search has not seen."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenarios.demo_sheets import demo_settings
from scenarios.errors import InputRefused
from tests.tools.tuning.small_study import small_cases, write_scenarios
from tools.tuning.cases import Case, CaseFigures, CaseSet, case_set
from tools.tuning.proof import (
    Pair,
    cases_needed,
    check_unseen,
    paired_interval,
    prove,
    summarise,
    upper_bound,
)


# Published checks §10: exact one-sided 95 % bound without a failure (Clopper & Pearson 1934, computed), tolerance 1e-8.
# Its row for n = 3000 is 2e-9 off the closed form.
@pytest.mark.parametrize(
    ("cases", "bound"),
    [
        (10, 0.258866), (30, 0.0950339), (59, 0.0495076), (100, 0.0295130), (299, 0.00996915), (300, 0.00993608),
        (1000, 0.00299125), (3000, 0.000998077), (10000, 0.000299528),
    ],
)  # fmt: skip
def test_bound_without_a_failure(cases: int, bound: float) -> None:
    printed = 0.5 * 10.0 ** (math.floor(math.log10(bound)) - 5)  # half of the sixth figure
    assert upper_bound(0, cases) == pytest.approx(bound, rel=0, abs=max(1e-8, printed))
    assert upper_bound(0, cases) == pytest.approx(1.0 - 0.05 ** (1.0 / cases), rel=0, abs=1e-8)  # closed form


# The same, two-sided 95 % upper end: one-sided at 97.5 %
@pytest.mark.parametrize(
    ("cases", "bound"), [(10, 0.308497), (100, 0.0362167), (299, 0.0122616), (1000, 0.00368208), (10000, 0.000368820)]
)
def test_two_sided_upper_end(cases: int, bound: float) -> None:
    assert float(f"{upper_bound(0, cases, 0.975):.6g}") == bound


@pytest.mark.parametrize(("failures", "cases", "bound"), [(1, 100, 0.0465598), (3, 1000, 0.00773524)])
def test_bound_with_failures(failures: int, cases: int, bound: float) -> None:
    assert float(f"{upper_bound(failures, cases):.6g}") == bound


# Published checks §10: least n, by confidence and share, and for 0 to 3 failures at 1 % and 95 %
@pytest.mark.parametrize(
    ("confidence", "needed"),
    [
        (0.90, (22, 45, 114, 230, 460, 2302)),
        (0.95, (29, 59, 149, 299, 598, 2995)),
        (0.99, (44, 90, 228, 459, 919, 4603)),
    ],
)
def test_cases_needed(confidence: float, needed: tuple[int, ...]) -> None:
    assert tuple(cases_needed(p, 0, confidence) for p in (0.10, 0.05, 0.02, 0.01, 0.005, 0.001)) == needed


def test_cases_needed_with_failures_allowed() -> None:
    assert [cases_needed(0.01, k) for k in range(4)] == [299, 473, 628, 773]


def test_bad_counts() -> None:
    assert upper_bound(5, 5) == 1.0
    for failures, cases in ((6, 5), (-1, 5), (0, 0)):
        with pytest.raises(ValueError, match="failures"):
            upper_bound(failures, cases)
    with pytest.raises(ValueError, match="share"):
        cases_needed(0.0)


def mean_difference(a: Any, b: Any, axis: int = -1) -> Any:
    return np.mean(a, axis=axis) - np.mean(b, axis=axis)


def test_the_interval_of_a_paired_difference_is_near_students() -> None:
    """Against Student's t of the paired differences (scipy.stats.ttest_rel), within 6 % of its width for 200 pairs."""
    from scipy.stats import ttest_rel

    rng = np.random.default_rng(3)
    shared = rng.normal(0.0, 5.0, 200)
    a, b = shared + rng.normal(1.0, 1.0, 200), shared + rng.normal(0.0, 1.0, 200)
    found = paired_interval(mean_difference, [a, b], 1)
    student = ttest_rel(a, b).confidence_interval(0.95)
    width = student.high - student.low
    assert found.low == pytest.approx(student.low, abs=0.06 * width)
    assert found.high == pytest.approx(student.high, abs=0.06 * width)
    assert width < 0.25 * 2 * 1.97 * math.sqrt(2 * 26.0 / 200), "pairing must have taken the shared part out"
    assert found == paired_interval(mean_difference, [a, b], 1)


def test_an_interval_covers_as_often_as_it_says() -> None:
    """120 samples of 40 pairs: 95 % cover; at least 88 % is three standard errors below (binomial)."""
    rng = np.random.default_rng(8)
    covered = 0
    for k in range(120):
        b = rng.normal(10.0, 2.0, 40)
        a = b * 0.7 + rng.normal(0.0, 0.5, 40)
        found = paired_interval(mean_difference, [a, b], k)
        covered += found.low <= -3.0 <= found.high
    assert 0.88 * 120 <= covered <= 120


def pairs(count: int, rms: float, reversals: float, energy_kwh: float, trip_in: int = -1) -> list[Pair]:
    rng = np.random.default_rng(2)
    out = []
    for k in range(count):
        scale = float(rng.uniform(0.8, 1.2))
        base = CaseFigures(
            suction_deviation_rms_kpa=4.0 * scale, capacity_reversals_per_h=5.0, total_energy_kwh=100.0,
            cooling_energy_kwh=300.0,
        )  # fmt: skip
        chosen = replace(
            base, suction_deviation_rms_kpa=rms * scale, capacity_reversals_per_h=reversals,
            total_energy_kwh=energy_kwh, trips_count=float(k == trip_in),
        )  # fmt: skip
        out.append(Pair(Case(k, 0, k, k), chosen, base))
    return out


def test_ratios_by_hand() -> None:
    proof = summarise(pairs(299, 2.0, 3.0, 99.0), 1, True)
    assert proof.rms_ratio.value == pytest.approx(0.5)
    assert proof.reversals_ratio.value == pytest.approx(0.6)
    assert proof.energy_difference_pct.value == pytest.approx(-1.0)
    assert proof.rms_ratio.low == pytest.approx(0.5, abs=1e-9), "every pair says the same, so there is no doubt"
    assert (proof.no_trip.failures, proof.no_trip.cases) == (0, 299)
    assert proof.no_trip.at_most == pytest.approx(0.00996915, abs=1e-8)


def test_one_trip_shows_in_the_bound() -> None:
    proof = summarise(pairs(299, 2.0, 3.0, 99.0, trip_in=17), 1, True)
    assert proof.no_trip.failures == 1
    assert proof.no_trip.at_most > 0.01
    assert proof.baseline_no_trip.failures == 0


def test_a_fault_fails_all_bounds_and_is_in_no_ratio() -> None:
    some = pairs(300, 2.0, 3.0, 99.0)
    some[5] = Pair(some[5].case, CaseFigures(fault="the loop was never in charge"), some[5].baseline)
    proof = summarise(some, 1, True)
    assert [proof.no_trip.failures, proof.starts_within_limit.failures, proof.no_violation.failures] == [1, 1, 1]
    assert proof.rms_ratio.value == pytest.approx(0.5)


def unseen(folder: Path, controller: str, draws: int = 2) -> CaseSet:
    paths = write_scenarios(folder, minutes=9, prefix="unseen")
    return case_set(paths, controller, demo_settings(controller), 5, draws, first_draw=1, label="proof")


def test_a_small_proof_from_end_to_end(tmp_path: Path) -> None:
    search = small_cases(tmp_path / "search")
    chosen, baseline = (unseen(tmp_path / "proof", name) for name in ("scheduled_pi", "three_position"))
    shares: list[float] = []
    proof = prove(search, chosen, chosen.base, baseline, baseline.base, shares.append, least_cases=4)
    assert len(proof.pairs) == 4
    assert proof.new_scenarios
    assert shares == [0.25, 0.5, 0.75, 1.0]
    assert proof.no_trip.failures == 0
    ratio = math.sqrt(
        sum(p.chosen.suction_deviation_rms_kpa**2 for p in proof.pairs)
        / sum(p.baseline.suction_deviation_rms_kpa**2 for p in proof.pairs)
    )
    assert proof.rms_ratio.value == pytest.approx(ratio)
    assert proof.rms_ratio.low <= ratio <= proof.rms_ratio.high


def test_a_proof_against_itself_is_exactly_even(tmp_path: Path) -> None:
    search, cases = small_cases(tmp_path / "search"), unseen(tmp_path / "proof", "scheduled_pi")
    proof = prove(search, cases, cases.base, cases, cases.base, least_cases=4)
    assert proof.rms_ratio.value == 1.0
    assert proof.energy_difference_pct.value == 0.0


def test_what_was_seen_or_is_too_little_is_refused(tmp_path: Path) -> None:
    search, cases = small_cases(tmp_path / "search"), unseen(tmp_path / "proof", "scheduled_pi")
    with pytest.raises(InputRefused, match="299 cases are wanted"):
        prove(search, cases, cases.base, cases, cases.base)
    with pytest.raises(InputRefused, match="own streams"):
        check_unseen(search, search)
    with pytest.raises(InputRefused, match="draw 0"):
        check_unseen(search, replace(cases, first_draw=0))
    assert check_unseen(search, cases)
    assert not check_unseen(search, replace(search, label="proof", first_draw=1)), "the same scenario files"
    other = replace(cases, draws=1)
    with pytest.raises(InputRefused, match="do not pair"):
        prove(search, cases, cases.base, other, other.base, least_cases=2)
