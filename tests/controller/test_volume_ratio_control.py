"""The volume-ratio loop: the ideal ratio, its limits, and what a lost signal does."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Health, Mode
from controller.slide_curve import curve_at
from controller.volume_ratio_control import VolumeRatioSettings, best_full_load_ratio

SETTINGS = VolumeRatioSettings()


@given(st.floats(100.0, 1000.0), st.floats(200.0, 1900.0), st.floats(0.0, 100.0))
def test_the_gas_sees_the_ideal_ratio_where_the_slide_reaches(suction: float, discharge: float, at: float) -> None:
    # definition of the ideal internal ratio: Vi = (p_d/p_s)^(1/κ); control.md layer 6, plant.md "the coupling"
    ratio = best_full_load_ratio(SETTINGS, suction, discharge, at)
    trapped = curve_at(SETTINGS.trapped_fraction_frac, at)
    ideal = math.pow(max(discharge / suction, 1.0), 1.0 / SETTINGS.isentropic_exponent)
    low, high = SETTINGS.full_load_volume_ratio[0], SETTINGS.full_load_volume_ratio[10]
    assert low <= ratio <= high
    if low < max(ideal, 1.05) / trapped < high:
        assert ratio * trapped == pytest.approx(max(ideal, 1.05), rel=1e-12)
    if low <= 1.05 / trapped <= high:
        assert ratio * trapped >= 1.05 - 1e-12, "the port would open before the flute is sealed"


def test_equal_pressures_still_keep_clear_of_the_through_path() -> None:
    at = 50.0
    trapped = curve_at(SETTINGS.trapped_fraction_frac, at)
    for discharge in (300.0, 310.0):
        assert best_full_load_ratio(SETTINGS, 300.0, discharge, at) * trapped == pytest.approx(1.05)


def test_out_of_reach_below_about_half_capacity_at_minus_10_35() -> None:
    # plant.md: at −10/35 °C with 7.0 as the limit the optimum is out of reach below c ≈ 0.47 (computed there, κ 1.30)
    needed = (1350.0 / 290.6) ** (1 / 1.30) / 7.0
    assert needed == pytest.approx(0.47, abs=0.005)
    assert best_full_load_ratio(SETTINGS, 290.6, 1350.0, 0.0) == 6.2


def test_it_raises_the_ratio_when_the_machine_unloads(bench) -> None:  # type: ignore[no-untyped-def]
    bench.until(Mode.AUTOMATIC)
    bench.machine.load_kw = 520.0
    bench.run(120.0)
    loaded = bench.machine.volume_ratio_pct
    bench.machine.load_kw = 150.0
    bench.run(120.0)
    assert bench.machine.volume_ratio_pct > loaded + 5.0
    ratio = best_full_load_ratio(SETTINGS, bench.machine.suction_kpa_abs, 1350.0, bench.machine.capacity_pct)
    seen = curve_at(SETTINGS.full_load_volume_ratio, bench.machine.volume_ratio_pct)
    assert seen == pytest.approx(ratio, rel=0.06)


@pytest.mark.parametrize("signal", ["suction_pressure_health", "discharge_pressure_health", "capacity_position_health"])
def test_a_lost_signal_freezes_the_demand(bench, signal: str) -> None:  # type: ignore[no-untyped-def]
    bench.until(Mode.AUTOMATIC)
    bench.run(40.0)
    demand = bench.outputs.volume_ratio_demand_pct
    bench.overrides[signal] = Health.UNDER
    bench.run(5.0)
    assert bench.outputs.volume_ratio_demand_pct == demand


def test_a_lost_position_stops_the_drive(bench) -> None:  # type: ignore[no-untyped-def]
    bench.until(Mode.AUTOMATIC)
    bench.overrides["volume_ratio_position_health"] = Health.OVER
    for _ in range(100):
        bench.scan()
        assert not bench.outputs.volume_ratio_increase
        assert not bench.outputs.volume_ratio_decrease


def test_by_hand_the_slide_follows_the_hand(bench) -> None:  # type: ignore[no-untyped-def]
    bench.until(Mode.AUTOMATIC)
    bench.overrides |= {"volume_ratio_manual": True, "volume_ratio_manual_demand_pct": 40.0}
    bench.run(80.0)
    assert bench.machine.volume_ratio_pct == pytest.approx(40.0, abs=2.0)
