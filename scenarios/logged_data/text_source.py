"""A log's bytes as UTF-8 text in blocks of whole lines, whatever they were written in.

UTF-8 with or without its mark, UTF-16 of either order, else Windows-1252 (the usual encoding of loggers of the trade
that are not UTF-8; common practice, no source).  What is not UTF-8 in a file that is, is read as Windows-1252, and its
lines are counted.  What is no text is refused.
"""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from scenarios.errors import InputRefused, Problem

BLOCK_BYTES = 24_000_000
HEAD_BYTES = 1_000_000
LARGEST_BYTES = 20_000_000_000
LONGEST_LINE_BYTES = 4_000_000  # more than that is no line of a log
_CONTROL = bytes(set(range(32)) - {9, 10, 12, 13, 26, 27}) + b"\x7f"
_MAGIC = {
    b"PK\x03\x04": ("is a zip archive or a spreadsheet", "save the sheet as CSV"),
    b"\x1f\x8b": ("is packed (gzip)", "unpack it first"),
    b"%PDF": ("is a PDF", "export the log as CSV"),
    b"SQLite format 3": ("is a database", "export the table as CSV"),
    b"\xd0\xcf\x11\xe0": ("is an old spreadsheet or document", "save the sheet as CSV"),
}


_AS_1252 = "twoslide.windows-1252"


def _as_1252(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeDecodeError)
    return error.object[error.start : error.end].decode("cp1252", "replace"), error.end


codecs.register_error(_AS_1252, _as_1252)


@dataclass(slots=True)
class TextSource:
    """A text file and how its bytes are read.  `repaired` counts lines in another encoding, the first in `line`."""

    path: Path
    encoding: str
    size_bytes: int
    repaired: int = 0
    repaired_line: int = 0
    cut_off: bool = False  # the last line has no end: the file may be truncated
    _digest: str = field(default="", repr=False)

    def head(self) -> list[str]:
        """The first lines, whole, some hundreds at most."""
        with self.path.open("rb") as file:
            raw = file.read(HEAD_BYTES)
        if self.encoding.startswith("utf-16"):
            text = _decode(raw, self.encoding)
        else:  # a copy counts what is mended here: the blocks count it again
            text = TextSource(self.path, self.encoding, self.size_bytes)._utf8(raw, 1).decode("utf-8", "replace")
        lines = _split(text)
        if len(raw) == HEAD_BYTES and len(lines) > 1:
            lines.pop()
        if max((len(line) for line in lines[:50]), default=0) > LONGEST_LINE_BYTES or (
            len(raw) == HEAD_BYTES and len(lines) <= 1
        ):
            problem = Problem(
                "has a line of more than a million characters", limit="a log's lines are shorter", way_out="wrong file?"
            )
            raise InputRefused(problem.at(str(self.path), 1))
        return lines[:600]

    def sha256(self) -> str:
        """Hash of the bytes, worked out once."""
        if not self._digest:
            with self.path.open("rb") as file:
                self._digest = hashlib.file_digest(file, "sha256").hexdigest()
        return self._digest

    def blocks(self, block_bytes: int = BLOCK_BYTES) -> Iterator[tuple[int, bytes]]:
        """(number of the first line, UTF-8 text of whole lines) until the end; line ends are \\n."""
        line = 1
        for raw in _whole_lines(self.path, self.encoding, block_bytes):
            text = self._utf8(raw, line)
            yield line, text
            line += text.count(b"\n")
            self.cut_off = not text.endswith(b"\n")

    def _utf8(self, raw: bytes, line: int) -> bytes:
        if self.encoding == "utf-8":
            raw = raw.removeprefix(codecs.BOM_UTF8) if line == 1 else raw
            if not raw.isascii():
                try:
                    raw.decode("utf-8")
                except UnicodeDecodeError:
                    raw = self._mend(raw, line)
        elif self.encoding.startswith("utf-16"):
            raw = raw.decode(self.encoding, "replace").removeprefix("\ufeff").encode()
        elif not raw.isascii():
            raw = raw.decode("cp1252", "replace").encode()
        if b"\r" in raw:
            raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        return raw.replace(b"\x00", b"") if b"\x00" in raw else raw

    def _mend(self, raw: bytes, line: int) -> bytes:
        """What is no UTF-8 is read as Windows-1252, byte by byte: one wrong byte spoils no degree sign beside it."""
        out = []
        for number, part in enumerate(raw.split(b"\n"), line):
            try:
                part.decode("utf-8")
            except UnicodeDecodeError:
                self.repaired += 1
                self.repaired_line = self.repaired_line or number
                part = part.decode("utf-8", _AS_1252).encode()
            out.append(part)
        return b"\n".join(out)


def _split(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _decode(raw: bytes, encoding: str) -> str:
    return codecs.getincrementaldecoder(encoding)("replace").decode(raw).removeprefix("\ufeff")


def _whole_lines(path: Path, encoding: str, block_bytes: int) -> Iterator[bytes]:
    """Bytes up to the last line end of each block; UTF-16 is cut at its own line end."""
    wide = encoding.startswith("utf-16")
    end = "\n".encode(encoding) if wide else b"\n"
    with path.open("rb") as file:
        left = b""
        while True:
            raw = file.read(block_bytes)
            if not raw:
                break
            raw = left + raw
            cut = raw.rfind(end)
            while wide and cut >= 0 and cut % 2:
                cut = raw.rfind(end, 0, cut + 1)
            if cut < 0 and not wide and b"\r" in raw and b"\n" not in raw:
                cut = raw.rfind(b"\r")
            if cut < 0:
                if len(raw) > 4 * block_bytes:
                    raise InputRefused(Problem("has a line that does not end", file=str(path), way_out="wrong file?"))
                left = raw
                continue
            yield raw[: cut + len(end)]
            left = raw[cut + len(end) :]
        if left:
            yield left


def open_text(path: Path) -> TextSource:
    """Find out what a file is written in.  InputRefused for a missing, empty or binary one."""
    name = str(path)
    try:
        if path.is_dir():
            raise InputRefused(Problem("is a folder, a log is expected", file=name))
        if not path.is_file():
            kind = "is not an ordinary file" if path.exists() else "no such file"
            raise InputRefused(Problem(kind, file=name))
        size_bytes = path.stat().st_size
        with path.open("rb") as file:
            raw = file.read(HEAD_BYTES)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise InputRefused(Problem(f"cannot be read ({reason})", file=name)) from error
    if size_bytes > LARGEST_BYTES:
        raise InputRefused(Problem(f"is larger than {LARGEST_BYTES / 1e9:g} GB", file=name, way_out="cut it"))
    if not raw.strip(b" \t\r\n\x00"):
        raise InputRefused(Problem("is empty", file=name))
    for mark, (what, way_out) in _MAGIC.items():
        if raw.startswith(mark):
            raise InputRefused(Problem(f"{what}, a log as text or Parquet is expected", file=name, way_out=way_out))
    return TextSource(path, _encoding_of(raw, name), size_bytes)


def _encoding_of(raw: bytes, name: str) -> str:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16-le" if raw.startswith(codecs.BOM_UTF16_LE) else "utf-16-be"
    even, odd = raw[0::2].count(0), raw[1::2].count(0)
    half = max(1, len(raw) // 2)
    if odd > 0.6 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.6 * half and odd < 0.1 * half:
        return "utf-16-be"
    strange = len(raw) - len(raw.translate(None, _CONTROL))
    if strange > 0.02 * len(raw) + 2:
        share = 100.0 * strange / len(raw)
        problem = Problem(f"is no text: {share:.0f} % of its first bytes are control characters", file=name)
        raise InputRefused(problem)
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(raw, final=False)
    except UnicodeDecodeError:
        if raw.startswith(codecs.BOM_UTF8):
            return "utf-8"
        both = any(not line.isascii() and _is_utf8(line) for line in raw.split(b"\n"))
        return "utf-8" if both else "cp1252"  # of both, each line is read as what it is
    return "utf-8"


def _is_utf8(line: bytes) -> bool:
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
