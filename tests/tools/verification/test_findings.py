"""Verdicts: held, failed, not exercised, not applicable, and what each says beside it."""

from __future__ import annotations

import json

import pytest

from scenarios.trace import Event
from tests.tools.verification.bench import SETTINGS, finding, trace
from tools.verification.findings import Verdict, evaluate
from tools.verification.pack import load_pack

RUN = trace(50, motor_run=[10 <= k < 20 or k >= 40 for k in range(50)], motor_current_a=[float(k) for k in range(50)])


def test_held_with_its_least_margin() -> None:
    found = finding("motor_current < 60 A", RUN, when="motor_run")
    assert (found.verdict, found.margin, found.unit, found.time_ms) == (Verdict.HELD, 11.0, "A", 4900)
    assert (found.exercised, found.failed_ms, found.clause) == (2, None, "motor_current < 60 A")
    assert found.share == pytest.approx(11.0 / 1000.0)


def test_failed_names_the_first_and_the_worst_moment() -> None:
    found = finding("motor_current < 45 A", RUN, when="motor_run")
    assert (found.verdict, found.margin, found.time_ms, found.failed_ms) == (Verdict.FAILED, -4.0, 4900, 4500)


def test_what_did_not_come_about_is_never_held() -> None:
    assert finding("motor_current < 1 A", RUN, when="mode == TRIPPED").verdict is Verdict.NOT_EXERCISED
    # a trigger whose window does not lie in the run any more is not judged either
    late = finding("always[0 s, 1 s] motor_run", RUN, when="rise(motor_run) and motor_current > 30 A")
    assert late.verdict is Verdict.NOT_EXERCISED


def test_not_applicable_says_why() -> None:
    otherwise = finding("motor_run", RUN, only_if="{common.calibration.high_stop} == ON")
    assert (otherwise.verdict, "otherwise" in otherwise.reason) == (Verdict.NOT_APPLICABLE, True)
    untold = finding("motor_current < {common.motor.full_load_current}", RUN, settings=None)
    assert (untold.verdict, "does not tell" in untold.reason) == (Verdict.NOT_APPLICABLE, True)
    long = finding("always[0 s, 1 min] motor_run", RUN)
    assert (long.verdict, "looks 60 s ahead" in long.reason) == (Verdict.NOT_APPLICABLE, True)


def test_a_truth_without_a_number_has_no_margin() -> None:
    held = finding("not oil_pump", RUN, when="motor_run")
    assert (held.verdict, held.margin, held.unit, held.time_ms) == (Verdict.HELD, None, "", 1000)
    failed = finding("oil_pump", RUN, when="motor_run")
    assert (failed.verdict, failed.margin, failed.failed_ms) == (Verdict.FAILED, None, 1000)


@pytest.mark.parametrize(
    ("text", "margin", "unit"),
    [
        ("suction_pressure > 150 kPa", 50.0, "kPa"),
        ("discharge_temperature < 105 °C", 78.15, "K"),
        ("capacity_travel <= 80 %", 30.0, "%"),
        ("count(motor_run, 1 s) <= 12", 2.0, "1"),
        ("volume_ratio < 4", 1.0, "1"),
        ("motor_power < 90 kW", 40.0, "kW"),
        ("duration(motor_run) <= 3 s", 2.1, "s"),
    ],
)
def test_margins_come_in_the_unit_of_the_quantity(text: str, margin: float, unit: str) -> None:
    run = trace(
        50, motor_run=RUN["motor_run"], suction_pressure_pa=200e3, discharge_temperature_k=300.0,
        capacity_travel_frac=0.5, volume_ratio=3.0, motor_power_w=50e3,
    )  # fmt: skip
    found = finding(text, run)
    assert (found.margin, found.unit) == (pytest.approx(margin, rel=1e-9), unit)


def test_a_fault_that_ended_the_run_is_found_in_its_last_row() -> None:
    run = trace(20, events=[Event(2000, "run", "fault", "the controller put out a demand that is no finite number")])
    found = {one.id: one for one in evaluate(load_pack(), run, SETTINGS)}
    assert (found["RN-01"].verdict, found["RN-01"].failed_ms) == (Verdict.FAILED, 1900)


def test_a_whole_pack_is_plain_data() -> None:
    found = evaluate(load_pack(), RUN, SETTINGS)
    assert [one.id for one in found] == [one.id for one in load_pack().requirements]
    json.dumps([one.as_dict() for one in found], allow_nan=False)
    uneven = trace(1)
    assert {one.verdict for one in evaluate(load_pack(), uneven, SETTINGS)} == {Verdict.NOT_APPLICABLE}
