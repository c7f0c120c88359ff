"""The small loop: exact process, and the cabinet's own PI and positioner in it."""

from __future__ import annotations

import pytest

from controller.positioner import DriveSettings
from tools.tuning.linear_process import PiSettings, first_order, integrator
from tools.tuning.load_response import load_response
from tools.tuning.rules import simc_pi
from tools.tuning.slide_loop import Slide, run_slide_loop

QUICK = DriveSettings(
    stroke_up_ms=5000, stroke_down_ms=5000, neutral_zone_pct=0.1, reversal_zone_pct=0.1, minimum_pulse_ms=20,
    overrun_ms=0, pause_ms=0,
)  # fmt: skip


def test_with_a_quick_fine_slide_the_load_response_is_the_linear_one() -> None:
    """Greatest error after a step of load: 10 % of travel; exact dead time on both sides, slide 20 %/s with ± 0.1 %."""
    process, controller = first_order(4.0, 60.0, 6.0), PiSettings(1.0, 40.0)
    expected = 10.0 * load_response(process, controller).error_kpa.max()
    seen = run_slide_loop(process, controller, QUICK, load_pct=0.0, kick_pct=10.0, duration_s=59.0, scan_ms=20)
    assert seen.peak_kpa == pytest.approx(expected, rel=0.02)


def test_a_rest_zone_wider_than_a_turning_step_ends_the_cycle() -> None:
    process = first_order(2.0, 60.0, 3.0)
    controller, drive = simc_pi(process), DriveSettings(neutral_zone_pct=1.0, reversal_zone_pct=2.5)
    without = run_slide_loop(process, controller, drive)
    within = run_slide_loop(process, controller, drive, rest_zone_kpa=4.0)
    assert without.cycles
    assert without.reversals_1_h > 60.0
    assert not within.cycles
    assert within.pulses_1_h < without.pulses_1_h
    assert within.pressure_amplitude_kpa < 0.01


def test_play_in_the_linkage_and_a_wrong_speed_are_felt() -> None:
    process = integrator(0.06, 3.0)
    controller, drive = simc_pi(process), DriveSettings()
    right = run_slide_loop(process, controller, drive)
    loose = run_slide_loop(process, controller, drive, slide=Slide(lost_pct=3.0))
    fast = run_slide_loop(process, controller, drive, slide=Slide(speed_ratio=1.5))
    assert loose.pressure_amplitude_kpa > 1.1 * right.pressure_amplitude_kpa
    assert fast != right


def test_a_run_on_longer_than_believed_makes_the_positioner_hunt() -> None:
    """0.9 s at 4 %/s are 3.6 %, against zones of ± 1 %."""
    process = integrator(0.06, 3.0)
    drive = DriveSettings(neutral_zone_pct=1.0, reversal_zone_pct=1.0)
    right = run_slide_loop(process, simc_pi(process), drive)
    sticky = run_slide_loop(process, simc_pi(process), drive, slide=Slide(overrun_ms=900.0))
    assert sticky.reversals_1_h > 4.0 * right.reversals_1_h
