"""Blocks of a text log as tables: read by the table library where its reading is exact, else as text."""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from polars.exceptions import PolarsError

from scenarios.errors import InputRefused, Problem
from scenarios.logged_data.dialect import Dialect, split_line
from scenarios.logged_data.records import Issue
from scenarios.logged_data.text_source import TextSource


def _table(block: bytes, delimiter: str, kinds: list[Any], comma: bool, quotes: bool) -> pl.DataFrame:
    schema = {str(k): kind for k, kind in enumerate(kinds)}
    first = block.split(b"\n", 1)[0]
    lacking = len(kinds) - len(split_line(first.decode("utf-8", "replace"), delimiter))
    if lacking > 0:  # the library counts the columns on the block's first line: a line that was cut off may be it
        block = first + delimiter.encode() * lacking + block[len(first) :]
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", UserWarning
        )  # "CSV malformed": what is amiss shows in the cells and their counts
        return pl.read_csv(
            io.BytesIO(block), separator=delimiter, has_header=False, schema=schema, ignore_errors=True,
            decimal_comma=comma, truncate_ragged_lines=True, quote_char='"' if quotes else None, null_values=[""],
        )  # fmt: skip


def _rows_of(block: bytes) -> int:
    return block.count(b"\n") + (not block.endswith(b"\n"))


class Blocks:
    """Reads the blocks of one text file with its dialect."""

    def __init__(self, dialect: Dialect) -> None:
        self.width = len(dialect.columns)
        self.spaces = dialect.delimiter == " "
        self.delimiter = "\t" if self.spaces else dialect.delimiter
        self.quotes = False
        plans = dialect.columns
        self.numeric = [k for k, p in enumerate(plans) if p.kind == "number"]
        plain = [k for k in self.numeric if plans[k].grammar.plain]
        comma = [k for k in plain if plans[k].grammar.decimal == ","]
        self.comma = len(comma) * 2 > len(plain) and self.delimiter != ","
        self.fast = [k for k in plain if (plans[k].grammar.decimal == ",") == self.comma]
        if dialect.layout != "wide":
            self.fast = []

    def prepare(self, block: bytes) -> bytes:
        """A block whose columns are parted by one sign."""
        if not self.spaces:
            return block
        return b"\n".join(b"\t".join(line.split()) for line in block.split(b"\n"))

    def table(self, block: bytes) -> pl.DataFrame:
        """A block as a table: numbers where they are safe to read so, text elsewhere."""
        kinds: list[Any] = [pl.Float64 if k in self.fast else pl.String for k in range(self.width)]
        self.quotes = b'"' in block
        try:
            table = _table(block, self.delimiter, kinds, self.comma, self.quotes)
            if not self.quotes or table.height >= 0.95 * (_rows_of(block) - block.count(b"\n\n")):
                return table
        except PolarsError:
            if not self.quotes:
                raise
        self.quotes = False  # a quotation mark that nobody closes
        return _table(block, self.delimiter, kinds, self.comma, False)

    def text(self, block: bytes) -> pl.DataFrame:
        """The same block, every column as text."""
        kinds: list[Any] = [pl.String] * self.width
        if self.quotes:
            try:
                return _table(block, self.delimiter, kinds, self.comma, True)
            except PolarsError:
                self.quotes = False
        return _table(block, self.delimiter, kinds, self.comma, False)

    def points(self, table: pl.DataFrame) -> int:
        """Points that stand in the columns of text: dates, above all."""
        kept = [k for k in range(self.width) if k not in self.fast]
        total = 0
        for k in kept:
            total += int(table.to_series(k).fill_null("").str.count_matches(".", literal=True).sum() or 0)
        return total


def farther_lines(source: TextSource) -> list[str]:
    """Some lines from the middle and the end: what a logger writes after its first hour."""
    if source.size_bytes < 2_000_000 or source.encoding.startswith("utf-16"):
        return []
    out: list[str] = []
    with source.path.open("rb") as file:
        for share in (0.3, 0.6, 0.95):
            file.seek(int(source.size_bytes * share))
            file.readline()
            raw = file.read(40_000)
            text = raw.decode("utf-8" if source.encoding == "utf-8" else "cp1252", "replace")
            out += text.replace("\r", "").split("\n")[:-1][:150]
    return out


def safe_table(reader: Blocks, block: bytes, path: Path, line: int, as_text: bool = False) -> pl.DataFrame:
    """A block as a table, or as text.  InputRefused where the table library finds no columns in it."""
    try:
        return reader.text(block) if as_text else reader.table(block)
    except PolarsError as error:
        problem = Problem(
            "cannot be split into columns from here on", limit=f"{reader.width} columns, as the head of the file has",
            way_out="look at this line: a broken quotation mark, or another file behind the first?",
        )  # fmt: skip
        raise InputRefused(problem.at(str(path), line)) from error


def skip_lines(raw: bytes, first_line: int, first_row: int) -> tuple[bytes, int]:
    """The block without the lines above the data, and the number of its first line."""
    line = first_line
    while line <= first_row:
        cut = raw.find(b"\n")
        if cut < 0:
            return b"", line
        raw, line = raw[cut + 1 :], line + 1
    return raw, line


def odd_rows(reader: Blocks, block: bytes, line: int) -> tuple[int, int]:
    """(how many rows have fewer or more cells than there are columns, line of the first); (0, 0) where quotation marks
    or spaces make the count a matter of reading."""
    if reader.quotes or reader.spaces:
        return 0, 0
    data = np.frombuffer(block if block.endswith(b"\n") else block + b"\n", dtype=np.uint8)
    ends = np.flatnonzero(data == ord("\n"))
    marks = np.searchsorted(np.flatnonzero(data == ord(reader.delimiter)), ends)
    parts = np.diff(marks, prepend=0)
    odd = []
    for k in np.flatnonzero(parts != reader.width - 1).tolist():
        text = block[(ends[k - 1] + 1 if k else 0) : ends[k]].decode("utf-8", "replace")
        beyond = text.split(reader.delimiter)[reader.width :]
        if text.strip() and (parts[k] < reader.width - 1 or any(cell.strip() for cell in beyond)):
            odd.append(k)
    return len(odd), line + odd[0] if odd else 0


def line_numbers(line: int, height: int) -> NDArray[np.int64]:
    """Line numbers of a block's rows; exact where no line is blank or holds a line end in quotes, else near."""
    return np.arange(line, line + height, dtype=np.int64)


def text_issues(source: TextSource) -> list[Issue]:
    out = []
    if source.repaired:
        text = f"{source.repaired} lines are not in the file's encoding: read as Windows-1252"
        out.append(Issue("encoding", text, source.repaired_line, source.repaired))
    if source.cut_off:
        out.append(Issue("layout", "the last line has no end: the file may be cut off"))
    return out
