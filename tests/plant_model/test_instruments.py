"""Instruments: NE 43, lag, noise, resolution, faults."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant_model.derived import Parameters
from plant_model.initial import running_state
from plant_model.instruments import Channel, Fault, measure, sense
from plant_model.state import CHANNELS, Disturbances, PlantState, Readings


def running(p: Parameters) -> PlantState:
    return running_state(p, Disturbances(), 290.64e3)


def value(p: Parameters, reading: Readings, channel: Channel) -> float:
    share = (reading.milliamp[channel] - 4.0) / 16.0
    return p.derived.instruments.low[channel] + share / p.derived.instruments.per_span[channel]


def test_channels_are_the_controllers_analogs_in_order() -> None:
    assert len(Channel) == CHANNELS
    assert [int(c) for c in Channel] == list(range(CHANNELS))


def test_channels_and_parameters_have_the_same_names(p: Parameters) -> None:
    for channel in Channel:
        assert hasattr(p.plant.instruments, channel.name.lower())


def test_readings_are_the_true_values_within_the_resolution(p: Parameters) -> None:
    s, d, r = running(p), Disturbances(), Readings()
    measure(p, s, d, r)
    truth = {
        Channel.SUCTION_PRESSURE: s.suction.pressure_pa,
        Channel.DISCHARGE_PRESSURE: s.separator.pressure_pa,
        Channel.SUCTION_TEMPERATURE: s.suction.temperature_k,
        Channel.DISCHARGE_TEMPERATURE: s.oil.mixture_k,
        Channel.OIL_PRESSURE_BEFORE_FILTER: s.oil.before_filter_pa,
        Channel.OIL_PRESSURE: s.oil.supply_pa,
        Channel.OIL_TEMPERATURE: s.oil.supply_k,
        Channel.OIL_LEVEL: s.oil.level_frac,
        Channel.MOTOR_CURRENT: s.motor.current_a,
        Channel.MOTOR_POWER: s.motor.power_w,
        Channel.CAPACITY_POSITION: s.capacity.travel_frac,
        Channel.CAPACITY_POSITION_OPPOSITE: s.capacity.travel_frac,
        Channel.VOLUME_RATIO_POSITION: s.volume_ratio.travel_frac,
        Channel.VOLUME_RATIO_POSITION_OPPOSITE: s.volume_ratio.travel_frac,
        Channel.PROCESS_TEMPERATURE: s.room_k,
    }
    for channel, true_value in truth.items():
        count = 1.0 / (16.0 * p.plant.instruments.counts_per_milliamp * p.derived.instruments.per_span[channel])
        assert value(p, r, channel) == pytest.approx(true_value, abs=0.51 * count), channel
    assert r.motor_running is True
    assert r.vessel_high_high_level is False


# source: NAMUR NE 43 (recalled): measurement 3.8–20.5 mA, failure at or below 3.6 or at or above 21 mA
@given(fraction=st.floats(-3.0, 4.0), normal=st.floats(-6.0, 6.0))
def test_a_live_measurement_stays_within_ne43(p: Parameters, fraction: float, normal: float) -> None:
    s, r = PlantState(), Readings()
    for i in range(CHANNELS):
        s.lagged[i], s.noise[i] = fraction, normal
    measure(p, s, Disturbances(), r)
    assert all(3.8 - 1.0e-9 <= milliamp <= 20.5 + 1.0e-9 for milliamp in r.milliamp)


@pytest.mark.parametrize("channel", list(Channel))
def test_faults(p: Parameters, channel: Channel) -> None:
    s, d, r = running(p), Disturbances(), Readings()
    measure(p, s, d, r)
    good = list(r.milliamp)
    d.fault_kind[channel] = Fault.OPEN_CIRCUIT
    measure(p, s, d, r)
    assert r.milliamp[channel] <= 3.6
    d.fault_kind[channel] = Fault.SHORT_CIRCUIT
    measure(p, s, d, r)
    assert r.milliamp[channel] >= 21.0
    d.fault_kind[channel] = Fault.NONE
    measure(p, s, d, r)
    assert r.milliamp == good
    d.fault_kind[channel] = Fault.STUCK
    s.lagged[channel] += 0.1
    measure(p, s, d, r)
    assert r.milliamp == good
    s.lagged[channel] -= 0.1
    for kind, size_frac, expected_ma in (
        (Fault.BIAS, 0.05, good[channel] + 16.0 * 0.05),
        (Fault.DRIFT, -0.03, good[channel] - 16.0 * 0.03 * 0.5),  # of span an hour, half an hour ago
        (Fault.WRONG_SPAN, 2.0, 4.0 + 0.5 * (good[channel] - 4.0)),  # the transmitter spans twice as far
        (Fault.WRONG_SPAN, 0.0, good[channel]),
        (Fault.OVER_RANGE, 0.0, 20.5),
    ):
        d.fault_kind[channel], d.fault_size_frac[channel] = kind, size_frac
        s.time_ms, d.fault_since_ms[channel] = 3_600_000, 1_800_000
        measure(p, s, d, r)
        assert r.milliamp[channel] == pytest.approx(min(20.5, max(3.8, expected_ma)), abs=2.1e-3), kind
    assert [m for i, m in enumerate(r.milliamp) if i != channel] == [m for i, m in enumerate(good) if i != channel]


def test_noise_is_the_given_normal_number_times_the_channels_own(p: Parameters) -> None:
    s, d, quiet, noisy = running(p), Disturbances(), Readings(), Readings()
    measure(p, s, d, quiet)
    for i in range(CHANNELS):
        s.noise[i] = 2.0
    measure(p, s, d, noisy)
    for i in range(CHANNELS):
        expected = 16.0 * 2.0 * p.derived.instruments.noise_frac[i]
        assert noisy.milliamp[i] - quiet.milliamp[i] == pytest.approx(expected, abs=1.1e-3)


def test_resolution(p: Parameters) -> None:
    s, r = PlantState(), Readings()
    s.lagged[0] = 0.123456789
    measure(p, s, Disturbances(), r)
    counts = r.milliamp[0] * p.plant.instruments.counts_per_milliamp
    assert counts == pytest.approx(round(counts), abs=1.0e-9)


def test_thermowell_follows_a_step_as_a_first_order_lag(p: Parameters) -> None:
    # exact solution: after n steps of h the lag has gone 1 − exp(−n h/τ) of the way
    s = running(p)
    channel = Channel.DISCHARGE_TEMPERATURE
    start = s.lagged[channel]
    s.oil.mixture_k += 10.0
    for n in range(1, 401):
        sense(p, s, False)
        gone = (s.lagged[channel] - start) / (10.0 * p.derived.instruments.per_span[channel])
        assert gone == pytest.approx(1.0 - math.exp(-n * 0.1 / 20.0), abs=1.0e-10)


def test_high_high_level_contact(p: Parameters) -> None:
    s, r = running(p), Readings()
    s.vessel.swollen_frac = p.plant.suction_vessel.high_high_level_frac
    measure(p, s, Disturbances(), r)
    assert r.vessel_high_high_level is True
