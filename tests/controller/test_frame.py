"""The frame: time base over first scan, wrap and supply interruption."""

from __future__ import annotations

from controller.frame import CommonState, begin
from controller.process_image import Inputs, Outputs
from controller.settings import CommonSettings

SETTINGS = CommonSettings()


def test_the_first_scan_has_no_past_and_time_wraps_at_32_bits() -> None:
    state, x, y = CommonState(), Inputs(), Outputs()
    assert begin(SETTINGS, state, x, y, 4_294_967_290) == 0
    assert begin(SETTINGS, state, x, y, 94) == 100
    assert state.sequence.clock_ms == 100


def test_an_interruption_moves_the_clock_by_its_own_length_only() -> None:
    state, y = CommonState(), Outputs()
    begin(SETTINGS, state, Inputs(), y, 1_000)
    assert begin(SETTINGS, state, Inputs(supply_interrupted_ms=60_000), y, 5) == 0
    assert state.sequence.clock_ms == 60_000
    assert begin(SETTINGS, state, Inputs(), y, 105) == 100
    assert state.sequence.clock_ms == 60_100
