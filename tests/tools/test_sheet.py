"""`twoslide sheet`: written once, loads for its plant, and never over a file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from CoolProp.CoolProp import PropsSI

from controller.registry import SHIPPED
from controller.saturation import saturation_temperature_c
from scenarios.preparation import prepare
from scenarios.runner import execute
from tools.cli import main

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"


@pytest.mark.parametrize("controller", SHIPPED)
def test_the_sheet_it_writes_runs_on_its_plant(tmp_path: Path, controller: str) -> None:
    plant, sheet = LIBRARY / "plants" / "harrow_ness.toml", tmp_path / "mine.toml"
    made = CliRunner().invoke(main, ["sheet", str(plant), "--controller", controller, "--out", str(sheet)])
    assert made.exit_code == 0, made.output
    assert "check every trip" in made.output
    (prepared,) = prepare([LIBRARY / "load_step_up.toml"], controller=controller, settings=sheet)
    assert prepared.scenario.notes == ()
    before = sheet.read_bytes()
    again = CliRunner().invoke(main, ["sheet", str(plant), "--controller", controller, "--out", str(sheet)])
    assert again.exit_code == 2
    assert "is there already" in again.output
    assert sheet.read_bytes() == before


R744 = """\
title = "Second tunnel"
purpose = "a low stage at high pressure"
expects = "no trip, and suction within 2 K"
plant = "r744_cascade.toml"
controller = "CONTROLLER"
settings = "mine.toml"
duration = "30 min"
[start]
machine = "running"
[[event]]
kind = "load_step"
at = "10 min"
change = "+40 kW"
"""


@pytest.mark.parametrize("controller", SHIPPED)
def test_a_subcritical_r744_plant_gets_a_sheet_that_runs(tmp_path: Path, controller: str) -> None:
    plant, sheet, scenario = (tmp_path / name for name in ("r744_cascade.toml", "mine.toml", "step.toml"))
    shutil.copy(Path(__file__).parents[1] / "scenarios" / "r744_cascade.toml", plant)
    made = CliRunner().invoke(main, ["sheet", str(plant), "--controller", controller, "--out", str(sheet)])
    assert made.exit_code == 0, made.output
    assert "out of range" not in made.output
    scenario.write_text(R744.replace("CONTROLLER", controller), encoding="utf-8")
    (prepared,) = prepare([scenario])
    assert prepared.scenario.notes == ()
    # −32 and −5 °C: 1334 and 3046 kPa; source: CoolProp
    common = prepared.settings.common
    assert common.capacity.suction_set_point_kpa_abs == pytest.approx(
        PropsSI("P", "T", 241.15, "Q", 1, "CO2") / 1e3, rel=2e-3
    )
    assert saturation_temperature_c(common.refrigerant, 3046.0) == pytest.approx(
        PropsSI("T", "P", 3046e3, "Q", 1, "CO2") - 273.15, abs=0.1
    )
    result = execute(prepared, None)
    assert result.failure is None
    assert result.scores.value("trips_count") == 0
    assert result.scores.violations == ()
    assert (result.scores.value("suction_deviation_peak_k") or 9.0) < 2.0
    assert result.trace["suction_pressure_measured_pa"].max() < 2e6, "the cards read it: 40 bar is their end"


def test_transmitters_too_small_for_the_refrigerant_are_told(tmp_path: Path) -> None:
    """The usual transmitter of suction ends at 1000 kPa; R744 at −32 °C has 1334 (CoolProp)."""
    text = (Path(__file__).parents[1] / "scenarios" / "r744_cascade.toml").read_text(encoding="utf-8")
    plant, sheet = tmp_path / "plant.toml", tmp_path / "mine.toml"
    assert '[instruments.suction_pressure]\nhigh = "40 bar(a)"' in text
    plant.write_text(text.replace('[instruments.suction_pressure]\nhigh = "40 bar(a)"', ""), encoding="utf-8")
    made = CliRunner().invoke(main, ["sheet", str(plant), "--out", str(sheet)])
    assert made.exit_code == 0, made.output
    assert "suction_set_point of 1" in made.output
    assert "it reads 0 to 1000 kPa" in made.output
    assert "[instruments.suction_pressure]" in made.output


def test_an_unknown_controller_is_refused_with_those_known(tmp_path: Path) -> None:
    plant = LIBRARY / "plants" / "harrow_ness.toml"
    refused = CliRunner().invoke(main, ["sheet", str(plant), "--controller", "none", "--out", str(tmp_path / "x.toml")])
    assert refused.exit_code == 2
    assert "scheduled_pi" in refused.output
