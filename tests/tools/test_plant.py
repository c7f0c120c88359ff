"""`twoslide plant`: both commands through the command line."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner

from tools.cli import main

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"


def test_the_test_sheet_is_written_for_plant_and_settings(tmp_path: Path) -> None:
    plant, sheet = LIBRARY / "plants" / "harrow_ness.toml", LIBRARY / "sheets" / "demo_scheduled_pi.toml"
    made = CliRunner().invoke(main, ["plant", "test-sheet", str(plant), str(sheet), "--out", str(tmp_path)])
    assert made.exit_code == 0, made.output
    assert "Stop at once" in (tmp_path / "site_test_sheet.html").read_text(encoding="utf-8")
    assert (tmp_path / "site_test_sheet.txt").stat().st_size > 1000


def test_a_new_plant_is_not_written_over_an_old_one(tmp_path: Path) -> None:
    file = tmp_path / "there.toml"
    file.write_text("mine", encoding="utf-8")
    refused = CliRunner().invoke(main, ["plant", "new", str(file)])
    assert refused.exit_code == 2
    assert file.read_text(encoding="utf-8") == "mine"
