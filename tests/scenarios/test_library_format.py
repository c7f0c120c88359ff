"""Heads of foreign libraries, made by hand from the formats' definitions, and what is said of each."""

from __future__ import annotations

import platform
import struct
import sys
from pathlib import Path

import pytest

from scenarios.controllers import load, name_controller
from scenarios.errors import InputRefused
from scenarios.library_format import why_it_does_not_load

ON_LINUX = pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() != "x86_64", reason="speaks of this kind of machine"
)


def elf(machine: int, order: str = "<") -> bytes:
    ident = b"\x7fELF" + bytes([2, 1 if order == "<" else 2, 1]) + bytes(9)
    return ident + struct.pack(f"{order}HH", 3, machine) + bytes(44)


def mach_o(cpu: int) -> bytes:
    return struct.pack("<II", 0xFEEDFACF, cpu) + bytes(24)


def pe(machine: int) -> bytes:
    return b"MZ" + bytes(58) + struct.pack("<I", 64) + b"PE\0\0" + struct.pack("<H", machine) + bytes(18)


@ON_LINUX
@pytest.mark.parametrize(
    ("head", "why"),
    [
        (elf(183), "built for ARM 64-bit, this machine is x86-64"),
        (elf(40), "built for ARM 32-bit, this machine is x86-64"),
        (elf(21, ">"), "built for machine 21, this machine is x86-64"),
        (mach_o(0x0100000C), "built for macOS, this is Linux"),
        (pe(0x8664), "built for Windows, this is Linux"),
        (b"hello", "it is no shared library"),
        (b"", "it is no shared library"),
        (b"MZ" + bytes(62), "it is no shared library"),
        (elf(62), ""),
    ],
)
def test_what_is_said_of_a_head(tmp_path: Path, head: bytes, why: str) -> None:
    path = tmp_path / "it.so"
    path.write_bytes(head)
    said, way_out = why_it_does_not_load(path)
    assert why in said
    assert bool(said) == bool(why) == bool(way_out)


@ON_LINUX
def test_the_refusal_names_both_machines(tmp_path: Path) -> None:
    path = tmp_path / "other.so"
    path.write_bytes(elf(183))
    with pytest.raises(
        InputRefused, match=r"other.so is not a shared library.*ARM 64-bit.*x86-64; build it for x86-64"
    ):
        load(name_controller(str(path), tmp_path))
