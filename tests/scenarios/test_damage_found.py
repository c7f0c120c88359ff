"""What the damaged files of test_damaged_files.py found: each bug with its smallest file."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.load_log import load_log
from scenarios.loader import load_scenarios
from scenarios.quantities import parse_quantity
from scenarios.record_tables import suggestion
from scenarios.toml_source import parse_toml
from tests.scenarios.example_files import KNOWN, PLANT, SCENARIO, write_all


@pytest.mark.parametrize("parts", [400, 3000, 500_000])
@pytest.mark.parametrize("form", ["[{}]\n", "{} = 1\n", "x = {{ {} = 1 }}\n", '"a".{} = 1\n'])
def test_a_key_of_very_many_parts_is_refused_at_once(form: str, parts: int) -> None:
    """Was a RecursionError while its places were noted, and grew with the square of its length."""
    began = time.process_time()
    with pytest.raises(InputRefused, match="nested"):
        parse_toml(form.format(".".join("a" * parts)), Path("x.toml"))
    assert time.process_time() - began < 5.0


def test_nesting_that_a_person_may_write_is_read() -> None:
    assert parse_toml(f"{'.'.join('a' * 20)} = 1\n", Path("x.toml")).data
    assert parse_toml(f"x = {'[' * 20}{']' * 20}\n", Path("x.toml")).data


@pytest.mark.parametrize("key", ["plant", "settings", "controller", "file"])
@pytest.mark.parametrize("name", ["x" * 300 + ".toml", "x" * 70_000, "x/" * 3000, "a\\u0000b", "loop"])
def test_a_name_that_no_file_can_have_is_refused_in_its_line(tmp_path: Path, key: str, name: str) -> None:
    """Was an OSError, "File name too long": the second look, whether it is a folder, was not guarded."""
    (tmp_path / "loop").symlink_to("loop")
    name += ".so" if key == "controller" else ""
    lines = [f'{key} = "{name}"' if line.startswith(f"{key} = ") else line for line in SCENARIO.splitlines()]
    path = write_all(tmp_path / "files", scenario="\n".join(lines))
    with pytest.raises(InputRefused) as caught:
        load_scenarios([path], KNOWN)
    assert all(problem.line > 0 or "cannot be read" in problem.message for problem in caught.value.problems)
    assert len(str(caught.value)) < 2000


def test_a_scenario_of_a_name_too_long_is_refused() -> None:
    with pytest.raises(InputRefused, match=r"cannot be read|no such file"):
        load_scenarios([Path("x" * 5000)], KNOWN)


def test_a_long_value_is_not_repeated_whole() -> None:
    """Was an error message of 70,000 letters."""
    with pytest.raises(InputRefused) as caught:
        parse_quantity("x" * 70_000, "kPa", "difference")
    assert len(str(caught.value)) < 400
    with pytest.raises(InputRefused) as caught:
        parse_quantity("5 " + "y" * 70_000, "s")
    assert len(str(caught.value)) < 400


def test_what_is_known_is_not_listed_without_end() -> None:
    """Was a list of all 250 parameters of a plant, in one line."""
    names = [f"name_{k:03d}" for k in range(250)]
    text = suggestion("zzzzzz", names)
    assert len(text) < 900
    assert text.startswith("known: name_000, name_001")
    assert text.endswith("more")


def test_a_long_key_is_not_repeated_whole(tmp_path: Path) -> None:
    path = write_all(tmp_path / "files", plant=PLANT + f'"machine.{"y" * 9000}" = 1\n')
    with pytest.raises(InputRefused) as caught:
        load_scenarios([path], KNOWN)
    assert len(str(caught.value)) < 2000


def test_a_long_word_takes_no_time_of_its_square() -> None:
    began = time.process_time()
    parse_toml(f'title = "{"x" * 2_000_000}"\n', Path("x.toml"))
    assert time.process_time() - began < 5.0


@pytest.mark.parametrize("text", ["١٢ s", "1٢ s", "１２ s"])
def test_digits_of_other_scripts_are_no_number(text: str) -> None:
    """Was read as 12 s: a pattern's digit is any script's, and so is Python's float."""
    with pytest.raises(InputRefused, match=r"is not a quantity|no unit|not known"):
        parse_quantity(text, "s")


def test_digits_of_other_scripts_in_a_load_log_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "load.csv"
    path.write_text("time [s];load [kW]\n0;100\n60;١٢\n12٣;110\n180;120\n", encoding="utf-8")
    log = load_log(path)
    assert log.load_w == (100e3, 120e3)
    assert sum("left out" in note for note in log.notes) == 2
