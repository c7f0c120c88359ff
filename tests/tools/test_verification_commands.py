"""check-controller, matrix and site-script as a user runs them: exit codes, what is shown, what is written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tools.cli import COMMANDS, main

FOREIGN = Path(__file__).resolve().parents[1] / "scenarios" / "foreign"
LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_a_sound_controller_is_told_so() -> None:
    result = run("check-controller", "scheduled_pi", "--json")
    assert result.exit_code == 0
    data = json.loads(result.stdout)
    assert {r["verdict"] for r in data["results"]} == {"passed"}


def test_a_broken_controller_has_exit_code_1_and_the_promise_that_it_broke() -> None:
    result = run("check-controller", f"{FOREIGN / 'broken.py'}:BothDrives")
    assert result.exit_code == 1
    assert "both drives of the" in result.stdout
    assert "1 broken" in result.stdout
    assert "no safety system" in " ".join(result.stdout.split())


@pytest.mark.parametrize(
    ("controller", "words"),
    [
        ("no_such_controller", "no controller 'no_such_controller'"),
        ("missing.so", "does not exist"),
        (f"{FOREIGN / 'broken.py'}:Nobody", "has no 'Nobody'"),
        (f"{FOREIGN / 'plain_steps.py'}:DoesNotReset", "does not reset: RuntimeError: no memory of it"),
    ],
)
def test_what_is_no_controller_is_refused(controller: str, words: str) -> None:
    result = run("check-controller", controller)
    assert result.exit_code == 2
    assert words in result.stderr


def test_a_library_of_another_abi_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.so").write_bytes(b"no library at all")
    result = run("check-controller", tmp_path / "x.so")
    assert result.exit_code == 2
    assert "it is no shared library" in result.stderr


@pytest.mark.parametrize("command", ["check-controller", "matrix", "site-script"])
def test_a_sheet_of_another_controller_is_refused(command: str, tmp_path: Path) -> None:
    which = ["three_position"] if command == "check-controller" else ["--controller", "three_position"]
    out = ["--out", str(tmp_path / "out")] if command == "site-script" else []
    result = run(command, *which, "--settings", SHEET, *out)
    assert result.exit_code == 2
    assert "demo_scheduled_pi.toml:3" in result.stderr
    assert not (tmp_path / "out").exists()


def test_a_sheet_for_a_controller_that_takes_none_is_refused() -> None:
    result = run("check-controller", f"{FOREIGN / 'plain_steps.py'}:PlainSteps", "--settings", SHEET)
    assert result.exit_code == 2
    assert "takes no settings sheet" in result.stderr


def test_the_matrix_is_shown_and_written(tmp_path: Path) -> None:
    result = run("matrix", "--settings", SHEET, "--plant", PLANT, "--out", tmp_path / "m")
    assert result.exit_code == 0, result.output
    assert "1700.0 kPa" in result.stdout
    assert sorted(p.name for p in (tmp_path / "m").iterdir()) == ["matrix.csv", "matrix.html"]


def test_two_matrices_are_laid_over_each_other(tmp_path: Path) -> None:
    result = run("matrix", "--against-controller", "three_position", "--out", tmp_path / "m", "--json")
    assert result.exit_code == 0, result.output
    data = json.loads(result.stdout)
    assert data["matrix"]["controller"] == "scheduled_pi"
    assert data["against"]["controller"] == "three_position"
    assert data["differences"]
    assert len((tmp_path / "m" / "differences.csv").read_text().splitlines()) == len(data["differences"]) + 1


def test_there_is_no_matrix_of_a_controller_that_dies() -> None:
    result = run("matrix", "--controller", f"{FOREIGN / 'deadly.py'}:Leaves")
    assert result.exit_code == 1
    assert "ended its process (exit status 3), in scan 500 of a start from rest" in result.stderr


def test_the_site_script_is_written(tmp_path: Path) -> None:
    result = run("site-script", "--settings", SHEET, "--plant", PLANT, "--out", tmp_path / "s")
    assert result.exit_code == 0, result.output
    assert "0 contradict the settings" in result.stdout
    assert sorted(p.name for p in (tmp_path / "s").iterdir()) == ["site_script.csv", "site_script.html"]
    assert "sha256:" in (tmp_path / "s" / "site_script.html").read_text()


def test_a_range_that_hides_a_trip_has_exit_code_1(tmp_path: Path) -> None:
    plant = PLANT.read_text(encoding="utf-8")
    assert "[instruments" not in plant
    (tmp_path / "p.toml").write_text(plant + '\n[instruments.motor_current]\nhigh = "400 A"\n', encoding="utf-8")
    result = run("site-script", "--settings", SHEET, "--plant", tmp_path / "p.toml", "--out", tmp_path / "s")
    assert result.exit_code == 1, result.output
    assert "this trip can never come" in (tmp_path / "s" / "site_script.html").read_text()


def test_the_commands_are_in_the_list() -> None:
    assert {"check-controller", "matrix", "site-script"} <= set(COMMANDS)
