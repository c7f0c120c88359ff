"""The questionnaire: answers in every dress, the file it writes, and what is asked again or refused."""

from __future__ import annotations

from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from scenarios.errors import InputRefused
from scenarios.plant_draws import uncertain_values
from scenarios.plant_file import Plant, load_plant
from scenarios.preparation import known
from scenarios.quantities import Site
from tools.tuning.questionnaire import (
    default_of,
    limits_of_item,
    new,
    read_answer,
    read_answers,
    swept_volume_m3_h,
    write_plant,
)
from tools.tuning.questionnaire_items import BEFORE, ITEMS, SWEPT_VOLUME

ITEM = {item.key: item for item in ITEMS}
TEXTS = {item.key: item.default for item in BEFORE}


def load(path: Path) -> Plant[PlantParameters]:
    k = known()
    return load_plant(path, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa, k.check_refrigerant)


def run(*arguments: str, typed: str = "") -> tuple[object, str]:
    result = CliRunner().invoke(new, [*arguments], input=typed, standalone_mode=False)
    return result.exception or result.exit_code, result.output


@pytest.mark.parametrize("item", ITEMS, ids=lambda i: i.key)
def test_every_default_lies_within_its_limits_and_reads_as_itself(item: object) -> None:
    usual = default_of(item)  # type: ignore[arg-type]
    low, high = limits_of_item(item)  # type: ignore[arg-type]
    assert low <= usual.value <= high
    read = read_answer(item, f"{usual.value:.9g}", Site())  # type: ignore[arg-type]
    assert read.value == pytest.approx(usual.value)
    assert read.spread == usual.spread


def test_defaults_make_the_demo_machine(tmp_path: Path) -> None:
    write_plant(tmp_path / "a.toml", TEXTS, {i.key: default_of(i) for i in ITEMS})
    plant, demo = load(tmp_path / "a.toml"), PlantParameters()
    assert plant.parameters.rotor.main_radius_m == pytest.approx(demo.rotor.main_radius_m, rel=1e-4)
    assert plant.parameters.evaporator == demo.evaporator
    assert plant.parameters.capacity_drive == demo.capacity_drive
    assert plant.uncertainty["capacity_drive.load_stroke"] == 5000.0
    assert {v.key for v in uncertain_values(plant)} >= {"suction_vessel.volume", "rotor.main_radius"}


@pytest.mark.parametrize(
    ("key", "text", "value", "spread"),
    [
        ("suction_vessel.volume", "7.5 m³ ± 0.4 m³", 7.5, 0.4),
        ("suction_vessel.volume", "7500 L +/- 4 %", 7.5, 0.3),
        ("suction_vessel.volume", "7,5", 7.5, 0.38),
        ("discharge_side.wet_bulb", "71.6 °F ± 2 K", 22.0, 2.0),
        ("suction_vessel.level_set", "35 % ± 3 %", 35.0, 3.0),
        ("capacity_drive.load_stroke", "48 ± 2", 48.0, 2.0),
        ("motor.rated_shaft_power", "250", 250.0, None),
        ("machine.leakage", "0.02 ± 0.004", 0.02, 0.004),
    ],
)
def test_answers_as_people_write_them(key: str, text: str, value: float, spread: float | None) -> None:
    answer = read_answer(ITEM[key], text, Site())
    assert answer.value == pytest.approx(value, rel=1e-9)
    assert answer.spread == (None if spread is None else pytest.approx(spread, rel=0.02))


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("suction_vessel.volume", "500 m³", "at most 200 m³"),
        ("suction_vessel.volume", "5 kW", "is a power"),
        ("suction_vessel.volume", "5 ± 9", "out of range"),
        ("suction_vessel.volume", "5 ± -1", "out of range"),
        ("suction_vessel.volume", "5 ± 1 ± 2", "is not a value"),
        ("suction_vessel.volume", "", "is not a value"),
        ("suction_vessel.volume", "nan", "not a finite"),
        ("motor.rated_shaft_power", "250 ± 3", "no ± is asked"),
        ("discharge_side.wet_bulb", "99", "at most"),
    ],
)
def test_bad_answers_say_the_limit(key: str, text: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        read_answer(ITEM[key], text, Site())


@settings(max_examples=60, deadline=None)  # an unknown unit goes to a slow library
@given(st.text(max_size=30))
def test_any_text_is_a_value_or_refused(text: str) -> None:
    for key in ("suction_vessel.volume", "discharge_side.wet_bulb", "machine.leakage"):
        low, high = limits_of_item(ITEM[key])
        try:
            answer = read_answer(ITEM[key], text, Site())
        except InputRefused:
            continue
        assert low <= answer.value <= high
        assert answer.spread is not None
        assert answer.spread >= 0.0


def test_the_swept_volume_becomes_the_size_of_the_rotors(tmp_path: Path) -> None:
    answers = {i.key: default_of(i) for i in ITEMS}
    answers[SWEPT_VOLUME] = read_answer(ITEM[SWEPT_VOLUME], "1500 ± 30", Site())
    write_plant(tmp_path / "a.toml", TEXTS, answers)
    plant = load(tmp_path / "a.toml")
    rotor, speed = plant.parameters.rotor, plant.parameters.machine.nominal_speed_1_s
    assert swept_volume_m3_h(rotor, speed) == pytest.approx(1500.0, rel=1e-5)
    from dataclasses import replace

    wider = replace(rotor, main_radius_m=rotor.main_radius_m + plant.uncertainty["rotor.main_radius"])
    assert swept_volume_m3_h(wider, speed) == pytest.approx(1530.0, rel=2e-3)
    derive(plant.parameters, plant.refrigerant)


def test_a_conversation_asks_again_and_writes_what_was_said(tmp_path: Path) -> None:
    path = tmp_path / "mill.toml"
    typed = ["Mill Lane", "R9999", "R717"]
    for item in ITEMS:
        if item.key == "suction_vessel.volume":
            typed += ["900", "8 m³", "12 m³", "0.8"]  # too large, good; ± too large, good
        elif item.spread_frac is None:
            typed.append("")
        else:
            typed += ["", ""]
    code, output = run(str(path), typed="\n".join(typed) + "\n")
    assert code == 0, output
    assert "at most 200 m³" in output
    plant = load(path)
    assert plant.title == "Mill Lane"
    assert plant.parameters.suction_vessel.volume_m3 == 8.0
    assert plant.uncertainty["suction_vessel.volume"] == 0.8
    assert "not known: Conductance of the condenser" in output


def test_a_conversation_that_is_broken_off_writes_nothing(tmp_path: Path) -> None:
    code, _ = run(str(tmp_path / "a.toml"), typed="Mill Lane\nR717\n")
    assert isinstance(code, click.Abort)
    assert list(tmp_path.iterdir()) == []


def test_an_answers_file(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text(
        'title = "Mill Lane"\nrefrigerant = "R717"\n"suction_vessel.volume" = "8 m³ ± 0.8 m³"\n'
        'evaporator.base_load = "420 kW ± 40 kW"\n',
        encoding="utf-8",
    )
    code, output = run(str(tmp_path / "a.toml"), "--answers", str(answers))
    assert code == 0, output
    plant = load(tmp_path / "a.toml")
    assert plant.parameters.evaporator.base_load_w == 420e3
    assert plant.uncertainty["evaporator.base_load"] == 40e3
    assert "2 values given" in output


def test_every_wrong_answer_of_a_file_is_told_with_its_line(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text(
        'title = ""\n"suction_vessel.volum" = "8 m³"\n"evaporator.base_load" = "9 m"\n', encoding="utf-8"
    )
    with pytest.raises(InputRefused) as caught:
        read_answers(answers)
    assert [p.line for p in caught.value.problems] == [1, 2, 3]
    assert 'did you mean "suction_vessel.volume"' in str(caught.value)


def test_nothing_is_overwritten_unless_told(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_text("mine", encoding="utf-8")
    code, _ = run(str(path))
    assert isinstance(code, InputRefused)
    assert path.read_text(encoding="utf-8") == "mine"
    answers = tmp_path / "b.toml"
    answers.write_text('title = "New"\n', encoding="utf-8")
    assert run(str(path), "--answers", str(answers), "--overwrite")[0] == 0
    assert load(path).title == "New"


def test_values_that_contradict_each_other_are_refused_before_writing(tmp_path: Path) -> None:
    answers = tmp_path / "b.toml"
    answers.write_text('title = "New"\n"suction_vessel.level_set" = "80 %"\n', encoding="utf-8")
    code, _ = run(str(tmp_path / "a.toml"), "--answers", str(answers))
    assert isinstance(code, InputRefused)
    assert "high-high level" in str(code)
    assert not (tmp_path / "a.toml").exists()
