"""Each fault of the machine: its signature in the instruments, and in nothing else that it should not touch.

Signs and orders are what an engineer expects (common practice, no source) where no other source is named.
"""

from __future__ import annotations

import copy
import random
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numba import njit

from plant_model.derived import Parameters, derive
from plant_model.initial import running_state, stopped_state
from plant_model.instruments import Channel, measure
from plant_model.ledger import energy_residual_frac, mass_residual_frac
from plant_model.oil_parameters import CoolerKind
from plant_model.parameters import PlantParameters
from plant_model.plant import step
from plant_model.slide_drive_parameters import DriveKind
from plant_model.state import Actuators, Disturbances, DriveFaults, PlantState, Readings
from scenarios.records import from_record, to_array

RUNNING = Actuators(motor_run=True, oil_pump=True)
C = Channel
POSITIONS = {
    C.CAPACITY_POSITION,
    C.CAPACITY_POSITION_OPPOSITE,
    C.VOLUME_RATIO_POSITION,
    C.VOLUME_RATIO_POSITION_OPPOSITE,
}
OIL = {C.OIL_PRESSURE_BEFORE_FILTER, C.OIL_PRESSURE, C.OIL_TEMPERATURE, C.OIL_LEVEL}


def run(p: Parameters, s: PlantState, d: Disturbances, a: Actuators, seconds: float) -> Readings:
    reading = Readings()
    for _ in range(round(10 * seconds)):
        assert step(p, s, d, a, 100) == 0
    measure(p, s, d, reading)
    return reading


Case = tuple[str, dict[str, Any], Actuators, float, dict[Channel, int], set[Channel]]
# fault, its disturbances, what is energised, seconds, channels that must move with their sign, channels that may move
CASES: list[Case] = [
    (
        "filter fouls: the pressure after it falls, the one before it stays",
        {"oil_filter_fouling_frac": 0.85},
        RUNNING,
        3.0,
        {C.OIL_PRESSURE: -1},
        {C.OIL_LEVEL},  # less oil is on its way round
    ),
    (
        "pump fails: both oil pressures fall within seconds, temperatures do not yet",
        {"oil_pump_strength_frac": 0.0},
        RUNNING,
        5.0,
        {C.OIL_PRESSURE: -1, C.OIL_PRESSURE_BEFORE_FILTER: -1},
        {C.OIL_LEVEL, C.DISCHARGE_TEMPERATURE},
    ),
    ("pump weak: half of it", {"oil_pump_strength_frac": 0.5}, RUNNING, 5.0,
     {C.OIL_PRESSURE: -1, C.OIL_PRESSURE_BEFORE_FILTER: -1}, {C.OIL_LEVEL, C.DISCHARGE_TEMPERATURE}),
    ("cooler fouls: nothing yet after five seconds", {"oil_cooler_fouling_frac": 0.9}, RUNNING, 5.0, {},
     {C.OIL_TEMPERATURE}),
    ("cooler fouls: oil and discharge temperature rise over minutes", {"oil_cooler_fouling_frac": 0.9}, RUNNING, 240.0,
     {C.OIL_TEMPERATURE: 1, C.DISCHARGE_TEMPERATURE: 1}, {C.OIL_LEVEL, C.OIL_PRESSURE, C.DISCHARGE_PRESSURE,
     C.OIL_PRESSURE_BEFORE_FILTER, C.SUCTION_PRESSURE, C.PROCESS_TEMPERATURE, C.MOTOR_CURRENT, C.MOTOR_POWER}),
    ("coolant warms up: the same, if far enough", {"coolant_rise_k": 45.0}, RUNNING, 240.0,
     {C.OIL_TEMPERATURE: 1, C.DISCHARGE_TEMPERATURE: 1}, {C.OIL_LEVEL, C.OIL_PRESSURE, C.DISCHARGE_PRESSURE,
     C.OIL_PRESSURE_BEFORE_FILTER, C.SUCTION_PRESSURE, C.PROCESS_TEMPERATURE, C.MOTOR_CURRENT, C.MOTOR_POWER}),
    ("oil is carried over: the level falls, and so far nothing else", {"oil_loss_kg_s": 0.5}, RUNNING, 60.0,
     {C.OIL_LEVEL: -1}, set()),
    ("coupling broken: the motor runs light, suction rises", {"coupling_wear_frac": 1.0}, RUNNING, 10.0,
     {C.MOTOR_CURRENT: -1, C.MOTOR_POWER: -1, C.SUCTION_PRESSURE: 1}, {C.DISCHARGE_PRESSURE, C.OIL_PRESSURE,
     C.OIL_PRESSURE_BEFORE_FILTER, C.OIL_LEVEL, C.PROCESS_TEMPERATURE, C.SUCTION_TEMPERATURE, C.DISCHARGE_TEMPERATURE,
     C.OIL_TEMPERATURE}),
    ("capacity sensor's zero: its reading only", {"capacity_faults": DriveFaults(feedback_zero_frac=0.05)}, RUNNING, 5.0,
     {C.CAPACITY_POSITION: 1}, set()),
    ("volume-ratio sensor's span: its reading only",
     {"volume_ratio_faults": DriveFaults(feedback_span_frac=-0.1)}, RUNNING, 5.0, {C.VOLUME_RATIO_POSITION: -1}, set()),
]  # fmt: skip


@pytest.mark.parametrize(("name", "fault", "a", "seconds", "moves", "may"), CASES, ids=[case[0] for case in CASES])
def test_signature(
    p: Parameters,
    name: str,
    fault: dict[str, Any],
    a: Actuators,
    seconds: float,
    moves: dict[Channel, int],
    may: set[Channel],
) -> None:
    start = running_state(p, Disturbances(), 290.64e3)
    sound = run(p, copy.deepcopy(start), Disturbances(), a, seconds)
    faulty = run(p, copy.deepcopy(start), Disturbances(**fault), a, seconds)
    for channel in Channel:
        change_ma = faulty.milliamp[channel] - sound.milliamp[channel]
        if channel in moves:
            assert change_ma * moves[channel] > 0.05, (name, channel, change_ma)
        elif channel not in may:
            assert abs(change_ma) < 0.02, (name, channel, change_ma)
    assert faulty.motor_running is True


def test_lost_oil_shows_in_the_differential_in_seconds_and_in_temperature_late(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    warm_k, differential_pa = s.oil.mixture_k, s.oil.supply_pa - s.separator.pressure_pa
    assert differential_pa > 150.0e3
    d = Disturbances(oil_pump_strength_frac=0.0)
    run(p, s, d, RUNNING, 3.0)
    assert s.oil.supply_pa - s.separator.pressure_pa < 0.0  # the filter's drop is all that is left
    assert s.oil.mixture_k - warm_k < 5.0


def test_a_fouled_cooler_warms_oil_and_discharge_over_minutes(
    p: Parameters,
) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    start_k, oil_k = s.oil.mixture_k, s.oil.supply_k
    d = Disturbances(oil_cooler_fouling_frac=0.9)
    run(p, s, d, RUNNING, 5.0)
    early_k = s.oil.mixture_k - start_k
    run(p, s, d, RUNNING, 400.0)
    assert early_k < 1.0
    assert s.oil.mixture_k - start_k > 8.0
    assert s.oil.supply_k - oil_k > 8.0


def test_the_coolant_is_a_straight_line_in_time(p: Parameters) -> None:
    from plant_model.oil_circuit import coolant_k

    s = PlantState(time_ms=61_000)
    d = Disturbances(coolant_rise_k=2.0, coolant_rise_rate_k_s=0.1, coolant_since_ms=1_000)
    assert coolant_k(p, s, d) == pytest.approx(p.plant.oil.coolant_k + 8.0)


def test_lost_oil_uncovers_the_outlet_and_the_pressure_goes(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    level, supply_pa = s.oil.level_frac, s.oil.supply_pa
    run(p, s, Disturbances(oil_loss_kg_s=1.0), RUNNING, 100.0)
    assert s.oil.lost_kg == pytest.approx(100.0)
    assert level - s.oil.level_frac == pytest.approx(100.0 / p.plant.oil.sump_full_kg, abs=0.01)
    assert s.oil.supply_pa > supply_pa - 5.0e3
    run(p, s, Disturbances(oil_loss_kg_s=1.0), RUNNING, 60.0)
    assert s.oil.lost_kg == p.plant.oil.charge_kg
    assert s.oil.supply_pa - s.separator.pressure_pa < -500.0e3
    assert s.oil.flow_kg_s == 0.0
    run(p, s, Disturbances(oil_loss_kg_s=-1.0), RUNNING, 120.0)
    assert s.oil.supply_pa > supply_pa - 10.0e3


def test_winter_head_starves_lubrication_by_pressure_difference() -> None:
    plant = PlantParameters()
    p = derive(replace(plant, oil=replace(plant.oil, pump_rise_pa=0.0)), "R717", 100)
    differentials, flows = [], []
    for discharge_pa in (1.2e6, 0.8e6, 0.45e6):
        s = running_state(p, Disturbances(load_heat_w=200.0e3), 290.64e3, discharge_pa)
        differentials.append(s.oil.supply_pa - s.suction.pressure_pa)
        flows.append(s.oil.flow_kg_s)
    # needs about 200–300 kPa (practitioner's memory)
    assert differentials[0] > 700.0e3
    assert differentials[1] > 300.0e3
    assert differentials[2] < 200.0e3
    assert flows[2] < 0.5 * flows[0]


def test_cold_oil_slows_the_slides_and_raises_the_torque_at_the_start(p: Parameters) -> None:
    torques, travels = [], []
    for oil_k in (321.15, 283.15):
        s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6, oil_k=oil_k)
        torques.append(s.compression.shaft_torque_n_m)
        s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 0.2)
        s.oil.supply_k = s.oil.sump_k = s.oil.metal_k = oil_k
        run(p, s, Disturbances(), Actuators(motor_run=True, oil_pump=True, capacity_load=True), 5.0)
        travels.append(s.capacity.travel_frac - 0.2)
    assert torques[1] > torques[0] + 10.0
    assert 0.2 * travels[0] < travels[1] < 0.8 * travels[0]


@pytest.mark.parametrize("kind", list(CoolerKind))
def test_each_kind_of_cooler_holds_its_temperature_and_closes_its_books(kind: CoolerKind) -> None:
    plant = PlantParameters()
    p = derive(replace(plant, oil=replace(plant.oil, cooler=kind)), "R717", 100)
    d = Disturbances(load_heat_w=500.0e3)
    s = running_state(p, d, 290.64e3)
    start = copy.deepcopy(s)
    run(p, s, d, RUNNING, 60.0)
    assert s.oil.mixture_k == pytest.approx(start.oil.mixture_k, abs=0.01)  # a start that does not drift
    d.load_heat_w, d.load_since_ms = 300.0e3, s.time_ms
    run(p, s, d, Actuators(motor_run=True, oil_pump=True, capacity_unload=True), 60.0)
    assert mass_residual_frac(p, start, s) < 1.0e-6
    assert energy_residual_frac(p, start, s) < 1.0e-6
    if kind is CoolerKind.WATER:
        assert start.rates.oil_cooler_w > 50.0e3
        assert start.rates.thermosiphon_w == start.rates.injection_kg_s == 0.0
    elif kind is CoolerKind.THERMOSIPHON:
        assert start.rates.thermosiphon_w > 50.0e3
        assert start.rates.oil_cooler_w == start.rates.injection_kg_s == 0.0
        assert start.oil.supply_k > start.discharge.volume.saturation.t_k
    else:
        assert start.rates.injection_kg_s > 0.02
        assert start.rates.oil_cooler_w == start.rates.thermosiphon_w == 0.0
        # common practice, no source: discharge 45–60 °C with liquid injection, still dry
        assert 45.0 < start.oil.mixture_k - 273.15 < 60.0
        assert start.oil.mixture_k - start.discharge.volume.saturation.t_k > 10.0


def test_a_power_dip_drops_contactor_and_drives_and_leaves_the_instruments(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    travel_frac = s.capacity.travel_frac
    a = Actuators(motor_run=True, oil_pump=True, oil_heater=True, injection_cooling=True, capacity_load=True)
    reading = run(p, s, Disturbances(supply_on=False), a, 4.0)
    assert (s.motor.contactor_closed, s.motor.current_a, s.motor.speed_rad_s) == (False, 0.0, 0.0)
    assert reading.motor_running is False
    assert s.capacity.travel_frac == travel_frac
    assert s.oil.pump_frac < 0.01
    assert s.rates.oil_heater_w == s.rates.injection_kg_s == 0.0
    assert reading.milliamp[C.CAPACITY_POSITION] > 4.0
    before = s.motor.starts
    run(p, s, Disturbances(), RUNNING, 1.0)
    assert s.motor.starts == before + 1


def test_a_stuck_contactor_keeps_the_motor_and_its_feedback_on(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    reading = run(p, s, Disturbances(contactor_stuck=True), Actuators(oil_pump=True), 5.0)
    assert reading.motor_running is True
    assert s.motor.current_a > 50.0
    reading = run(p, s, Disturbances(contactor_stuck=True, supply_on=False), Actuators(), 5.0)
    assert reading.motor_running is False
    reading = run(p, s, Disturbances(contactor_stuck=True), Actuators(), 5.0)  # welded: starts with the supply
    assert s.motor.contactor_closed is True
    assert s.motor.current_a > 0.0
    run(p, s, Disturbances(), Actuators(), 5.0)
    assert s.motor.contactor_closed is False
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    run(p, s, Disturbances(contactor_stuck=True), Actuators(), 1.0)
    assert s.motor.contactor_closed is False  # it sticks closed, not shut by itself


def test_a_contactor_that_does_not_hold_never_closes_and_drops_out(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    reading = run(p, s, Disturbances(contactor_open=True), RUNNING, 5.0)
    assert reading.motor_running is False
    assert s.motor.current_a == 0.0
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    reading = run(p, s, Disturbances(contactor_open=True), RUNNING, 5.0)
    assert (reading.motor_running, s.motor.speed_rad_s, s.motor.starts) == (False, 0.0, 0)
    reading = run(p, s, Disturbances(), RUNNING, 5.0)
    assert reading.motor_running is True
    # welded contacts stay closed, whatever the coil does
    reading = run(p, s, Disturbances(contactor_stuck=True, contactor_open=True), RUNNING, 1.0)
    assert reading.motor_running is True


@settings(max_examples=10, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(
    limits=st.tuples(st.floats(0.0, 0.98), st.floats(0.0, 1.2), st.floats(0.0, 1.0), st.floats(-1.0, 3.0)),
    wear=st.floats(0.0, 1.0),
    drift=st.floats(-0.01, 0.01),
    slip=st.floats(0.0, 1.0),
    seed=st.integers(0, 1000),
)
def test_books_close_and_ranges_hold_under_any_faults(
    limits: tuple[float, float, float, float], wear: float, drift: float, slip: float, seed: int
) -> None:
    p = _odd_plant(seed % 3)
    fouling, strength, cooler, loss = limits
    d = Disturbances(
        oil_filter_fouling_frac=fouling,
        oil_pump_strength_frac=strength,
        oil_cooler_fouling_frac=cooler,
        oil_loss_kg_s=loss,
        coupling_wear_frac=wear,
        capacity_faults=DriveFaults(drift_frac_s=drift, linkage_slip_frac=slip),
        volume_ratio_faults=DriveFaults(speed_frac=1.0 - slip),
    )
    s = running_state(p, Disturbances(), 290.64e3, 1.2e6)
    start, chance = copy.deepcopy(s), random.Random(seed)
    for _ in range(10):
        a = Actuators(motor_run=chance.random() < 0.8, oil_pump=chance.random() < 0.8)
        a.capacity_load, a.capacity_unload = chance.choice([(True, False), (False, True), (False, False)])
        a.volume_ratio_increase = chance.random() < 0.5
        d.supply_on = chance.random() < 0.9
        d.contactor_stuck = chance.random() < 0.2
        d.contactor_open = chance.random() < 0.2
        for _ in range(20):
            assert step(p, s, d, a, 100) == 0
            for slide in (s.capacity, s.volume_ratio):
                assert slide.travel_frac - 0.5 * abs(slide.halves_gap_frac) + 1.0e-12 >= 0.0
                assert slide.travel_frac + 0.5 * abs(slide.halves_gap_frac) <= 1.0 + 1.0e-12
            assert s.motor.thermal_frac >= 0.0
            assert s.motor.speed_rad_s >= 0.0
            assert 0.0 <= s.oil.lost_kg <= p.plant.oil.charge_kg
            assert s.oil.flow_kg_s >= 0.0
            assert s.motor.running is False or s.motor.current_a > 0.0
    assert mass_residual_frac(p, start, s) < 1.0e-6
    assert energy_residual_frac(p, start, s) < 1.0e-6


def _odd_plant(number: int) -> Parameters:
    """Plants with the other kinds of cooler and drive, backlash and feedback on the drive."""
    plant = PlantParameters()
    kind = DriveKind.MOTORISED if number == 2 else DriveKind.HYDRAULIC
    capacity = replace(plant.capacity_drive, backlash_frac=0.01, feedback_on_slide=number != 1, kind=kind)
    oil = replace(plant.oil, cooler=CoolerKind(number))
    return derive(replace(plant, oil=oil, capacity_drive=capacity), "R717", 100)


def _spoil(d: Any, k: int) -> None:
    """The same faults, written to a dataclass or to a record."""
    d.oil_filter_fouling_frac = 0.1 * (k % 9)
    d.oil_pump_strength_frac = 0.25 * (k % 5)
    d.oil_cooler_fouling_frac = 0.2 * (k % 4)
    d.oil_loss_kg_s = 0.5 * (k % 5) - 0.5
    d.coolant_rise_rate_k_s = 0.01 * (k % 3)
    d.supply_on = k % 11 != 3
    d.contactor_stuck = k % 7 == 2
    d.contactor_open = k % 17 == 5
    d.coupling_wear_frac = 0.3 * (k % 4) if k % 2 == 0 else 0.0
    d.stop_check_stuck_open_frac = 1.0 if k % 4 == 1 else 0.0
    d.capacity_faults.speed_frac = 1.0 - 0.1 * (k % 3)
    d.capacity_faults.stuck = k % 13 == 5
    d.capacity_faults.drift_frac_s = 0.001 * (k % 5 - 2)
    d.capacity_faults.linkage_slip_frac = 0.2 * (k % 3)
    d.capacity_faults.feedback_zero_frac = 0.01 * (k % 4)
    d.volume_ratio_faults.feedback_span_frac = 0.02 * (k % 5)
    d.volume_ratio_faults.drift_frac_s = -0.002 * (k % 2)
    for i in range(15):
        d.fault_kind[i] = (k + 3 * i) % 8
        d.fault_size_frac[i] = 0.1 * (i % 4)


_spoil_compiled = njit(_spoil)
ORDERS = ("motor_run", "oil_pump", "oil_heater", "injection_cooling")
DRIVES = ("capacity_load", "capacity_unload", "volume_ratio_increase", "volume_ratio_decrease")


@njit  # type: ignore[untyped-decorator]
def _compiled_run(p: Any, s: Any, d: Any, a: Any, reading: Any, words: Any) -> int:
    for k in range(len(words)):
        word = words[k]
        if k % 40 == 0:
            _spoil_compiled(d[0], k // 40)
        a[0].motor_run = word & 1 != 0
        a[0].oil_pump = word & 2 != 0
        a[0].oil_heater = word & 4 != 0
        a[0].injection_cooling = word & 8 != 0
        a[0].capacity_load = word & 16 != 0
        a[0].capacity_unload = word & 32 != 0
        a[0].volume_ratio_increase = word & 64 != 0
        a[0].volume_ratio_decrease = word & 128 != 0
        status = step(p[0], s[0], d[0], a[0], 100)
        measure(p[0], s[0], d[0], reading[0])
        if status != 0:
            return int(status)
    return 0


@pytest.mark.parametrize("number", [0, 1, 2])
def test_compiled_is_interpreted_to_the_last_bit_with_faults_on(number: int) -> None:
    p = _odd_plant(number)
    start = running_state(p, Disturbances(load_heat_w=330.0e3), 290.64e3)
    chance, words = random.Random(number), []
    while len(words) < 1500:
        words += [chance.randrange(256) | (3 if chance.random() < 0.8 else 0)] * chance.randint(1, 30)
    s, d, a, reading = copy.deepcopy(start), Disturbances(load_heat_w=330.0e3), Actuators(), Readings()
    slowest = 0.0
    for k, word in enumerate(words):
        if k % 40 == 0:
            _spoil(d, k // 40)
        for bit, name in enumerate((*ORDERS, *DRIVES)):
            setattr(a, name, word & (1 << bit) != 0)
        assert step(p, s, d, a, 100) == 0
        measure(p, s, d, reading)
        slowest = min(slowest, s.motor.speed_rad_s)
    arrays = [to_array(x) for x in (p, start, Disturbances(load_heat_w=330.0e3), Actuators(), Readings())]
    assert _compiled_run(*arrays, np.array(words)) == 0
    assert from_record(PlantState, arrays[1][0]) == s
    assert from_record(Readings, arrays[4][0]) == reading


def test_neutral_disturbances_are_the_defaults(p: Parameters) -> None:
    """A plant that never heard of faults and one that felt the defaults are one plant."""
    s = running_state(p, Disturbances(), 290.64e3)
    run(p, s, Disturbances(), RUNNING, 1.0)
    fresh = PlantState()
    assert (s.capacity.faults, s.volume_ratio.faults) == (fresh.capacity.faults, fresh.volume_ratio.faults)
    assert (s.oil.pump_strength_frac, s.oil.cooler_share_frac, s.oil.filter_fouling_frac) == (1.0, 1.0, 0.0)
    assert {f.name for f in fields(DriveFaults)} >= {"stuck", "speed_frac", "drift_frac_s", "linkage_slip_frac"}
