"""The settings that a search may move: which, how far, and on what scale.

A candidate is a vector in the unit cube, one number a knob.  `Space.settings` makes of it the base sheet with those
settings replaced, each rounded to three figures so that a person can carry it to site.  Ranges are parts of the
field's own range, wide enough for any plant that the tuner is meant for, and are widened to hold the base sheet's value.
Nothing that protects the machine (trips, inhibits, sequence) is ever a knob.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from controller.registry import CROSS_CHECKS, SHIPPED
from scenarios.errors import InputRefused, Problem
from scenarios.plant_draws import value_at, with_value
from scenarios.record_fields import FieldRule, field_rules

Vector = NDArray[np.float64]
FIGURES = 3
SET_POINT = "common.capacity.suction_set_point_kpa_abs"
_LOG_FROM_RATIO = 10.0  # a range over more than a decade is searched in its logarithm


@dataclass(frozen=True, slots=True)
class Knob:
    """One setting that may move: dotted attribute path, range in the setting's unit, scale, and why this range."""

    name: str
    low: float
    high: float
    log: bool
    why: str

    @property
    def path(self) -> tuple[str, ...]:
        return tuple(self.name.split("."))

    def value(self, share: float) -> float:
        """The setting at a share 0 to 1 of the range."""
        share = min(max(share, 0.0), 1.0)
        if self.log:
            return float(self.low * (self.high / self.low) ** share)
        return self.low + share * (self.high - self.low)

    def share(self, value: float) -> float:
        """Where in the range a setting lies, held to 0 to 1."""
        value = min(max(value, self.low), self.high)
        if self.log:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


_DRIVE = "common.capacity.drive."
_RATIO = "common.volume_ratio."
_POSITIONER = (
    Knob(f"{_DRIVE}neutral_zone_pct", 0.8, 5.0, True, "from what the shortest pulse moves to a zone that shows"),
    Knob(f"{_DRIVE}reversal_zone_pct", 0.8, 8.0, True, "beyond 8 % it acts as a backlash (DEVELOPERS, rest zone)"),
    Knob(f"{_DRIVE}pause_ms", 500, 10_000, True, "rest between pulses, up to a third of a brisk integral time"),
)
_COMMON = (
    Knob("common.capacity.measurement_filter_ms", 100, 10_000, True, "from one scan to the speed of a vessel"),
    Knob(f"{_RATIO}filter_ms", 2_000, 120_000, True, "pressure ratio moves with the condenser, in minutes"),
    Knob(f"{_RATIO}drive.neutral_zone_pct", 0.8, 6.0, True, "a few % of travel cost next to nothing"),
    Knob(f"{_RATIO}drive.reversal_zone_pct", 0.8, 10.0, True, "the same, against the last movement"),
)
KNOBS: dict[str, tuple[Knob, ...]] = {
    "three_position": (
        Knob("step.neutral_zone_kpa", 1.0, 40.0, True, "whole width; ± 0.1 to ± 4 K of ammonia at −10 to −40 °C"),
        Knob("step.period_ms", 2_000, 120_000, True, "from twice a positioner's pause to two minutes"),
        Knob("step.minimum_pulse_ms", 200, 5_000, True, "0.4 to 10 % of a 50 s stroke"),
        Knob("step.maximum_pulse_ms", 500, 20_000, True, "1 to 40 % of a 50 s stroke"),
        Knob("step.maximum_at_kpa", 2.0, 100.0, True, "from at once to hardly ever"),
        *_COMMON,
    ),
    "scheduled_pi": (
        Knob("pi.proportional_band_kpa", 8.0, 500.0, True, "a decade either side of SIMC on the demo plant"),
        Knob("pi.integral_time_ms", 5_000, 600_000, True, "2 s of dead time to a slow vessel"),
        Knob("pi.rest_zone_kpa", 0.0, 12.0, False, "none, to ± 1 K of ammonia at −10 °C"),
        *_POSITIONER,
        *_COMMON,
    ),
    "model_based": (
        Knob("model.vessel_time_ms", 15_000, 600_000, True, "a brisk skin to a large vessel in equilibrium"),
        Knob("model.observer_time_ms", 3_000, 40_000, True, "from one delay of the loop to a dozen"),
        Knob("model.return_time_ms", 10_000, 300_000, True, "from three delays to five minutes"),
        Knob("model.far_return_time_ms", 8_000, 200_000, True, "the same, and quicker"),
        Knob("model.horizon_ms", 0, 60_000, False, "not at all, to four observer times"),
        Knob("model.hold_zone_kpa", 0.5, 10.0, True, "noise, to ± 0.9 K of ammonia at −10 °C"),
        Knob("model.settled_zone_kpa", 0.0, 4.0, False, "the set point itself, to what a hold zone may be"),
        Knob("model.turn_zone_kpa", 1.5, 20.0, True, "near noise, to ± 1.7 K of ammonia at −10 °C"),
        Knob("model.turn_time_ms", 60_000, 3_600_000, True, "from a short batch to an hour"),
        Knob("model.trim_time_ms", 60_000, 1_800_000, True, "well above the loop's own times"),
        *_POSITIONER,
        *_COMMON,
    ),
}


def _own_knobs(name: str) -> tuple[Knob, ...]:
    """Knobs of a shipped controller without an entry above: its own settings (not the common ones) over their ranges."""
    found = []
    for above in fields(SHIPPED[name].settings_type):
        record = getattr(SHIPPED[name].settings_type(), above.name)
        if above.name == "common" or not is_dataclass(record):
            continue
        for rule in field_rules(cast(Any, type(record))):
            if not rule.is_number or rule.length or rule.low is None or rule.high is None or rule.high <= rule.low:
                continue
            log = rule.low > 0.0 and rule.high / rule.low > _LOG_FROM_RATIO
            found.append(Knob(f"{above.name}.{rule.name}", rule.low, rule.high, log, "the field's own range"))
    return (*found, *_POSITIONER, *_COMMON)


def knobs_of(controller: str) -> tuple[Knob, ...]:
    """The knobs of a shipped controller.  InputRefused for another, whose settings are its own business."""
    if controller not in SHIPPED:
        known = ", ".join(sorted(SHIPPED))
        raise InputRefused(
            Problem(f"controller {controller!r} cannot be tuned", value=controller, limit=f"known: {known}")
        )
    return KNOBS.get(controller) or _own_knobs(controller)


def rule_at(settings_type: Any, path: Sequence[str]) -> FieldRule:
    """What the field at a path says of itself.  KeyError if there is none."""
    rule = next((r for r in field_rules(settings_type) if r.name == path[0]), None)
    if rule is None:
        raise KeyError(".".join(path))
    return rule if len(path) == 1 else rule_at(rule.kind, path[1:])


def rounded(value: float, rule: FieldRule) -> Any:
    """Three figures, and a whole number where the field wants one; never outside the field's range by rounding."""
    value = float(f"{value:.{FIGURES}g}")
    value = value if rule.low is None else max(value, rule.low)
    value = value if rule.high is None else min(value, rule.high)
    return round(value) if rule.kind is int else value


@dataclass(frozen=True, slots=True)
class Space:
    """The unit cube of a controller's knobs, round a base sheet that gives everything else.

    repair: what is done to every candidate's settings, so that they are allowed (`held.Held`); None: nothing.
    """

    controller: str
    base: Any
    knobs: tuple[Knob, ...]
    repair: Callable[[Any], Any] | None = None

    def settings(self, vector: Sequence[float] | Vector) -> Any:
        """The settings of a vector; they may contradict each other, see `contradictions`."""
        made = self.base
        for knob, share in zip(self.knobs, vector, strict=True):
            rule = rule_at(type(self.base), knob.path)
            made = with_value(made, knob.path, rounded(knob.value(float(share)), rule))
        return made if self.repair is None else self.repair(made)

    def vector(self, settings: Any) -> Vector:
        """The vector nearest to a settings record: knobs only, held inside their ranges."""
        return np.array([knob.share(float(value_at(settings, knob.path))) for knob in self.knobs])

    def values(self, vector: Sequence[float] | Vector) -> dict[str, float]:
        """The moved settings by dotted name, in the setting's unit."""
        return self.values_in(self.settings(vector))

    def values_in(self, settings: Any) -> dict[str, float]:
        """The same of settings that are there already."""
        return {knob.name: value_at(settings, knob.path) for knob in self.knobs}

    def contradictions(self, settings: Any) -> list[str]:
        """What is wrong between the fields of a candidate, in plain words; such a candidate is infeasible."""
        return CROSS_CHECKS[type(settings)](settings)


def _widened(knob: Knob, values: Iterable[float], rule: FieldRule) -> Knob:
    low = max(knob.low, rule.low) if rule.low is not None else knob.low
    high = min(knob.high, rule.high) if rule.high is not None else knob.high
    inside = [v for v in values if v > 0.0 or not knob.log]  # a logarithm cannot reach a filter of 0 s
    return replace(knob, low=min([low, *inside]), high=max([high, *inside]))


def space_of(
    controller: str,
    base: Any,
    starts: Iterable[Any] = (),
    set_point_kpa: float = 0.0,
    repair: Callable[[Any], Any] | None = None,
) -> Space:
    """The space of a controller round its base sheet, widened where the base or one of `starts` lies outside a range.

    set_point_kpa: how far, kPa either way, the suction set point may move; 0 keeps it.  Move it only with a duty (the
    warmest suction allowed), or the search will save energy by not cooling.  InputRefused where base belongs to another
    controller.
    """
    knobs = knobs_of(controller)
    settings_type = SHIPPED[controller].settings_type
    if not isinstance(base, settings_type):
        raise InputRefused(Problem(f"settings of type {type(base).__name__} are not those of {controller}"))
    if set_point_kpa > 0.0:
        middle = float(value_at(base, tuple(SET_POINT.split("."))))
        why = f"± {set_point_kpa:g} kPa round the base sheet's"
        knobs = (*knobs, Knob(SET_POINT, middle - set_point_kpa, middle + set_point_kpa, False, why))
    records = [base, *starts]
    widened = [
        _widened(knob, [float(value_at(r, knob.path)) for r in records], rule_at(settings_type, knob.path))
        for knob in knobs
    ]
    return Space(controller, base, tuple(widened), repair)
