"""CSV for people's spreadsheets: RFC 4180 with a byte order mark, and no cell that a spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
_STARTS = tuple("=+-@\t\r\n|%")


def safe_cell(value: object) -> str:
    """A cell's text; one that a spreadsheet might run as a formula gets an apostrophe in front, plain numbers do not.

    Which signs begin a formula: OWASP, "CSV Injection" (from memory, not re-read).  Letters that look like them and
    spaces before them count too; a NUL, which cuts a text short, is left out.

    >>> safe_cell("=1+1"), safe_cell(-3.5), safe_cell("-10 °C"), safe_cell(None), safe_cell("a, b")
    ("'=1+1", '-3.5', "'-10 °C", '', 'a, b')
    """
    if value is None:
        return ""
    text = (f"{value:.12g}" if isinstance(value, float) else str(value)).replace("\0", "")
    if _NUMBER.fullmatch(text):
        return text
    wide = {"＝": "=", "＋": "+", "－": "-", "＠": "@"}
    first = next((wide.get(c, c) for c in text if not c.isspace() or c in "\t\r\n"), "")
    return f"'{text}" if first in _STARTS and first else text


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[object]], notes: Iterable[str] = ()) -> str:
    """A table as CSV with a byte order mark, so that spreadsheets read UTF-8; notes follow it, a line each."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([safe_cell(head) for head in heads])
    for row in rows:
        writer.writerow([safe_cell(cell) for cell in row])
    for note in notes:
        writer.writerow([safe_cell(note)])
    return "\ufeff" + out.getvalue()
