"""First causes: what the log resolves, what is a tie, and what no logic can have done."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from controller.process_image import Trip
from controller.registry import SHIPPED
from scenarios.logged_data.records import LoggedData, LoggedEvent, Series
from tools.replay.first_out import explain_stops
from tools.replay.timeline import SettingsPeriod, crossings, flood, timeline

SETTINGS = SHIPPED["scheduled_pi"].settings_type()
HISTORY = (SettingsPeriod(0, SETTINGS, "sheet"),)
STEP_MS = 1000
N = 900
STOP = 600  # row at which the machine stands for the first time


def series(name: str, values: np.ndarray, step_ms: int = STEP_MS) -> Series:  # type: ignore[type-arg]
    times = np.arange(len(values), dtype=np.int64) * step_ms
    return Series(
        name,
        times,
        values.astype(float),
        np.zeros(len(values), dtype=np.uint8),
        float(step_ms),
        False,
        f"t.csv: {name}",
    )


def night(command_falls: int | None = None, **more: np.ndarray) -> LoggedData:  # type: ignore[type-arg]
    on = (np.arange(N) < STOP).astype(float)
    made = {"motor_running": series("motor_running", on),
        "discharge_pressure_kpa_abs": series("discharge_pressure_kpa_abs", np.full(N, 1300.0)),
            "suction_pressure_kpa_abs": series("suction_pressure_kpa_abs", np.full(N, 290.0))}  # fmt: skip
    if command_falls is not None:
        made["motor_run"] = series("motor_run", (np.arange(N) < command_falls).astype(float))
    made |= {name: series(name, values) for name, values in more.items()}
    return LoggedData(made, [], {}, (Path("t.csv"), Path("alarms.csv")))


def listed(at_ms: int, name: str, kind: str = "trip", text: str = "", wide_ms: int = 1000) -> LoggedEvent:
    return LoggedEvent(at_ms, at_ms, at_ms + wide_ms, kind, name, "on", text or f"{kind} {name}", "alarms.csv")


def test_a_recorded_trip_is_the_first_cause() -> None:
    data = night(STOP)
    data.events = [listed(599_000, "HIGH_DISCHARGE_PRESSURE")]
    (stop,) = explain_stops(data, HISTORY)
    assert (stop.verdict, stop.causes[0].name, stop.sure) == ("trip", "HIGH_DISCHARGE_PRESSURE", True)
    assert (stop.earliest_ms, stop.latest_ms) == (599_000, 600_000)


def test_two_causes_within_a_sample_are_a_tie() -> None:
    data = night(STOP)
    data.events = [listed(599_000, "HIGH_DISCHARGE_PRESSURE"), listed(599_000, "MOTOR_OVERLOAD")]
    (stop,) = explain_stops(data, HISTORY)
    assert stop.verdict == "tie"
    assert {e.name for e in stop.causes} == {"HIGH_DISCHARGE_PRESSURE", "MOTOR_OVERLOAD"}


def test_two_causes_apart_are_in_order() -> None:
    data = night(STOP)
    data.events = [listed(599_000, "LOW_OIL_DIFFERENTIAL"), listed(602_000, "LOW_SUCTION_PRESSURE")]
    (stop,) = explain_stops(data, HISTORY)
    assert (stop.verdict, stop.causes[0].name) == ("trip", "LOW_OIL_DIFFERENTIAL")
    assert [e.name for e in stop.later] == ["LOW_SUCTION_PRESSURE"]


def test_the_controllers_own_first_out_breaks_a_tie() -> None:
    word = np.zeros(N)
    word[STOP:] = (1 << Trip.MOTOR_OVERLOAD) | (1 << Trip.HIGH_DISCHARGE_PRESSURE)
    first = np.zeros(N)
    first[STOP:] = Trip.HIGH_DISCHARGE_PRESSURE
    (stop,) = explain_stops(night(STOP, trip_word=word, trip_first_out=first), HISTORY)
    assert (stop.verdict, stop.causes[0].name) == ("trip", "HIGH_DISCHARGE_PRESSURE")
    (blind,) = explain_stops(night(STOP, trip_word=word), HISTORY)
    assert blind.verdict == "tie"


def test_a_lost_feedback_is_a_consequence_and_points_to_the_hard_wired_chain() -> None:
    data = night(STOP + 3)
    data.events = [listed(602_000, "FAILED_START")]
    (stop,) = explain_stops(data, HISTORY)
    assert stop.verdict == "hard-wired"
    assert "hard-wired chain" in stop.text
    assert [e.name for e in stop.later] == ["FAILED_START"]


def test_a_stop_without_any_trip_while_commanded_points_there_too() -> None:
    (stop,) = explain_stops(night(STOP + 60), HISTORY)
    assert stop.verdict == "hard-wired"


def test_an_opened_chain_that_is_logged() -> None:
    chain = np.ones(N)
    chain[STOP:] = 0.0
    (stop,) = explain_stops(night(STOP + 2, safety_chain_closed=chain), HISTORY)
    assert stop.verdict == "hard-wired"
    assert "safety chain opened" in stop.causes[0].text


def test_without_a_command_it_says_what_it_cannot_tell() -> None:
    (stop,) = explain_stops(night(None), HISTORY)
    assert (stop.verdict, stop.sure) == ("unexplained", False)
    assert "cannot tell" in stop.text


def test_values_speak_where_no_trip_is_on_record() -> None:
    pressure = np.full(N, 1300.0)
    pressure[570:600] = np.linspace(1500, 1710, 30)
    (stop,) = explain_stops(night(STOP, discharge_pressure_kpa_abs=pressure), HISTORY)
    assert (stop.verdict, stop.sure, stop.causes[0].name) == ("from values", False, "HIGH_DISCHARGE_PRESSURE")


def test_by_hand() -> None:
    selection = np.ones(N)
    selection[STOP - 1 :] = 0.0
    (stop,) = explain_stops(night(STOP, selection=selection), HISTORY)
    assert stop.verdict == "operator"


def test_a_hole_in_the_log_is_told() -> None:
    data = night(STOP)
    keep = np.r_[0:590, 640:N]
    for name, one in data.series.items():
        data.series[name] = Series(
            name, one.time_ms[keep], one.values[keep], one.quality[keep], 1000.0, False, one.source
        )
    (stop,) = explain_stops(data, HISTORY)
    assert any("hole of 51 s" in text for text in stop.evidence)


def test_crossings_know_between_which_samples() -> None:
    pressure = np.full(N, 1300.0)
    pressure[300:] = 1655.0
    found = [
        c for c in crossings(night(STOP, discharge_pressure_kpa_abs=pressure), HISTORY) if c.watched.kind == "alarm"
    ]
    assert [(c.event.earliest_ms, c.event.latest_ms) for c in found] == [(299_000, 300_000)]


def test_the_start_current_is_no_overload() -> None:
    current = np.full(N, 200.0)
    current[700] = 1100.0
    on = np.ones(N)
    on[650:700] = 0.0
    data = night(None, motor_current_a=current)
    data.series["motor_running"] = series("motor_running", on)
    assert not [c for c in crossings(data, HISTORY) if c.watched.cause is Trip.MOTOR_OVERLOAD]


def test_the_timeline_is_in_time_order_and_the_flood_is_counted() -> None:
    data = night(STOP)
    data.events = [listed(1000 * k, f"A{k}", "alarm") for k in range(300, 315)]
    events = timeline(data, HISTORY)
    assert [e.time_ms for e in events] == sorted(e.time_ms for e in events)
    rates = flood(data, events)
    assert rates is not None
    assert rates.count == 15
    assert rates.floods_ms  # more than ten in ten minutes: published checks, section 7


@pytest.mark.parametrize("step_ms", [1000, 5000])
def test_uncertainty_grows_with_the_sampling(step_ms: int) -> None:
    data = night(STOP)
    on = (np.arange(200) < 100).astype(float)
    data.series = {"motor_running": series("motor_running", on, step_ms)}
    (stop,) = explain_stops(data, ())
    assert stop.latest_ms - stop.earliest_ms == step_ms
