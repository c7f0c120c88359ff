"""Chance: a stream per name, in chunks, and nobody's draw shifts anybody else's."""

from __future__ import annotations

import zlib

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from scenarios.chance import generator, noise_block

NAMES = ("suction_pressure", "motor_current", "capacity_position")
ALL = (True, True, True)


def test_a_stream_is_the_one_that_its_key_names() -> None:
    """Seed sequence over (seed, crc32(name), chunk): the same numbers from numpy alone."""
    key = np.random.SeedSequence((7, zlib.crc32(b"noise motor_current"), 3))
    alone = np.random.Generator(np.random.PCG64(key)).standard_normal(50)
    assert np.array_equal(noise_block(7, NAMES, ALL, 3, 50)[:, 1], alone)


def test_an_added_instrument_changes_no_other_column() -> None:
    before = noise_block(7, NAMES, ALL, 0, 100)
    after = noise_block(7, ("oil_level", *NAMES), (True, *ALL), 0, 100)
    assert np.array_equal(after[:, 1:], before)
    assert not np.array_equal(after[:, 0], after[:, 1])


def test_a_silent_instrument_is_zero_and_changes_no_other_column() -> None:
    block = noise_block(7, NAMES, (True, False, True), 0, 100)
    assert not block[:, 1].any()
    assert np.array_equal(block[:, [0, 2]], noise_block(7, NAMES, ALL, 0, 100)[:, [0, 2]])


@given(order=st.permutations(range(5)))
def test_chunks_do_not_depend_on_the_order_of_drawing(order: list[int]) -> None:
    straight = [noise_block(3, NAMES, ALL, k, 10) for k in range(5)]
    shuffled = {k: noise_block(3, NAMES, ALL, k, 10) for k in order}
    for k in range(5):
        assert np.array_equal(shuffled[k], straight[k])


def test_streams_do_not_depend_on_how_much_another_has_drawn() -> None:
    first, second = generator(1, "batch arrivals 0"), generator(1, "batch arrivals 1")
    first.random(1000)
    assert second.random() == generator(1, "batch arrivals 1").random()


@given(st.integers(0, 2**63 - 1), st.integers(0, 2**63 - 1), st.integers(0, 50))
def test_another_seed_or_chunk_is_another_stream(seed: int, other: int, chunk: int) -> None:
    draw = generator(seed, "x", chunk).random(4).tolist()
    assert (generator(other, "x", chunk).random(4).tolist() == draw) == (seed == other)
    assert generator(seed, "x", chunk + 1).random(4).tolist() != draw


def test_streams_are_standard_normal_and_uncorrelated() -> None:
    block = np.concatenate([noise_block(11, NAMES, ALL, k, 4096) for k in range(10)])
    n = len(block)
    assert np.all(np.abs(block.mean(axis=0)) < 5.0 / np.sqrt(n))
    assert np.all(np.abs(block.std(axis=0) - 1.0) < 5.0 / np.sqrt(2 * n))
    correlation = np.corrcoef(block.T)[np.triu_indices(3, 1)]
    assert np.all(np.abs(correlation) < 5.0 / np.sqrt(n))
