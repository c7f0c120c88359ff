"""`twoslide verify` as people use it: exit codes, files, refusals."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tools.cli import main
from tools.verification.campaign import LIBRARY

SHORT = LIBRARY / "verification" / "stop_in_run_up.toml"
PACK = """title = "Mine"
[[requirement]]
id = "A-1"
text = "x"
severity = "service"
formula = "{formula}"
"""


def _pack(tmp_path: Path, formula: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(PACK.format(formula=formula), encoding="utf-8")
    return path


def _verify(*words: str | Path) -> Result:
    return CliRunner().invoke(main, ["verify", *map(str, words)])


def test_held_is_0_and_leaves_the_record(tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = _verify("--pack", _pack(tmp_path, "capacity_demand >= 0 %"), "--scenarios", SHORT, "--out", out)
    assert result.exit_code == 0, result.output
    assert "no safety system" in " ".join(result.output.split())
    assert sorted(path.name for path in out.iterdir()) == [
        "acceptance.csv", "acceptance.html", "acceptance.xml", "runs", "traceability.csv",
    ]  # fmt: skip
    again = _verify("--pack", tmp_path / "mine.toml", "--scenarios", SHORT, "--out", out)
    assert "not run again" in again.output


def test_broken_is_1_and_saves_the_scenario(tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = ("--pack", _pack(tmp_path, "not motor_run"), "--scenarios", SHORT, "--out", out, "--json")
    result = _verify(*words)
    assert result.exit_code == 1
    data = json.loads(result.stdout)
    assert data["requirements"][0]["verdict"] == "failed"
    assert Path(data["requirements"][0]["saved"]).is_file()
    # what failed before and holds now leaves nothing behind
    _pack(tmp_path, "true")
    assert _verify(*words).exit_code == 0
    assert not (out / "counterexamples").exists()


@pytest.mark.parametrize(
    ("formula", "words"),
    [
        ("suction > 3 kPa", "mine.toml:6:12: there is no column"),
        ("suction_pressure > 3 furlong", "mine.toml:6:31: formulas do not know the unit"),
        ("always[0 s, 2 h] motor_run", "looks 7200 s ahead"),
    ],
)
def test_a_pack_that_cannot_be_is_2_and_writes_nothing(tmp_path: Path, formula: str, words: str) -> None:
    out = tmp_path / "out"
    result = _verify("--pack", _pack(tmp_path, formula), "--scenarios", SHORT, "--out", out)
    assert result.exit_code == 2
    assert words in result.output
    assert not out.exists()


def test_other_refusals(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    pack = _pack(tmp_path, "true")
    assert "holds other files" in _verify("--pack", pack, "--scenarios", SHORT, "--out", tmp_path).output
    empty = tmp_path / "empty.toml"
    empty.write_text('title = "none"\n', encoding="utf-8")
    for words, said in (
        (("--pack", empty), "no requirement in it"),
        (("--pack", pack, "--controller", "scheduled_pie"), "unknown controller"),
        (("--pack", pack, "--controller", "none.py:X"), "no such file"),
        (("--pack", pack, "--settings", tmp_path / "none.toml"), "no such file"),
        (("--pack", pack, "--scenarios", tmp_path / "none.toml"), "no such file"),
    ):
        more = () if "--scenarios" in words else ("--scenarios", SHORT)
        result = _verify(*words, *more, "--out", tmp_path / "out")
        assert result.exit_code == 2, words
        assert said in result.output


def test_a_controller_that_does_not_import_is_refused(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text("import nothing_of_the_kind\n", encoding="utf-8")
    pack = _pack(tmp_path, "true")
    result = _verify("--pack", pack, "--scenarios", SHORT, "--controller", f"{bad}:X", "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "nothing_of_the_kind" in result.output


def test_somebody_elses_controller_is_asked_for_the_limits_of_the_sheet(tmp_path: Path) -> None:
    """A controller that starts at once breaks the pre-lubrication of the sheet that the scenario names."""
    path = tmp_path / "hasty.py"
    path.write_text(
        "class Hasty:\n"
        "    def reset(self):\n        pass\n"
        "    def scan(self, inputs, outputs, now_ms):\n        outputs.motor_run = outputs.oil_pump = now_ms > 1000\n",
        encoding="utf-8",
    )
    pack = Path(__file__).parents[2] / "tools" / "verification" / "packs" / "start.toml"
    out = tmp_path / "out"
    result = _verify("--pack", pack, "--scenarios", SHORT, "--controller", f"{path}:Hasty", "--out", out, "--json")
    assert result.exit_code == 1
    first = json.loads(result.stdout)["requirements"][0]
    assert (first["id"], first["verdict"], first["margin"], first["unit"]) == ("ST-01", "failed", -30.0, "s")


def test_a_controller_that_leaves_early_does_not_pass(tmp_path: Path) -> None:
    path = tmp_path / "leaves.py"
    path.write_text(
        "import os\n\nclass Leaves:\n"
        "    def reset(self):\n        pass\n"
        "    def scan(self, inputs, outputs, now_ms):\n        if now_ms > 3000:\n            os._exit(7)\n",
        encoding="utf-8",
    )
    words = ("--pack", _pack(tmp_path, "trip_word == 0"), "--scenarios", SHORT, "--controller", f"{path}:Leaves")
    result = _verify(*words, "--out", tmp_path / "out")
    assert result.exit_code == 1, result.output
    assert '"ended early"' in (tmp_path / "out" / "acceptance.xml").read_text(encoding="utf-8")


def test_what_the_hunt_breaks_is_in_the_record_and_is_played_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A requirement that the named scenario keeps and a stop button breaks: found, made small, saved, run again."""
    from tools.verification import hunt_round

    monkeypatch.setattr(hunt_round, "DRAWS_A_ROUND", 3)
    monkeypatch.setattr(hunt_round, "ALONE_AT_FIRST", 3)
    monkeypatch.setattr(hunt_round, "SHRINKS_AT_MOST", 8)
    out = tmp_path / "out"
    pack = _pack(tmp_path, "trip_word == 0")
    words = ("--pack", pack, "--scenarios", SHORT, "--hunt", "1s", "--jobs", "1", "--seed", "1", "--out", out, "--json")
    result = _verify(*words)
    assert result.exit_code == 1, result.output
    data = json.loads(result.stdout)
    (line,) = data["requirements"]
    assert (line["verdict"], line["hunt"]["verdict"]) == ("failed", "broken")
    assert line["scenario"] == "hunt-A-1.toml"
    saved = Path(line["saved"])
    assert saved == out / "counterexamples" / "hunt-A-1.toml"
    assert data["hunt"]["independent_draws"] > 0
    (row,) = csv.DictReader((out / "acceptance.csv").read_text(encoding="utf-8").splitlines())
    assert (row["hunt_verdict"], row["scenarios_that_failed"]) == ("broken", "hunt-A-1.toml")
    assert "in the hunt" in (out / "acceptance.html").read_text(encoding="utf-8")
    assert "independent draws" in (out / "acceptance.xml").read_text(encoding="utf-8")
    # the file is a scenario like any other, and breaks it again at the same moment by the same margin
    alone = _verify("--pack", pack, "--scenarios", saved, "--out", tmp_path / "alone", "--json")
    assert alone.exit_code == 1
    again = json.loads(alone.stdout)["requirements"][0]
    assert [again[key] for key in ("failed_ms", "margin", "time_ms")] == [
        line[key] for key in ("failed_ms", "margin", "time_ms")
    ]
    # the rounds are kept: nothing is hunted again, and the record says the same
    rounds = sorted(path.name for path in (out / "hunt" / "rounds").iterdir())
    monkeypatch.setattr(hunt_round, "Judge", None)
    kept = json.loads(_verify(*words).stdout)
    assert kept["requirements"] == data["requirements"]
    assert sorted(path.name for path in (out / "hunt" / "rounds").iterdir()) == rounds


def test_a_hunt_needs_a_time() -> None:
    result = _verify("--hunt", "soon")
    assert result.exit_code == 2
    assert "no time for a hunt" in result.output


def test_describe_lists_what_a_formula_may_use() -> None:
    result = _verify("--describe")
    assert result.exit_code == 0
    for word in ("suction_pressure", "duration", "{common.sequence.run_up}", "where the sequence stands"):
        assert word in result.output
