"""CSV for spreadsheets: read back unchanged, and no cell begins as a formula does."""

from __future__ import annotations

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from tools.csv_text import csv_text, safe_cell


@given(st.lists(st.lists(st.text(), min_size=3, max_size=3), max_size=5))
def test_cells_come_back_as_they_were_or_with_an_apostrophe(rows: list[list[str]]) -> None:
    text = csv_text(("a", "b", "c"), rows)
    assert text.startswith("\ufeff")
    found = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    assert found[0] == ["a", "b", "c"]
    for given_row, row in zip(rows, found[1:], strict=True):
        for given_cell, cell in zip(given_row, row, strict=True):
            assert cell in (given_cell.replace("\0", ""), "'" + given_cell.replace("\0", ""))


@given(st.text(alphabet=" \t\r\n\u00a0\u3000", max_size=3), st.sampled_from("=+-@|%＝＋－＠"), st.text())
def test_what_begins_as_a_formula_is_held_back(space: str, sign: str, rest: str) -> None:
    cell = safe_cell(space + sign + rest)
    assert cell.startswith("'") or float(cell) == float(space + sign + rest)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_stay_numbers(value: float) -> None:
    assert float(safe_cell(value)) == float(f"{value:.12g}")


def test_a_cell_in_another_script_s_digits_is_no_number() -> None:
    assert safe_cell("-٣") == "'-٣"
