"""`twoslide sheet`: written once, loads for its plant, and never over a file."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from controller.registry import SHIPPED
from scenarios.preparation import prepare
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


def test_an_unknown_controller_is_refused_with_those_known(tmp_path: Path) -> None:
    plant = LIBRARY / "plants" / "harrow_ness.toml"
    refused = CliRunner().invoke(main, ["sheet", str(plant), "--controller", "none", "--out", str(tmp_path / "x.toml")])
    assert refused.exit_code == 2
    assert "scheduled_pi" in refused.output
