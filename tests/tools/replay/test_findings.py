"""What a log shows, in words: each number in them is the log's own."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from scenarios.logged_data.records import LoggedData, LoggedEvent, Series
from tools.replay.findings import (
    AFTER_STOP_MS,
    BEFORE_STOP_MS,
    changes_before,
    clock_text,
    condensed,
    find,
    output_name,
    part_to_replay,
)
from tools.replay.first_out import Stop
from tools.replay.timeline import crossings
from tools.replay_report import answer_of

MINUTE = 60_000


def log(stop_at: int = 600, rows: int = 900, **more: np.ndarray) -> LoggedData:  # type: ignore[type-arg]
    times = np.arange(rows, dtype=np.int64) * 1000
    values = {"motor_running": (np.arange(rows) < stop_at).astype(float), "motor_run": np.ones(rows)} | more
    made = {
        name: Series(name, times, v.astype(float), np.zeros(rows, dtype=np.uint8), 1000.0, False, f"t.csv: {name}")
        for name, v in values.items()
    }
    return LoggedData(made, [], {}, (Path("t.csv"), Path("a.csv")))


def listed(minute: float, kind: str, text: str, name: str = "", state: str = "on") -> LoggedEvent:
    at = int(minute * MINUTE)
    return LoggedEvent(at, at, at + 1000, kind, name, state, text, "a.csv")


def test_no_stop_and_no_way_to_see_one_are_two_things() -> None:
    assert find(log(stop_at=9999), None).words[0] == "The log shows no stop of the machine."
    blind = log()
    warm = np.full(9, 48.0)
    name = "oil_temperature_c"
    blind.series = {
        name: Series(name, np.arange(9, dtype=np.int64), warm, np.zeros(9, dtype=np.uint8), 1.0, False, "t.csv")
    }
    assert "stops cannot be seen in it" in find(blind, None).words[0]


def test_a_stop_is_told_with_time_doubt_and_what_was_changed_before_it() -> None:
    data = log()
    data.events = [
        listed(2.0, "setting", "limit raised 14 -> 15 bar"),
        listed(599.5 / 60.0, "trip", "HIGH DISCHARGE", "HIGH_DISCHARGE_PRESSURE"),
        listed(12.0, "setting", "limit put back"),  # after the stop: not a reason
    ]
    found = find(data, None)
    assert found.words[0].startswith(
        "1970-01-01 00:10:00 ± 0.5 s the machine stopped. First cause: trip: high discharge"
    )
    assert changes_before(found, found.stops[0]) == ["8 min before it: limit raised 14 -> 15 bar."]
    answer = dict(answer_of(found, None))
    assert answer["What happened"] == found.words[:1]
    assert answer["Changed before it"] == ["8 min before it: limit raised 14 -> 15 bar."]
    assert "--plant" in answer["Why, and what if"][0]


def test_many_stops_are_counted_in_the_first_words() -> None:
    on = np.ones(2000)
    for start in (200, 600, 1000, 1400):
        on[start : start + 100] = 0.0
    found = find(log(rows=2000, motor_running=on), None)
    first = dict(answer_of(found, None))["What happened"]
    assert first[0] == "4 stops are in the log; the last 3:"
    assert len(first) == 4


@pytest.mark.parametrize(
    ("moment", "told"),
    [("00:30", "02:30:00 (1st)"), ("01:30", "02:30:00 (2nd)"), ("02:30", "03:30:00"), ("00:00", "02:00:00 (1st)")],
)
def test_a_wall_clock_that_comes_twice_says_which(moment: str, told: str) -> None:
    data = log()
    data.zone = "Europe/Berlin"
    time_ms = int(datetime.fromisoformat(f"2026-10-25 {moment}").replace(tzinfo=UTC).timestamp() * 1000)
    assert clock_text(data, time_ms) == f"2026-10-25 {told}"


def test_repeats_are_one_line_until_ten_minutes_pass() -> None:
    events = [listed(k, "inhibit", f"pressure {1690 + k} kPa held") for k in (0.0, 4.0, 13.0, 24.0)]
    lines = condensed(events)
    assert [(line.times, line.last_ms // MINUTE) for line in lines] == [(3, 13), (1, 24)]
    assert lines[0].text == "pressure 1690.0 kPa held"


def test_other_words_are_other_lines() -> None:
    assert len(condensed([listed(0.0, "alarm", "oil low"), listed(1.0, "alarm", "oil hot")])) == 2


def test_of_a_long_log_the_time_round_the_last_trip_is_replayed() -> None:
    hour = 60 * MINUTE
    data = log()
    data.series["motor_running"].time_ms[-1] = 40 * hour
    data.series["motor_run"].time_ms[-1] = 40 * hour
    stops = [
        Stop(20 * hour, 20 * hour, "motor_running", "trip"),
        Stop(30 * hour, 30 * hour, "motor_running", "operator"),
    ]
    assert part_to_replay(data, stops) == (20 * hour - BEFORE_STOP_MS, 20 * hour + AFTER_STOP_MS)
    assert part_to_replay(log(), stops) == (0, 899_000)


def test_a_value_just_beyond_its_limit_shows_by_how_much() -> None:
    from controller.registry import SHIPPED
    from tools.replay.timeline import SettingsPeriod

    pressure = np.full(900, 1300.0)
    pressure[500] = 1700.3
    history = (SettingsPeriod(0, SHIPPED["scheduled_pi"].settings_type(), "s"),)
    found = crossings(log(discharge_pressure_kpa_abs=pressure), history)
    texts = [c.event.text for c in found if c.watched.kind == "trip"]
    assert texts == ["discharge pressure 1700.3 kPa above its trip limit 1700 kPa"]


def test_names_for_people_have_no_unit() -> None:
    assert output_name("capacity_demand_pct") == "capacity demand"
    assert output_name("suction_set_point_kpa_abs") == "suction set point"
