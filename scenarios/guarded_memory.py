"""Memory with a guard on either side: guard bytes that show what was written there, and pages that nobody may touch.

A controller that writes a little outside its record changes guard bytes and is found afterwards; one that goes farther
meets a page without rights and ends its process at once, which is why such a controller belongs into a child.
"""

from __future__ import annotations

import ctypes
import mmap
import os
from typing import Any

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]

GUARD_BYTES = 4096  # on either side
_ALIGNED_BYTES = 64
_GUARD = 0xA5
_NO_ACCESS = 0  # PROT_NONE (POSIX)


def flat(array: NDArray[Any]) -> Bytes:
    """The bytes of an array."""
    return array.reshape(-1).view(np.uint8)


class Memory:
    """`size` bytes between guards; 64-byte aligned.

    flush: the content ends at the page that nobody may touch, but for what this alignment in bytes leaves, so that the
    first write behind it ends the process: for runs, where nobody looks at guard bytes after each scan.  0: it does not.
    """

    def __init__(self, content: Bytes, flush: int = 0) -> None:
        size, page = content.nbytes, mmap.PAGESIZE
        inside = -(-(size + 2 * GUARD_BYTES + _ALIGNED_BYTES) // page) * page
        block = mmap.mmap(-1, inside + 2 * page)
        whole = np.frombuffer(block, dtype=np.uint8)
        whole[:] = _GUARD
        room = whole[page : page + inside]
        for side in (whole[:page], whole[page + inside :]):
            _forbid(side)
        start = (inside - size) // flush * flush if flush else GUARD_BYTES
        self._block = block  # the memory lives as long as this
        self._around = (room[:start], room[start + size :])
        self.bytes: Bytes = room[start : start + size]
        self.first = content.copy()
        self.restore()

    def restore(self) -> None:
        """The content that it was made with."""
        self.bytes[:] = self.first

    def changed(self) -> bool:
        """The content is no longer the first one."""
        return not np.array_equal(self.bytes, self.first)

    def overrun(self) -> bool:
        """Something has been written outside."""
        return any(bool((side != _GUARD).any()) for side in self._around)


def _forbid(page: Bytes) -> None:
    """Take all rights from a page, where the system can; the guard bytes are there without it, too."""
    if os.name != "posix":
        return
    system = ctypes.CDLL(None, use_errno=True)
    if system.mprotect(ctypes.c_void_p(page.ctypes.data), ctypes.c_size_t(page.nbytes), _NO_ACCESS) != 0:
        raise OSError(ctypes.get_errno(), "a guard page could not be made")
