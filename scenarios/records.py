"""Typed dataclasses <-> numpy structured records: declared once, compiled as C structs, interpreted as plain objects.

Field types: int, float, bool, an IntEnum, another record, tuple[T, T, ...] (read-only, fixed length) and
Annotated[list[T], n] (mutable, fixed length).  Integers are 64-bit, a bool is one byte; the layout is aligned and equals
the C struct's, so that a shared library reads the same memory.  Kernels see attributes only.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from enum import IntEnum
from functools import cache
from typing import Annotated, Any, NamedTuple, TypeVar, cast, get_args, get_origin, get_type_hints

import numpy as np
from numpy.typing import NDArray

R = TypeVar("R")
RecordArray = NDArray[np.void]
_SCALARS: dict[Any, str] = {int: "i8", float: "f8", bool: "?"}  # looked up by identity: bool is a subclass of int


class Slot(NamedTuple):
    """One field of a record: `length` 0 is a scalar, `frozen` a tuple."""

    name: str
    kind: Any
    length: int
    frozen: bool


def is_record(kind: Any) -> bool:
    """True for a record dataclass type (a plain bool, so that the type checker does not narrow)."""
    return isinstance(kind, type) and is_dataclass(kind)


def _spec(hint: Any, where: str) -> tuple[Any, int]:
    if get_origin(hint) is tuple:
        kinds = get_args(hint)
        if not kinds or kinds[-1] is Ellipsis or any(kind is not kinds[0] for kind in kinds):
            raise TypeError(f"{where}: a tuple needs a fixed length and one element type, got {hint}")
        return kinds[0], len(kinds)
    if get_origin(hint) is Annotated:
        inner, length = get_args(hint)[:2]
        if get_origin(inner) is list and type(length) is int and length > 0:
            return get_args(inner)[0], length
    return hint, 0


@cache
def layout(cls: Any) -> tuple[Slot, ...]:
    """The fields of a record class.  Raises TypeError for a type that has no fixed size."""
    hints = get_type_hints(cls, include_extras=True)
    slots = []
    for f in fields(cls):
        kind, length = _spec(hints[f.name], f"{cls.__name__}.{f.name}")
        if not (kind in _SCALARS or is_record(kind) or (isinstance(kind, type) and issubclass(kind, IntEnum))):
            raise TypeError(f"{cls.__name__}.{f.name}: {kind!r} has no fixed-size record form")
        slots.append(Slot(f.name, kind, length, get_origin(hints[f.name]) is tuple))
    return tuple(slots)


@cache
def dtype_of(cls: Any) -> np.dtype[np.void]:
    """The aligned dtype of a record class; equal to the C struct's layout."""
    out: list[Any] = []
    for slot in layout(cls):
        base = dtype_of(slot.kind) if is_record(slot.kind) else np.dtype(_SCALARS.get(slot.kind, "i8"))
        out.append((slot.name, base, (slot.length,)) if slot.length else (slot.name, base))
    return np.dtype(out, align=True)


def _plain(value: Any, kind: Any, where: str) -> Any:
    """A field's value as numpy takes it.  Strict: numpy itself would truncate 1.9 to 1 and take any truth for a bool."""
    if is_record(kind):
        return as_tuple(value)
    if kind is float:
        if type(value) is not float and type(value) is not int:
            raise TypeError(f"{where}: expected a float, got {value!r}")
        return value
    if kind is bool:
        if type(value) is not bool:
            raise TypeError(f"{where}: expected a bool, got {value!r}")
        return value
    if kind is int and type(value) is not int and not isinstance(value, IntEnum):
        raise TypeError(f"{where}: expected an int, got {value!r}")
    if not -(2**63) <= value < 2**63:
        raise OverflowError(f"{where}: {value} does not fit in 64 bits")
    return int(kind(value))  # kind() refuses a number that is no member of an IntEnum


def as_tuple(record: Any) -> tuple[Any, ...]:
    """A record as the nested tuple that numpy takes.  Raises TypeError, ValueError or OverflowError, naming the field."""
    out: list[Any] = []
    cls = cast(Any, type(record))
    for slot in layout(cls):
        value = getattr(record, slot.name)
        where = f"{cls.__name__}.{slot.name}"
        if slot.length and len(value) != slot.length:
            raise ValueError(f"{where}: {len(value)} elements, the layout has {slot.length}")
        out.append([_plain(v, slot.kind, where) for v in value] if slot.length else _plain(value, slot.kind, where))
    return tuple(out)


def to_array(record: Any) -> RecordArray:
    """A one-element structured array of the record; its element [0] is what compiled code reads and writes."""
    array = np.zeros(1, dtype_of(cast(Any, type(record))))  # zeroed, so that the padding is the same every time
    array[0] = as_tuple(record)
    return array


def write_into(record: Any, array: RecordArray) -> None:
    """Copy a record over an existing one-element array, whose address stays."""
    array[0] = as_tuple(record)


def from_record(cls: type[R], rec: Any) -> R:
    """A new dataclass from one element of a structured array."""

    def one(value: Any, kind: Any) -> Any:
        return from_record(kind, value) if is_record(kind) else kind(value)

    made: dict[str, Any] = {}
    for name, kind, length, frozen in layout(cast(Any, cls)):
        value = rec[name]
        made[name] = (tuple if frozen else list)(one(v, kind) for v in value) if length else one(value, kind)
    return cls(**made)


class Codec(NamedTuple):
    """Fast copies between a flat record and raw memory, for a controller written in plain Python."""

    size: int
    load: Callable[[Any, Any], None]  # load(record, buffer): memory -> record
    store: Callable[[Any, Any], None]  # store(record, buffer): record -> memory


@cache
def codec_of(cls: Any) -> Codec:
    """Codec of a record of scalars only.

    One generated statement moves all fields: a loop over getattr/setattr took four times as long, and this runs twice a
    scan.  Enum fields come out as plain ints (an IntEnum compares equal to them) because building a member costs more
    than the whole copy.
    """
    slots = layout(cls)
    if any(slot.length or is_record(slot.kind) for slot in slots):
        raise TypeError(f"{cls.__name__}: only a flat record of scalars has a codec")
    letters = {float: "d", bool: "?"}
    packer = struct.Struct("@" + "".join(letters.get(slot.kind, "q") for slot in slots) + "0q")
    if packer.size != dtype_of(cls).itemsize:
        raise TypeError(f"{cls.__name__}: struct and dtype disagree on the layout")
    names = ", ".join(f"r.{slot.name}" for slot in slots)
    scope: dict[str, Any] = {"unpack": packer.unpack_from, "pack": packer.pack_into}
    exec(
        f"def load(r, buffer):\n    {names}, = unpack(buffer)\ndef store(r, buffer):\n    pack(buffer, 0, {names})\n",
        scope,
    )
    return Codec(packer.size, scope["load"], scope["store"])
