"""Edges and bistables: truth tables of IEC 61131-3."""

from __future__ import annotations

import pytest

from controller.triggers import Bistable, Edge, FallingEdge, f_trig, r_trig, rs, sr


def test_rising_edge_is_true_for_one_call_also_on_a_true_first_call() -> None:
    # published_checks.md §7: standard initial memory false gives Q true when IN is true on the first call
    t = Edge()
    assert [r_trig(t, c) for c in (True, True, False, True, True)] == [True, False, False, True, False]


def test_falling_edge_is_true_for_one_call() -> None:
    # the first-call result follows the standard's initial memory false (from memory, not in the reference)
    t = FallingEdge()
    assert [f_trig(t, c) for c in (False, False, True, False, False)] == [True, False, False, True, False]


@pytest.mark.parametrize("was", [False, True])
@pytest.mark.parametrize("s", [False, True])
@pytest.mark.parametrize("r", [False, True])
def test_bistables_follow_their_formulas(was: bool, s: bool, r: bool) -> None:
    # published_checks.md §7: SR Q1 = S1 OR (Q AND NOT R); RS Q1 = NOT R1 AND (S OR Q)
    assert sr(Bistable(was), s, r) == (s or (was and not r))
    assert rs(Bistable(was), s, r) == ((not r) and (s or was))


def test_both_inputs_true_shows_who_is_dominant() -> None:
    assert sr(Bistable(), True, True)
    assert not rs(Bistable(True), True, True)
