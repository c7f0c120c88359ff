"""Gaps, change of value, stuck spans, and the limits of NAMUR NE 43."""

from __future__ import annotations

import numpy as np
import pytest

from scenarios.logged_data.quality import coverage, gaps, is_change_of_value, moved, out_of_range, still_spans
from scenarios.logged_data.signals import signals

SUCTION = signals()["suction_pressure_kpa_abs"]


@pytest.mark.parametrize(
    ("milliamp", "failed"), [(3.5, True), (3.6, True), (3.8, False), (20.5, False), (21.0, True), (21.5, True)]
)
def test_the_limits_of_a_live_loop(milliamp: float, failed: bool) -> None:
    """NAMUR NE 43, as on secondary pages: at or below 3.6 and at or above 21 mA a loop has failed (published checks, 7)."""
    value = 100.0 + (milliamp - 4.0) / 16.0 * 900.0
    assert out_of_range(SUCTION, np.array([value]), 100.0, 1000.0).tolist() == [failed]


def test_what_the_thing_cannot_be_where_no_span_is_known() -> None:
    assert out_of_range(SUCTION, np.array([-1.0, 0.0, 4000.0, 4001.0, np.nan]), None, None).tolist() == [
        True,
        False,
        False,
        True,
        False,
    ]


def test_gaps_and_coverage() -> None:
    times = np.concatenate([np.arange(0, 60_000, 1000), np.arange(120_000, 180_000, 1000)])
    found = gaps(times, 1000.0)
    assert [(g.start_ms, g.end_ms) for g in found] == [(59_000, 120_000)]
    flags = np.zeros(len(times), dtype=np.uint8)
    assert coverage(times, flags, 1000.0, 0, 179_000, False) == pytest.approx(120 / 180)


def test_change_of_value() -> None:
    draw = np.random.default_rng(1)
    times = np.cumsum(draw.integers(200, 20_000, 200))
    values = np.cumsum(draw.choice([-1.0, 1.0], 200))
    assert is_change_of_value(times, values)
    assert not is_change_of_value(np.arange(0, 200_000, 1000), np.round(values, 0))


def test_a_stuck_span_is_found_while_another_moves() -> None:
    draw = np.random.default_rng(2)
    times = np.arange(0, 2_000_000, 1000)
    values = np.round(300.0 + 5.0 * np.sin(times / 1e5) + 0.2 * draw.standard_normal(2000), 1)
    values[800:1300] = values[800]
    spans = still_spans(times, values)
    assert len(spans) == 1
    assert abs(spans[0].start_ms - 800_000) <= 1000
    assert abs(spans[0].end_ms - 1_300_000) <= 1000
    assert moved(times, 5.0 * np.sin(times / 1e5), spans[0])
    assert not moved(times, np.full(2000, 3.0), spans[0])
