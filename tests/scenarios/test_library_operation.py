"""The operation half of the library: each story happens as its file tells it, whatever the noise.

Every assertion holds for the file's seed and for ten times it.  Bounds on pressure are in K of saturation, 11.8 kPa/K at
−10 °C (Clausius-Clapeyron with CoolProp), and follow the files' `expects`; where the step control does worse than a good
controller should, it has a bound of its own.  The plants are invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from controller.process_image import Inhibit, Mode, StopReason
from plant_model.initial import running_state
from scenarios.requirements import POSITION_TOLERANCE_FRAC
from scenarios.steps import steps
from scenarios.trace import Trace
from tests.scenarios.library_runs import (
    MINUTE_MS,
    between,
    changes,
    deviation_pa,
    each_controller,
    each_seed,
    prepared_for,
    reversals,
    run,
)

K_PA = 11.8e3  # per K at −10 °C
OPERATION = (
    "batch_arrivals", "door_traffic", "hot_gas_defrost", "load_ramp", "load_step_down", "load_step_up",
    "normal_stop_and_restart", "loss_of_all_load", "other_compressor_starts", "other_compressor_trips",
    "pull_down_current_limit", "start_from_rest_equalised", "steady_part_load", "steady_part_load_25",
    "steady_part_load_75", "stop_under_high_load", "winter_low_condensing_pressure",
)  # fmt: skip

START = [Mode.WAITING, Mode.PRE_LUBRICATION, Mode.STARTING, Mode.RUN_UP, Mode.AUTOMATIC]


def modes(trace: Trace) -> list[Mode]:
    return [Mode(value) for _, value in changes(trace, "mode")]


def inhibits(trace: Trace, start_min: float = 0.0) -> set[Inhibit]:
    return {Inhibit(value) for at, value in changes(trace, "inhibit") if value and at >= start_min * MINUTE_MS}


def peak_k(trace: Trace, start_min: float, end_min: float = 1e9) -> float:
    return float(np.abs(deviation_pa(trace, start_min, end_min)).max()) / K_PA


@each_seed
@each_controller
@pytest.mark.parametrize("name", OPERATION)
def test_no_trip_and_no_alarm(name: str, controller: str, factor: int) -> None:
    result = run(name, controller, factor)
    assert result.scores.value("trips_count") == 0.0
    assert not result.trace["alarm_word"].any()


@each_seed
@each_controller
@pytest.mark.parametrize("name", OPERATION)
def test_every_start_comes_from_pre_lubrication_and_is_unloaded(name: str, controller: str, factor: int) -> None:
    trace = run(name, controller, factor).trace
    limits = prepared_for(name, controller, factor).limits
    assert modes(trace)[: len(START)] == START
    for start_ms in steps(trace, "motor_run").rises_ms():
        for column, limit in (
            ("capacity_travel_frac", limits.capacity_start_frac),
            ("volume_ratio_travel_frac", limits.volume_ratio_start_frac),
        ):
            assert limit is not None
            assert np.interp(start_ms, trace["time_ms"], trace[column]) <= limit + POSITION_TOLERANCE_FRAC
        before = (trace["time_ms"] < start_ms) & (trace["time_ms"] > start_ms - (limits.pre_lubrication_ms or 0) + 1000)
        assert trace["oil_pump"][before].all()


@pytest.mark.parametrize(
    ("name", "share"), [("steady_part_load_25", 0.25), ("steady_part_load", 0.5), ("steady_part_load_75", 0.75)]
)
def test_part_load_is_a_share_of_what_the_machine_takes(name: str, share: float) -> None:
    """At full slides, at the set point, with the condensing pressure that belongs to it."""
    prepared = prepared_for(name, "scheduled_pi")
    set_point_pa = prepared.settings.common.capacity.suction_set_point_kpa_abs * 1e3
    state = running_state(prepared.parameters, prepared.disturbances(), set_point_pa, None, 1.0)
    latent_j_kg = state.vessel.zone.saturation.h_v_j_kg - state.discharge.volume.saturation.h_l_j_kg
    full_w = state.compression.mass_flow_kg_s * latent_j_kg
    assert prepared.scenario.start.load_w == pytest.approx(share * full_w, rel=0.01)


@each_seed
@each_controller
@pytest.mark.parametrize("name", ["steady_part_load_25", "steady_part_load", "steady_part_load_75"])
def test_steady_load_is_quiet(name: str, controller: str, factor: int) -> None:
    """After the pull-down, from 20 min on."""
    trace = run(name, controller, factor).trace
    assert inhibits(trace) == set()
    assert len(steps(trace, "motor_run").rises_ms()) == 1
    assert peak_k(trace, 20.0) < 0.5
    assert reversals(trace, 20.0) <= 3  # in 70 minutes: no limit cycle
    assert np.ptp(between(trace, "capacity_travel_frac", 30.0)) < 0.06
    if name == "steady_part_load_75":
        travel = between(trace, "volume_ratio_travel_frac", 30.0)
        assert travel.min() > 0.1
        assert travel.max() < 0.95
        # as far as positions go, the gas sees the ratio that it wants
        wanted, seen = between(trace, "volume_ratio_ideal", 30.0), between(trace, "volume_ratio", 30.0)
        assert np.abs(seen / wanted - 1.0).max() < 0.1
    if name == "steady_part_load_25":
        assert between(trace, "capacity_travel_frac", 20.0).min() > 0.05  # clear of minimum load


@each_seed
@each_controller
def test_a_load_step_up_peaks_and_settles(controller: str, factor: int) -> None:
    result = run("load_step_up", controller, factor)
    assert inhibits(result.trace) == set()
    assert peak_k(result.trace, 40.0) < (2.0 if controller == "scheduled_pi" else 3.0)
    (step,) = [s for s in result.scores.settling if s.time_ms == 40 * MINUTE_MS]
    assert step.settled
    assert step.settling_s < 600.0


@each_seed
@each_controller
def test_a_load_step_down_dips_and_settles(controller: str, factor: int) -> None:
    result = run("load_step_down", controller, factor)
    assert inhibits(result.trace) == set()
    assert peak_k(result.trace, 40.0) < 2.0
    assert deviation_pa(result.trace, 40.0, 43.0).min() < -3e3  # it does dip
    (step,) = [s for s in result.scores.settling if s.time_ms == 40 * MINUTE_MS]
    assert step.settled
    assert step.settling_s < 300.0
    assert modes(result.trace)[-1] == Mode.AUTOMATIC
    before, after = (between(result.trace, "capacity_travel_frac", a, b).mean() for a, b in ((35, 40), (60, 80)))
    assert after < before - 0.25


@each_seed
@each_controller
def test_a_ramp_is_followed_all_the_way(controller: str, factor: int) -> None:
    trace = run("load_ramp", controller, factor).trace
    assert inhibits(trace) == set()
    assert peak_k(trace, 30.0) < 1.0
    assert reversals(trace, 30.0) <= 2
    travel = between(trace, "capacity_travel_frac", 30.0, 65.0)
    assert travel[-1] - travel[0] > 0.4


@each_seed
@each_controller
def test_batches_are_ridden_through(controller: str, factor: int) -> None:
    trace = run("batch_arrivals", controller, factor).trace
    batches = sum(e.source == "batch_arrivals" for e in trace.events)
    assert batches >= 3
    assert inhibits(trace) == set()
    assert peak_k(trace, 20.0) < 2.0
    assert reversals(trace, 20.0) <= 2 * batches
    assert modes(trace)[-1] == Mode.AUTOMATIC


@each_seed
@each_controller
def test_doors_are_many_and_small(controller: str, factor: int) -> None:
    trace = run("door_traffic", controller, factor).trace
    opened = [e.time_ms for e in trace.events if e.source == "door_traffic"]
    assert len(opened) >= 15
    middle_ms = 55 * MINUTE_MS
    assert sum(t > middle_ms for t in opened) > sum(t <= middle_ms for t in opened)  # towards noon more often
    assert inhibits(trace) == set()
    assert peak_k(trace, 20.0) < 1.5
    assert reversals(trace, 20.0) < len(opened)


@each_seed
@each_controller
def test_a_defrost_takes_a_group_away_and_brings_it_back_warm(controller: str, factor: int) -> None:
    trace = run("hot_gas_defrost", controller, factor).trace
    assert inhibits(trace) == set()
    assert peak_k(trace, 40.0) < 2.0
    cooling_w = [
        between(trace, "evaporator_heat_w", a, b).mean() for a, b in ((35.0, 40.0), (50.0, 55.0), (80.0, 100.0))
    ]
    assert cooling_w[1] == pytest.approx(0.75 * cooling_w[0], rel=0.03)  # a quarter of the load is that group's
    assert cooling_w[2] == pytest.approx(cooling_w[0], rel=0.03)
    peak_w = between(trace, "evaporator_heat_w", 58.0, 62.0).max()
    assert peak_w > 1.08 * cooling_w[0]  # it comes back warm
    travel = [between(trace, "capacity_travel_frac", a, b).mean() for a, b in ((35.0, 40.0), (50.0, 55.0))]
    assert travel[1] < travel[0] - 0.08
    # hot gas melts frost instead of warming the condenser: 0.25 · 15 kW/K · 14 K, less what oil and coils take or give
    left_w = [
        sum(between(trace, column, a, b).mean() for column in ("evaporator_heat_w", "shaft_power_w"))
        - between(trace, "condenser_heat_w", a, b).mean()
        for a, b in ((35.0, 40.0), (50.0, 55.0))
    ]
    assert 25e3 < left_w[1] - left_w[0] < 60e3


@each_seed
@each_controller
def test_an_equalised_plant_starts_against_nothing(controller: str, factor: int) -> None:
    trace = run("start_from_rest_equalised", controller, factor).trace
    assert trace["discharge_pressure_pa"][0] == pytest.approx(trace["vessel_pressure_pa"][0], rel=1e-3)
    assert modes(trace) == START
    (start_ms,) = steps(trace, "motor_run").rises_ms().tolist()
    assert trace["oil_differential_pa"][start_ms // 1000 - 1] > 150e3  # before the motor
    assert inhibits(trace) == set()
    rise = between(trace, "discharge_pressure_pa", 0.0, 10.0)
    assert rise.max() > 2.0 * rise[0]
    assert peak_k(trace, 10.0) < (1.5 if controller == "scheduled_pi" else 2.5)
    limits_current_a = prepared_for("start_from_rest_equalised", controller).settings.common.motor.full_load_current_a
    assert between(trace, "motor_current_a", 1.0).max() < 0.9 * limits_current_a


@each_seed
@each_controller
def test_a_stop_under_high_load_unloads_first(controller: str, factor: int) -> None:
    trace = run("stop_under_high_load", controller, factor).trace
    limits = prepared_for("stop_under_high_load", controller, factor).limits
    assert between(trace, "capacity_travel_frac", 30.0, 39.9).min() > 0.8
    assert modes(trace) == [*START, Mode.UNLOADING, Mode.SPIN_DOWN, Mode.OFF]
    (stop_ms,) = steps(trace, "motor_run").falls_ms().tolist()
    assert limits.unload_timeout_ms is not None
    assert 40 * MINUTE_MS + 15_000 < stop_ms < 40 * MINUTE_MS + limits.unload_timeout_ms  # it takes its stroke
    for column, limit in (
        ("capacity_travel_frac", limits.capacity_start_frac),
        ("volume_ratio_travel_frac", limits.volume_ratio_start_frac),
    ):
        assert limit is not None
        assert np.interp(stop_ms, trace["time_ms"], trace[column]) <= limit + POSITION_TOLERANCE_FRAC
    assert (stop_ms, int(StopReason.SELECTED_OFF)) in changes(trace, "stop_reason")
    assert between(trace, "suction_pressure_pa", 45.0).min() > 400e3  # warm, and nobody starts
    assert len(steps(trace, "motor_run").rises_ms()) == 1


@each_seed
@each_controller
def test_the_other_compressors_load_is_taken_over(controller: str, factor: int) -> None:
    result = run("other_compressor_trips", controller, factor)
    assert inhibits(result.trace) == set()
    assert peak_k(result.trace, 40.0) < (2.0 if controller == "scheduled_pi" else 3.0)
    assert deviation_pa(result.trace, 40.0, 43.0).max() > 0.7 * K_PA  # it is felt
    (step,) = [s for s in result.scores.settling if s.time_ms == 40 * MINUTE_MS]
    assert step.settled
    assert step.settling_s < 180.0
    flow = [between(result.trace, "mass_flow_kg_s", a, b).mean() for a, b in ((35.0, 40.0), (60.0, 80.0))]
    assert flow[1] > 1.4 * flow[0]  # both by the other's 0.17 kg/s
    assert flow[1] - flow[0] == pytest.approx(0.08 * 0.88 * 2.4, rel=0.1)


@each_seed
@each_controller
def test_load_is_given_away_to_the_other_compressor(controller: str, factor: int) -> None:
    trace = run("other_compressor_starts", controller, factor).trace
    assert inhibits(trace) == set()
    assert peak_k(trace, 40.0) < (1.5 if controller == "scheduled_pi" else 2.0)
    assert reversals(trace, 40.5) <= 2
    assert modes(trace)[-1] == Mode.AUTOMATIC
    flow = [between(trace, "mass_flow_kg_s", a, b).mean() for a, b in ((35.0, 40.0), (60.0, 80.0))]
    assert flow[0] - flow[1] == pytest.approx(0.08 * 0.88 * 2.4, rel=0.1)


@each_seed
@each_controller
def test_on_a_frosty_night_there_is_oil(controller: str, factor: int) -> None:
    trace = run("winter_low_condensing_pressure", controller, factor).trace
    trip = prepared_for("winter_low_condensing_pressure", controller).settings.common.protection
    oil_pa = trace["oil_differential_pa"] + trace["separator_pressure_pa"] - trace["suction_pressure_pa"]
    (start_ms,) = steps(trace, "motor_run").rises_ms().tolist()
    row = start_ms // 1000
    assert oil_pa[row] < 20e3  # no pump
    assert oil_pa[row + 15] < trip.low_oil_differential_trip_kpa * 1e3  # without the bypass it would trip
    assert oil_pa[row + trip.low_oil_bypass_ms // 1000 :].min() > 1.3 * trip.low_oil_differential_alarm_kpa * 1e3
    assert between(trace, "discharge_pressure_pa", 10.0).min() > 845e3  # the minimum-head valve
    assert between(trace, "discharge_pressure_pa", 10.0).max() < 900e3
    assert np.ptp(trace["wet_bulb_temperature_k"]) == pytest.approx(10.0)
    assert inhibits(trace) == set()
    assert peak_k(trace, 30.0) < 1.0
    # a low pressure ratio at the duty's capacity: the volume ratio is nowhere near the summer's
    assert between(trace, "volume_ratio_ideal", 60.0, 80.0).mean() < 2.5
    seen, best = between(trace, "volume_ratio", 10.0), between(trace, "volume_ratio_attainable", 10.0)
    assert np.abs(seen / best - 1.0).max() < 0.15


@each_seed
@each_controller
def test_the_current_limits_the_pull_down_for_half_an_hour(controller: str, factor: int) -> None:
    result = run("pull_down_current_limit", controller, factor)
    trace = result.trace
    prepared = prepared_for("pull_down_current_limit", controller, factor)
    hold_ms = steps(trace, "inhibit").where(np.array([int(Inhibit.CURRENT_HOLD)])).on_ms(0, 60 * MINUTE_MS)
    assert 25 * MINUTE_MS < hold_ms < 45 * MINUTE_MS
    assert inhibits(trace) <= {Inhibit.CURRENT_HOLD, Inhibit.CURRENT_UNLOAD}
    forced_min = result.scores.value("forced_unload_min")
    assert forced_min is not None
    assert forced_min < 0.2
    full_a = prepared.settings.common.motor.full_load_current_a
    current_a = between(trace, "motor_current_a", 8.0, 35.0)
    assert current_a.max() < 1.06 * full_a
    assert current_a.mean() > 0.96 * full_a  # it uses what it has
    early, late = (between(trace, "capacity_travel_frac", a, b).mean() for a, b in ((8.0, 12.0), (35.0, 38.0)))
    assert late > early + 0.05  # opens as suction falls
    assert early < 0.9  # and was held
    assert peak_k(trace, 60.0) < 1.0
    assert inhibits(trace, 60.0) == set()
