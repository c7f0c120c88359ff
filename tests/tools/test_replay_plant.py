"""Between a read log and the plant's study: which stop is studied, as which trip, and what tables say of it."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from controller.process_image import Trip
from controller.registry import SHIPPED
from scenarios.errors import InputRefused
from scenarios.logged_data.records import LoggedData, LoggedEvent, Series
from scenarios.settings_sheet import write_sheet
from tools.replay.diagnosis import Diagnosis, Ranked
from tools.replay.findings import find
from tools.replay.first_out import Stop
from tools.replay.fitting import Fit
from tools.replay.hypotheses import HYPOTHESES
from tools.replay.record import Record
from tools.replay.study import Study, keep_nothing
from tools.replay.what_if import Variant, WhatIf
from tools.replay_plant import (
    alternatives_of,
    as_plain,
    causes_table,
    chosen_stop,
    study_plant,
    trip_of,
    variants_table,
)

PLANT = Path(__file__).resolve().parents[2] / "scenarios" / "library" / "plants" / "harrow_ness.toml"


def stop(verdict: str, at_ms: int = 0, *names: str) -> Stop:
    causes = [LoggedEvent(at_ms, at_ms, at_ms, "trip", name, "on", name, "a.csv") for name in names]
    return Stop(at_ms, at_ms, "motor_running", verdict, causes)


def test_the_last_stop_that_nobody_wanted_is_studied() -> None:
    trip, chain = stop("trip", 1, "LOW_OIL_DIFFERENTIAL"), stop("hard-wired", 3)
    assert chosen_stop([trip, stop("operator", 2)]) is trip
    assert chosen_stop([trip, chain, stop("logic", 4)]) is chain
    wanted = stop("operator", 5)
    assert chosen_stop([wanted]) is wanted
    assert chosen_stop([]) is None


@pytest.mark.parametrize(
    ("one", "trip"),
    [
        (stop("trip", 0, "LOW_OIL_DIFFERENTIAL"), Trip.LOW_OIL_DIFFERENTIAL),
        (stop("tie", 0, "a text that is no trip", "SIGNAL_LOST"), Trip.SIGNAL_LOST),
        (stop("hard-wired"), Trip.SAFETY_CHAIN),
        (stop("unexplained"), Trip.SAFETY_CHAIN),
        (stop("operator"), Trip.STOP_BUTTON),
        (stop("logic"), Trip.NONE),
    ],
)
def test_a_stop_as_a_trip(one: Stop, trip: Trip) -> None:
    assert trip_of(one) is trip


def test_an_alternative_is_of_the_same_controller(tmp_path: Path) -> None:
    for name in ("scheduled_pi", "three_position"):
        write_sheet(tmp_path / f"{name}.toml", name, SHIPPED[name].settings_type())
    (made,) = alternatives_of([tmp_path / "scheduled_pi.toml"], "scheduled_pi", PLANT)
    assert made.name == "With scheduled_pi.toml"
    with pytest.raises(InputRefused, match="three_position"):
        alternatives_of([tmp_path / "three_position.toml"], "scheduled_pi", PLANT)


def test_a_log_without_what_it_takes_names_what_is_missing(tmp_path: Path) -> None:
    times = np.arange(900, dtype=np.int64) * 1000
    on = Series(
        "motor_running", times, (times < 600_000).astype(float), np.zeros(900, dtype=np.uint8), 1000.0, False, "t.csv"
    )
    data = LoggedData({"motor_running": on}, [], {}, (Path("t.csv"),))
    made, words = study_plant(data, find(data, None), PLANT, (), 5, tmp_path, keep_nothing)
    assert made is None
    assert "suction_pressure_kpa_abs" in words[0]
    assert "capacity_position_pct" in words[0]


def study_with(probability: float, chi2: float, null_chi2: float = 100.0) -> Study:
    cooler = next(h for h in HYPOTHESES if h.key == "oil_cooler")
    record = Record(0, {"suction_pressure": np.zeros(3)}, {}, {}, {})
    made = Study(record, 0, 3)
    ranked = [
        Ranked("oil cooler", probability, cooler.text, cooler.check, "", [Fit(cooler, chi2, amount=1.0)]),
        Ranked("none of these", 1.0 - probability, "nothing on this list", "", "", []),
    ]
    made.diagnosis = Diagnosis(ranked, "oil cooler", null_chi2, 10, [])
    return made


def test_no_cause_is_certain_and_none_impossible() -> None:
    rows = causes_table(study_with(1.0, 25.0))
    assert [row["probability"] for row in rows] == ["99 %", "under 1 %"]
    assert [row["explains"] for row in rows] == ["75 %", "–"]
    assert rows[0]["size"] == "–", "without the evidence nobody knows how far it had come"


def test_a_cause_that_explains_nothing_has_no_size() -> None:
    (row, _) = causes_table(study_with(0.4, 96.0))
    assert (row["explains"], row["size"], row["probability"]) == ("4 %", "–", "40 %")


def test_what_might_have_been_is_counted() -> None:
    made = study_with(0.9, 20.0)
    trips = [Trip.HIGH_DISCHARGE_PRESSURE, Trip.NONE, Trip.HIGH_OIL_TEMPERATURE, Trip.NONE]
    original = Variant("x", [Trip.HIGH_DISCHARGE_PRESSURE] * 4, [1.0] * 4, -0.8864, "kPa")
    made.what_if = WhatIf(original, True, [Variant("With b.toml", trips, [1.0] * 4, math.nan, "kPa")])
    assert variants_table(made) == [
        {"name": "As it was", "tripped": "4 of 4", "causes": "high discharge pressure", "room": "-0.886 kPa"},
        {
            "name": "With b.toml",
            "tripped": "2 of 4",
            "causes": "high discharge pressure, high oil temperature",
            "room": "–",
        },
    ]
    assert as_plain(made)["reproduced"] is True
    assert as_plain(None) == {}
