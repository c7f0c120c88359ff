"""A candidate held to what is allowed: settings that depend on others follow them, and the gain gives way to Ms.

A search that draws each setting by itself spends half of its trials on candidates that contradict themselves or that Ms
forbids.  So what only follows from another setting follows it (a positioner runs on continuously above its neutral zone, a
longest pulse is no shorter than the shortest, …), and a law with a linear loop is slowed until the limits on Ms hold over
the whole map: the scheduled PI by a wider proportional band (and a longer integral time where that alone is not enough), the
model-based one by a longer observer time.  Every controller is treated alike; a step control has no Ms.  What cannot be held
stays as it is and is infeasible.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from controller.model_based import ModelBasedSettings
from controller.scheduled_pi import ScheduledPiSettings
from controller.three_position import ThreePositionSettings
from tools.tuning.map_loops import MapLoops, has_linear_loop

CONTINUOUS_OVER_NEUTRAL = 1.6  # the sheets' own 4 % over 2.5 %
MOST_SLOWER = 6.0
COARSE, FINE = 8, 3
OBSERVER_OF_RETURN = 0.9
LIMITS_LEFT = 1e-3  # of a limit on Ms: rounding must not break it

FOLLOWS = {  # settings that are no knobs but follow one, and what is said of them in the sheet
    "common.capacity.drive.continuous_above_pct": "follows the neutral zone of the capacity drive",
    "common.volume_ratio.drive.continuous_above_pct": "follows the neutral zone of the volume-ratio drive",
}


def consistent(settings: Any) -> Any:
    """The settings with everything that only follows from another setting in its place."""
    common = settings.common
    layers = {}
    for layer in ("capacity", "volume_ratio"):
        law = getattr(common, layer)
        drive = law.drive
        reversal = max(drive.reversal_zone_pct, drive.neutral_zone_pct)
        above = drive.continuous_above_pct
        if above <= drive.neutral_zone_pct:
            above = float(f"{CONTINUOUS_OVER_NEUTRAL * drive.neutral_zone_pct:.3g}")
        if (reversal, above) != (drive.reversal_zone_pct, drive.continuous_above_pct):
            drive = replace(drive, reversal_zone_pct=reversal, continuous_above_pct=above)
            layers[layer] = replace(law, drive=drive)
    if layers:
        settings = replace(settings, common=replace(common, **layers))
    if isinstance(settings, ThreePositionSettings):
        s = settings.step
        longest_ms = max(s.maximum_pulse_ms, s.minimum_pulse_ms)
        return replace(settings, step=replace(s, maximum_pulse_ms=longest_ms, period_ms=max(s.period_ms, longest_ms)))
    if isinstance(settings, ModelBasedSettings):
        m = settings.model
        return replace(
            settings,
            model=replace(
                m,
                settled_zone_kpa=min(m.settled_zone_kpa, m.hold_zone_kpa),
                turn_zone_kpa=max(m.turn_zone_kpa, m.hold_zone_kpa),
                far_return_time_ms=min(m.far_return_time_ms, m.return_time_ms),
                observer_time_ms=min(m.observer_time_ms, int(OBSERVER_OF_RETURN * m.return_time_ms)),
            ),
        )
    return settings


def slower(settings: Any, factor: float, integral: bool = False) -> Any:
    """The law slowed by a factor above 1, rounded to three figures, never quicker than asked for.

    integral: a PI's integral time grows with its band; alone, a wide band behind a short integral time swings slowly.
    """
    if isinstance(settings, ScheduledPiSettings):
        band = _up(factor * settings.pi.proportional_band_kpa)
        law = replace(settings.pi, proportional_band_kpa=band)
        if integral:
            law = replace(law, integral_time_ms=int(_up(factor * law.integral_time_ms)))
        return replace(settings, pi=law)
    if isinstance(settings, ModelBasedSettings):
        observer_ms = int(_up(factor * settings.model.observer_time_ms))
        return replace(settings, model=replace(settings.model, observer_time_ms=observer_ms))
    return settings


def _up(value: float) -> float:
    near = float(f"{value:.3g}")
    return near if near >= value else float(f"{value * 1.005:.3g}")


@dataclass(frozen=True, slots=True)
class Held:
    """Settings in, allowed settings out (where there are any); the same for equal settings, on every machine."""

    loops: MapLoops | None
    ms_nominal: float = 1.75
    ms_spread: float = 2.0

    def __call__(self, settings: Any) -> Any:
        """What the candidate becomes."""
        made = consistent(settings)
        if self.loops is None or not has_linear_loop(made) or self._within(made):
            return made
        step = MOST_SLOWER ** (1.0 / COARSE)
        for integral in (False, True):
            steps = (step**k for k in range(1, COARSE + 1))
            factor = next((f for f in steps if self._within(self._slowed(made, f, integral))), None)
            if factor is None:
                continue
            good, bad = factor, factor / step
            for _ in range(FINE):
                middle = (good * bad) ** 0.5
                fits = self._within(self._slowed(made, middle, integral))
                good, bad = (middle, bad) if fits else (good, middle)
            return self._slowed(made, good, integral)
        return made

    def _slowed(self, settings: Any, factor: float, integral: bool) -> Any:
        return consistent(slower(settings, factor, integral))

    def _within(self, settings: Any) -> bool:
        assert self.loops is not None
        nominal, spread = self.loops(settings)
        spare = 1.0 - LIMITS_LEFT
        return bool(nominal <= spare * self.ms_nominal and spread <= spare * self.ms_spread)


Repair = Callable[[Any], Any]
