"""Timers against the published traces, and over wrap and late scans."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.contract import TIME_MASK
from controller.timers import Tof, Ton, Tp, tof, ton, tp

# IEC 61131-3 traces at 100 ms scan, PT = 300 ms: reference published_checks.md §7 (IN, Q, ET in ms)
TON_TRACE = ("01101111100", "00000001100", [0, 0, 100, 0, 0, 100, 200, 300, 300, 0, 0])
TOF_TRACE = ("01100100000", "01111111100", [0, 0, 0, 0, 100, 0, 0, 100, 200, 300, 300])
TP_TRACE = ("0101001111101", "0111001110001", [0, 0, 100, 200, 0, 0, 0, 100, 200, 300, 300, 0, 0])


def test_on_delay_trace_of_iec_61131_3() -> None:
    t = Ton()
    rows = [(ton(t, c == "1", 300, 100), t.elapsed_ms) for c in TON_TRACE[0]]
    assert "".join(str(int(q)) for q, _ in rows) == TON_TRACE[1]
    assert [e for _, e in rows] == TON_TRACE[2]


def test_off_delay_trace_of_iec_61131_3() -> None:
    t = Tof()
    rows = [(tof(t, c == "1", 300, 100), t.elapsed_ms) for c in TOF_TRACE[0]]
    assert "".join(str(int(q)) for q, _ in rows) == TOF_TRACE[1]
    assert [e for _, e in rows] == TOF_TRACE[2]


def test_pulse_trace_of_iec_61131_3() -> None:
    t = Tp()
    rows = [(tp(t, c == "1", 300, 100), t.elapsed_ms) for c in TP_TRACE[0]]
    assert "".join(str(int(q)) for q, _ in rows) == TP_TRACE[1]
    assert [e for _, e in rows] == TP_TRACE[2]


@given(
    st.lists(st.tuples(st.booleans(), st.integers(1, 5_000)), min_size=1, max_size=60),
    st.integers(1, 8_000),
    st.integers(TIME_MASK - 20_000, TIME_MASK),
)
def test_on_delay_is_never_early_nor_lost_over_wrap_and_late_scans(
    rows: list[tuple[bool, int]], preset_ms: int, start_ms: int
) -> None:
    t = Ton()
    last_ms = now_ms = start_ms
    true_ms = 0  # whole time that does not wrap
    since_ms: int | None = None
    for condition, dt_ms in rows:
        true_ms += dt_ms
        now_ms = (now_ms + dt_ms) & TIME_MASK
        q = ton(t, condition, preset_ms, (now_ms - last_ms) & TIME_MASK)
        last_ms = now_ms
        if not condition:
            since_ms = None
        elif since_ms is None:
            since_ms = true_ms
        assert q == (since_ms is not None and true_ms - since_ms >= preset_ms)


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 900)), min_size=1, max_size=60), st.integers(1, 2_000))
def test_pulse_lasts_its_preset_whatever_the_input_does(rows: list[tuple[bool, int]], preset_ms: int) -> None:
    t = Tp()
    true_ms, began_ms = 0, -1
    for condition, dt_ms in rows:
        true_ms += dt_ms
        before = t.q
        q = tp(t, condition, preset_ms, dt_ms)
        if q and not before:
            began_ms = true_ms
        if before:
            assert q == (true_ms - began_ms < preset_ms)
