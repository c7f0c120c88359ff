"""Scheduled PI: suction pressure leads the capacity slide's demand; a positioner brings the slide there.

PI in velocity form, its gain scheduled over the real capacity position because the capacity curve's slope is not one
number; anti-windup by keeping the demand near the real position; feed-forward from an announced load change.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.contract import Controller
from controller.frame import CommonState, begin, finish, law_in_charge
from controller.pid import PiState, pi_increment
from controller.process_image import Inputs, Outputs
from controller.scaling import clamp
from controller.setting_fields import duration, number, pressure_difference, table
from controller.settings import CommonSettings
from controller.settings import cross_check as common_cross_check
from controller.slide_curve import Curve, curve_at

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class PiSettings:
    """The PI law's own settings."""

    proportional_band_kpa: float = pressure_difference(
        55.0, 2.0, 2000.0, "error that moves the demand by 100 %: near SIMC for the demo vessel, 3 s effective delay"
    )
    integral_time_ms: int = duration(30_000, 1_000, 3_600_000, "SIMC: 8 effective delays of a little more than 3 s")
    rest_zone_kpa: float = pressure_difference(
        4.0, 0.0, 60.0, "either side, ± 0.34 K at −10 °C; inside it the law rests, which spares the slide"
    )
    gain_multiplier: Curve = field(
        default=(1.23, 1.01, 0.86, 0.86, 0.82, 0.82, 0.91, 1.01, 1.23, 1.56, 1.72),
        metadata=table(0.1, 10.0, "mean slope of the default trapped-fraction curve by its local slope"),
    )
    feed_forward_gain: float = number(0.0, 0.0, 3.0, "demand in % per % of announced load; none until a plant is known")


@dataclass(frozen=True, slots=True)
class ScheduledPiSettings:
    """All settings of the scheduled PI controller."""

    common: CommonSettings = field(default_factory=CommonSettings)
    pi: PiSettings = field(default_factory=PiSettings)


@dataclass(slots=True)
class ScheduledPiState:
    """All state of the scheduled PI controller."""

    common: CommonState = field(default_factory=CommonState)
    pi: PiState = field(default_factory=PiState)
    announced_load_pct: float = 0.0


@kernel
def pi_law(settings: ScheduledPiSettings, state: ScheduledPiState, inputs: Inputs, dt_ms: int) -> None:
    """Add this scan's increment to the wish; by hand the block only keeps its memory fresh."""
    c = settings.pi
    capacity = state.common.capacity
    gain = 100.0 / c.proportional_band_kpa
    gain *= curve_at(c.gain_multiplier, state.common.signals.capacity_position_pct)
    change_pct = pi_increment(state.pi, capacity.error_kpa, gain, c.integral_time_ms, dt_ms, c.rest_zone_kpa)
    announced_pct = clamp(inputs.announced_load_pct, -100.0, 100.0)
    change_pct += c.feed_forward_gain * (announced_pct - state.announced_load_pct)
    state.announced_load_pct = announced_pct
    if law_in_charge(state.common, inputs):
        capacity.free_pct += change_pct


@kernel
def scan(settings: ScheduledPiSettings, state: ScheduledPiState, inputs: Inputs, outputs: Outputs, now_ms: int) -> int:
    """One scan; see `controller.contract`."""
    dt_ms = begin(settings.common, state.common, inputs, outputs, now_ms)
    pi_law(settings, state, inputs, dt_ms)
    finish(settings.common, state.common, inputs, outputs, dt_ms)
    return 0


def cross_check(settings: ScheduledPiSettings) -> list[str]:
    """Contradictions between fields, in plain words; empty when there is none."""
    return common_cross_check(settings.common)


CONTROLLER = Controller(
    name="scheduled_pi",
    settings_type=ScheduledPiSettings,
    state_type=ScheduledPiState,
    scan=scan,
    purpose="PI on suction pressure, gain scheduled over capacity position, with a positioner",
)
