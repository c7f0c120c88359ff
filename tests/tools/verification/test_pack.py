"""Packs: what is read, and that every slip is told with file, line and column before anything runs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from tests.tools.verification.bench import SETTINGS
from tools.verification.pack import Severity, every_setting, load_pack, shipped_packs
from tools.verification.sorts import find_setting

GOOD = """title = "Mine"
[definitions]
late = "age(motor_run) > {common.sequence.run_up}"
[[requirement]]
id = "A-1"
text = "Within {common.sequence.run_up}, at {settings.common.motor.full_load_current}: {common.calibration.low_stop}."
severity = "damage"
when = "rise(motor_run)"
if = "{common.calibration.low_stop} == ON"
formula = "not late"
"""


def _pack(tmp_path: Path, text: str, name: str = "p.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_pack_as_it_should_be(tmp_path: Path) -> None:
    pack = load_pack([_pack(tmp_path, GOOD)])
    one = pack["A-1"]
    assert (one.severity, one.line, pack.titles) == (Severity.DAMAGE, 4, ("Mine",))
    assert one.settings() == {"common.sequence.run_up", "common.calibration.low_stop"}
    assert one.columns() == ["motor_run"]
    assert one.sentence(SETTINGS).startswith("Within 20 s, at 372 A: o")
    assert "{common.sequence.run_up}" in one.sentence(None), "unknown limits stay names"


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        ("not late", "not later", ":10:16:", 'did you mean "late"'),
        ("age(motor_run) > {", "age(motor_run) > 5 kPa + {", ":3:", "mixes a pressure and a time"),
        ('"rise(motor_run)"', '"rise(motor_ran)"', ":8:14:", "motor_ran"),
        ('"{common.calibration.low_stop} == ON"', '"motor_run"', ":9:6:", 'see "when"'),
        ('"damage"', '"awful"', ":7:12:", "no severity"),
        ('"A-1"', '"A 1"', ":5:6:", "no id"),
        ("{common.sequence.run_up}, at", "{common.sequence.runup}, at", ":6:8:", "runup"),
        ('formula = "not late"', "", ":4:", '"formula" is missing'),
        ('formula = "not late"', "formula = 3", ":10:11:", "must be a text"),
        ('formula = "not late"', 'formla = "not late"', ":10:", "formla"),
        ('title = "Mine"', "", "", '"title" is missing'),
        ('late = "', 'mode = "', ":3:", "already"),
        ("[definitions]", "[definition]", ":2:", "definition"),
        ('severity = "damage"', 'severity = "damage"\nscenarios = []', ":8:13:", "list of file names"),
    ],
)
def test_a_slip_is_told_with_its_place(tmp_path: Path, old: str, new: str, place: str, words: str) -> None:
    assert old in GOOD
    with pytest.raises(InputRefused) as caught:
        load_pack([_pack(tmp_path, GOOD.replace(old, new))])
    text = str(caught.value)
    assert f"p.toml{place}" in text
    assert words in text


def test_a_formula_over_lines_is_placed_in_its_own_line(tmp_path: Path) -> None:
    long = GOOD.replace('formula = "not late"', 'formula = """\n  not late\n  and motor_ran"""')
    with pytest.raises(InputRefused, match=r"p\.toml:12:7: there is no column"):
        load_pack([_pack(tmp_path, long)])


def test_empty_and_double_packs_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no requirement in it"):
        load_pack([_pack(tmp_path, 'title = "empty"\n')])
    with pytest.raises(InputRefused, match="is empty"):
        load_pack([_pack(tmp_path, "")])
    with pytest.raises(InputRefused, match="no such file"):
        load_pack([tmp_path / "none.toml"])
    both = [_pack(tmp_path, GOOD), _pack(tmp_path, GOOD, "q.toml")]
    with pytest.raises(
        InputRefused, match=r'q\.toml:4: a second requirement with the id "A-1"; the first is .*p\.toml:4'
    ):
        load_pack(both)


def test_a_requirement_of_some_scenarios_applies_by_either_name(tmp_path: Path) -> None:
    one = load_pack([_pack(tmp_path, GOOD)]).requirements[0]
    some = replace(one, scenarios=("load_*", "x.toml"))
    assert one.for_all
    assert not some.for_all
    assert one.applies_to("any.toml")
    assert one.applies_to("")
    assert some.applies_to()
    assert some.applies_to("load_step.toml", "")
    assert some.applies_to("A-1-x.toml", "x.toml")
    assert not some.applies_to("A-1-x.toml", "")


def test_every_setting_that_is_listed_is_one() -> None:
    names = list(every_setting())
    assert len(names) > 100
    for name in names:
        find_setting(name)


def test_shipped_packs_take_every_limit_from_the_sheet() -> None:
    """No trip, hold or wait of the sheet stands in a formula as a number: the settings' defaults would be found there."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in shipped_packs())
    formulas = [line for line in text.splitlines() if line.startswith(("formula", "when", "see"))]
    for value in ("1700 kPa", "190 kPa", "105 °C", "80 kPa", "115 %", "1200 s", "20 min", "310 kPa", "262 kPa", "75 s"):
        assert not [line for line in formulas if value in line], value
