"""Bytes to text: encodings, line ends, what is no text."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.errors import InputRefused
from scenarios.logged_data.text_source import open_text

TEXT = "Zeit;Öltemp. [°C]\n2026-05-13 01:00:00;48,5\n2026-05-13 01:00:01;48,6\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be"])
def test_every_encoding_gives_the_same_text(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes((TEXT * 3).encode(encoding))
    source = open_text(path)
    assert b"".join(block for _, block in source.blocks(64)).decode() == TEXT * 3
    assert source.head()[0] == "Zeit;Öltemp. [°C]"


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_are_made_one(tmp_path: Path, end: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(TEXT.replace("\n", end).encode())
    assert b"".join(block for _, block in open_text(path).blocks()).decode() == TEXT


def test_lines_in_another_encoding_are_mended_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes((TEXT * 50).encode() + "Öl\n".encode("cp1252"))
    source = open_text(path)
    assert b"".join(block for _, block in source.blocks()).decode().endswith("Öl\n")
    assert (source.repaired, source.repaired_line) == (1, 151)


def test_blocks_know_their_first_line(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("a;b\n" * 1000)
    at = 1
    for line, block in open_text(path).blocks(100):
        assert line == at
        at += block.count(b"\n")
    assert at == 1001


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (bytes(range(256)) * 4, "is no text"),
        (b"PK\x03\x04....", "spreadsheet"),
        (b"\x1f\x8b....", "gzip"),
        (b"a;b" * 2_000_000, "more than a million characters"),
    ],
)
def test_what_is_no_log_is_refused_in_words(tmp_path: Path, raw: bytes, words: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(raw)
    with pytest.raises(InputRefused, match=words):
        open_text(path).head()


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no such file"):
        open_text(tmp_path / "none.csv")
    with pytest.raises(InputRefused, match="is a folder"):
        open_text(tmp_path)
