"""What a run lacks of exercising a requirement: sums, alternatives, numbers between 0 and 1, and what is none."""

from __future__ import annotations

import numpy as np
import pytest

from controller.process_image import Mode
from scenarios.trace import Trace
from tests.tools.verification.bench import SETTINGS, trace
from tools.verification.lacks import lack_of
from tools.verification.monitor import Monitor
from tools.verification.pack import Requirement, Severity
from tools.verification.terms import check_truth

ANY = check_truth("mode == AUTOMATIC", {})


def lack(when: str, run: Trace, only_if: str = "") -> float | None:
    requirement = Requirement(
        "X-1", "invented", Severity.SERVICE, ANY, "", check_truth(when, {}) if when else None, when,
        check_truth(only_if, {}) if only_if else None,
    )  # fmt: skip
    return lack_of(Monitor(run, SETTINGS), requirement)


def test_what_comes_about_lacks_nothing() -> None:
    run = trace(5, trapped_fraction_frac=(0, 0, 3, 0, 0))
    assert lack("trapped_fraction >= 3", run) == 0.0
    assert lack("", run) == 0.0


@pytest.mark.parametrize(
    ("when", "expected"),
    [
        ("trapped_fraction >= 4", 0.5),  # 1 short of it: 1 / (1 + 1)
        ("trapped_fraction >= 6", 0.75),
        ("not (trapped_fraction < 4)", 0.5),
        ("motor_run", 1.0),
        ("not motor_run and trapped_fraction >= 4", 0.5),
        ("motor_run and trapped_fraction >= 4", 1.5),
        ("motor_run or trapped_fraction >= 4", 0.5),
        ("not (motor_run and trapped_fraction < 4)", 0.0),
        ("not (not motor_run or trapped_fraction < 4)", 1.5),
        ("rise(trapped_fraction >= 4)", 0.6),
        ("rise(not motor_run)", 0.1),
        ("mode == AUTOMATIC", 1.0),
    ],
)
def test_by_hand(when: str, expected: float) -> None:
    run = trace(5, trapped_fraction_frac=(0, 1, 3, 2, 0), mode=Mode.OFF)
    found = lack(when, run)
    assert found is not None
    assert abs(found - expected) < 1e-5


def test_a_duration_that_has_not_begun_lacks_its_beginning_too() -> None:
    far, near = trace(5, trapped_fraction_frac=0.0), trace(5, trapped_fraction_frac=0.9)
    lacks = [lack("duration(trapped_fraction >= 1) >= 5 s", run) for run in (far, near)]
    assert lacks[1] is not None
    assert lacks[0] is not None
    assert lacks[0] > lacks[1] > 0.0


def test_more_of_a_duration_is_nearer() -> None:
    runs = [trace(50, trapped_fraction_frac=np.arange(50) < k) for k in (5, 20, 40)]
    lacks = [lack("duration(trapped_fraction >= 1) >= 10 s", run) or 0.0 for run in runs]
    assert lacks == sorted(lacks, reverse=True)
    assert len(set(lacks)) == 3


def test_what_the_sheet_has_otherwise_has_no_lack() -> None:
    assert lack("motor_run", trace(5), "{common.protection.classes.signal_lost} == alarm") is None
