"""Records: one declaration, three forms (dataclass, structured array, C struct)."""

from __future__ import annotations

import struct
import subprocess
from dataclasses import dataclass, field, fields
from enum import IntEnum
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.process_image import Inputs, Outputs
from scenarios.records import as_tuple, codec_of, dtype_of, from_record, layout, to_array, write_into


class Colour(IntEnum):
    RED = 1
    GREEN = 2


@dataclass(slots=True)
class Inner:
    flag: bool = False
    size_m: float = 1.5


@dataclass(slots=True)
class Outer:
    count: int = 3
    flag: bool = True
    colour: Colour = Colour.RED
    inner: Inner = field(default_factory=Inner)
    curve: tuple[float, float, float] = (0.0, 0.5, 1.0)
    memory: Annotated[list[float], 2] = field(default_factory=lambda: [0.0, 0.0])
    parts: Annotated[list[Inner], 2] = field(default_factory=lambda: [Inner(), Inner(True, 2.0)])


@given(
    st.integers(-(2**63), 2**63 - 1),
    st.booleans(),
    st.sampled_from(Colour),
    st.floats(allow_nan=False),
    st.lists(st.floats(allow_nan=False), min_size=2, max_size=2),
)
def test_round_trip(count: int, flag: bool, colour: Colour, size_m: float, memory: list[float]) -> None:
    record = Outer(count, flag, colour, Inner(not flag, size_m), memory=memory)
    array = to_array(record)
    assert from_record(Outer, array[0]) == record
    other = to_array(Outer())
    write_into(record, other)
    assert other.tobytes() == array.tobytes()


def test_layout_is_the_c_compilers(tmp_path: Path) -> None:
    """Source: the platform's C compiler (gcc), asked for sizeof and offsetof of the same struct."""
    source = """
    #include <stdbool.h>
    #include <stdint.h>
    #include <stddef.h>
    #include <stdio.h>
    typedef struct { bool flag; double size_m; } inner;
    typedef struct {
      int64_t count; bool flag; int64_t colour; inner in; double curve[3]; double memory[2]; inner parts[2];
    } outer;
    #define AT(name) offsetof(outer, name)
    int main(void) {
      printf("%zu %zu %zu %zu %zu %zu %zu %zu", sizeof(outer), AT(count), AT(flag), AT(colour), AT(in), AT(curve),
             AT(memory), AT(parts));
    }
    """
    (tmp_path / "a.c").write_text(source)
    subprocess.run(["gcc", "-o", tmp_path / "a", tmp_path / "a.c"], check=True)
    said = [int(n) for n in subprocess.run([tmp_path / "a"], capture_output=True, check=True, text=True).stdout.split()]
    dtype = dtype_of(Outer)
    assert dtype.fields is not None
    assert said == [dtype.itemsize, *(dtype.fields[f.name][1] for f in fields(Outer))]


@pytest.mark.parametrize(
    ("record", "error"),
    [
        (Outer(count=1.5), TypeError),  # type: ignore[arg-type]
        (Outer(flag=1), TypeError),  # type: ignore[arg-type]
        (Outer(count=2**63), OverflowError),
        (Outer(colour=9), ValueError),  # type: ignore[arg-type]
        (Outer(memory=[1.0]), ValueError),
        (Outer(inner=Inner(size_m="1")), TypeError),  # type: ignore[arg-type]
    ],
)
def test_a_wrong_value_is_refused_by_name(record: Outer, error: type[Exception]) -> None:
    with pytest.raises(error):
        as_tuple(record)


@pytest.mark.parametrize("hint", [str, tuple[float, ...], tuple[float, int], list[float], Any])
def test_a_type_without_fixed_size_is_refused(hint: Any) -> None:
    cls = dataclass(type("Bad", (), {"__annotations__": {"x": hint}, "__module__": __name__}))
    with pytest.raises(TypeError, match=r"Bad\.x"):
        layout(cls)


@pytest.mark.parametrize("cls", [Inputs, Outputs])
def test_codec_moves_every_field_and_agrees_with_the_array(cls: Any) -> None:
    codec = codec_of(cls)
    record = cls()
    for k, slot in enumerate(layout(cls)):  # another value in each field
        members = list(slot.kind) if isinstance(slot.kind, type) and issubclass(slot.kind, IntEnum) else []
        value = members[-1] if members else (k % 2 == 0 if slot.kind is bool else slot.kind(k + 1))
        setattr(record, slot.name, value)
    array = np.zeros(1, dtype_of(cls))
    codec.store(record, memoryview(array.view("u1")))
    assert from_record(cls, array[0]) == record
    back = cls()
    codec.load(back, memoryview(array.view("u1")))
    assert back == record


def test_codec_refuses_a_value_of_the_wrong_kind() -> None:
    codec = codec_of(Inner)
    buffer = bytearray(codec.size)
    with pytest.raises(struct.error):
        codec.store(Inner(size_m="wide"), buffer)  # type: ignore[arg-type]


def test_codec_only_for_flat_records() -> None:
    with pytest.raises(TypeError, match="flat"):
        codec_of(Outer)
