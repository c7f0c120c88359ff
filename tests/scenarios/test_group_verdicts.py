"""Verdicts on groups of scores: what decides, what is only noise, and what the library says of two shipped laws."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.group_verdicts import (
    BETTER,
    EQUAL,
    FIGURES,
    NOT_COMPARABLE,
    WORSE,
    GroupVerdict,
    group_verdicts,
    share_holding,
)
from scenarios.score_records import CYCLING, ENERGY, GROUPS, NONE, PRESSURE, SAFETY, Scores
from scenarios.scoring import DEFINITIONS
from tests.scenarios.library_runs import SCENARIOS, run
from tests.scenarios.library_stories import MAY_TRIP


def baseline() -> Scores:
    return run("load_step_up", "three_position").scores


def changed(**values: float | None) -> Scores:
    scores = baseline()
    assert set(values) <= {s.name for s in scores.values}
    return replace(scores, values=tuple(replace(s, value=values.get(s.name, s.value)) for s in scores.values))


def verdict(candidate: Scores, group: str) -> GroupVerdict:
    (found,) = [v for v in group_verdicts(baseline(), candidate) if v.group == group]
    return found


def value(name: str) -> float:
    found = baseline().value(name)
    assert found is not None
    return found


def test_every_figure_is_a_score_of_its_group_with_a_direction() -> None:
    defined = {d.name: d for d in DEFINITIONS}
    assert tuple(FIGURES) == GROUPS
    for group, figures in FIGURES.items():
        for figure in figures:
            found = [defined[name] for name in figure.scores]
            assert {d.group for d in found} == {group}
            assert len({(d.unit, d.direction) for d in found}) == 1
            assert found[0].direction != NONE
            assert figure.least > 0.0 or figure.frac > 0.0
            assert figure.why


def test_a_run_equals_itself_in_every_group() -> None:
    assert [(v.verdict, v.dominant) for v in group_verdicts(baseline(), baseline())] == [(EQUAL, True)] * len(GROUPS)


def test_only_more_than_the_tolerance_counts() -> None:
    rms_k = value("suction_deviation_rms_k")
    assert verdict(changed(suction_deviation_rms_k=rms_k + 0.049), PRESSURE).verdict == EQUAL
    found = verdict(changed(suction_deviation_rms_k=rms_k + 0.06), PRESSURE)
    assert (found.verdict, found.holds, found.dominant) == (WORSE, False, False)
    assert "RMS deviation" in found.reason
    assert verdict(changed(suction_deviation_rms_k=rms_k - 0.06), PRESSURE).verdict == BETTER
    energy = value("specific_energy_kwh_per_kwh")
    assert verdict(changed(specific_energy_kwh_per_kwh=1.004 * energy), ENERGY).verdict == EQUAL
    assert verdict(changed(specific_energy_kwh_per_kwh=1.006 * energy), ENERGY).verdict == WORSE


def test_higher_is_better_where_the_score_says_so() -> None:
    margin = value("low_suction_pressure_margin_pct")
    assert verdict(changed(low_suction_pressure_margin_pct=margin + 2.0), SAFETY).verdict == BETTER
    assert verdict(changed(low_suction_pressure_margin_pct=margin - 2.0), SAFETY).verdict == WORSE


def test_the_weightier_figure_decides_and_the_other_is_named() -> None:
    fewer_turns = changed(
        capacity_reversals_per_h=max(0.0, value("capacity_reversals_per_h") - 1.5),
        capacity_operations_per_h=3.0 * value("capacity_operations_per_h"),
    )
    found = verdict(fewer_turns, CYCLING)
    assert (found.verdict, found.holds, found.dominant) == (BETTER, True, False)
    assert "slide reversals" in found.reason
    assert len(found.contrary) == 1
    assert "solenoid operations" in found.contrary[0]
    assert "but solenoid operations" in str(found)
    one_more_start = replace(
        fewer_turns,
        values=tuple(
            replace(s, value=s.value + 1.0) if s.name == "starts_per_h" and s.value is not None else s
            for s in fewer_turns.values
        ),
    )
    assert verdict(one_more_start, CYCLING).verdict == WORSE


def test_both_pairs_are_added() -> None:
    shifted = changed(
        capacity_operations_per_h=value("capacity_operations_per_h") + 20.0,
        volume_ratio_operations_per_h=value("volume_ratio_operations_per_h") - 20.0,
    )
    assert verdict(shifted, CYCLING).verdict == EQUAL


def test_a_figure_that_does_not_apply_decides_nothing() -> None:
    assert verdict(changed(forced_unload_min=None), SAFETY).verdict == EQUAL
    alone = verdict(changed(specific_energy_kwh_per_kwh=None), ENERGY)  # the group's only figure
    assert (alone.verdict, alone.reason, alone.holds) == (NOT_COMPARABLE, "no figure is known of both", False)


def limitless(**values: float | None) -> Scores:
    """A run as of a controller that tells no limits: no margins, and what it must hold was not checked."""
    margins = {s.name: None for s in baseline().values if "_margin_" in s.name}
    return replace(changed(**{**margins, **values}), skipped=("trip_in_time", "start_unloaded"))


def test_safety_is_not_equal_where_a_controller_tells_no_limits() -> None:
    found = verdict(limitless(), SAFETY)
    assert (found.verdict, found.holds, found.dominant) == (NOT_COMPARABLE, False, False)
    assert "this run's controller tells no limits" in found.reason
    assert "2 requirements were not checked" in found.reason
    (back,) = [v for v in group_verdicts(limitless(), baseline()) if v.group == SAFETY]
    assert back.verdict == NOT_COMPARABLE
    assert "the first run's" in back.reason
    (both,) = [v for v in group_verdicts(limitless(), limitless()) if v.group == SAFETY]
    assert both.verdict == NOT_COMPARABLE
    assert "neither" in both.reason


def test_what_was_seen_without_limits_is_told_and_decides_nothing() -> None:
    found = verdict(limitless(trips_count=2.0), SAFETY)
    assert found.verdict == NOT_COMPARABLE
    assert "seen all the same: trips 2 against 0" in found.reason
    assert verdict(limitless(), PRESSURE).verdict == EQUAL  # the other groups have their figures


def test_what_is_not_comparable_is_not_held() -> None:
    rows = [group_verdicts(baseline(), run) for run in (baseline(), limitless(), limitless(), baseline())]
    for dominant in (False, True):
        assert share_holding(rows, dominant) == {PRESSURE: 1.0, CYCLING: 1.0, ENERGY: 1.0, SAFETY: 0.5}


@given(
    st.lists(st.floats(0.0, 50.0), min_size=4, max_size=4),
    st.lists(st.floats(0.0, 50.0), min_size=4, max_size=4),
)
def test_who_is_better_is_never_also_worse(ones: list[float], others: list[float]) -> None:
    names = ("suction_deviation_rms_k", "capacity_reversals_per_h", "forced_unload_min", "specific_energy_kwh_per_kwh")
    one, other = (changed(**dict(zip(names, v, strict=True))) for v in (ones, others))
    for there, back in zip(group_verdicts(one, other), group_verdicts(other, one), strict=True):
        # a share of the baseline is the smaller tolerance on one way, so equal may face better or worse; never twice better
        assert {there.verdict, back.verdict} != {BETTER}
        assert {there.verdict, back.verdict} != {WORSE}


def test_shares_count_scenarios() -> None:
    rows = [group_verdicts(baseline(), changed(specific_energy_kwh_per_kwh=k)) for k in (0.1, 0.2, 0.9, 9.0)]
    assert value("specific_energy_kwh_per_kwh") < 0.5
    assert share_holding(rows)[ENERGY] == 0.5
    assert share_holding(rows)[PRESSURE] == 1.0
    assert share_holding([])[PRESSURE] == 0.0


OPERATION = (
    "batch_arrivals", "demo_shift", "door_traffic", "fish_hall_log", "hot_gas_defrost", "load_ramp", "load_step_down",
    "load_step_up", "loss_of_all_load", "normal_stop_and_restart", "other_compressor_starts", "other_compressor_trips",
    "pull_down_current_limit", "start_from_rest_equalised", "steady_part_load", "steady_part_load_25",
    "steady_part_load_75", "stop_under_high_load", "winter_low_condensing_pressure",
)  # fmt: skip


@pytest.mark.parametrize(
    "names", [OPERATION, tuple(name for name in SCENARIOS if name != "real_day")], ids=["operation", "library"]
)
@pytest.mark.parametrize("factor", [1, 10])
def test_the_scheduled_law_holds_its_own_in_every_group(factor: int, names: tuple[str, ...]) -> None:
    """Issue 4: better than or equal to the baseline in each score group on at least 80 %, of the operation and of all.

    The whole day, left out for its length, is held in test_real_day.py.
    """
    assert not MAY_TRIP & set(OPERATION)
    rows = [
        group_verdicts(run(name, "three_position", factor).scores, run(name, "scheduled_pi", factor).scores)
        for name in names
    ]
    for group, share in share_holding(rows).items():
        assert share >= 0.8, [str(v) for row in rows for v in row if v.group == group and not v.holds]
