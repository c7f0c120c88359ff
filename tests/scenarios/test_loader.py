"""Scenario files read whole: everything right, and every wrong thing placed."""

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.event_kinds import BatchArrivals, LoadLogPlayed, LoadStep, WaitFor
from scenarios.known import Overrides
from scenarios.loader import load_scenarios
from scenarios.scenario import Scenario, Threshold
from tests.scenarios.example_files import KNOWN, PLANT, SCENARIO, SHEET, write_all


def load(path: Path, overrides: Overrides | None = None) -> Scenario:
    (scenario,) = load_scenarios([path], KNOWN, overrides)
    return scenario


def told(*paths: Path, overrides: Overrides | None = None) -> str:
    with pytest.raises(InputRefused) as caught:
        load_scenarios(paths, KNOWN, overrides)
    return str(caught.value)


def test_a_scenario_is_read_whole(tmp_path: Path) -> None:
    scenario = load(write_all(tmp_path / "a"))
    assert (scenario.title, scenario.duration_ms, scenario.seed) == ("Two steps", 7_200_000, 7)
    assert scenario.plant.title == "Invented store"
    assert scenario.controller == "plain"
    assert scenario.controller_path is None
    assert scenario.sheet is not None
    assert scenario.sheet.settings.trip_c == 100.0
    assert [type(e) for e in scenario.events] == [LoadStep, BatchArrivals, LoadLogPlayed, WaitFor]
    assert scenario.thresholds == {3: Threshold("suction_pressure_pa", 250e3, False)}
    assert scenario.load_logs["load.csv"].load_w == (100e3, 120.5e3, 110e3)
    assert set(scenario.sha256) == {"scenario", "plant", "settings", "load_log:load.csv"}
    assert all(len(value) == 64 for value in scenario.sha256.values())
    assert scenario.start.capacity_travel_frac == 0.6


def test_gauge_in_a_scenario_uses_the_plants_air(tmp_path: Path) -> None:
    scenario = load(write_all(tmp_path))
    air_pa = scenario.plant.site.barometric_pressure_pa
    assert air_pa is not None
    assert scenario.start.suction_pressure_pa == pytest.approx(190e3 + air_pa)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("expects", "expect", ':3:1: unknown key "expect"; did you mean "expects"?'),
        ('expects = "no trip"\n', "", 'key "expects" is missing'),
        ('"no trip"', '""', ":3:11: expects: must not be empty"),
        ('"2 h"', '"-2 h"', ':7:12: duration: "-2 h" is out of range; allowed: at least 1 ms'),
        ('"2 h"', '"0 s"', ':7:12: duration: "0 s" is out of range'),
        ('"2 h"', '"400 d"', ":7:12: duration is 400 days; allowed: at most 366 days"),
        ('"2 h"', "7200", ":7:12: duration: the bare number 7200 has no unit"),
        ("seed = 7", 'seed = "7"', ':8:8: seed: "7" is not a whole number, without quotes'),
        ("seed = 7", "seed = -7", ":8:8: seed: -7 is out of range; allowed: at least 0"),
        ('"plant.toml"', '"plan.toml"', ":4:9: plant: no such file"),
        ('"plant.toml"', '"."', ":4:9: plant: is a folder"),
        ('"plant.toml"', '"a\\u0000b"', ":4:9: plant: no such file"),
        ('"plant.toml"', "3", ":4:9: plant: 3 is not a text in quotes"),
        ('"sheet.toml"', '"shet.toml"', ":6:12: settings: no such file"),
        ('controller = "plain"', 'controller = "plane"', ':5:14: unknown controller "plane"; did you mean "plain"?'),
        ('controller = "plain"', 'controller = "mine.py:X"', "5:14: controller: no such file"),
        ('controller = "plain"', 'controller = "mine.py"', "5:14: controller \"mine.py\" does not say which class"),
        ('controller = "plain"', 'controller = "other"', 'sheet.toml:1:14: this sheet is for the controller "plain", '),
        ('"1350 kPa"', '"150 kPa"', ":10:2: start: condensing below suction: discharge pressure 150 kPa abs"),
        ('"60 %"', '"160 %"', ':14:19: start.capacity_travel: "160 %" is out of range; allowed: at least 0 %, at most 1'),
        ('"running"', '"jogging"', ':11:11: start.machine: "jogging" is not one of the choices; known: running, stopped'),
        ("load = ", "lode = ", ':15:1: unknown key "lode"; did you mean "load"?'),
        ('"load_step"', '"load_stop"', ':18:8: unknown kind of event "load_stop"; did you mean "load_step"?'),
        ('kind = "load_step"\n', "", ':17:1: key "kind" is missing'),
        ('at = "10 min"', "", ':17:1: key "at" is missing'),
        ('change = "+120 kW"', 'chnge = "+120 kW"', ':20:1: unknown key "chnge"; did you mean "change"?'),
        ('"+120 kW"', '"+120 kPa"', ':20:10: change: "+120 kPa" is a pressure, but a power is expected'),
        ('"10 min"', '"3 h"', ":19:6: at is 3 h, but the run ends at 2 h"),
        ('"10 min"', '"2 h"', ":19:6: at is 2 h, but the run ends at 2 h"),
        ('until = "1 h"', 'until = "3 h"', ":25:9: until is 3 h"),
        ('until = "1 h"', 'until = "0 h"', ':22:1: "until" must be later than "from"'),
        ('"load.csv"', '"loda.csv"', ":32:8: event[2].file: no such file"),
        ('"load.csv"', '"plant.toml"', "plant.toml:1: one column only"),
        ('"suction_pressure_pa"', '"suction_pressure"', ':36:10: unknown column "suction_pressure"; did you mean'),
        ('"250 kPa"', '"250 kW"', ":37:9: \"250 kW\" is a power"),
        ('"40 %" }', '"140 %" }', ':38:69: then.demand: "140 %" is out of range; allowed: at least -100 %, at most 100 %'),
        ('kind = "operator"', 'kind = "operatr"', ':38:17: unknown kind of event "operatr"'),
        ('demand = "40 %"', 'demnd = "40 %"', ':38:60: unknown key "demnd"; did you mean "demand"?'),
        ('kind = "operator"', 'kind = "load_log"', ":38:8: then: this kind of event cannot wait"),
        ("[[event]]", "[event]", "not valid TOML"),
        ("below", 'above = "1 kPa"\nbelow', 'give either "above" or "below"'),
    ],
)  # fmt: skip
def test_what_is_refused_and_where(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in SCENARIO
    message = told(write_all(tmp_path, scenario=SCENARIO.replace(old, new, 1)))
    assert (f"scenario.toml{words}" if words.startswith(":") else words) in message


def test_an_unknown_instrument_is_placed(tmp_path: Path) -> None:
    fault = '\n[[event]]\nkind = "instrument_fault"\nat = "1 s"\ninstrument = "suction_presure"\nfault = "stuck"\n'
    message = told(write_all(tmp_path, scenario=SCENARIO + fault))
    assert 'scenario.toml:45:14: unknown instrument "suction_presure"; did you mean "suction_pressure"?' in message


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ('fault = "strainer_foulin"\nsize = "9 %"', ':45:9: fault: unknown fault "strainer_foulin"; did you mean "st'),
        ('fault = "strainer_fouling"\nsize = "99 %"', ':46:8: size: "99 %" is out of range; allowed: at least 0 %, at mo'),
        ('fault = "capacity_slide_drift"\nsize = -2', ":46:8: size: -2 is out of range; allowed: at least -1, at most 1"),
        ('fault = "contactor_stuck"\nsize = "9 %"', "takes no size"),
        ('fault = "strainer_fouling"', "needs a size"),
    ],
)  # fmt: skip
def test_a_fault_and_its_size_are_placed(tmp_path: Path, fault: str, words: str) -> None:
    event = f'\n[[event]]\nkind = "plant_fault"\nat = "1 s"\n{fault}\n'
    assert words in told(write_all(tmp_path, scenario=SCENARIO + event))


def test_every_problem_of_every_file_is_told_at_once(tmp_path: Path) -> None:
    first = write_all(tmp_path / "a", plant=PLANT.replace("40 %", "140 %"), sheet=SHEET.replace("100 °C", "900 °C"))
    second = write_all(tmp_path / "b", scenario=SCENARIO.replace('"2 h"', '"-2 h"').replace('"load_step"', '"x"', 1))
    message = told(first, second)
    for words in (
        "a/plant.toml:10:9",
        "a/scenario.toml:4:9",
        "a/sheet.toml:4:8",
        "b/scenario.toml:7:12",
        "b/scenario.toml:18:8",
    ):
        assert words in message
    assert len(message.splitlines()) == 5


def test_a_folder_holds_scenarios_beside_other_files(tmp_path: Path) -> None:
    write_all(tmp_path)
    (tmp_path / "another.toml").write_text(SCENARIO.replace("Two steps", "Another"))
    assert [s.title for s in load_scenarios([tmp_path], KNOWN)] == ["Another", "Two steps"]


def test_a_broken_file_in_a_folder_is_not_passed_over(tmp_path: Path) -> None:
    write_all(tmp_path)
    (tmp_path / "broken.toml").write_text("title = ")
    assert "broken.toml:1:9" in told(tmp_path)


def test_no_scenario_at_all(tmp_path: Path) -> None:
    assert "holds no scenario" in told(tmp_path)
    assert "no scenario was named" in told()
    assert "no such file" in told(tmp_path / "none.toml")


def test_command_line_beats_the_scenario_and_is_recorded(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    (tmp_path / "other_sheet.toml").write_text(SHEET.replace("plain", "other").replace("100 °C", "90 °C"))
    scenario = load(path, Overrides("other", tmp_path / "other_sheet.toml", 99))
    assert (scenario.controller, scenario.seed) == ("other", 99)
    assert scenario.sheet is not None
    assert scenario.sheet.settings.trip_c == 90.0
    assert set(scenario.overridden) == {"controller", "settings", "seed"}


def test_another_controller_does_not_take_the_scenarios_sheet(tmp_path: Path) -> None:
    scenario = load(write_all(tmp_path), Overrides(controller="other"))
    assert scenario.sheet is None
    assert "runs with its own default settings" in scenario.notes[0]


def test_code_of_ones_own_has_no_default_settings_to_tell_of(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    (tmp_path / "mine.py").write_text("class Mine: ...\n")
    (note,) = load(path, Overrides(controller=f"{tmp_path}/mine.py:Mine")).notes
    assert note.endswith("so mine.py:Mine runs without a sheet")


def test_a_wrong_command_line_names_its_option(tmp_path: Path) -> None:
    path = write_all(tmp_path)
    assert '--controller: unknown controller "plane"' in told(path, overrides=Overrides(controller="plane"))
    assert "--seed -1 is out of range" in told(path, overrides=Overrides(seed=-1))
    assert "nowhere.toml: no such file" in told(path, overrides=Overrides(settings=Path("nowhere.toml")))


def test_a_controller_of_ones_own_is_found_beside_the_scenario(tmp_path: Path) -> None:
    path = write_all(tmp_path, scenario=SCENARIO.replace('controller = "plain"', 'controller = "mine.py:Mine"'))
    (tmp_path / "mine.py").write_text("class Mine: ...\n")
    scenario = load(path)
    assert scenario.controller == f"{tmp_path / 'mine.py'}:Mine"
    assert scenario.controller_path == tmp_path / "mine.py"
    assert (scenario.sheet, scenario.sheet_path) == (None, tmp_path / "sheet.toml")
    assert len(scenario.sha256["controller"]) == 64
