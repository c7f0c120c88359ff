"""The fault scenarios of the library as stories: which are about a trip, and what every one of them must show.

In every other scenario a trip is a shortfall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from controller.process_image import Mode, StartRefused, Trip
from controller.settings import CommonSettings
from scenarios.event_kinds import Operator
from scenarios.preparation import Prepared
from scenarios.requirements import POSITION_TOLERANCE_FRAC
from scenarios.runner import RunResult
from scenarios.steps import Steps, steps
from scenarios.trace import Trace
from tests.scenarios.library_runs import MINUTE_MS, prepared_for, run

MAY_TRIP = frozenset(
    {
        "capacity_slide_stuck",
        "condenser_fans_fail",
        "contactor_does_not_open",
        "emergency_stop",
        "linkage_slips",
        "liquid_surge_to_high_high_level",
        "oil_cooler_fouls",
        "oil_cooler_fouls_to_discharge_trip",
        "restart_after_trip_loaded",
        "safety_chain_opens",
        "suction_transmitter_fails",
        "suction_transmitter_freezes",
    }
)

FAULTS = sorted(MAY_TRIP | {"power_dip_and_restart"})
SECOND_MS, SCAN_MS = 1_000, 100


@dataclass(frozen=True)
class Story:
    """One run with the questions that the tests ask of it; times in ms from the start of the run."""

    prepared: Prepared
    result: RunResult

    @property
    def trace(self) -> Trace:
        return self.result.trace

    @property
    def common(self) -> CommonSettings:
        settings = self.prepared.settings.common
        assert isinstance(settings, CommonSettings)
        return settings

    def steps(self, column: str) -> Steps:
        return steps(self.trace, column)

    def starts_ms(self) -> list[int]:
        return [int(t) for t in self.steps("motor_run").rises_ms()]

    def stops_ms(self) -> list[int]:
        return [int(t) for t in self.steps("motor_run").falls_ms()]

    def first(self, column: str, value: int, after_ms: int = 0) -> int:
        """When a state column takes a value first, not before `after_ms`."""
        found = self.steps(column)
        times = found.times_ms[(found.values == value) & (found.times_ms >= after_ms)]
        assert len(times), f"{column} never becomes {value} after {after_ms} ms"
        return int(times[0])

    def alarm_ms(self, cause: Trip, after_ms: int = 0) -> int:
        """When a cause shows in the alarm word first."""
        found = self.steps("alarm_word")
        times = found.times_ms[(found.values & (1 << cause) != 0) & (found.times_ms >= after_ms)]
        assert len(times), f"no alarm {cause.name}"
        return int(times[0])

    def first_outs(self) -> list[Trip]:
        return [Trip(v) for v in self.steps("trip_first_out").values.tolist() if v]

    def trips_ms(self) -> list[int]:
        return [int(t) for t in self.steps("trip_first_out").rises_ms()]

    def at(self, column: str, time_ms: int) -> float:
        """A column between its rows."""
        return float(np.interp(time_ms, self.trace["time_ms"], self.trace[column]))

    def between(self, column: str, start_ms: int, end_ms: int) -> np.ndarray:
        times = self.trace["time_ms"]
        return np.asarray(self.trace[column][(times >= start_ms) & (times <= end_ms)])

    def resets_ms(self) -> list[int]:
        events = self.prepared.scenario.events
        return [e.at_ms for e in events if isinstance(e, Operator) and e.action == "reset"]

    def slides(self, time_ms: int) -> tuple[float, float]:
        """True travel of both slides."""
        return self.at("capacity_travel_frac", time_ms), self.at("volume_ratio_travel_frac", time_ms)


def story(name: str, controller: str, factor: int) -> Story:
    return Story(prepared_for(name, controller, factor), run(name, controller, factor))


def assert_unloaded(s: Story, time_ms: int) -> None:
    limit_frac = s.common.sequence.start_limit_pct / 100.0 + POSITION_TOLERANCE_FRAC
    assert max(s.slides(time_ms)) <= limit_frac


def assert_takes_the_load_again(s: Story) -> None:
    """At the end it runs in automatic, near the set point, and carries what load there is."""
    end_ms = s.prepared.scenario.duration_ms
    last = (end_ms - 5 * MINUTE_MS, end_ms)
    assert set(s.between("mode", *last).tolist()) == {float(Mode.AUTOMATIC)}
    off_pa = s.between("suction_pressure_pa", *last) - s.between("suction_set_point_pa", *last)
    assert np.abs(off_pa).max() < 11.8e3  # 1 K at −10 °C: 11.8 kPa/K, Clausius-Clapeyron with CoolProp
    heat_w, load_w = s.between("evaporator_heat_w", *last).mean(), s.between("load_heat_w", *last).mean()
    assert heat_w == pytest.approx(load_w, rel=0.03)


def assert_restart(s: Story, stop_ms: int, allowed_ms: int) -> int:
    """One restart, no earlier than `allowed_ms` and its waits and pre-lubrication, unloaded; returns its time."""
    starts = s.starts_ms()
    assert len(starts) == 2
    before, start = starts
    q = s.common.sequence
    assert start - before >= q.start_to_start_ms
    assert start - stop_ms >= max(q.stop_to_start_ms, q.spin_down_ms)
    assert start - allowed_ms >= q.pre_lubrication_ms
    pre_lubrication_ms = s.first("mode", Mode.PRE_LUBRICATION, allowed_ms)
    assert start - pre_lubrication_ms <= q.pre_lubrication_ms + q.unload_timeout_ms
    assert s.steps("oil_pump").on_ms(pre_lubrication_ms, start) == start - pre_lubrication_ms
    assert_unloaded(s, start)
    return start


def assert_latched_until(s: Story, trip_ms: int, reset_ms: int) -> None:
    """Every earlier reset was in vain: the latch stands from the trip to the last reset, and so does the refusal."""
    latch = s.steps("trip_word")
    assert latch.on_ms(trip_ms, reset_ms) == reset_ms - trip_ms
    refused = s.steps("start_refused").where(np.array([int(StartRefused.TRIP_LATCHED)]))
    assert refused.on_ms(trip_ms, reset_ms) == reset_ms - trip_ms
    assert s.steps("motor_run").on_ms(trip_ms, reset_ms) == 0
    assert reset_ms <= s.first("trip_first_out", Trip.NONE, trip_ms) <= reset_ms + SCAN_MS
