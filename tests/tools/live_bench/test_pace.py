"""Simulated time against the clock."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from tools.live_bench.pace import LATE_S, Pace


@given(st.sampled_from([1, 10, 1000]), st.floats(0.0, 1e6), st.integers(0, 10**9), st.floats(0.0, 3600.0))
def test_time_is_due_at_its_pace(speed: int, begin_s: float, begin_ms: int, passed_s: float) -> None:
    pace = Pace(speed)
    pace.start(begin_s, begin_ms)
    assert abs(pace.due_ms(begin_s + passed_s) - begin_ms - 1000.0 * speed * passed_s) < 1.0 + 1e-3 * speed


def test_a_long_delay_is_forgotten_a_short_one_caught_up() -> None:
    pace = Pace(10)
    pace.start(0.0, 0)
    assert not pace.drop_delay(LATE_S, 0)
    assert pace.due_ms(LATE_S) == 5000
    assert pace.drop_delay(2.0, 1000)
    assert pace.due_ms(2.0) == 1000
    assert pace.due_ms(2.1) == 2000
