"""Rows of the published checks that are a number, a table or a word: motor, instruments, blocks, rating, regulation."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.signal import lfilter

from controller.pid import PiState, pi_increment
from controller.process_image import Health
from controller.protection_settings import ProtectionSettings
from controller.scaling import loop_health, to_engineering
from controller.timers import Tof, Ton, Tp, tof, ton, tp
from controller.triggers import Bistable, Edge, r_trig, rs, sr
from plant_model.instrument_parameters import InstrumentsParameters
from plant_model.motor_starts import KG_M2_PER_LB_FT2, W_PER_HP, starts_per_hour_limit
from plant_model.rating_set import rated_mass_flow_kg_s, rated_power_w, rating_polynomial
from plant_model.rotor_geometry import EVENTS_PER_REVOLUTION, FLUTES, GATE_TEETH
from scenarios.alarm_rates import Alarm, alarm_rates, floods
from scenarios.regulation import harris_index
from tests.plant_model.test_rating_set import EXAMPLE, M, W

MG10 = "NEMA MG 10 starts table, two reproductions"
MG10_ROWS = {
    100: {2: (2.6, 92, 220), 4: (5.2, 441, 110), 6: (5.9, 1181, 97)},
    150: {2: (2.2, 133, 320), 4: (4.5, 640, 160), 6: (5.1, 1719, 140)},
    200: {2: (2.0, 172, 600), 4: (4.0, 831, 300), 6: (4.5, 2238, 265)},
    250: {2: (1.8, 210, 1000), 4: (3.7, 1017, 500), 6: (4.2, 2744, 440)},
}


def test_motor_starts(outside: Callable[..., Any]) -> None:
    table = outside("motor starts an hour, inertia product, rest: 12 rows", MG10, "a", 1e-12)
    for hp, row in MG10_ROWS.items():
        for poles, (most, product, rest_s) in row.items():
            light = starts_per_hour_limit(hp * W_PER_HP, poles, 0.0)
            heavy = starts_per_hour_limit(hp * W_PER_HP, poles, 2000.0 * KG_M2_PER_LB_FT2)
            table.relative(light.starts_1_h, most, f"{hp} hp {poles} poles")
            table.relative(heavy.starts_1_h, product / 2000.0, f"{hp} hp {poles} poles")
            assert light.rest_s is not None
            table.relative(light.rest_s, rest_s, f"{hp} hp {poles} poles")
    worked = outside("worked example: 25 hp, 4 poles, 50 lb·ft²: 2.44 starts/h", MG10, "a", 1e-12)
    worked.relative(starts_per_hour_limit(25.0 * W_PER_HP, 4, 50.0 * KG_M2_PER_LB_FT2).starts_1_h, 2.44)


def test_signal_limits(outside: Callable[..., Any]) -> None:
    limits = outside("4–20 mA failure limits: ≤ 3.6, ≥ 21 mA", "NAMUR NE 43, secondary pages", "a, c", 0.0, "")
    for current_ma, health in (
        (3.6, Health.UNDER), (math.nextafter(3.6, 4.0), Health.GOOD), (3.8, Health.GOOD), (20.5, Health.GOOD),
        (math.nextafter(21.0, 20.0), Health.GOOD), (21.0, Health.OVER),
    ):  # fmt: skip
        limits.holds(loop_health(current_ma) == health, f"{current_ma} mA")
    share = outside("3.6, 3.8, 20.5, 21 mA in % of span", "arithmetic", "b", 1e-12, "% of span")
    for current_ma, share_pct in ((3.6, -2.5), (3.8, -1.25), (20.5, 103.125), (21.0, 106.25)):
        share.absolute(to_engineering(current_ma, 0.0, 100.0), share_pct, f"{current_ma} mA")


def _bits(text: str) -> list[bool]:
    return [c == "1" for c in text]


def test_function_blocks(outside: Callable[..., Any]) -> None:
    """Traces at a scan of 100 ms with a preset of 300 ms."""
    iec = "IEC 61131-3 as in an open compiler library; traces by other code"
    traces = outside("TON, TOF, TP traces: Q and ET", iec, "a, traces b", 0.0, "")
    on, off, pulse = Ton(), Tof(), Tp()
    blocks: list[tuple[Callable[[bool], tuple[bool, int]], str, str, str]] = [
        (lambda x: (ton(on, x, 300, 100), on.elapsed_ms), "01101111100", "00000001100",
         "0 0 100 0 0 100 200 300 300 0 0"),
        (lambda x: (tof(off, x, 300, 100), off.elapsed_ms), "01100100000", "01111111100",
         "0 0 0 0 100 0 0 100 200 300 300"),
        (lambda x: (tp(pulse, x, 300, 100), pulse.elapsed_ms), "0101001111101", "0111001110001",
         "0 0 100 200 0 0 0 100 200 300 300 0 0"),
    ]  # fmt: skip
    for call, given, q, elapsed in blocks:
        for k, (x, want, et) in enumerate(zip(_bits(given), _bits(q), map(int, elapsed.split()), strict=True)):
            traces.holds(call(x) == (want, et), f"scan {k} of {given}")
    bistable = outside("SR, RS: all states; R_TRIG on a true first call", iec, "c", 0.0, "")
    for was, s, r in itertools.product((False, True), repeat=3):
        bistable.holds(sr(Bistable(was), s, r) == (s or (was and not r)), f"SR {was} {s} {r}")
        bistable.holds(rs(Bistable(was), s, r) == (not r and (s or was)), f"RS {was} {s} {r}")
    edge = Edge()
    bistable.holds([r_trig(edge, c) for c in _bits("11011")] == _bits("10010"), "R_TRIG")


def test_rating_polynomial(outside: Callable[..., Any]) -> None:
    source = "AHRI 540 / EN 12900 form; public academic coefficient set"
    order = outside("rating polynomial: order of terms", source, "c, b", 0.0, "")
    for i, term in enumerate((1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 8.0, 12.0, 18.0, 27.0)):
        order.holds(rating_polynomial([float(k == i) for k in range(10)], 2.0, 3.0) == term, f"C{i + 1}")
    worked = outside("rating polynomial: worked flows and powers", source, "a, worked b", 1e-6)
    for s_f, d_f, lb_h, w in ((45.0, 130.0, 459.44786, 3074.9664), (20.0, 105.0, 288.32207, 2265.5751)):
        s_k, d_k = ((t - 32.0) / 1.8 + 273.15 for t in (s_f, d_f))
        worked.relative(rating_polynomial(M, s_f, d_f), lb_h, f"{s_f:g}/{d_f:g} °F, lb/h")
        worked.relative(rating_polynomial(W, s_f, d_f), w, f"{s_f:g}/{d_f:g} °F, W")
        worked.relative(rated_mass_flow_kg_s(EXAMPLE, s_k, d_k), lb_h * 0.45359237 / 3600.0, "kg/s")
        worked.relative(rated_power_w(EXAMPLE, s_k, d_k), w, "W")
    worked.relative(rated_mass_flow_kg_s(EXAMPLE, (45 - 32) / 1.8 + 273.15, (130 - 32) / 1.8 + 273.15), 0.0578895)


def test_integral_error_after_a_load_step(outside: Callable[..., Any]) -> None:
    integral = outside("load step: ∫e dt = −Ti/Kp by the real PI block", "Åström & Hägglund", "c, b", 1e-3)
    for lag_s, dead_s, gain, integral_s, expected in ((0.0, 1.0, 0.5, 8.0, -16.0), (10.0, 2.0, 2.5, 10.0, -4.0)):
        block, h_s, output, value, total, absolute = PiState(), 0.02, 0.0, 0.0, 0.0, 0.0
        line = [0.0] * round(dead_s / h_s)
        for _ in range(round(300.0 / h_s)):
            total, absolute = total - value * h_s, absolute + abs(value) * h_s
            output += pi_increment(block, -value, gain, round(1000 * integral_s), 20, 0.0)
            line.append(output + 1.0)
            push = line.pop(0)
            value += h_s * ((push - value) / lag_s if lag_s else push)
        integral.relative(total, expected, f"Kp {gain} Ti {integral_s}")
        if lag_s:  # no overshoot: the absolute integral is the same
            integral.relative(absolute, -expected, "absolute")


def test_minimum_variance_index(outside: Callable[..., Any]) -> None:
    harris = outside("minimum-variance index of an AR(1) disturbance", "Harris 1989", "c, closed form b", 0.01, "1")
    for phi, delay, index in ((0.9, 3, 0.46856), (0.9, 1, 0.190), (0.95, 5, 0.40126), (0.8, 2, 0.5904)):
        noise = np.random.default_rng(1).standard_normal(400_000)
        found = harris_index(lfilter([1.0], [1.0, -phi], noise), delay)
        assert found is not None
        harris.absolute(found, index, f"φ {phi}, delay {delay}")


def test_alarm_rates(outside: Callable[..., Any]) -> None:
    isa = "ANSI/ISA-18.2, EEMUA 191"
    minute = 60_000
    rates = outside("alarm rates: 1 and 2 in 10 min are 6, 12 an hour, 144, 288 a day", isa, "c, partly a", 1e-12)
    for per_window, per_h, per_day in ((1, 6.0, 144.0), (2, 12.0, 288.0)):
        alarms = [Alarm(t, "A") for t in range(0, 1440 * minute, 10 * minute // per_window)]
        found = alarm_rates(alarms, 0, 1440 * minute)
        rates.relative(found.per_h, per_h)
        rates.relative(found.per_day, per_day)
    flood = outside("alarm flood: > 10 in 10 min starts, < 5 ends", isa, "c", 0.0, "")
    ten = [k * minute // 2 for k in range(10)]
    flood.holds(floods(ten, 60 * minute) == (), "ten are none")
    flood.holds(floods([*ten, 5 * minute], 60 * minute) == ((5 * minute, 13 * minute),), "eleven are one")
    band = outside("alarm dead bands: pressure 2 %, temperature 1 % of range", isa + ", starting values", "c", 1e-9)
    own, spans = ProtectionSettings(), InstrumentsParameters()
    for name, dead_band, span, share in (
        ("suction pressure", own.suction_pressure_dead_band_kpa,
         0.001 * (spans.suction_pressure.high_pa - spans.suction_pressure.low_pa), 0.02),
        ("discharge pressure", own.discharge_pressure_dead_band_kpa,
         0.001 * (spans.discharge_pressure.high_pa - spans.discharge_pressure.low_pa), 0.02),
        ("discharge temperature", own.discharge_temperature_dead_band_k,
         spans.discharge_temperature.high_k - spans.discharge_temperature.low_k, 0.01),
        ("oil temperature", own.oil_temperature_dead_band_k,
         spans.oil_temperature.high_k - spans.oil_temperature.low_k, 0.01),
    ):  # fmt: skip
        band.relative(dead_band, share * span, name)


def test_single_screw_arithmetic(outside: Callable[..., Any]) -> None:
    exact = outside("six flutes, eleven teeth, 12 events a turn, 710/s at 3550 rpm", "Zimmern & Patel 1972", "c", 1e-12)
    exact.relative(FLUTES / GATE_TEETH, 6.0 / 11.0)
    exact.relative(EVENTS_PER_REVOLUTION * 3550.0 / 60.0, 710.0)
