"""What a page carries: values to a 65,534th of their reach, gaps as gaps, and of a long run every extreme."""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tools.figures.columns import Columns, Floats, extremes, quantised

VALUES = st.floats(-1e7, 1e7, allow_nan=False) | st.just(float("nan"))


def unpacked(made: Columns) -> tuple[list[Floats], list[Floats]]:
    """Time axes and columns as a page reads them; written after the docstring, not after trends.js."""
    raw = zlib.decompress(base64.b64decode(made.packed()))
    place = 0
    times: list[Floats] = []
    columns: list[Floats] = []

    def read_times() -> None:
        nonlocal place
        while len(times) < len(made.times) and made.times[len(times)]["before"] <= len(columns):
            axis = made.times[len(times)]
            if axis.get("listed"):
                steps = np.frombuffer(raw, "<i4", axis["n"], place)
                times.append(axis["start"] + np.cumsum(steps, dtype=np.float64))
                place += 4 * axis["n"]
            else:
                times.append(axis["start"] + axis.get("step", 0) * np.arange(axis["n"], dtype=np.float64))

    for head in made.columns:
        read_times()
        n = made.times[head["axis"]]["n"]
        high, low = (np.frombuffer(raw, np.uint8, n, place + shift).astype(np.uint16) for shift in (0, n))
        numbers = np.cumsum(high * 256 + low, dtype=np.uint16).view(np.int16)
        columns.append(np.where(numbers == -32768, np.nan, head["base"] + head["step"] * numbers))
        place += 2 * n
    read_times()
    assert place == len(raw)
    return times, columns


@given(st.lists(arrays(np.float64, st.shared(st.integers(1, 60), key="n"), elements=VALUES), min_size=1, max_size=4))
def test_what_is_packed_comes_back(several: list[Floats]) -> None:
    made = Columns()
    axis = made.time_axis(np.arange(len(several[0])) * 100.0)
    places = [made.column(axis, y) for y in several]
    _, found = unpacked(made)
    for y, place in zip(several, places, strict=True):
        known = y[np.isfinite(y)]
        reach = np.ptp(known) if len(known) else 0.0
        assert np.array_equal(np.isnan(found[place]), np.isnan(y))
        # half a step, and the digits that base and step are told with
        np.testing.assert_allclose(found[place], y, rtol=1e-11, atol=reach / 65_000.0 * 0.51 + 1e-12)


def test_uneven_times_come_back_and_a_column_is_kept_once() -> None:
    made = Columns()
    even, uneven = made.time_axis(np.arange(5) * 1000.0), made.time_axis(np.array([0.0, 100.0, 5000.0]))
    assert made.column(even, np.arange(5.0)) == made.column(even, np.arange(5.0)) == 0
    made.column(uneven, np.ones(3))
    (first, second), columns = unpacked(made)
    assert first.tolist() == [0.0, 1000.0, 2000.0, 3000.0, 4000.0]
    assert second.tolist() == [0.0, 100.0, 5000.0]
    assert len(columns) == 2


@pytest.mark.parametrize("place", [0, 1, 43_210, 86_399, 86_400])
def test_one_row_in_a_day_is_kept_in_both_directions(place: int) -> None:
    x = np.arange(86_401) * 1000.0
    for height in (1.0, -1.0):
        y = np.zeros(86_401)
        y[place] = height
        made = Columns()
        axis = made.time_axis(x, 6000)
        made.column(axis, y)
        (times,), (found,) = unpacked(made)
        assert len(times) == len(found) <= 6001
        (at,) = np.flatnonzero(np.abs(found - height) < 1e-4)
        assert abs(times[at] - x[place]) <= made.times[axis]["bundled"] * 1000.0
        assert np.all(np.diff(times) >= 0.0)


@given(arrays(np.float64, st.integers(1, 400), elements=VALUES), st.integers(2, 50))
def test_extremes_of_every_stretch_stay(y: Floats, size: int) -> None:
    found = extremes(y, size)
    for k in range(0, len(y), size):
        stretch, kept = y[k : k + size], found[2 * (k // size) : 2 * (k // size) + 2]
        if np.isnan(stretch).all():
            assert np.isnan(kept).all()
        else:
            assert (np.nanmin(kept), np.nanmax(kept)) == (np.nanmin(stretch), np.nanmax(stretch))


def test_a_gap_stays_a_gap_and_a_constant_stays_itself() -> None:
    nothing: Any = np.full(3, np.nan)
    assert quantised(nothing)[0].tolist() == [-32768] * 3
    for value in (290_640.0, 0.03125):
        numbers, base, step = quantised(np.full(3, value))
        assert (base + step * numbers).tolist() == [value] * 3
