"""Each requirement: kept by an honest run, and broken by a run that is spoilt in just that way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controller.process_image import Inhibit, Mode, Trip
from controller.protection_settings import TripClass
from controller.registry import SHIPPED
from scenarios.limits import Limits, limits_of
from scenarios.requirements import REQUIREMENTS, check_all
from scenarios.row import COLUMNS, EDGE_COLUMNS, INDEX
from scenarios.trace import Trace, edge_events

PLAN = (  # from s, mode, motor, pump, capacity travel
    (0, Mode.OFF, 0, 0, 0.0),
    (10, Mode.PRE_LUBRICATION, 0, 1, 0.0),
    (60, Mode.STARTING, 1, 1, 0.0),
    (70, Mode.RUN_UP, 1, 1, 0.0),
    (100, Mode.AUTOMATIC, 1, 1, 0.5),
    (600, Mode.UNLOADING, 1, 1, 0.0),
    (650, Mode.SPIN_DOWN, 0, 1, 0.0),
    (800, Mode.OFF, 0, 0, 0.0),
)


class Spoiler:
    """An honest run of 20 minutes at 1 s rows, whose columns may be spoilt; events are then made from the columns."""

    def __init__(self) -> None:
        self.time_ms = np.arange(0.0, 1_200_001.0, 1000.0)
        self.values = {name: np.zeros(len(self.time_ms)) for name in COLUMNS} | {"time_ms": self.time_ms}
        for start, mode, motor, pump, travel in PLAN:
            for name, value in (
                ("mode", mode), ("motor_run", motor), ("motor_running", motor), ("oil_pump", pump),
                ("capacity_travel_frac", travel), ("capacity_travel_measured_frac", travel),
                ("capacity_demand_frac", travel),
            ):  # fmt: skip
                self.values[name][start:] = value
        self.values["suction_pressure_measured_pa"][:] = 290e3
        self.values["discharge_pressure_pa"][:] = 1350e3
        self.values["discharge_temperature_measured_k"][:] = 340.0
        self.values["motor_current_a"][:] = 200.0

    def put(self, name: str, start: int, end: int, value: float) -> Spoiler:
        self.values[name][start:end] = value
        return self

    def trace(self) -> Trace:
        edges = [
            (self.time_ms[k + 1], INDEX[name], self.values[name][k], self.values[name][k + 1])
            for name in EDGE_COLUMNS
            for k in np.flatnonzero(np.diff(self.values[name]))
        ]
        return Trace(self.values, edge_events(np.array(sorted(edges)).reshape(-1, 4)))


LIMITS = limits_of(SHIPPED["scheduled_pi"].settings_type())


def _broken(spoilt: Spoiler, limits: Limits | None = LIMITS) -> set[str]:
    return {violation.requirement for violation in check_all(spoilt.trace(), limits).violations}


def test_an_honest_run_keeps_everything() -> None:
    assert check_all(Spoiler().trace(), LIMITS).violations == ()
    assert check_all(Spoiler().trace(), LIMITS).skipped == ()


SPOILT = {
    "drives_never_both": lambda s: s.put("capacity_load", 300, 305, 1).put("capacity_unload", 304, 308, 1),
    "no_run_while_tripped": lambda s: s.put("trip_first_out", 200, 210, Trip.HIGH_DISCHARGE_PRESSURE),
    "trip_in_time": lambda s: s.put("suction_pressure_measured_pa", 300, 330, 150e3),
    "start_unloaded": lambda s: s.put("capacity_travel_measured_frac", 50, 65, 0.2),
    "start_lubricated": lambda s: s.put("oil_pump", 10, 55, 0),
    "start_to_start": lambda s: s.put("motor_run", 900, 950, 1).put("oil_pump", 850, 960, 1),
    "no_rise_while_inhibited": lambda s: s.put("inhibit", 300, 330, Inhibit.CURRENT_HOLD).put(
        "capacity_demand_frac", 320, 330, 0.6
    ),
    "end_stop_guard": lambda s: s.put("capacity_unload", 700, 720, 1),
    "minimum_demand": lambda s: s.put("capacity_demand_frac", 200, 210, 0.0),
}


def test_every_requirement_has_a_run_that_breaks_it() -> None:
    assert set(SPOILT) == {requirement.id for requirement in REQUIREMENTS}


@pytest.mark.parametrize("requirement", SPOILT)
def test_a_spoilt_run_breaks_just_that_requirement(requirement: str) -> None:
    assert _broken(SPOILT[requirement](Spoiler())) == {requirement}


def test_the_time_of_a_violation_is_the_scan_of_the_event() -> None:
    found = check_all(SPOILT["drives_never_both"](Spoiler()).trace(), LIMITS).violations
    assert [violation.time_ms for violation in found] == [304_000]


def test_a_load_drive_under_inhibit_is_a_rise() -> None:
    spoilt = Spoiler().put("inhibit", 300, 330, Inhibit.SUCTION_HOLD).put("capacity_load", 310, 311, 1)
    assert _broken(spoilt) == {"no_rise_while_inhibited"}


def test_a_rise_after_the_inhibit_is_allowed() -> None:
    spoilt = Spoiler().put("inhibit", 300, 330, Inhibit.SUCTION_HOLD).put("capacity_demand_frac", 330, 400, 0.6)
    assert _broken(spoilt) == set()


def test_a_trip_condition_shorter_than_its_delay_or_inside_the_bypass_is_no_violation() -> None:
    assert _broken(Spoiler().put("suction_pressure_measured_pa", 300, 309, 150e3)) == set()
    assert _broken(Spoiler().put("suction_pressure_measured_pa", 60, 115, 150e3)) == set()


def test_other_trips_are_watched_too() -> None:
    assert _broken(Spoiler().put("discharge_pressure_pa", 300, 330, 1800e3)) == {"trip_in_time"}
    assert _broken(Spoiler().put("discharge_temperature_measured_k", 300, 330, 400.0)) == {"trip_in_time"}
    assert _broken(Spoiler().put("motor_current_a", 300, 330, 600.0)) == {"trip_in_time"}


def test_unknown_limits_skip_by_name_and_the_rest_is_still_checked() -> None:
    verdict = check_all(SPOILT["drives_never_both"](Spoiler()).trace(), None)
    assert {violation.requirement for violation in verdict.violations} == {"drives_never_both"}
    assert set(verdict.skipped) == {r.id for r in REQUIREMENTS if r.needs}
    assert len(verdict.skipped) == 6


def _with_class(kind: TripClass) -> Limits:
    settings = SHIPPED["scheduled_pi"].settings_type()
    protection = settings.common.protection
    protection = replace(protection, classes=replace(protection.classes, low_suction_pressure=kind))
    limits = limits_of(replace(settings, common=replace(settings.common, protection=protection)))
    assert limits is not None
    return limits


def test_a_controlled_stop_has_until_the_unload_timeout() -> None:
    limits = _with_class(TripClass.CONTROLLED_STOP)  # 10 s of delay and 75 s of unloading
    assert _broken(Spoiler().put("suction_pressure_measured_pa", 300, 384, 150e3), limits) == set()
    assert _broken(Spoiler().put("suction_pressure_measured_pa", 300, 390, 150e3), limits) == {"trip_in_time"}


def test_a_stop_that_is_not_read_may_be_pushed_until_the_unload_timeout_and_no_longer() -> None:
    def pushed(seconds: int, reading: float) -> set[str]:
        spoilt = Spoiler().put("volume_ratio_decrease", 700, 700 + seconds, 1)
        return _broken(spoilt.put("volume_ratio_travel_measured_frac", 690, 900, reading))

    assert pushed(70, 0.1) == set()
    assert pushed(80, 0.1) == {"end_stop_guard"}
    assert pushed(70, 0.005) == {"end_stop_guard"}


def test_a_start_may_read_what_the_calibrated_low_stop_reads() -> None:
    assert _broken(Spoiler().put("capacity_travel_measured_frac", 50, 65, 0.085)) == set()  # 5 + 2 + 2 %
    assert _broken(Spoiler().put("capacity_travel_measured_frac", 50, 65, 0.095)) == {"start_unloaded"}
