"""What kind of machine a shared library was built for, read from its first bytes: for words that say why it will not load.

Numbers of the formats: ELF `e_machine` (System V ABI), Mach-O `cputype`, PE/COFF `Machine`; from memory (c).
"""

from __future__ import annotations

import platform
import struct
import sys
from pathlib import Path

_ELF = {3: "x86 32-bit", 40: "ARM 32-bit", 62: "x86-64", 183: "ARM 64-bit", 243: "RISC-V"}
_MACH_O = {0x01000007: "x86-64", 0x0100000C: "ARM 64-bit"}
_PE = {0x014C: "x86 32-bit", 0x8664: "x86-64", 0xAA64: "ARM 64-bit"}
_OURS = {"x86_64": "x86-64", "amd64": "x86-64", "aarch64": "ARM 64-bit", "arm64": "ARM 64-bit", "riscv64": "RISC-V"}
_SYSTEM = {"linux": "Linux or another ELF system", "darwin": "macOS", "win32": "Windows"}


def _format_of(head: bytes) -> tuple[str, str]:
    """(system, machine) of the first bytes; ("", "") for what is no library."""
    if head[:4] == b"\x7fELF" and len(head) >= 20:
        order = ">" if head[5] == 2 else "<"
        (number,) = struct.unpack_from(f"{order}H", head, 18)
        return "linux", _ELF.get(number, f"machine {number}")
    if head[:4] == b"\xcf\xfa\xed\xfe" and len(head) >= 8:
        (number,) = struct.unpack_from("<I", head, 4)
        return "darwin", _MACH_O.get(number, f"machine {number:#x}")
    if head[:2] == b"MZ" and len(head) >= 64:
        (at,) = struct.unpack_from("<I", head, 60)
        if head[at : at + 4] == b"PE\0\0" and len(head) >= at + 6:
            (number,) = struct.unpack_from("<H", head, at + 4)
            return "win32", _PE.get(number, f"machine {number:#x}")
    return "", ""


def why_it_does_not_load(path: Path) -> tuple[str, str]:
    """(what is wrong with a library that the system would not load, the way out); ("", "") where its head looks right."""
    with open(path, "rb") as file:
        head = file.read(4096)
    system, machine = _format_of(head)
    if not system:
        return "it is no shared library", "build one with the header controller/foreign/twoslide_controller.h"
    ours = _OURS.get(platform.machine().lower(), platform.machine())
    here = "linux" if sys.platform not in _SYSTEM else sys.platform
    if system != here:
        return f"it was built for {_SYSTEM[system]}, this is {_SYSTEM[here]}", "build it on this system"
    if machine != ours:
        return f"it was built for {machine}, this machine is {ours}", f"build it for {ours}"
    return "", ""
