"""Preparation: everything is read and checked before the first scan, and a refusal names value, limit and way out."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

from controller.process_image import Selection, Trip
from controller.registry import SHIPPED
from plant_model.derived import derive
from plant_model.instruments import Channel
from plant_model.parameters import PlantParameters
from scenarios.controllers import Kind
from scenarios.errors import InputRefused
from scenarios.kernel_cache import kernel_hash
from scenarios.limits import Limits
from scenarios.plant_file import load_plant
from scenarios.preparation import Prepared, known, prepare, settings_for, wiring_of
from scenarios.settings_sheet import write_sheet
from scenarios.starting_sheet import starting_settings

Write = Callable[..., Path]
ROOT = Path(__file__).resolve().parents[2]
LIBRARY = ROOT / "scenarios" / "library"
SHEETS = LIBRARY / "sheets"
PLANT = (LIBRARY / "plants" / "harrow_ness.toml").read_text(encoding="utf-8")
BROKEN = Path(__file__).parent / "foreign" / "broken.py"


def saturated_pa(temperature_c: float, refrigerant: str) -> float:
    """Dew-point pressure straight from CoolProp, past this project's own tables."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI("P", "T", temperature_c + 273.15, "Q", 1.0, refrigerant))


def told(*paths: Path, **options: Any) -> str:
    with pytest.raises(InputRefused) as caught:
        prepare(paths, **options)
    assert caught.value.exit_code == 2
    return " | ".join(str(problem) for problem in caught.value.problems)


def test_a_run_is_prepared(scenario: Write) -> None:
    (prepared,) = prepare([scenario()])
    assert prepared.named.kind is Kind.SHIPPED
    assert prepared.settings == SHIPPED["scheduled_pi"].settings_type()
    assert (prepared.seed, prepared.log_ms, prepared.scan_ms, prepared.step_ms) == (5, 1000, 100, 100)
    assert len(prepared.noise_std) == len(Channel)
    assert prepared.limits.pre_lubrication_ms == prepared.settings.common.sequence.pre_lubrication_ms
    assert prepared.operator().selection is Selection.LOCAL
    assert prepared.disturbances().load_heat_w == 330e3


def test_without_a_load_the_plants_base_load_stands(scenario: Write) -> None:
    assert prepare([scenario(start="")])[0].disturbances().load_heat_w == 380e3


def test_the_command_line_beats_the_file_and_is_recorded(scenario: Write) -> None:
    sheet = SHEETS / "demo_three_position.toml"
    (prepared,) = prepare([scenario()], controller="three_position", settings=sheet, seed=77, log_ms=500)
    assert (prepared.controller_name, prepared.seed, prepared.log_ms) == ("three_position", 77, 500)
    assert prepared.settings.common.volume_ratio != SHIPPED["three_position"].settings_type().common.volume_ratio
    overridden = json.loads(prepared.facts["overridden"])
    assert set(overridden) == {"controller", "settings", "seed"}
    assert overridden["seed"] == "77"
    assert (prepared.facts["seed"], prepared.facts["log_ms"]) == ("77", "500")


def test_an_override_that_overrides_nothing_else(scenario: Write) -> None:
    (prepared,) = prepare([scenario(seed=9)])
    assert json.loads(prepared.facts["overridden"]) == {}
    assert prepared.facts["seed"] == "9"


def test_facts_say_what_a_run_came_from(scenario: Write) -> None:
    path = scenario()
    facts = prepare([path], settings=SHEETS / "demo_scheduled_pi.toml")[0].facts
    assert facts["version"] == version("twoslide")
    assert facts["kernels"] == kernel_hash()
    assert (facts["scenario_file"], facts["refrigerant"], facts["duration_ms"]) == ("made.toml", "R717", "180000")
    sha256 = json.loads(facts["sha256"])
    assert {"scenario", "plant", "settings"} <= set(sha256)
    assert all(len(value) == 64 for value in sha256.values())
    path.write_text(path.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")
    again = json.loads(prepare([path], settings=SHEETS / "demo_scheduled_pi.toml")[0].facts["sha256"])
    assert again["scenario"] != sha256["scenario"]
    assert again["plant"] == sha256["plant"]


def test_a_foreign_controllers_file_is_hashed_into_the_facts(scenario: Write) -> None:
    facts = prepare([scenario(controller=f"{BROKEN}:Sound")])[0].facts
    assert len(json.loads(facts["sha256"])["controller"]) == 64


def test_the_settings_are_called_what_they_are(scenario: Write) -> None:
    sheet = SHEETS / "demo_scheduled_pi.toml"
    for named, given, said in (
        ("scheduled_pi", sheet, "demo_scheduled_pi.toml"),
        ("scheduled_pi", None, "the defaults of scheduled_pi"),
        (f"{BROKEN}:Sound", None, "the controller's own"),
        (f"{BROKEN}:KERNEL", sheet, "demo_scheduled_pi.toml"),
    ):
        assert prepare([scenario(controller=named)], settings=given)[0].facts["settings"] == said


def test_a_sheet_of_another_controller_is_refused(scenario: Write) -> None:
    words = told(scenario(), settings=SHEETS / "demo_three_position.toml")
    assert 'for the controller "three_position", not for "scheduled_pi"' in words


@pytest.mark.parametrize("log_ms", [0, -100, 50, 150, 99])
def test_a_log_interval_that_is_no_multiple_of_the_scan_is_refused(scenario: Write, log_ms: int) -> None:
    words = told(scenario(), log_ms=log_ms)
    assert f"--log-every {log_ms} ms" in words
    assert "multiple of the scan, 100 ms" in words


def other_plant(folder: Path, refrigerant: str, wet_bulb: str = "22 °C", rated: bool = True) -> Path:
    path = folder / "plant.toml"
    rating = ""
    if refrigerant == "R744" and rated:  # the demo machine's rating point lies above its tables
        rating = '\n[machine]\nrating_evaporating = "-35 °C"\nrating_condensing = "-5 °C"\n'
    text = PLANT.replace('"R717"', f'"{refrigerant}"').replace('wet_bulb = "22 °C"', f'wet_bulb = "{wet_bulb}"')
    path.write_text(text + rating, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("start", "words"),
    [
        # carbon dioxide has its critical point at 30.98 °C and 7.377 MPa (CoolProp); the tables end below
        (
            'suction_pressure = "-10 °C sat"\ndischarge_pressure = "31 °C sat"',
            ("31 °C sat", "reach from -51.6 to 9.7 °C"),
        ),
        ('suction_pressure = "2650 kPa"\ndischarge_pressure = "7400 kPa"', ("7400 kPa abs", "to 4468 kPa abs")),
        ("", ("290.6 kPa", "4467.59 kPa")),  # the default set point is ammonia's
    ],
)
def test_a_start_outside_the_tables_is_refused(
    scenario: Write, tmp_path: Path, start: str, words: tuple[str, str]
) -> None:
    said = told(scenario(start=start, plant=other_plant(tmp_path, "R744")))
    assert all(word in said for word in words), said


def test_a_condenser_too_warm_for_the_tables_is_refused(scenario: Write, tmp_path: Path) -> None:
    plant = other_plant(tmp_path, "R744", "31 °C")
    said = told(scenario(start='suction_pressure = "2650 kPa"', plant=plant))
    assert "discharge pressure at the start" in said
    assert "4467.59 kPa" in said


def test_a_rating_point_beyond_the_tables_is_refused(scenario: Write, tmp_path: Path) -> None:
    """It used to be held at the tables' end without a word: the machine's leakage then belonged to another point."""
    said = told(scenario(start='suction_pressure = "2650 kPa"', plant=other_plant(tmp_path, "R744", rated=False)))
    assert "machine.rating_condensing: saturation at 35.00 °C is outside the envelope of R744" in said
    assert "plant.toml" in said
    assert "[machine]" in said


def test_another_refrigerant_prepares_with_a_sheet_of_its_own_and_is_refused_with_ammonias(
    scenario: Write, tmp_path: Path
) -> None:
    start = 'suction_pressure = "-10 °C sat"\ndischarge_pressure = "30 °C sat"'
    path, plant = scenario(start=start, plant=other_plant(tmp_path, "R134a")), tmp_path / "plant.toml"
    assert "twoslide sheet PLANT" in told(path)
    sheet = tmp_path / "r134a.toml"
    settings, _ = starting_settings(derive(load_plant(plant, PlantParameters).parameters, "R134a"), "scheduled_pi")
    write_sheet(sheet, "scheduled_pi", settings)
    prepared = prepare([path], settings=sheet)[0]
    assert prepared.initial_state().suction.pressure_pa == pytest.approx(saturated_pa(-10.0, "R134a"), rel=1e-5)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("1700 kPa", "2500 kPa", "high_discharge_pressure_trip", ""),
        ("1700 kPa", "5100 kPa", "high_discharge_pressure_trip", "it reads 0 to 2500 kPa"),
        ("pressure_scale = 1.0", "pressure_scale = 2.0", "saturation", "superheat"),
    ],
)
def test_a_sheet_that_the_plant_cannot_follow_is_refused_at_its_line(
    tmp_path: Path, old: str, new: str, key: str, words: str
) -> None:
    text = (SHEETS / "demo_scheduled_pi.toml").read_text(encoding="utf-8")
    text = "\n".join(line for line in text.splitlines() if not line.startswith("checksum"))
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(text.replace(old, new), encoding="utf-8")
    given = [LIBRARY / "load_step_up.toml"]
    if not words:
        assert prepare(given, settings=sheet)[0].limits.trip(Trip.HIGH_DISCHARGE_PRESSURE).limit == 2.5e6  # type: ignore[union-attr]
        return
    line = next(n for n, row in enumerate(text.splitlines(), 1) if row.startswith(key + " ="))
    said = told(*given, settings=sheet)
    assert f"sheet.toml:{line}:" in said
    assert words in said


def test_a_change_on_the_way_that_no_transmitter_shows_is_refused_at_its_event(scenario: Write) -> None:
    key = "common.protection.high_discharge_pressure_trip"
    change = '[[event]]\nkind = "settings_change"\nat = "1 min"\nsetting = "{}"\nvalue = "{}"\n'
    alarm = "common.protection.high_discharge_pressure_alarm"  # of the same moment, so both are looked at together
    path = scenario(change.format(key, "5100 kPa") + change.format(alarm, "1640 kPa"))
    line = next(n for n, row in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if "5100 kPa" in row)
    said = told(path)
    assert f"made.toml:{line}:" in said
    assert "it reads 0 to 2500 kPa" in said


@pytest.mark.parametrize("start", ['suction_pressure = "3 kPa"', 'discharge_pressure = "11 MPa"'])
def test_ammonia_has_an_envelope_too(scenario: Write, start: str) -> None:
    assert "they reach from 8.939 to 3456 kPa abs" in told(scenario(start=start))


def test_a_load_out_of_reach_is_refused_before_anything_of_the_folder_runs(scenario: Write) -> None:
    good = scenario(name="good")
    bad = scenario(name="bad", start='machine = "running"\nload = "5 MW"')
    said = told(good, bad)
    assert "bad.toml" in said
    assert "the machine carries" in said
    assert "5000 kW" in said


def test_a_stopped_start_is_at_rest(scenario: Write) -> None:
    start = 'suction_pressure = "-6 °C sat"\ndischarge_pressure = "28 °C sat"\ncapacity_travel = "40 %"'
    state = prepare([scenario(start=start)])[0].initial_state()
    assert state.suction.pressure_pa == pytest.approx(saturated_pa(-6.0, "Ammonia"), rel=1e-5)
    assert state.discharge.volume.pressure_pa == pytest.approx(saturated_pa(28.0, "Ammonia"), rel=1e-5)
    assert (state.motor.speed_rad_s, state.motor.running, state.capacity.travel_frac) == (0.0, False, 0.4)


def test_a_stopped_start_without_pressures_follows_from_set_point_and_weather(scenario: Write) -> None:
    state = prepare([scenario(start="")])[0].initial_state()
    assert state.suction.pressure_pa == pytest.approx(290.6e3, rel=1e-6)
    assert state.discharge.volume.saturation.t_k == pytest.approx(295.15 + 6.0, abs=1e-3)


def test_a_running_start_carries_its_load(scenario: Write) -> None:
    prepared = prepare([scenario(start='machine = "running"\nload = "350 kW"')])[0]
    state = prepared.initial_state()
    assert state.motor.running
    assert state.suction.pressure_pa == pytest.approx(290.6e3, rel=1e-5)
    assert state.rates.refrigeration_w == pytest.approx(350e3, rel=1e-6)
    assert 0.1 < state.capacity.travel_frac < 0.9


@pytest.mark.parametrize("controller", ["broken.py:Sound", "broken.py:KERNEL"])
def test_a_running_start_is_for_shipped_controllers(scenario: Write, controller: str) -> None:
    path = scenario(start='machine = "running"', controller=str(BROKEN.parent / controller))
    said = told(path)
    assert "only a shipped controller can be told" in said
    assert 'machine = "stopped"' in said


def test_settings_of_a_controller_known_later_come_from_its_sheet_or_its_defaults(scenario: Write) -> None:
    kind = SHIPPED["scheduled_pi"].settings_type
    (bare,) = prepare([scenario(controller=f"{BROKEN}:KERNEL")])
    assert bare.settings is None
    assert bare.limits == Limits()
    assert settings_for(bare, kind, "scheduled_pi") == kind()
    sheet = SHEETS / "demo_scheduled_pi.toml"
    (sheeted,) = prepare([scenario(controller=f"{BROKEN}:KERNEL")], settings=sheet)
    assert settings_for(sheeted, kind, "scheduled_pi") != kind()
    with pytest.raises(InputRefused, match="scheduled_pi"):
        settings_for(sheeted, SHIPPED["three_position"].settings_type, "three_position")


def test_every_instrument_has_its_place_in_the_wiring(scenario: Write) -> None:
    (prepared,) = prepare([scenario()])
    wiring = wiring_of(prepared.plant.parameters.instruments)
    assert wiring == prepared.wiring
    assert len(wiring.low) == len(wiring.high) == len(Channel)
    assert all(low < high for low, high in zip(wiring.low, wiring.high, strict=True))


def test_what_files_may_name() -> None:
    names = known()
    assert set(names.settings_types) == set(SHIPPED) == set(names.settings_cross_checks)
    assert len(names.instruments) == 15
    assert names.check_refrigerant is not None
    assert list(names.check_refrigerant("R717")) == []
    assert list(names.check_refrigerant("R99999")) != []


def test_preparing_twice_gives_the_same(scenario: Write) -> None:
    path = scenario()
    one, other = prepare([path])[0], prepare([path])[0]
    for f in fields(Prepared):
        if f.name not in ("parameters", "plant", "scenario"):
            assert getattr(one, f.name) == getattr(other, f.name), f.name
    assert one.initial_state() == other.initial_state()
