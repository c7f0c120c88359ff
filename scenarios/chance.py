"""Chance: one stream per source, in fixed chunks, so that nobody's draw shifts anybody else's.

A stream is named; its chunk k is drawn from SeedSequence((seed, crc32(name), k)).  An early exit, an added instrument or
another number of processes changes no number of any other stream.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray


def generator(seed: int, name: str, chunk: int = 0) -> np.random.Generator:
    """The generator of one chunk of one named stream."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence((seed, zlib.crc32(name.encode()), chunk))))


def noise_block(
    seed: int, names: tuple[str, ...], active: tuple[bool, ...], chunk: int, rows: int
) -> NDArray[np.float64]:
    """Standard normal noise, shape (rows, len(names)), one column a named instrument.

    A column whose instrument has no noise stays zero and costs nothing.
    """
    block = np.zeros((rows, len(names)))
    for column, name in enumerate(names):
        if active[column]:
            block[:, column] = generator(seed, f"noise {name}", chunk).standard_normal(rows)
    return block
