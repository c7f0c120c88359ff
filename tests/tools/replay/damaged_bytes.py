"""Damage done to the bytes of a log: cut, mixed, flipped, blown up, or another file altogether."""

from __future__ import annotations

import numpy as np


def truncated(raw: bytes, draw: np.random.Generator) -> bytes:
    return raw[: int(draw.integers(0, len(raw)))]


def binary(raw: bytes, draw: np.random.Generator) -> bytes:
    return bytes(draw.integers(0, 256, 5000, dtype=np.uint8))


def binary_middle(raw: bytes, draw: np.random.Generator) -> bytes:
    a = int(draw.integers(0, len(raw)))
    return raw[:a] + bytes(draw.integers(0, 256, 300, dtype=np.uint8)) + raw[a:]


def flipped(raw: bytes, draw: np.random.Generator) -> bytes:
    data = bytearray(raw)
    for k in draw.integers(0, len(data), 40).tolist():
        data[k] = int(draw.integers(0, 256))
    return bytes(data)


def mixed_encodings(raw: bytes, draw: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    for k in range(len(lines)):
        if draw.random() < 0.3:
            lines[k] += "ö°".encode("cp1252") if draw.random() < 0.5 else "ö°".encode()
    return b"\n".join(lines)


def wide(raw: bytes, draw: np.random.Generator) -> bytes:
    n = 1_000_000 if draw.random() < 0.15 else 30_000
    return (
        (";".join(f"c{k}" for k in range(n)) + "\n").encode() + b"2026-05-13 01:00:00" + b";1" * min(n, 40_000) + b"\n"
    )


def one_line(raw: bytes, draw: np.random.Generator) -> bytes:
    return raw.replace(b"\n", b" ")


def old_line_ends(raw: bytes, draw: np.random.Generator) -> bytes:
    return raw.replace(b"\n", [b"\r", b"\r\n", b"\n\n"][int(draw.integers(3))])


def blank(raw: bytes, draw: np.random.Generator) -> bytes:
    return [b"", b"\n\n\n", b"\x00" * 100, b";;;;\n;;;;\n", b"Time\n", b"\xff\xfe", b"\xef\xbb\xbf"][
        int(draw.integers(7))
    ]


def other_files(raw: bytes, draw: np.random.Generator) -> bytes:
    return [
        b"PK\x03\x04junk",
        b"\x1f\x8b\x08junk",
        b"%PDF-1.7",
        b"PAR1junkPAR1",
        b'{"a": [1, 2]}',
        b"<html><table><tr></html>",
    ][int(draw.integers(6))]


AFTER_BYTES = [
    truncated,
    binary,
    binary_middle,
    flipped,
    mixed_encodings,
    wide,
    one_line,
    old_line_ends,
    blank,
    other_files,
]
