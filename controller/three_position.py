"""Three-position step control on suction pressure with a neutral zone: what many plants run, and the baseline here.

Outside the neutral zone one pulse is given per period, the longer the farther out (common practice, no source).  The
law drives the load and unload solenoids itself; unload pulses are scaled by the stroke times, so that equal errors
move equal travel either way.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from numba.extending import register_jitable as kernel

from controller.contract import Controller
from controller.frame import CommonState, begin, finish, law_in_charge
from controller.process_image import Inputs, Outputs
from controller.setting_fields import duration, pressure_difference
from controller.settings import CommonSettings
from controller.settings import cross_check as common_cross_check

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class StepSettings:
    """The step law's own settings; pulse lengths are those of the load drive."""

    neutral_zone_kpa: float = pressure_difference(
        8.0, 0.5, 120.0, f"whole width, round the set point, ± 0.34 K at −10 °C; {PRACTICE}"
    )
    period_ms: int = duration(15_000, 500, 300_000, f"one pulse per period, about the suction's answer; {PRACTICE}")
    minimum_pulse_ms: int = duration(800, 50, 30_000, f"just outside the zone; {PRACTICE}")
    maximum_pulse_ms: int = duration(4_000, 50, 300_000, f"a quarter of a period; {PRACTICE}")
    maximum_at_kpa: float = pressure_difference(20.0, 1.0, 300.0, f"excess that earns the longest pulse; {PRACTICE}")


@dataclass(frozen=True, slots=True)
class ThreePositionSettings:
    """All settings of the three-position controller."""

    common: CommonSettings = field(default_factory=CommonSettings)
    step: StepSettings = field(default_factory=StepSettings)


@dataclass(slots=True)
class ThreePositionState:
    """All state of the three-position controller."""

    common: CommonState = field(default_factory=CommonState)
    period_left_ms: int = 0
    pulse_left_ms: int = 0
    direction: int = 0


@kernel
def step_law(settings: ThreePositionSettings, state: ThreePositionState, dt_ms: int) -> None:
    """Start a pulse when a period is over and suction is outside the zone; let a running one run out."""
    c = settings.step
    s = state
    capacity = s.common.capacity
    drive = settings.common.capacity.drive
    capacity.drives_itself = True
    s.period_left_ms -= dt_ms
    s.pulse_left_ms -= dt_ms
    error = capacity.error_kpa
    excess = abs(error) - 0.5 * c.neutral_zone_kpa
    if s.period_left_ms <= 0 and excess > 0.0:
        share = min(excess / c.maximum_at_kpa, 1.0)
        pulse = c.minimum_pulse_ms + share * (c.maximum_pulse_ms - c.minimum_pulse_ms)
        travel_pct = 100.0 * pulse / drive.stroke_up_ms
        position_pct = s.common.signals.capacity_position_pct
        if error > 0.0:
            s.direction = 1
            s.pulse_left_ms = int(pulse)
            capacity.free_pct = position_pct + travel_pct
        else:
            s.direction = -1
            s.pulse_left_ms = max(int(pulse * drive.stroke_down_ms / drive.stroke_up_ms), drive.minimum_pulse_ms)
            capacity.free_pct = position_pct - travel_pct
        s.period_left_ms = c.period_ms
    if 2 * s.pulse_left_ms <= dt_ms or (error * s.direction < 0.0 and excess > 0.0):
        s.pulse_left_ms = 0  # a pulse ends at the scan nearest to its end, and at once on the far side of the zone
        s.direction = 0
    capacity.request = s.direction


@kernel
def scan(
    settings: ThreePositionSettings, state: ThreePositionState, inputs: Inputs, outputs: Outputs, now_ms: int
) -> int:
    """One scan; see `controller.contract`."""
    dt_ms = begin(settings.common, state.common, inputs, outputs, now_ms)
    if law_in_charge(state.common, inputs):
        step_law(settings, state, dt_ms)
    else:
        state.period_left_ms = 0
        state.pulse_left_ms = 0
        state.direction = 0
    finish(settings.common, state.common, inputs, outputs, dt_ms)
    return 0


def cross_check(settings: ThreePositionSettings) -> list[str]:
    """Contradictions between fields, in plain words; empty when there is none."""
    found = common_cross_check(settings.common)
    c = settings.step
    if c.minimum_pulse_ms > c.maximum_pulse_ms:
        found.append("step: minimum_pulse must not be longer than maximum_pulse")
    if c.maximum_pulse_ms > c.period_ms:
        found.append("step: maximum_pulse must not be longer than the period")
    return found


CONTROLLER = Controller(
    name="three_position",
    settings_type=ThreePositionSettings,
    state_type=ThreePositionState,
    scan=scan,
    purpose="step control on suction pressure with a neutral zone: the baseline",
)
