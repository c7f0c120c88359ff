"""The grammar: what groups with what, and that whatever is wrong is told with its place."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tools.verification.syntax import FormulaError, Node, parse


def _shape(node: Node) -> str:
    if node.kind in ("name", "quantity", "setting"):
        return node.word
    word = node.kind if node.kind in ("and", "or", "implies", "not", "until") else node.word
    return f"{word}({' '.join(_shape(part) for part in node.parts)})"


@pytest.mark.parametrize(
    ("text", "shape"),
    [
        ("a or b and c", "or(a and(b c))"),
        ("a implies b implies c", "implies(a implies(b c))"),
        ("not a > 3 and b", "and(not(>(a 3)) b)"),
        ("always[0 s, 5 s] a > 3 kPa or b", "or(always(0 s 5 s >(a 3 kPa)) b)"),
        ("a until[0 s, 1 s] b and c", "and(until(0 s 1 s a b) c)"),
        ("a - b - c > -10 °C sat", ">(-(-(a b) c) -10 °C sat)"),
        ("2 * (a + b) <= {common.x} / 3", "<=(*(2 +(a b)) /(common.x 3))"),
        ("{settings.common.x} > 48 1/s", ">(common.x 48 1/s)"),  # a rate is one quantity
        ("inhibit == NONE and android and order", "and(==(inhibit NONE) android order)"),
        ("a > 3 # a remark\nand b", "and(>(a 3) b)"),
        ("once [1 s,2 s] a", "once(1 s 2 s a)"),
    ],
)
def test_what_groups_with_what(text: str, shape: str) -> None:
    assert _shape(parse(text)) == shape


@pytest.mark.parametrize(
    ("text", "at", "words"),
    [
        ("a >", 3, "expected"),
        ("a > 3 kPa and and b", 14, "expected"),
        ("always[0 s] a", 10, "comma"),
        ("a $ 3", 2, "this character"),
        ("(a", 2, "expected )"),
        ("a < b < c", 6, "expected"),
        ("", 0, "expected"),
        ("(" * 300 + "a" + ")" * 300, 200, "nested too deep"),
        ("not " * 300 + "a", 0, "nested too deep"),
        ("a or " * 5000 + "a", 20_000, "at most 20000"),
    ],
)
def test_the_place_of_an_error(text: str, at: int, words: str) -> None:
    with pytest.raises(FormulaError, match=r".") as caught:
        parse(text)
    assert caught.value.at == at
    assert words in caught.value.message


def test_a_place_in_a_file_counts_lines_and_columns() -> None:
    text = "a > 3\nand $"
    with pytest.raises(FormulaError) as caught:
        parse(text)
    assert str(caught.value.problem(text, "f.toml", 10, 20)).startswith("f.toml:11:5: ")
    with pytest.raises(FormulaError) as caught:
        parse("a $")
    assert str(caught.value.problem("a $", "f.toml", 10, 20)).startswith("f.toml:10:22: ")
    assert str(caught.value.problem("a $")).startswith("formula:1:3: ")


WORDS = (
    "a",
    "3",
    "kPa",
    "(",
    ")",
    "[",
    "]",
    ",",
    "and",
    "or",
    "not",
    "always",
    "until",
    ">",
    "<=",
    "+",
    "-",
    "*",
    "/",
    "in",
)


@given(st.text(max_size=60) | st.lists(st.sampled_from([*WORDS, "{", "}", '"', "'"])).map(" ".join))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    found: FormulaError | None = None
    try:
        parse(text)
    except FormulaError as error:
        found = error
    assert found is None or (0 <= found.at <= len(text) and found.message)
