"""Numbers in every grammar: never a thousand times too large in silence."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.logged_data.numbers import Grammar, as_told, convert, evidence_of, grammar_of, looks_numeric


def decided(cells: list[str]) -> Grammar:
    evidence, units = evidence_of(cells)
    return grammar_of(evidence, units, [evidence])


@pytest.mark.parametrize(
    ("cells", "decimal", "group"),
    [
        (["2,91", "2,9", "10,05"], ",", ""),
        (["2.91", "2.9", "10.05"], ".", ""),
        (["1.234,5", "998,1"], ",", "."),
        (["1,234.5", "998.1"], ".", ","),
        (["1 234,5", "998,1"], ",", " "),
        (["1'234.5", "998.1"], ".", "'"),
        (["1.234.567", "2.345.678"], ",", "."),
        (["292.915", "292.917", "293.001"], ".", ""),  # three decimals throughout
        (["0,915", "1,234"], ",", ""),
    ],
)
def test_the_grammar_is_seen_in_the_cells(cells: list[str], decimal: str, group: str) -> None:
    found = decided(cells)
    assert (found.decimal, found.group, found.doubt) == (decimal, group, "")


@pytest.mark.parametrize(
    "cells",
    [
        ["1,234", "998", "1,002"],  # thousands leave small numbers bare
        ["1.234", "998", "1.002"],
        ["1,234", "1.234"],
        ["2,91", "2.91", "2,92", "2.92"],
    ],
)
def test_what_nothing_decides_is_in_doubt(cells: list[str]) -> None:
    assert decided(cells).doubt


def test_a_neighbour_column_decides_what_a_column_alone_cannot() -> None:
    alone, units = evidence_of(["1,234", "2,345"])
    neighbour, _ = evidence_of(["0,5", "12,75"])
    assert grammar_of(alone, units, [alone, neighbour]).doubt == ""
    against, _ = evidence_of(["0.5", "12.75"])
    assert grammar_of(alone, units, [alone, against]).doubt


def test_an_answer_from_the_mapping_settles_it() -> None:
    evidence, units = evidence_of(["1.234", "998", "1.002"])
    in_doubt = grammar_of(evidence, units, [evidence])
    thousands = as_told(in_doubt, evidence, ",")
    assert convert(pl.Series(["1.234", "998"]), thousands)[0].tolist() == [1234.0, 998.0]
    decimals = as_told(in_doubt, evidence, ".")
    assert convert(pl.Series(["1.234", "998"]), decimals)[0].tolist() == [1.234, 998.0]


def test_a_cell_of_another_grammar_is_no_number() -> None:
    values, empty, bad, words = convert(pl.Series(["2,91", "2.91", "", "Bad", "−3,5", "1e999"]), Grammar(","))
    assert values.tolist()[0] == 2.91
    assert values.tolist()[4] == -3.5
    assert bad.tolist() == [False, True, False, True, False, True]
    assert empty.tolist() == [False, False, True, False, False, False]
    assert words == {"2.91": 1, "Bad": 1, "1e999": 1}


def test_units_in_the_cells() -> None:
    same = decided(["2.9 bar", "3.0 bar", "3.1 bar"])
    assert same.unit == "bar"
    assert convert(pl.Series(["2.9 bar", "290 kPa"]), same)[2].tolist() == [False, True]
    assert decided(["2.9 bar", "290 kPa", "291 kPa"]).unit_doubt


@given(
    st.lists(st.floats(-9e5, 9e5), min_size=5, max_size=30),
    st.sampled_from([(",", "."), (".", ","), (",", " "), (".", "'")]),
)
def test_what_is_written_in_a_grammar_is_read_back(numbers: list[float], signs: tuple[str, str]) -> None:
    decimal, group = signs
    cells = [f"{x:,.2f}".replace(",", "§").replace(".", decimal).replace("§", group) for x in numbers]
    assert all(looks_numeric(cell) for cell in cells)
    found = decided(cells)
    assert not found.doubt
    values, _, bad, _ = convert(pl.Series(cells), found)
    assert not bad.any()
    assert values.tolist() == pytest.approx([float(f"{x:.2f}") for x in numbers])
