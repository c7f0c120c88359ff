"""The monitor against published values, an independent temporal-logic library, and what its own words promise."""

from __future__ import annotations

import time
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from controller.process_image import Mode, Trip
from plant_model.properties import load_refrigerant, saturation_pressure_pa
from scenarios.trace import Event
from tests.tools.verification.bench import SETTINGS, finding, trace, truth
from tools.verification.findings import evaluate
from tools.verification.monitor import Monitor, NotApplicable
from tools.verification.pack import load_pack

X = (0.0, 1.0, 3.0, 2.0, -1.0, 0.5)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("always[0 s, 5 s] trapped_fraction < 4", 1.0),
        ("eventually[0 s, 5 s] trapped_fraction > 2.5", 0.5),
        ("always[0 s, 3 s] trapped_fraction >= 0", 0.0),
        ("eventually[0 s, 3 s] always[0 s, 2 s] trapped_fraction >= 1", 0.0),
        ("eventually[0 s, 3 s] always[0 s, 2 s] trapped_fraction >= 0.5", 0.5),
    ],
)
def test_published_values_of_one_signal(text: str, expected: float) -> None:
    """Reference §9: definitions of Donzé and Maler, FORMATS 2010 (from memory), values computed by hand (b)."""
    run = trace(6, 1000.0, trapped_fraction_frac=X)
    assert abs(truth(text, run).margins()[0] - expected) <= 1e-12


def test_published_value_of_until() -> None:
    """Reference §9: (y ≤ 2) U[0,4] (x ≥ 3) = 0, with x and y as there."""
    run = trace(6, 1000.0, trapped_fraction_frac=X, volume_ratio=(1.0, 1.5, 1.8, 2.5, 2.5, 2.5))
    text = "volume_ratio <= 2 until[0 s, 4 s] trapped_fraction >= 3"
    assert abs(truth(text, run).margins()[0]) <= 1e-12


def test_published_value_of_a_decaying_pressure() -> None:
    """Reference §9: G[0,300](p < 2.3) = 0.1 for p = 1.9 + 0.3 exp(−t/60) cos(2πt/80)."""
    t = np.arange(301.0)
    run = trace(301, 1000.0, volume_ratio=1.9 + 0.3 * np.exp(-t / 60.0) * np.cos(2.0 * np.pi * t / 80.0))
    assert abs(truth("always[0 s, 300 s] volume_ratio < 2.3", run).margins()[0] - 0.1) <= 1e-6


# formulas in both languages: ours, and rtamt's, whose `until` leaves its first part out at the last moment


def _leaf(name: str, other: str, op: str, limit: int) -> tuple[str, str, int]:
    return f"{name} {op} {limit}", f"({other} {op} {limit})", 0


LEAVES = st.builds(
    lambda pair, op, limit: _leaf(*pair, op, limit),
    st.sampled_from([("trapped_fraction", "x"), ("volume_ratio", "y")]),
    st.sampled_from([">", ">=", "<", "<="]),
    st.integers(-3, 3),
)


def _grown(inner: st.SearchStrategy[tuple[str, str, int]]) -> st.SearchStrategy[tuple[str, str, int]]:
    window = st.tuples(st.integers(0, 3), st.integers(0, 3)).map(lambda w: (w[0], w[0] + w[1]))

    def temporal(word: str, w: tuple[int, int], a: tuple[str, str, int]) -> tuple[str, str, int]:
        ahead = w[1] if word in ("always", "eventually") else 0
        return f"{word}[{w[0]} s, {w[1]} s] ({a[0]})", f"({word}[{w[0]},{w[1]}] ({a[1]}))", a[2] + ahead

    def until(w: tuple[int, int], a: tuple[str, str, int], b: tuple[str, str, int]) -> tuple[str, str, int]:
        theirs = f"(({a[1]}) until[{w[0]},{w[1]}] (({a[1]}) and ({b[1]})))"
        return f"({a[0]}) until[{w[0]} s, {w[1]} s] ({b[0]})", theirs, w[1] + max(a[2], b[2])

    def joined(word: str, a: tuple[str, str, int], b: tuple[str, str, int]) -> tuple[str, str, int]:
        return f"({a[0]}) {word} ({b[0]})", f"(({a[1]}) {word} ({b[1]}))", max(a[2], b[2])

    return st.one_of(
        st.builds(lambda a: (f"not ({a[0]})", f"(not ({a[1]}))", a[2]), inner),
        st.builds(joined, st.sampled_from(["and", "or", "implies"]), inner, inner),
        st.builds(temporal, st.sampled_from(["always", "eventually", "once", "historically"]), window, inner),
        st.builds(until, window, inner, inner),
    )


FORMULAS = st.recursive(LEAVES, _grown, max_leaves=5)
SIGNAL = st.lists(st.floats(-4.0, 4.0).map(lambda v: round(v, 3)), min_size=24, max_size=24)


@settings(max_examples=150)
@given(FORMULAS, SIGNAL, SIGNAL)
def test_agrees_with_an_independent_library(formula: tuple[str, str, int], x: list[float], y: list[float]) -> None:
    """rtamt 0.4, discrete time, offline (b): where the whole window lies in the run, every margin is the same.

    Its parser does not import on Python 3.13; test_signals.py holds the windows to their definitions everywhere.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        rtamt = pytest.importorskip("rtamt", exc_type=ImportError)
    ours, theirs, ahead = formula
    run = trace(24, 1000.0, trapped_fraction_frac=x, volume_ratio=y)
    if ahead >= 24:
        with pytest.raises(NotApplicable, match="ahead"):
            truth(ours, run)
        return
    found = truth(ours, run)
    spec = rtamt.StlDiscreteTimeSpecification()
    for name in ("x", "y", "out"):
        spec.declare_var(name, "float")
    spec.spec = f"out = {theirs}"
    spec.parse()
    expected = np.array([value for _, value in spec.evaluate({"time": list(range(24)), "x": x, "y": y})])
    assert len(found.holds) == 24 - ahead
    assert_allclose(found.margins(), expected[: 24 - ahead], rtol=0.0, atol=1e-9)
    sure = np.abs(found.margins()) > 1e-9
    assert (found.holds == (found.margins() > 0.0))[sure].all(), "what holds has a positive margin"


@pytest.mark.parametrize(
    ("op", "at_limit"), [(">", False), (">=", True), ("<", False), ("<=", True), ("==", True), ("!=", False)]
)
def test_a_limit_is_settled_by_the_comparison(op: str, at_limit: bool) -> None:
    run = trace(2, suction_pressure_pa=150_000.0)
    found = truth(f"suction_pressure {op} 150 kPa", run)
    assert bool(found.holds[0]) is at_limit
    assert found.margins()[0] == 0.0
    assert truth(f"suction_pressure {op} 300 kPa / 2", run).holds[0] == at_limit, "rounding does not unsettle it"


def test_windows_hold_both_ends() -> None:
    run = trace(20, motor_run=[k == 7 for k in range(20)])
    assert truth("eventually[500 ms, 700 ms] motor_run", run).holds[0]
    assert not truth("eventually[0 s, 600 ms] motor_run", run).holds[0]
    assert truth("once[100 ms, 200 ms] motor_run", run).holds[9]
    assert not truth("once[300 ms, 400 ms] motor_run", run).holds[9]
    # a bound between two scans holds only the scans inside
    assert not truth("eventually[0 s, 650 ms] motor_run", run).holds[0]
    assert truth("eventually[650 ms, 1 s] motor_run", run).holds[0]


def test_a_window_without_a_scan_or_longer_than_the_run_is_not_judged() -> None:
    run = trace(20)
    for text, words in (
        ("eventually[10 ms, 20 ms] motor_run", "no scan"),
        ("always[0 s, 3 s] motor_run", "looks 3 s ahead, and the run lasts 1.9 s"),
        ("wait(motor_run, 1.5 s) < 1 s and always[0 s, 2 s] motor_run", "looks 2 s ahead"),
        ("motor_current / (motor_current - motor_current) > 3", "zero"),
    ):
        with pytest.raises(NotApplicable, match=words):
            truth(text, run)


def test_timers_read_in_seconds() -> None:
    on = [5 <= k < 25 for k in range(40)]
    run = trace(40, oil_pump=on, motor_run=[k >= 15 for k in range(40)])
    assert finding("duration(oil_pump) >= 1 s", run, when="rise(motor_run)").margin == 0.0
    assert finding("age(oil_pump) >= 1 s", run, when="fall(motor_run)").verdict == "not exercised"
    assert finding("wait(oil_pump, 2 s) <= 1 s", run, when="event(none)").verdict == "not exercised"
    late = finding("wait(motor_run, 2 s) <= 1.2 s", run)
    assert (late.verdict, late.margin, late.unit, late.time_ms) == ("failed", -0.3, "s", 0)
    never = finding("wait(not oil_pump and motor_run, 500 ms) <= 300 ms", run)
    assert never.margin == -0.3, "a scan more than it looks ahead"


def test_settings_states_bits_events_and_saturation() -> None:
    pressure_pa = saturation_pressure_pa(load_refrigerant("R717"), 263.15)
    run = trace(
        10, events=[Event(250, "operator", "reset", "reset"), Event(400, "drive", "reset", "no event from outside")],
        mode=float(Mode.RUN_UP), trip_word=float(1 << Trip.SAFETY_CHAIN), suction_pressure_pa=pressure_pa,
    )  # fmt: skip
    assert truth("mode == RUN_UP and mode in (OFF, RUN_UP) and mode != OFF", run).holds.all()
    assert truth("SAFETY_CHAIN in trip_word and not (STOP_BUTTON in trip_word)", run).holds.all()
    assert truth("event(reset)", run).holds.tolist() == [k == 3 for k in range(10)], "the first scan not before it"
    assert truth("abs(saturated(suction_pressure) - -10 °C) < 0.01 K", run).holds.all()
    assert truth("abs(suction_pressure - -10 °C sat) < 1 Pa", run).holds.all()
    assert truth("{common.sequence.run_up} == 20 s and {common.motor.full_load_current} == 372 A", run).holds.all()
    with pytest.raises(NotApplicable, match="does not tell"):
        truth("{common.sequence.run_up} == 20 s", run, None)


def test_mixed_units_report_the_clause_that_decides() -> None:
    run = trace(5, suction_pressure_pa=[300e3, 210e3, 300e3, 300e3, 300e3], motor_current_a=[10, 10, 10, 380, 10])
    text = "suction_pressure > 200 kPa and motor_current < 400 A"
    found = finding(text, run)
    assert (found.margin, found.unit, found.time_ms) == (10.0, "kPa", 100)
    assert found.clause == "suction_pressure > 200 kPa"
    assert finding(text.replace("400", "382"), run).unit == "A", "2 A of 1000 are nearer than 10 kPa of 1000"


def test_uneven_rows_are_no_scan_trace() -> None:
    run = trace(5)
    run.values["time_ms"][3] += 50.0
    with pytest.raises(NotApplicable, match="evenly"):
        Monitor(run, SETTINGS)
    with pytest.raises(NotApplicable, match="two rows"):
        Monitor(trace(1), SETTINGS)


def test_an_hour_of_scans_costs_a_few_sorts_of_its_rows() -> None:
    """The issue asks for 36,000 samples × 40 formulas in ≤ 1 s; here the whole shipped pack, on signals that trigger it.

    0.05 s of processor for 40 formulas where it was measured, as much as 18 stable sorts of 36,000 numbers; what a machine
    takes is no matter, so the test holds the ratio, with a fourfold margin.
    """
    pack = load_pack()
    n = 36_000
    rng = np.random.default_rng(1)
    steps = np.cumsum(rng.random(n) < 0.01)
    run = trace(
        n, suction_pressure_measured_pa=250e3 + 40e3 * np.sin(np.arange(n) / 900.0), mode=steps % 9,
        motor_run=(steps % 9 >= 3) & (steps % 9 <= 6), oil_pump=steps % 9 >= 2, inhibit=steps % 11, trip_word=steps % 2,
        capacity_travel_measured_frac=rng.random(n), capacity_unload=steps % 3 == 0, alarm_word=steps % 5,
    )  # fmt: skip
    evaluate(pack, trace(100), SETTINGS)
    noise = rng.random(n)
    ratios = []
    for _ in range(3):  # the least disturbed of three
        began = time.process_time()
        found = evaluate(pack, run, SETTINGS)
        between = time.process_time()
        for _ in range(40):
            np.sort(noise, kind="stable")  # not the vectorised sort, which is five times as fast on some machines only
        ratios.append((between - began) / (time.process_time() - between))
    assert sum(one.exercised > 0 for one in found) >= 40
    assert min(ratios) / len(found) * 40.0 <= 1.8  # 40 formulas against 40 sorts: 0.45 when it was measured
