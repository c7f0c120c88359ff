"""TOML with places: lines and columns checked against a text whose places can be counted by eye."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.errors import InputRefused
from scenarios.toml_source import KeyPath, parse_toml, read_toml

TEXT = """\
a = 1
b.c."d e" = "x"
t = { p = 1, q.r = [1, 2,
 {z = 1}] }
"grün" = { "ö" = "ä", after = 2 }
[s]
# comment
k = '''
several
lines'''
last = 5
[s.u]
v = 2
[[event]]
at = "1 s"
[[event]]
  at = 3
[event.sub]
x = 1
[[event.deep]]
y = 1
[[event.deep]]
y = 2
"""


@pytest.mark.parametrize(
    ("path", "key", "value"),
    [
        (("a",), (1, 1), (1, 5)),
        (("b", "c", "d e"), (2, 5), (2, 13)),
        (("t", "p"), (3, 7), (3, 11)),
        (("t", "q", "r"), (3, 16), (3, 20)),
        (("t", "q", "r", 1), (3, 16), (3, 24)),
        (("t", "q", "r", 2, "z"), (4, 3), (4, 7)),
        (("grün", "ö"), (5, 12), (5, 18)),
        (("grün", "after"), (5, 23), (5, 31)),
        (("s",), (6, 2), (6, 2)),
        (("s", "k"), (8, 1), (8, 5)),
        (("s", "last"), (11, 1), (11, 8)),
        (("s", "u"), (12, 4), (12, 4)),
        (("event", 0, "at"), (15, 1), (15, 6)),
        (("event", 1, "at"), (17, 3), (17, 8)),
        (("event", 1, "sub", "x"), (19, 1), (19, 5)),
        (("event", 1, "deep", 1, "y"), (23, 1), (23, 5)),
    ],
)
def test_places_are_exact(path: KeyPath, key: tuple[int, int], value: tuple[int, int]) -> None:
    source = parse_toml(TEXT, Path("x.toml"))
    assert source.get(path) is not None
    if path[-1] != 1:  # an array element has a value and no key
        assert source.place(path) == key
    assert source.place(path, of_value=True) == value


def test_a_missing_key_is_placed_at_its_table() -> None:
    source = parse_toml(TEXT, Path("x.toml"))
    assert source.place(("s", "u", "nothing", "below")) == (12, 4)
    assert source.place(("event", 1, "nothing")) == (16, 1)
    assert source.place(("nothing",)) == (1, 1)


def _paths(node: object, above: KeyPath = ()) -> list[KeyPath]:
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [p for key, child in pairs for p in [(*above, key), *_paths(child, (*above, key))]]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_key_has_a_place_of_its_own(newline: str) -> None:
    source = parse_toml(TEXT.replace("\n", newline), Path("x.toml"))
    for path in _paths(source.data):
        assert path in source.key_places or path in source.value_places, path
    assert source.place(("event", 1, "sub", "x")) == (19, 1)


def test_byte_order_mark_moves_no_column(tmp_path: Path) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(file).place(("a",), of_value=True) == (1, 5)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"a = 1\nb = 'x\xff'\n", ":2:7: is not UTF-8 text (byte 0xff)"),
        (b"a = 1\nb = = 2\n", ":2:5: not valid TOML"),
        (b"a = 1\na = 2\n", ":2:"),
        (b"a = [1,\n", ":2:1: not valid TOML"),
        (b"a = " + b"[" * 5000, "cannot be read"),
        (b"a = " + b"9" * 5000, "cannot be read"),
        (b"\xff\xfea\x00=\x001\x00", ":1:1: is not UTF-8"),
    ],
)
def test_unreadable_content(tmp_path: Path, content: bytes, words: str) -> None:
    file = tmp_path / "x.toml"
    file.write_bytes(content)
    with pytest.raises(InputRefused) as caught:
        read_toml(file)
    assert str(caught.value).startswith(str(file))
    assert words in str(caught.value)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no such file"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(InputRefused, match="is a folder"):
        read_toml(tmp_path)
    with pytest.raises(InputRefused):
        read_toml(Path("a\0b"))


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        source = parse_toml(text, Path("x.toml"))
    except InputRefused:
        return
    for path in _paths(source.data):
        line, column = source.place(path)
        assert 1 <= line <= text.count("\n") + 1
        assert column >= 1
