"""Published rules on the whole map: what each says, whether it holds Ms, and the settings that the search starts from.

A rule says a gain at every point.  At a travel the least of them is taken (over pressure ratios, fills and directions),
and the longest integral time of all: `RuleRow` shows the margins of that, as the rule has it.  Most rules were made for
one process and not for a spread, so the search starts from the same rule with its gain lowered where Ms wants it
(`gain_schedule.fit_gain_schedule`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from controller.scheduled_pi import PiSettings as ScheduleSettings
from controller.scheduled_pi import ScheduledPiSettings
from tools.tuning.gain_schedule import (
    MS_NOMINAL,
    MS_SPREAD,
    GainSchedule,
    Rule,
    ScheduleError,
    fit_gain_schedule,
    schedule_settings,
)
from tools.tuning.map_loops import MapLoops
from tools.tuning.operating_map import OperatingMap
from tools.tuning.rules import PI_RULES
from tools.tuning.tuning_result import RuleRow

FITTED = "fitted schedule"
_SAME_TRAVEL_PCT = 1.0


@dataclass(frozen=True, slots=True)
class PiPoint:
    """A start of the search: proportional band, integral time, table."""

    name: str
    proportional_band_kpa: float
    integral_time_ms: int
    gain_multiplier: tuple[float, ...]

    def on(self, settings: ScheduledPiSettings) -> ScheduledPiSettings:
        """The settings with this law."""
        table: Any = self.gain_multiplier
        law = replace(
            settings.pi,
            proportional_band_kpa=self.proportional_band_kpa,
            integral_time_ms=self.integral_time_ms,
            gain_multiplier=table,
        )
        return replace(settings, pi=law)


@dataclass(frozen=True, slots=True)
class RulePoints:
    """What the linear stage gives to the search: the fitted schedule first, then rules that could be held to Ms."""

    rows: tuple[RuleRow, ...]
    starts: tuple[PiPoint, ...]
    words: str  # the fitted schedule in words


@dataclass(frozen=True, slots=True)
class RulePart:
    """What one rule, or the fitted schedule, gives: its row and its start where there is one, words of the fitted one."""

    row: RuleRow | None
    start: PiPoint | None
    words: str = ""


RULE_PARTS = 1 + len(PI_RULES)  # the fitted schedule is the first


def rule_part(number: int, found: OperatingMap, loops: MapLoops, settings: ScheduledPiSettings) -> RulePart:
    """One of RULE_PARTS.  Raises ScheduleError where nothing holds the limits on Ms (the first only)."""
    if number == 0:
        fitted = fit_gain_schedule(found, loops.spread, base=settings.pi)
        knots = ", ".join(f"{knot:g}" for knot in fitted.breakpoints_pct)
        words = (
            f"{len(fitted.breakpoints_pct)} breakpoints of the gain (at {knots} % position) hold Ms; they give away at most "
            f"{100.0 * fitted.loss_frac:.0f} % of the gain that the limits allow anywhere"
        )
        return RulePart(None, _point(FITTED, fitted), words)
    name, rule = list(PI_RULES.items())[number - 1]
    note, start = "", None
    try:
        start = _point(name, fit_gain_schedule(found, loops.spread, rule, base=settings.pi))
    except ScheduleError as error:
        note = f"cannot be held to the limits on Ms by a lower gain: {error}"
    except ValueError as error:
        note = str(error)
    return RulePart(_row(name, rule, found, loops, settings, note), start)


def joined(parts: Sequence[RulePart]) -> RulePoints:
    """All RULE_PARTS, in their order."""
    rows = tuple(p.row for p in parts if p.row is not None)
    return RulePoints(rows, tuple(p.start for p in parts if p.start is not None), parts[0].words)


def _point(name: str, schedule: GainSchedule) -> PiPoint:
    s = schedule.settings
    return PiPoint(name, s.proportional_band_kpa, s.integral_time_ms, tuple(s.gain_multiplier))


def _row(
    name: str, rule: Rule, found: OperatingMap, loops: MapLoops, settings: ScheduledPiSettings, note: str
) -> RuleRow:
    nan = float("nan")
    try:
        law = _as_said(rule, found, settings.pi)
    except (ValueError, ScheduleError) as error:
        return RuleRow(name, nan, nan, (), nan, nan, nan, nan, False, None, note or str(error))
    m = loops.margins(replace(settings, pi=law))
    ms, spread = float(m.ms.max()), float(m.ms_spread.max())
    return RuleRow(
        name=name,
        proportional_band_kpa=law.proportional_band_kpa,
        integral_s=0.001 * law.integral_time_ms,
        gain_multiplier=tuple(law.gain_multiplier),
        ms=ms,
        ms_spread=spread,
        gain_margin=float(m.gain_margin.min()),
        phase_margin_deg=float(m.phase_margin_deg.min()),
        holds=ms <= MS_NOMINAL and spread <= MS_SPREAD,
        note=note,
    )


def _as_said(rule: Rule, found: OperatingMap, base: ScheduleSettings) -> ScheduleSettings:
    """The rule's own gains as a table over position, its longest integral time."""
    said = [(100.0 * p.capacity_travel_frac, rule(p.process)) for p in found.points]
    travels = _apart(sorted(travel for travel, _ in said))
    gains = [min(pi.gain_pct_kpa for travel, pi in said if abs(travel - t) <= _SAME_TRAVEL_PCT) for t in travels]
    knots = tuple(10.0 * k for k in range(11))
    at_knots = np.interp(knots, travels, gains)
    integral_ms = int(np.ceil(1000.0 * max(pi.integral_s for _, pi in said)))
    return schedule_settings(knots, [float(g) for g in at_knots], integral_ms, base)


def _apart(travels_pct: Sequence[float]) -> list[float]:
    out: list[float] = []
    for travel in travels_pct:
        if not out or travel - out[-1] > _SAME_TRAVEL_PCT:
            out.append(travel)
    return out
