"""How a text log is laid out: delimiter, header lines, units, the time, and which of three layouts it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.logged_data.dialect import COLUMNS_AT_MOST, Dialect, sniff, split_line

PATH = Path("log.csv")


def laid_out(text: str, **given: str | int) -> Dialect:
    return sniff(PATH, text.strip("\n").split("\n"), [], given)


def rows(delimiter: str, decimal: str = ".", count: int = 30, values: int = 3) -> list[str]:
    return [
        delimiter.join([f"2026-05-13 01:{k // 60:02d}:{k % 60:02d}", *(f"{k + v}{decimal}25" for v in range(values))])
        for k in range(count)
    ]


@pytest.mark.parametrize(
    ("delimiter", "decimal"), [(";", ","), (";", "."), ("\t", ","), ("|", "."), (",", "."), ("  ", ".")]
)
def test_delimiter_and_decimals(delimiter: str, decimal: str) -> None:
    lines = rows(delimiter, decimal)
    found = laid_out("\n".join([delimiter.join(["Time", "A [bar]", "B", "C"]), *lines]))
    if delimiter == "  ":
        assert found.delimiter == " "  # date and time of day are columns of their own
        assert len(found.columns) == 5
        return
    assert found.delimiter == delimiter
    assert [c.name for c in found.columns] == ["Time", "A", "B", "C"]
    assert found.columns[1].unit == "bar"
    assert {c.grammar.decimal for c in found.columns[1:]} == {decimal}
    assert (found.header_line, found.first_row, found.layout) == (1, 1, "wide")


def test_a_preamble_a_row_of_units_and_a_row_of_words_above_the_values() -> None:
    head = [
        "Plant north;;;",
        "exported 13.05.2026;;;",
        "",
        "Time;PT1;TT1;JI1",
        ";Suction pressure;Oil temp;Motor power",
    ]
    found = laid_out("\n".join([*head, ";bar;°C;kW", *rows(";", ",")]))
    assert [(c.name, c.unit, c.description) for c in found.columns[1:]] == [
        ("PT1", "bar", "Suction pressure"), ("TT1", "°C", "Oil temp"), ("JI1", "kW", "Motor power"),
    ]  # fmt: skip
    assert found.first_row == 6


def test_what_the_mapping_says_counts() -> None:
    text = "\n".join(["x;A;B;C", "Time;D;E;F", *rows(";")])
    assert [c.name for c in laid_out(text, header_line=1).columns][1] == "A"
    assert laid_out("\n".join(["Time;A;B;C", *rows(";", ",")]), decimal="point").columns[1].grammar.decimal == "."
    with pytest.raises(InputRefused, match="is not known"):
        laid_out(text, delimiter="colon")
    with pytest.raises(InputRefused, match="outside"):
        laid_out(text, header_line=99)


def test_without_a_header_the_columns_have_numbers() -> None:
    found = laid_out("\n".join(rows(";")))
    assert not found.has_header
    assert [c.name for c in found.columns][1:] == ["column 2", "column 3", "column 4"]


def test_a_long_log_and_an_event_list_are_known_by_their_columns() -> None:
    tags = ["PT1", "TT1", "JI1"]
    long = [f"2026-05-13 01:00:{k:02d};{tags[k % 3]};{k + 0.5}" for k in range(30)]
    found = laid_out("\n".join(["Time;Tag;Value", *long]))
    assert (found.layout, found.roles["tag"], found.roles["value"]) == ("long", 1, 2)
    texts = ["High discharge pressure alarm", "Compressor stopped by operator", "Oil level low in the separator"]
    events = [f"2026-05-13 01:00:{k:02d};{texts[k % 3]};{'ON' if k % 2 else 'OFF'}" for k in range(30)]
    found = laid_out("\n".join(["Time;Text;State", *events]))
    assert (found.layout, found.roles["text"], found.roles["state"]) == ("events", 1, 2)


def test_commas_that_part_columns_and_decimals_are_refused_with_the_line() -> None:
    lines = [f"2026-05-13 01:00:{k:02d},{k},25,{k},75,{k},5" for k in range(30)]
    with pytest.raises(InputRefused, match="commas part the columns and the decimals") as refused:
        laid_out("\n".join(["Time,A,B,C", *lines]))
    assert refused.value.problems[0].line == 2


def test_a_header_that_is_too_short_or_a_file_too_wide_is_refused() -> None:
    with pytest.raises(InputRefused, match="the header has 3 columns and the rows have 4"):
        laid_out("\n".join(["Time;A;B", *rows(";")]))
    many = ";".join(f"c{k}" for k in range(4 * COLUMNS_AT_MOST + 2))
    with pytest.raises(InputRefused, match="columns"):
        laid_out("\n".join([many, "2026-05-13 01:00:00;1"]))


def test_a_log_without_times_or_without_columns_is_refused() -> None:
    with pytest.raises(InputRefused, match="no column of times"):
        laid_out("\n".join(["A;B;C", *(f"{k}.5;x{k};7.25" for k in range(30))]))
    with pytest.raises(InputRefused, match="no columns are found"):
        laid_out("just words\nand more of them\n")


def test_quoted_cells_keep_their_delimiters() -> None:
    assert split_line('2026-05-13;"a;b";3', ";") == ["2026-05-13", "a;b", "3"]
    assert split_line("a   b c", " ") == ["a", "b", "c"]
