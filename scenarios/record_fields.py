"""What a record dataclass says of its fields: key in a file, unit, limits, default.

The key in a file is the field's name without its unit: `volume_m3` is written `volume`, `load_ramp_ms` is `load_ramp`.
"""

from __future__ import annotations

import re
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from enum import IntEnum
from functools import cache
from typing import Annotated, Any, cast, get_args, get_origin, get_type_hints

from scenarios.units import find_unit

# suffix of a name → (unit it stands for, "absolute"/"difference" where the suffix alone decides)
UNIT_SUFFIXES: dict[str, tuple[str, str]] = {
    "kpa_abs": ("kPa", "absolute"), "kpa": ("kPa", "difference"), "pa": ("Pa", ""), "c": ("°C", "absolute"),
    "k": ("K", ""), "a": ("A", ""), "kw": ("kW", ""), "w": ("W", ""), "pct": ("%", ""), "frac": ("1", ""),
    "ms": ("ms", ""), "s": ("s", ""), "m": ("m", ""), "m2": ("m²", ""), "m3": ("m³", ""), "kg": ("kg", ""),
    "kg_s": ("kg/s", ""), "m3_s": ("m³/s", ""), "m3_kg": ("m³/kg", ""), "m_s": ("m/s", ""), "w_k": ("W/K", ""),
    "kw_k": ("kW/K", ""), "j_k": ("J/K", ""), "j": ("J", ""), "j_kg": ("J/kg", ""), "j_kg_k": ("J/(kg·K)", ""),
    "j_pa": ("J/Pa", ""), "kg_m3": ("kg/m³", ""), "kg_m2": ("kg·m²", ""), "n_m": ("N·m", ""), "pa_s": ("Pa/s", ""),
    "k_s": ("K/s", ""), "w_s": ("W/s", ""), "1_s": ("1/s", ""), "per_s": ("1/s", ""), "rpm": ("1/min", ""),
    "hz": ("1/s", ""), "pct_s": ("%/s", ""), "pct_per_s": ("%/s", ""), "kpa_s": ("kPa/s", ""),
    "kpa_per_s": ("kPa/s", ""),
    "pct_kpa": ("%/kPa", ""), "pct_per_kpa": ("%/kPa", ""), "pct_per_k": ("%/K", ""), "v": ("V", ""), "ma": ("mA", ""),
    "kpa_per_min": ("kPa/min", ""), "pct_per_min": ("%/min", ""), "pct_pct": ("%/%", ""), "pct_per_pct": ("%/%", ""),
    "ms_per_pct": ("ms/%", ""), "ms_per_kpa": ("ms/kPa", ""), "s_per_kpa": ("s/kPa", ""), "kg_s_pa": ("kg/s/Pa", ""),
    "a2_s": ("A²·s", ""), "kwh": ("kWh", ""), "m2_s": ("m²/s", ""), "pa_s2": ("Pa·s²", ""), "n": ("N", ""),
    "rad": ("rad", ""),
}  # fmt: skip
_LONGEST_FIRST = sorted(UNIT_SUFFIXES, key=len, reverse=True)


def suffix_of(name: str) -> str:
    """The unit suffix of a field or column name, "" if it has none.  A name is never all suffix.

    >>> suffix_of("suction_set_point_kpa_abs"), suffix_of("ua_w_k"), suffix_of("volume_ratio")
    ('kpa_abs', 'w_k', '')
    """
    return next((suffix for suffix in _LONGEST_FIRST if name.endswith(f"_{suffix}")), "")


@dataclass(frozen=True, slots=True)
class FieldRule:
    """One field of a record, as a file sees it.

    kind: float, int, bool, an IntEnum or a record; length: of a tuple or list, 0 for a single value;
    unit: "" for what is no number; of: "absolute", "difference" or ""; low, high: limits in `unit`, or None.
    """

    name: str
    key: str
    kind: Any
    length: int
    is_tuple: bool
    unit: str
    of: str
    low: float | None
    high: float | None
    why: str
    required: bool

    @property
    def is_record(self) -> bool:
        return is_dataclass(self.kind)

    @property
    def is_enum(self) -> bool:
        return isinstance(self.kind, type) and issubclass(self.kind, IntEnum)

    @property
    def is_number(self) -> bool:
        return self.kind in (int, float)


@cache
def field_rules(cls: Any) -> tuple[FieldRule, ...]:
    """The rules of a record's fields.  TypeError for a declaration that a file could not express.

    A field with metadata `derived: True` is computed, not written, and is left out.
    """
    hints = get_type_hints(cls, include_extras=True)
    rules = [
        _rule(f, hints[f.name], f"{cls.__name__}.{f.name}")
        for f in fields(cls)
        if f.init and not f.metadata.get("derived")
    ]
    seen: dict[str, str] = {}
    for rule in rules:
        if rule.key in seen:
            raise TypeError(f"{cls.__name__}: {seen[rule.key]} and {rule.name} would both be written {rule.key!r}")
        seen[rule.key] = rule.name
    return tuple(rules)


@cache
def _names_in_files(cls: Any) -> dict[str, str]:
    """Field name → key in a file, of a record and the records in it, where the two differ."""
    names: dict[str, str] = {}
    for rule in field_rules(cls):
        if rule.name != rule.key:
            names[rule.name] = rule.key
        if rule.is_record:
            names |= _names_in_files(rule.kind)
    return names


def as_keys(cls: Any, message: str) -> str:
    """A sentence about the record's fields with every field called as a file calls it: `load_share_frac` → `load_share`.

    cls: the record's class; no class or no record leaves the sentence as it is.
    """
    names = _names_in_files(cast(Any, cls)) if is_dataclass(cls) else {}
    return re.sub(r"\w+", lambda word: names.get(word[0], word[0]), message)


def _rule(f: Field[Any], hint: Any, where: str) -> FieldRule:
    kind, length, is_tuple = _shape(hint, where)
    is_number = kind in (int, float)
    if not (is_number or kind is bool or is_dataclass(kind) or (isinstance(kind, type) and issubclass(kind, IntEnum))):
        raise TypeError(f"{where}: {hint!r} has no form in a file")
    suffix = suffix_of(f.name) if is_number else ""
    meta = f.metadata
    unit = meta.get("unit", UNIT_SUFFIXES[suffix][0] if suffix else "1") if is_number else ""
    of = meta.get("of", UNIT_SUFFIXES[suffix][1] if suffix else "")
    if is_number and find_unit(unit).dimension in ("pressure", "temperature") and of not in ("absolute", "difference"):
        raise TypeError(f'{where}: metadata must say whether it is "absolute" or a "difference"')
    required = f.default is MISSING and f.default_factory is MISSING
    key = f.name.removesuffix(f"_{suffix}") if suffix else f.name
    return FieldRule(
        f.name, key, kind, length, is_tuple, unit, of, meta.get("low"), meta.get("high"), meta.get("why", ""), required
    )


def _shape(hint: Any, where: str) -> tuple[Any, int, bool]:
    if get_origin(hint) is tuple:
        kinds = get_args(hint)
        if not kinds or kinds[-1] is Ellipsis or any(k is not kinds[0] for k in kinds):
            raise TypeError(f"{where}: a tuple needs a fixed length and one element type, got {hint}")
        return kinds[0], len(kinds), True
    if get_origin(hint) is Annotated:
        inner, length = get_args(hint)[:2]
        if get_origin(inner) is list and type(length) is int and length > 0:
            return get_args(inner)[0], length, False
    return hint, 0, False
