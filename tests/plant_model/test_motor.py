"""The motor: its curve against the textbook formula, start, run and coast-down."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.derived import Parameters, motor_constants
from plant_model.initial import running_state, stopped_state
from plant_model.motor import electrical, motor_torque_n_m, motor_torque_slope_n_m_s, step_motor
from plant_model.parameters import MotorParameters
from plant_model.plant import close
from plant_model.shaft import holding_torque_n_m
from plant_model.state import Disturbances, PlantState


@given(slip=st.floats(1.0e-4, 1.0))
def test_torque_is_kloss(p: Parameters, slip: float) -> None:
    # source: Kloss' formula, T = 2 T_b / (s/s_k + s_k/s), any electrical machines text (recalled)
    m, d = p.plant.motor, p.derived.motor
    rated_slip = m.breakdown_slip_frac * (m.breakdown_torque_frac - math.sqrt(m.breakdown_torque_frac**2 - 1.0))
    rated_n_m = m.rated_shaft_power_w / (d.synchronous_rad_s * (1.0 - rated_slip))
    kloss = 2.0 * m.breakdown_torque_frac * rated_n_m / (slip / m.breakdown_slip_frac + m.breakdown_slip_frac / slip)
    assert motor_torque_n_m(p, d.synchronous_rad_s * (1.0 - slip)) == pytest.approx(kloss, rel=1.0e-9)


@given(speed_frac=st.floats(0.0, 1.05))
def test_slope_is_the_derivative(p: Parameters, speed_frac: float) -> None:
    speed = speed_frac * p.derived.motor.synchronous_rad_s
    numerical = (motor_torque_n_m(p, speed + 1.0e-3) - motor_torque_n_m(p, speed - 1.0e-3)) / 2.0e-3
    assert motor_torque_slope_n_m_s(p, speed) == pytest.approx(numerical, rel=1.0e-4, abs=1.0e-4)


def settled(p: Parameters, power_w: float) -> PlantState:
    """The motor at the speed where it gives a shaft power."""
    s = PlantState()
    s.motor.contactor_closed = True
    low, high = 0.9 * p.derived.motor.synchronous_rad_s, p.derived.motor.synchronous_rad_s
    for _ in range(80):
        s.motor.speed_rad_s = 0.5 * (low + high)
        if motor_torque_n_m(p, s.motor.speed_rad_s) * s.motor.speed_rad_s > power_w:
            low = s.motor.speed_rad_s
        else:
            high = s.motor.speed_rad_s
    electrical(p, s)
    return s


def test_rated_point(p: Parameters) -> None:
    s = settled(p, p.plant.motor.rated_shaft_power_w)
    assert s.motor.current_a == pytest.approx(p.derived.motor.rated_current_a, rel=1.0e-6)
    efficiency = p.plant.motor.rated_shaft_power_w / s.motor.power_w
    power_factor = s.motor.power_w / (math.sqrt(3.0) * p.plant.motor.supply_voltage_v * s.motor.current_a)
    # common practice, no source: efficiency 0.94–0.96, power factor 0.87–0.92, 2930–2980 rev/min for 220 kW, two poles
    assert 0.94 < efficiency < 0.96
    assert 0.87 < power_factor < 0.92
    assert 2930.0 < s.motor.speed_rad_s * 30.0 / math.pi < 2980.0


def test_current_with_load(p: Parameters) -> None:
    idle, half, full = (settled(p, x * p.plant.motor.rated_shaft_power_w).motor.current_a for x in (0.0, 0.5, 1.0))
    assert 0.25 * full < idle < 0.4 * full  # common practice, no source: a third of the rated current at no load
    assert idle < half < full
    assert half > 0.5 * full


def test_start_current_is_about_six_times_rated(p: Parameters) -> None:
    s = PlantState()
    s.motor.contactor_closed = True
    electrical(p, s)
    # common practice, no source: 5 to 7.5 times for a direct-on-line start
    assert 5.0 < s.motor.current_a / p.derived.motor.rated_current_a < 7.5
    assert s.motor.running is False


def start(p: Parameters, s: PlantState, h_ms: int) -> list[tuple[float, float, bool]]:
    rows = []
    for _ in range(8000 // h_ms):
        step_motor(p, s, True, h_ms)
        assert close(p, s) == 0
        rows.append((s.motor.speed_rad_s, s.motor.current_a, s.motor.running))
    return rows


def test_unloaded_start_takes_seconds_and_does_not_pass_synchronous_speed(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    rows = start(p, s, 100)
    up_ms = 100 * next(i for i, row in enumerate(rows) if row[0] > 0.98 * p.derived.motor.synchronous_rad_s)
    assert 1000 <= up_ms <= 5000
    assert max(row[0] for row in rows) <= p.derived.motor.synchronous_rad_s
    assert rows[-1][2] is True
    assert rows[-1][1] < 0.5 * p.derived.motor.rated_current_a


def test_start_does_not_depend_on_the_step(p: Parameters) -> None:
    coarse = start(p, stopped_state(p, Disturbances(), 330.0e3, 1.0e6), 100)
    fine = start(p, stopped_state(p, Disturbances(), 330.0e3, 1.0e6), 25)
    half = 0.5 * p.derived.motor.synchronous_rad_s
    coarse_ms = 100 * (1 + next(i for i, row in enumerate(coarse) if row[0] > half))
    fine_ms = 25 * (1 + next(i for i, row in enumerate(fine) if row[0] > half))
    assert abs(coarse_ms - fine_ms) <= 100
    assert coarse[-1][0] == pytest.approx(fine[-1][0], rel=1.0e-6)


def test_loaded_start_stalls(p: Parameters) -> None:
    """Why both slides go to minimum before a start: full slides need more than the motor's starting torque."""
    s = stopped_state(p, Disturbances(), 330.0e3, 1.35e6, 1.0, 0.7, separator_pa=1.35e6)
    assert start(p, s, 100)[-1][0] == 0.0


def test_steady_speed_is_where_torques_meet(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3)
    before = s.motor.speed_rad_s
    for _ in range(20):
        step_motor(p, s, True, 100)
    assert s.motor.speed_rad_s == pytest.approx(before, rel=1.0e-9)


def test_coast_down_ends_at_rest_and_never_turns_back(p: Parameters) -> None:
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 1.0)
    speeds = []
    for _ in range(100):
        step_motor(p, s, False, 100)
        assert close(p, s) == 0
        speeds.append(s.motor.speed_rad_s)
    assert speeds == sorted(speeds, reverse=True)
    assert min(speeds) == 0.0
    assert 500 <= 100 * speeds.index(0.0) <= 5000
    assert s.motor.current_a == s.motor.power_w == 0.0
    assert s.compression.mass_flow_kg_s == s.compression.shaft_power_w == 0.0


def test_constants_follow_the_nameplate() -> None:
    small = motor_constants(MotorParameters(rated_shaft_power_w=110.0e3))
    large = motor_constants(MotorParameters(rated_shaft_power_w=220.0e3))
    assert large.rated_current_a == pytest.approx(2.0 * small.rated_current_a)
    assert motor_constants(MotorParameters(supply_voltage_v=690.0)).rated_current_a == pytest.approx(
        large.rated_current_a * 400.0 / 690.0
    )


def test_heat_is_i_squared_t(p: Parameters) -> None:
    # exact solution of one time constant: at rated current from cold 1 − exp(−t/τ) after t
    s = settled(p, p.plant.motor.rated_shaft_power_w)
    s.compression.shaft_torque_n_m = s.motor.torque_n_m - p.plant.motor.bearing_torque_n_m
    for _ in range(3900):
        step_motor(p, s, True, 100)
    assert s.motor.thermal_frac == pytest.approx(1.0 - math.exp(-1.0), rel=1.0e-3)
    # at rest it cools three times slower
    s.motor.speed_rad_s, before = 0.0, s.motor.thermal_frac
    for _ in range(3900):
        step_motor(p, s, False, 100)
    assert s.motor.thermal_frac == pytest.approx(before * math.exp(-1.0 / 3.0), rel=1.0e-3)


def test_a_relay_of_class_10_would_trip_within_ten_seconds(p: Parameters) -> None:
    # source: IEC 60947-4-1 (recalled): class 10 trips from cold within 10 s at 7.2 times its setting; limit 1.15²
    time_s, heat, current = 0.0, 0.0, 7.2
    while heat < 1.15 * 1.15:
        heat += p.derived.thermal_alpha * (current * current - heat)
        time_s += 0.1
    assert 8.0 < time_s <= 10.1


def test_starts_are_counted(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    for run in (True, True, False, True, False):
        step_motor(p, s, run, 100)
    assert s.motor.starts == 2
    assert s.motor.thermal_frac > 0.0


def back_spin(p: Parameters, back_torque_n_m: float, seconds: float) -> tuple[PlantState, list[float]]:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    speeds = []
    for _ in range(round(10 * seconds)):
        s.motor.back_torque_n_m = back_torque_n_m
        step_motor(p, s, False, 100)
        assert close(p, s) == 0
        speeds.append(s.motor.speed_rad_s)
    return s, speeds


def test_gas_that_flows_back_turns_the_machine_backward(p: Parameters) -> None:
    s, speeds = back_spin(p, 200.0, 6.0)
    assert speeds == sorted(speeds, reverse=True)
    assert -p.derived.motor.synchronous_rad_s < speeds[-1] < -100.0
    assert s.motor.running is False
    assert s.motor.current_a == s.compression.mass_flow_kg_s == s.compression.shaft_power_w == 0.0
    s.motor.back_torque_n_m = 0.0  # equalised: friction stops it, and it stays
    for _ in range(200):
        step_motor(p, s, False, 100)
        assert s.motor.speed_rad_s <= 0.0
    assert s.motor.speed_rad_s == 0.0


def test_bearings_and_oil_hold_a_small_back_torque(p: Parameters) -> None:
    held_n_m = holding_torque_n_m(p, PlantState())
    assert back_spin(p, 0.99 * held_n_m, 2.0)[1][-1] == 0.0
    assert back_spin(p, 1.2 * held_n_m, 2.0)[1][-1] < 0.0


def test_a_start_during_back_spin_goes_through_zero_and_takes_longer(p: Parameters) -> None:
    times = []
    for torque_n_m in (0.0, 200.0):
        s, _ = back_spin(p, torque_n_m, 6.0)
        s.motor.back_torque_n_m, steps = 0.0, 0
        while s.motor.speed_rad_s < p.derived.motor.settled_rad_s:
            step_motor(p, s, True, 100)
            assert close(p, s) == 0
            steps += 1
            assert steps < 200
        times.append(steps)
    assert times[1] > times[0] + 2


def test_back_spin_does_not_depend_on_the_step(p: Parameters) -> None:
    coarse = back_spin(p, 200.0, 3.0)[1][-1]
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    for _ in range(300):
        s.motor.back_torque_n_m = 200.0
        step_motor(p, s, False, 10)
    assert coarse == pytest.approx(s.motor.speed_rad_s, rel=1.0e-9)


def worn(p: Parameters, wear_frac: float, seconds: float) -> PlantState:
    s = running_state(p, Disturbances(), 290.64e3)
    s.motor.coupling_wear_frac = wear_frac
    for _ in range(round(10 * seconds)):
        step_motor(p, s, True, 100)
        assert close(p, s) == 0
    return s


def test_a_coupling_that_still_carries_the_load_changes_nothing(p: Parameters) -> None:
    sound, half = worn(p, 0.0, 5.0), worn(p, 0.5, 5.0)
    assert half.motor.coupling_slip_rad_s == 0.0
    assert half.motor.speed_rad_s == pytest.approx(sound.motor.speed_rad_s, rel=1.0e-6)
    assert half.motor.current_a == pytest.approx(sound.motor.current_a, rel=1.0e-6)


def test_a_coupling_that_slips_leaves_motor_and_rotors_at_two_speeds(p: Parameters) -> None:
    sound, broken = worn(p, 0.0, 5.0), worn(p, 1.0, 5.0)
    assert broken.motor.speed_rad_s == 0.0
    assert broken.motor.coupling_slip_rad_s > 0.99 * p.derived.motor.synchronous_rad_s
    assert broken.motor.running is True
    assert broken.motor.current_a < 0.8 * sound.motor.current_a
    load_n_m = sound.compression.shaft_torque_n_m
    wear_frac = 1.0 - 0.8 * load_n_m / p.derived.motor.coupling_torque_n_m
    slipping = worn(p, wear_frac, 5.0)
    # the motor carries just what the coupling still transmits, and its own bearings
    assert slipping.motor.torque_n_m == pytest.approx(0.8 * load_n_m + p.plant.motor.bearing_torque_n_m, rel=0.02)
    assert slipping.motor.speed_rad_s < 0.9 * sound.motor.speed_rad_s


def test_a_worn_coupling_slips_at_the_start_and_then_holds(p: Parameters) -> None:
    s = stopped_state(p, Disturbances(), 330.0e3, 1.0e6)
    s.motor.coupling_wear_frac = 0.9
    slipped = False
    for _ in range(150):
        step_motor(p, s, True, 100)
        assert close(p, s) == 0
        slipped = slipped or s.motor.coupling_slip_rad_s > 1.0
    assert slipped
    assert s.motor.coupling_slip_rad_s == 0.0
    assert s.motor.speed_rad_s > 0.98 * p.derived.motor.synchronous_rad_s
