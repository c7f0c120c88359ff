"""Margins with exact dead time against reference §5 and against python-control with high-order Padé."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from itertools import pairwise

import control
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tools.tuning import rules
from tools.tuning.linear_process import LinearProcess, PidSettings, PiSettings, first_order, integrator, two_lags
from tools.tuning.margins import Margins, Spread, margins, margins_of_many, worst_over_spread
from tools.tuning.open_loop import LoopEffects

A, B = first_order(1.0, 10.0, 2.0), integrator(0.02, 5.0)
TOLERANCE, TABLE_1 = 5e-3, 3e-3

# (rule, process, GM, PM in °, Ms): reference §5, computed with exact dead time (b)
ROWS = [
    (rules.ziegler_nichols_ultimate_pi, A, 1.922, 36.2, 2.427),
    (rules.ziegler_nichols_ultimate_pi, B, 1.868, 24.9, 2.831),
    (rules.ziegler_nichols_ultimate_pid, A, 1.632, 39.6, 2.612),
    (rules.ziegler_nichols_step_pi, A, 1.656, 31.2, 2.948),
    (rules.ziegler_nichols_step_pi, B, 1.467, 18.3, 4.156),
    (rules.ziegler_nichols_step_pid, A, 1.329, 39.3, 4.072),
    (rules.tyreus_luyben_pid, A, 1.771, 75.7, 2.306),
    (rules.amigo_pi, A, 6.328, 67.5, 1.264),
    (rules.amigo_pi, B, 4.343, 57.7, 1.410),
    (rules.amigo_pid, A, 3.280, 59.2, 1.447),
    (rules.simc_pi, A, 3.142, 61.4, 1.590),
    (rules.simc_pi, B, 2.963, 46.9, 1.704),
    (rules.lambda_pi, A, 6.283, 75.7, 1.249),
    (rules.lambda_pi, B, 3.354, 46.4, 1.613),
]


@pytest.mark.parametrize(("rule", "process", "gm", "pm_deg", "ms"), ROWS)
def test_rows_of_the_reference(
    rule: Callable[[LinearProcess], PiSettings | PidSettings],
    process: LinearProcess,
    gm: float,
    pm_deg: float,
    ms: float,
) -> None:
    found = margins(process, rule(process))
    assert found.stable
    assert found.gain_margin == pytest.approx(gm, rel=TOLERANCE)
    assert found.phase_margin_deg == pytest.approx(pm_deg, rel=TOLERANCE)
    assert found.ms == pytest.approx(ms, rel=TOLERANCE)


# in dead times; published values of Skogestad, J. Process Control 13, 2003, Table 1 (c), more digits computed (b)
@pytest.mark.parametrize(
    ("process", "expected"),
    [
        (first_order(1.0, 8.0, 1.0), (3.1415, 61.353, 1.5905, 1.000, 2.142, 1.5708, 0.500)),
        (integrator(1.0, 1.0), (2.9634, 46.865, 1.7035, 1.2994, 1.590, 1.4869, 0.5145)),
    ],
)
def test_simc_against_its_published_table(process: LinearProcess, expected: tuple[float, ...]) -> None:
    m = margins(process, rules.simc_pi(process))
    found = (
        m.gain_margin, m.phase_margin_deg, m.ms, m.mt, m.delay_margin_s, m.phase_crossover_rad_s, m.crossover_rad_s
    )  # fmt: skip
    assert found == pytest.approx(expected, rel=TABLE_1)


def pade_margins(process: LinearProcess, c: PiSettings | PidSettings, order: int = 10) -> Margins:
    """The same from python-control, dead time by Padé, Ms and Mt from its dense frequency response."""
    s = control.tf("s")
    loop = control.tf(*control.pade(process.dead_time_s, order)) * process.gain
    if process.integrating:
        loop = loop / s
    for lag_s in process.lags_s:
        loop = loop / (lag_s * s + 1)
    derivative_s = c.derivative_s if isinstance(c, PidSettings) else 0.0
    loop = loop * c.gain_pct_kpa * (1 + 1 / (c.integral_s * s) + derivative_s * s / (0.1 * derivative_s * s + 1))
    gm, pm, _, w180, wc, _ = control.stability_margins(loop)
    w = np.geomspace(0.01, 5.0, 6000) / process.dead_time_s
    value = loop(1j * w)
    ms, mt = np.abs(1 / (1 + value)).max(), np.abs(value / (1 + value)).max()
    stable = bool((control.feedback(loop, 1).poles().real < 0).all())
    return Margins(stable, gm, pm, ms, mt, math.radians(pm) / wc, wc, w180)


@pytest.mark.parametrize(
    ("process", "controller"),
    [
        (A, PiSettings(2.5, 10.0)),
        (integrator(1.0, 1.0), PiSettings(0.5, 8.0)),
        (two_lags(1.0, 10.0, 3.0, 1.0), PiSettings(2.0, 9.0)),
        (first_order(1.0, 1.0, 2.0), PiSettings(0.3, 1.2)),
        (LinearProcess(0.1, True, 2.0, (3.0, 1.0)), PiSettings(0.5, 60.0)),
        (A, PidSettings(2.45, 5.8667, 0.9434)),
    ],
)
def test_against_python_control_with_pade(process: LinearProcess, controller: PiSettings | PidSettings) -> None:
    found, other = margins(process, controller), pade_margins(process, controller)
    assert found.stable
    assert other.stable
    for name in ("gain_margin", "phase_margin_deg", "ms", "mt", "delay_margin_s", "crossover_rad_s"):
        assert getattr(found, name) == pytest.approx(getattr(other, name), rel=TABLE_1), name


positive = st.floats(0.05, 20.0)


@given(positive, st.floats(0.1, 3.0), st.floats(0.05, 3.0), st.floats(0.3, 20.0), st.booleans())
@settings(max_examples=60, deadline=None)
def test_stability_agrees_with_the_poles_of_a_pade_loop(
    lag_s: float, dead_s: float, share: float, integral: float, rising: bool
) -> None:
    """Gains from 5 % to three times the ultimate one, integral times too short and long; boundary cases left out."""
    process = LinearProcess(1.0, rising, dead_s, (lag_s,))
    gain = share * rules.ultimate_point(process).gain_pct_kpa
    controller = PiSettings(gain, integral * dead_s)
    near = [margins(process, PiSettings(gain * f, controller.integral_s)).stable for f in (0.97, 1.0, 1.03)]
    assume(len(set(near)) == 1)
    assert near[1] == pade_margins(process, controller, 6).stable


@given(positive, positive, st.floats(0.05, 0.9), st.floats(1.5, 30.0))
@settings(max_examples=60, deadline=None)
def test_known_bounds_between_the_margins(lag_s: float, dead_s: float, share: float, integral: float) -> None:
    """PM ≥ 2·asin(1/(2Ms)) (Åström & Hägglund); Ms, Mt as a dense sweep sees them; time scales leave ratios alone."""
    process = first_order(1.0, lag_s, dead_s)
    gain = share * rules.ultimate_point(process).gain_pct_kpa
    m = margins(process, PiSettings(gain, integral * dead_s))
    assume(m.stable and m.ms < 10.0)  # beyond it the sweep is the coarser one
    w = np.concatenate([np.geomspace(1e-3, 1.0, 4000) / dead_s, np.linspace(1.0, 40.0, 8000) / dead_s])
    loop = process.response(w) * gain * (1.0 + 1.0 / (1j * w * integral * dead_s))
    assert m.ms == pytest.approx(np.abs(1.0 / (1.0 + loop)).max(), rel=1e-3)
    assert m.mt == pytest.approx(max(1.0, np.abs(loop / (1.0 + loop)).max()), rel=1e-2)
    assert m.phase_margin_deg >= math.degrees(2.0 * math.asin(0.5 / m.ms)) * (1.0 - 1e-3)
    slower = margins(first_order(1.0, 7.0 * lag_s, 7.0 * dead_s), PiSettings(gain, 7.0 * integral * dead_s))
    assert slower.ms == pytest.approx(m.ms, rel=1e-3)
    assert slower.delay_margin_s == pytest.approx(7.0 * m.delay_margin_s, rel=1e-3)


@given(positive, positive, st.floats(0.1, 0.8))
@settings(max_examples=30, deadline=None)
def test_the_margins_are_where_the_loop_becomes_unstable(lag_s: float, dead_s: float, share: float) -> None:
    process = first_order(1.0, lag_s, dead_s)
    gain = share * rules.ultimate_point(process).gain_pct_kpa
    controller = PiSettings(gain, lag_s + dead_s)
    m = margins(process, controller)
    assume(m.stable)
    for factor, stable in ((0.995, True), (1.005, False)):
        assert margins(process.spread(gain=factor * m.gain_margin), controller).stable is stable
        if math.isfinite(m.delay_margin_s):
            later = first_order(1.0, lag_s, dead_s + factor * m.delay_margin_s)
            assert margins(later, controller).stable is stable


def test_an_unstable_loop_says_so_and_by_how_much() -> None:
    ultimate = rules.ultimate_point(A).gain_pct_kpa
    m = margins(A, PiSettings(2.0 * ultimate, 1e6))
    assert not m.stable
    assert m.ms == m.mt == math.inf
    assert m.gain_margin == pytest.approx(0.5, rel=1e-3)
    assert m.phase_margin_deg < 0.0
    assert m.delay_margin_s == 0.0


def test_an_integral_faster_than_an_integrator_and_its_lag_allow_is_unstable_at_any_gain() -> None:
    """kv/(s(Ts + 1)) with a PI: stable iff Ti > T (Routh)."""
    process = LinearProcess(1.0, True, 0.0, (5.0,))
    assert margins(process, PiSettings(0.01, 5.5)).stable
    for gain in (0.01, 1.0):
        assert not margins(process, PiSettings(gain, 4.5)).stable


def test_a_proportional_loop_round_one_lag_has_no_limit() -> None:
    m = margins(first_order(1.0, 10.0, 0.0), PiSettings(5.0, 0.0))
    assert m.stable
    assert m.gain_margin == math.inf
    assert m.ms == pytest.approx(1.0, abs=1e-3)


def test_many_at_once_are_the_same_as_one_by_one() -> None:
    processes = [A, B, two_lags(2.0, 5.0, 1.0, 0.3), LinearProcess(1.0, True, 0.5, (3.0,))]
    controllers = [rules.simc_pi(p) for p in processes]
    together = margins_of_many(processes, controllers)
    for process, controller, m in zip(processes, controllers, together, strict=True):
        one = margins(process, controller)
        assert (m.gain_margin, m.ms, m.mt) == pytest.approx((one.gain_margin, one.ms, one.mt), rel=1e-6)


def test_a_map_of_hundreds_of_points_costs_less_than_a_millisecond_each() -> None:
    """Processor time, so that other work on the machine does not count; measured 0.1 ms."""
    controllers = [rules.simc_pi(A), rules.simc_pi(B)] * 200
    start = time.process_time()
    found = margins_of_many([A, B] * 200, controllers)
    assert len(found) == 400
    assert time.process_time() - start < 400 * 1e-3


def test_worst_over_a_spread_of_gain_and_dead_time() -> None:
    """SIMC on an integrator: 1.7035, and 2.30 at + 20 % gain and dead time (design, from memory)."""
    worst = worst_over_spread(B, rules.simc_pi(B), Spread(0.2, 0.2, 0.2))
    assert worst.ms == pytest.approx(2.30, rel=TOLERANCE)
    assert worst.process == B.spread(1.2, 1.2)
    assert worst_over_spread(B, rules.simc_pi(B), Spread(0.0, 0.0, 0.0)).ms == pytest.approx(1.7035, rel=TABLE_1)


def test_a_wider_spread_is_never_better() -> None:
    process, controller = two_lags(1.0, 20.0, 4.0, 2.0), PiSettings(2.0, 15.0)
    found = [worst_over_spread(process, controller, Spread(f, f, f)).ms for f in (0.0, 0.1, 0.2, 0.3, 0.4)]
    assert all(a <= b + 1e-9 for a, b in pairwise(found))
    assert found[-1] > found[0] * 1.2


def test_of_an_integrating_loop_the_low_gain_may_be_the_worst() -> None:
    """A short integral time: less gain means less phase at crossover."""
    worst = worst_over_spread(B, PiSettings(1.5, 12.0), Spread(0.3, 0.0, 0.0))
    assert worst.process.gain == pytest.approx(0.7 * B.gain)


def test_scan_and_filter_are_dead_time_and_lag() -> None:
    """Half a scan of hold and one of computing (Åström & Wittenmark, Computer-Controlled Systems)."""
    effects = LoopEffects(filter_s=2.0, scan_s=0.4, computing_scans=1.0)
    assert effects.on(A) == LinearProcess(1.0, False, 2.6, (10.0, 2.0))
    assert margins(A, rules.simc_pi(A), effects).ms > margins(A, rules.simc_pi(A)).ms
    assert margins(A, rules.simc_pi(A), LoopEffects(scan_s=0.0)) == margins(A, rules.simc_pi(A))


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="must be positive"):
        margins(A, PiSettings(0.0, 10.0))
    with pytest.raises(ValueError, match="one each"):
        margins_of_many([A, B], [rules.simc_pi(A)])
    with pytest.raises(ValueError, match="not a fraction"):
        worst_over_spread(A, rules.simc_pi(A), Spread(gain_frac=20.0))
    assert margins_of_many([], []) == []
