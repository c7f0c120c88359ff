"""Which comparison decides: the one named is the margin, for every operator, and lies where its windows allow."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tools.verification.bench import SETTINGS, trace
from tools.verification.deciding import Clause, decides
from tools.verification.horizons import horizon_ms
from tools.verification.monitor import Monitor
from tools.verification.terms import check_truth

LEAVES = st.builds(
    "{} {} {}".format,
    st.sampled_from(["trapped_fraction", "volume_ratio"]),
    st.sampled_from([">", ">=", "<", "<="]),
    st.integers(-3, 3),
)
WINDOWS = st.tuples(st.integers(0, 3), st.integers(0, 3)).map(lambda w: f"[{w[0]} s, {w[0] + w[1]} s]")


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        st.builds("not ({})".format, inner),
        st.builds("({}) {} ({})".format, inner, st.sampled_from(["and", "or", "implies"]), inner),
        st.builds(
            "{}{} ({})".format, st.sampled_from(["always", "eventually", "once", "historically"]), WINDOWS, inner
        ),
        st.builds("({}) until{} ({})".format, inner, WINDOWS, inner),
        st.builds("previous({})".format, inner),
    )


FORMULAS = st.recursive(LEAVES, _grown, max_leaves=5)
SIGNAL = st.lists(st.floats(-4.0, 4.0).map(lambda v: round(v, 3)), min_size=24, max_size=24)


@settings(max_examples=150)
@given(FORMULAS, SIGNAL, SIGNAL)
def test_the_deciding_clause_gives_the_margin(text: str, x: list[float], y: list[float]) -> None:
    run = trace(24, 1000.0, trapped_fraction_frac=x, volume_ratio=y)
    term, monitor = check_truth(text, {}), Monitor(run, SETTINGS)
    if horizon_ms(term, SETTINGS) >= 24_000.0:
        return
    margins = monitor.truth(term).margins()
    for place, margin in enumerate(margins):
        clause = decides(monitor, term, place)
        if clause is None:
            assert math.isinf(margin)
            continue
        assert abs(clause.difference) == pytest.approx(abs(margin), abs=1e-12)
        column, op, limit = clause.term.said.split()
        value = (x if column == "trapped_fraction" else y)[clause.place]
        left, right = (value, float(limit)) if op in (">", ">=") else (float(limit), value)
        assert clause.difference == pytest.approx(left - right, abs=1e-12), "it is that comparison, at that scan"
        assert 0 <= clause.place < 24


def decided(text: str, place: int = 0, **columns: object) -> Clause | None:
    run = trace(12, 1000.0, **columns)
    return decides(Monitor(run, SETTINGS), check_truth(text, {}), place)


def test_the_path_is_followed_to_its_scan() -> None:
    dip = [9.0, 8.0, 7.0, 2.0, 7.0, 8.0, 9.0, 9.0, 9.0, 9.0, 9.0, 9.0]
    clause = decided("always[1 s, 6 s] (motor_run implies volume_ratio > 3)", volume_ratio=dip, motor_run=1.0)
    assert clause is not None
    assert (clause.term.said, clause.place, clause.difference) == ("volume_ratio > 3", 3, -1.0)
    back = decided("historically[0 s, 8 s] volume_ratio > 3", 9, volume_ratio=dip)
    assert back is not None
    assert back.place == 3


def test_until_is_decided_by_what_comes_or_by_what_ends_before_it() -> None:
    first, second = [9.0, 5.0, *[0.0] * 10], [-9.0, -1.0, 2.0, *[9.0] * 9]
    late = decided(
        "volume_ratio > 1 until[0 s, 4 s] trapped_fraction > 0", volume_ratio=first, trapped_fraction_frac=second
    )
    assert late is not None  # at 1 s what is awaited lacks 1, at 2 s what shall last lacks 1: the earlier is named
    assert (late.term.said, late.place, late.difference) == ("trapped_fraction > 0", 1, -1.0)
    first[2] = 1.25
    kept = decided(
        "volume_ratio > 1 until[0 s, 4 s] trapped_fraction > 0", volume_ratio=first, trapped_fraction_frac=second
    )
    assert kept is not None
    assert (kept.term.said, kept.place, kept.difference) == ("volume_ratio > 1", 2, 0.25)


def test_a_truth_without_a_number_has_no_clause() -> None:
    assert decided("motor_run") is None
    assert decided("rise(motor_run)") is None
    assert decided("once[2 s, 4 s] volume_ratio > 3", 1) is None  # nothing lies that far back
