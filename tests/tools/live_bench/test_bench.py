"""The session of a live bench, without a clock and without a server."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from scenarios.row import INDEX
from scenarios.runner import play_prepared
from tests.tools.live_bench.rig import scenario_file
from tools.live_bench.bench import BY_HAND, Bench
from tools.live_bench.frames import COLUMNS_SHOWN
from tools.live_bench.session_folder import open_folder

STEP = {"kind": "load_step", "change": "+120 kW"}
SUCTION = INDEX["suction_pressure_pa"]


def play(bench: Bench, seconds: float, begin_s: float = 0.0, speed: int = 1000) -> list[dict[str, Any]]:
    """Let a bench run for so many simulated seconds by a clock of this test's own."""
    bench.set_speed(speed, begin_s)
    bench.run(begin_s)
    frames = []
    steps = max(1, round(seconds / speed * 10.0))
    for k in range(1, steps + 1):
        frame = bench.tick(begin_s + 0.1 * k)
        if frame:
            frames.append(frame)
    if not bench.ended:
        bench.pause()
    return frames


def same_as_a_run(bench: Bench) -> None:
    """`twoslide run session.toml` gives the rows and events of the session."""
    bench.save()
    trace, failure, *_ = play_prepared(prepare([bench.folder / "session.toml"])[0], bench.folder)
    assert failure == ""
    mine = bench.trace()
    count = len(mine["time_ms"])
    assert count > 2
    for name, values in mine.values.items():
        assert np.array_equal(values, trace.values[name][:count]), name
    until_ms = bench.time_ms
    assert [e for e in mine.events if e.time_ms < until_ms] == [e for e in trace.events if e.time_ms < until_ms]


def test_at_one_times_the_clock_no_scan_is_left_out(bench: Bench) -> None:
    frames = play(bench, 20.0, speed=1)
    times = [row[0] for frame in frames for row in frame["rows"]]
    assert times == list(range(0, 20_000, 100))
    assert bench.time_ms == 20_000


@pytest.mark.parametrize(("speed", "apart_ms"), [(2, 200), (5, 500), (10, 1000), (1000, 1000)])
def test_faster_a_row_a_second_at_the_least(bench: Bench, speed: int, apart_ms: int) -> None:
    frames = play(bench, 4.0 * speed, speed=speed)
    times = [row[0] for frame in frames for row in frame["rows"]]
    assert len(times) >= 20
    assert set(np.diff(times)) == {apart_ms}


def test_what_is_done_is_reproduced_by_a_run(bench: Bench) -> None:
    play(bench, 700.0)
    bench.act([STEP])
    bench.scan()
    bench.act([{"kind": "settings_change", "setting": "pi.proportional_band", "value": "40 kPa"}])
    play(bench, 300.0)
    bench.act([{"kind": "defrost", "group": 1, "hot_gas": "60 s", "bleed_down": "30 s"}])
    bench.act([{"kind": "instrument_fault", "instrument": "oil_temperature", "fault": "bias", "size": "2 %"}])
    play(bench, 12.0, speed=1)
    bench.act([{"kind": "plant_fault", "fault": "capacity_slide_stuck", "lasting": "40 s"}])
    play(bench, 400.0)
    bench.act([{"kind": "operator", "action": "stop_button"}])
    play(bench, 100.0)
    same_as_a_run(bench)
    assert bench.trace().events[-1].time_ms > 0


ACTIONS = st.sampled_from(
    [
        STEP,
        {"kind": "load_step", "to": "200 kW"},
        {"kind": "plant_fault", "fault": "oil_cooler_fouling", "size": "60 %", "over": "30 s", "lasting": "20 s"},
        {"kind": "plant_fault", "fault": "volume_ratio_slide_stuck", "lasting": "30 s"},
        {"kind": "load_loss", "lasting": "20 s"},
        {"kind": "evaporator_group", "group": 1, "load": "33.3 kW", "lasting": "30 s"},
        {"kind": "instrument_fault", "instrument": "suction_pressure", "fault": "stuck", "lasting": "10 s"},
        {"kind": "operator", "action": "capacity_manual_on", "demand": "40 %"},
        {"kind": "operator", "action": "reset"},
        {"kind": "power_dip", "lasting": "300 ms"},
        {"kind": "settings_change", "setting": "common.capacity.suction_set_point", "value": "-9 °C sat"},
        {"kind": "settings_change", "setting": "pi.integral_time", "value": "20 s"},
    ]
)
MOVES = st.lists(st.tuples(st.sampled_from([1, 10, 200]), st.integers(1, 8), ACTIONS), min_size=1, max_size=6)
TIES = """
[[event]]
kind = "batch_arrivals"
from = "1 s"
until = "30 min"
every = "20 s"
heat = "60 kW"
lasting = "30 s"
"""


@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(MOVES)
def test_any_session_is_reproduced_by_a_run(bench_with: Callable[..., Bench], moves: list[Any]) -> None:
    bench = bench_with(TIES, "40 min")
    now_s = 0.0
    for speed, tenths, action in moves:
        bench.set_speed(speed, now_s)
        bench.run(now_s)
        for _ in range(tenths):
            now_s += 0.1
            bench.tick(now_s)
        bench.act([action])
    play(bench, 100.0, now_s)
    folder = bench.folder
    same_as_a_run(bench)
    shutil.rmtree(folder)


def test_a_session_without_lasting_events_ends_where_it_stands(bench: Bench) -> None:
    play(bench, 200.0)
    bench.act([STEP])
    play(bench, 100.0)
    assert bench.save()
    assert prepare([bench.folder / "session.toml"])[0].scenario.duration_ms == bench.time_ms == 300_000


def test_a_kept_moment_is_reached_again_and_what_came_after_is_undone(bench: Bench) -> None:
    play(bench, 300.0)
    bench.act([STEP])
    bench.mark("before the surge")
    at_mark = bench.time_ms
    play(bench, 200.0)
    straight = bench.trace()
    bench.act([{"kind": "load_loss"}])
    play(bench, 200.0)
    bench.back(1)
    assert bench.time_ms == at_mark
    assert len(bench.journal.actions) == 1
    play(bench, 200.0)
    again = bench.trace()
    for name, values in straight.values.items():
        assert np.array_equal(values, again.values[name]), name
    bench.back(0)
    assert (bench.time_ms, bench.journal.actions) == (0, [])
    with pytest.raises(InputRefused, match="there is no moment 1"):
        bench.back(1)


def test_a_killed_session_goes_on_where_it_was(bench: Bench) -> None:
    play(bench, 300.0)
    bench.act([STEP])
    bench.mark("x")
    bench.act([{"kind": "load_loss", "lasting": "20 s"}])
    play(bench, 100.0)
    again = Bench(bench.folder)
    assert (again.time_ms, again.state, again.moments()) == (bench.time_ms, "paused", bench.moments())
    for name, values in bench.trace().values.items():
        assert np.array_equal(values, again.trace().values[name]), name
    with (bench.folder / "journal.jsonl").open("a", encoding="utf-8") as out:
        out.write('{"act": [{"kind": "load_')  # killed while it was written
    torn = Bench(bench.folder)
    assert len(torn.journal.actions) == 2
    torn.act([STEP])
    assert len(Bench(bench.folder).journal.actions) == 3


def test_a_damaged_journal_is_refused_with_its_line(bench: Bench) -> None:
    (bench.folder / "journal.jsonl").write_text('{"act": [1]}\nnonsense\n{"back": 0}\n')
    with pytest.raises(InputRefused, match=r"journal\.jsonl:2"):
        Bench(bench.folder)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"kind": "load_log", "file": "/etc/passwd"}, "cannot be done by hand"),
        ({"kind": "weather_log", "file": "x", "day": "01-01"}, "cannot be done by hand"),
        ({"kind": "nonsense"}, "cannot be done by hand"),
        ({}, "cannot be done by hand"),
        ({**STEP, "at": "3 s"}, "takes no time"),
        ({"kind": "load_step", "change": "+1e9 MW"}, "out of range"),
        ({"kind": "load_step", "change": "warm"}, "warm"),
        ({"kind": "load_step", "change": "+1 kW", "file": "../x"}, "unknown key"),
        ({"kind": "defrost", "group": 9, "hot_gas": "1 s", "bleed_down": "1 s"}, "group"),
        ({"kind": "plant_fault", "fault": "oil_cooler_foul", "size": "10 %"}, "did you mean"),
        ({"kind": "settings_change", "setting": "pi.integral_time", "value": "9 h"}, "out of range"),
        ({"kind": "settings_change", "setting": "common.inhibit.suction_hold", "value": "300 kPa"}, "set point"),
    ],
)
def test_what_a_file_would_not_have_is_refused_and_nothing_has_happened(
    bench: Bench, table: dict[str, Any], words: str
) -> None:
    play(bench, 10.0)
    before = (bench.time_ms, list(bench.journal.actions), (bench.folder / "session.toml").read_text())
    with pytest.raises(InputRefused, match=words):
        bench.act([table])
    assert before == (bench.time_ms, bench.journal.actions, (bench.folder / "session.toml").read_text())
    assert sorted(p.name for p in bench.folder.iterdir() if p.name.startswith(".")) == []


def test_a_change_of_settings_acts_at_the_next_scan_and_moves_nothing_by_itself(bench: Bench) -> None:
    play(bench, 900.0)
    demand = INDEX["capacity_demand_frac"]
    before = bench.session.values[demand]
    bench.act([
        {"kind": "settings_change", "setting": "pi.proportional_band", "value": "35 kPa"},
        {"kind": "settings_change", "setting": "pi.integral_time", "value": "20 s"},
    ])  # fmt: skip
    assert bench.settings()["pi.integral_time"] == "20 s"
    for _ in range(2):
        bench.scan()
    assert abs(bench.session.values[demand] - before) < 5e-3
    assert bench.session.settings_now.pi.proportional_band_kpa == 35.0
    assert bench.settings()["pi.proportional_band"] == "35 kPa"


def test_the_planned_end_ends_it_and_going_back_begins_again(bench_with: Callable[..., Bench]) -> None:
    bench = bench_with("", "2 min")
    frames = play(bench, 300.0)
    assert bench.state == "ended"
    assert frames[-1]["ended"] == "the scenario has reached its planned end"
    with pytest.raises(InputRefused, match="time stands still"):
        bench.run(1.0)
    with pytest.raises(InputRefused, match="time stands still"):
        bench.scan()
    with pytest.raises(InputRefused, match="nothing can happen any more"):
        bench.act([STEP])
    bench.back(0)
    assert bench.state == "paused"


WILD = """
class Wild:
    def reset(self): ...
    def scan(self, inputs, outputs, now_ms):
        outputs.oil_pump = outputs.motor_run = outputs.capacity_load = True
class Raises(Wild):
    def scan(self, inputs, outputs, now_ms):
        if now_ms >= 5000:
            raise ValueError("no more")
"""


def plug_in_bench(tmp_path: Path, name: str) -> Bench:
    (tmp_path / "own.py").write_text(WILD)
    text = scenario_file(tmp_path).read_text().replace('"scheduled_pi"', f'"own.py:{name}"')
    text = "".join(line for line in text.splitlines(True) if not line.startswith(("settings", "machine")))
    (tmp_path / "opening.toml").write_text(text)
    open_folder(tmp_path / "session", prepare([tmp_path / "opening.toml"])[0], open_ended=False)
    return Bench(tmp_path / "session")


def test_a_run_that_leaves_the_model_is_told(tmp_path: Path) -> None:
    bench = plug_in_bench(tmp_path, "Wild")
    assert bench.settings() == {}
    assert bench.facts()["settings_known"] == []
    with pytest.raises(InputRefused, match="own business"):
        bench.act([{"kind": "settings_change", "setting": "pi.integral_time", "value": "20 s"}])
    bench.act([{"kind": "condenser_fans", "running": "0 %"}, {"kind": "load_step", "to": "2 MW"}])
    frames = play(bench, 6000.0)
    assert "the plant left what its model can describe" in frames[-1]["ended"]
    bench.back(0)
    assert bench.state == "paused"


def test_a_controller_that_raises_ends_the_session_in_words(tmp_path: Path) -> None:
    bench = plug_in_bench(tmp_path, "Raises")
    frames = play(bench, 20.0, speed=10)
    assert "the controller raised ValueError: no more" in frames[-1]["ended"]
    assert bench.time_ms == 5000


def test_scores_history_and_facts(bench: Bench) -> None:
    assert bench.scores() == []
    first = bench.history()
    assert (first["rows"], first["time_ms"], first["state"]) == ([], 0, "paused")
    play(bench, 1000.0)
    labels = {s["label"]: s["text"] for s in bench.scores()}
    assert "energy per cooling" in labels
    told = bench.history()
    assert len(told["rows"]) == bench.session.run.row_count
    assert all(len(row) == len(COLUMNS_SHOWN) for row in told["rows"])
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    facts = bench.facts()
    assert facts["controller"] == "scheduled_pi"
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_the_log_is_exported_with_every_column(bench: Bench) -> None:
    play(bench, 100.0)
    assert "101 rows" in bench.export() or "100 rows" in bench.export()
    table = pl.read_csv(bench.folder / "log.csv")
    assert table["time_ms"].to_list() == bench.trace()["time_ms"].tolist()
    assert table["suction_pressure_pa"].to_list() == pytest.approx(bench.trace()["suction_pressure_pa"].tolist())
    assert (bench.folder / "events.csv").is_file()


def test_the_folder_holds_copies_of_all_that_it_needs(bench: Bench, tmp_path: Path) -> None:
    play(bench, 50.0)
    bench.save()
    moved = tmp_path / "elsewhere"
    shutil.move(bench.folder, moved)
    assert Bench(moved).time_ms == bench.time_ms
    assert prepare([moved / "session.toml"])[0].scenario.plant.path.parent == moved


def test_what_can_be_done_by_hand_names_no_file() -> None:
    assert {"load_step", "defrost", "instrument_fault", "plant_fault", "operator", "settings_change"} <= set(BY_HAND)
    assert not {"load_log", "weather_log"} & set(BY_HAND)
