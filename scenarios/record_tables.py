"""TOML table → record dataclass, with every problem found and placed; and the record's values for a checksum.

Generic: the record's fields say unit, limits and defaults (see record_fields).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any, TypeVar, cast

from scenarios.as_written import as_written, beside, writers_unit
from scenarios.errors import InputRefused, Problem, shortened
from scenarios.quantities import Site, example_of, format_quantity, parse_quantity
from scenarios.record_fields import FieldRule, field_rules
from scenarios.toml_source import KeyPath, TomlSource

R = TypeVar("R")
LISTED_AT_MOST = 40  # names in one error message: whoever sees more reads none
_BAD: Any = object()  # what a value that was refused becomes, so that reading goes on


def dotted(path: KeyPath) -> str:
    """A key path as a person would write it: `event[2].at`."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def suggestion(word: str, known: Iterable[str]) -> str:
    """ "did you mean …", or the list of what is known."""
    names = sorted(known)
    close = difflib.get_close_matches(word[:200].lower(), names, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    if not names:
        return "nothing is expected here"
    more = f" and {len(names) - LISTED_AT_MOST} more" if len(names) > LISTED_AT_MOST else ""
    return f"known: {', '.join(names[:LISTED_AT_MOST])}{more}"


def unknown_keys(source: TomlSource, path: KeyPath, known: Iterable[str], problems: list[Problem]) -> None:
    """A problem for every key of the table at `path` that is not in `known`."""
    names = set(known)
    for key in source.get(path) if path else source.data:
        if key not in names:
            problem = Problem(f'unknown key "{shortened(key)}"', value=key, way_out=suggestion(key, names))
            problems.append(source.problem((*path, key), problem))


def range_problem(
    value: float,
    unit: str,
    low: float | None,
    high: float | None,
    why: str,
    given: Any = None,
    of: str = "",
) -> Problem | None:
    """A Problem, without a place, if `value` (in `unit`) is outside low..high; why: reason of the default.

    given: what the file says; the limits are then told in its unit, and for a gauge or saturated pressure, where that
    has none of its own, in the usual one together with what the pressure comes to.
    """
    if (low is None or value >= low) and (high is None or value <= high):
        return None
    written = writers_unit(given, unit)

    def told(number: float) -> str:
        if given is None:
            return format_quantity(number, unit)
        return beside(number, unit, written) if written is not None else as_written(number, unit, of)

    ends = [f"at least {told(low)}" if low is not None else "", f"at most {told(high)}" if high is not None else ""]
    limit = "allowed: " + ", ".join(end for end in ends if end)
    text = told(value)
    if isinstance(given, str):
        text = f'"{shortened(given)}"' + ("" if written is not None else f", which is {told(value)},")
    elif given is not None:
        text = str(given)
    named = text if given is None else str(given)
    return Problem(f"{text} is out of range", value=named, limit=limit, way_out=f"default chosen: {why}" if why else "")


def read_quantity(value: Any, unit: str, of: str, site: Site, whole: bool = False) -> float:
    """A TOML value as a number in `unit`.  InputRefused, without a place, if it is not one.

    whole: the result must be a whole number (within 1e-6, which is rounding) that fits in 64 bits.
    """
    if isinstance(value, str):
        number = parse_quantity(value, unit, of, site)
    elif isinstance(value, bool) or not isinstance(value, (int, float)):
        kind = {bool: "true/false", list: "an array", dict: "a table"}.get(type(value), "a date or time")
        raise InputRefused(Problem(f"is {kind}", way_out=f"write for example {example_of(unit, of)}"))
    elif unit not in ("", "1"):
        hint = f"write for example {example_of(unit, of)}"
        raise InputRefused(Problem(f"the bare number {value} has no unit", value=str(value), way_out=hint))
    elif whole and isinstance(value, float):
        raise InputRefused(Problem(f"{value} is not a whole number", value=str(value)))
    else:
        try:
            number = float(value)
        except OverflowError:
            number = float("inf")
        if not -1.7e308 < number < 1.7e308:
            raise InputRefused(Problem(f"{str(value)[:20]} is not a finite number", value=str(value)[:20]))
        if whole and abs(value) >= 2**53:
            raise InputRefused(Problem(f"{str(value)[:20]} is too large", value=str(value)[:20]))
    if whole and (abs(number) >= 2.0**53 or abs(number - round(number)) > 1e-6):
        raise InputRefused(
            Problem(f'"{shortened(str(value))}" is {number:.15g} {unit}, which is not a whole number', value=str(value))
        )
    return number


def read_record(
    source: TomlSource,
    path: KeyPath,
    cls: type[R],
    site: Site,
    problems: list[Problem],
    skip: Iterable[str] = (),
    given: Mapping[str, Any] = MappingProxyType({}),
) -> R | None:
    """A record from the table at `path`; missing keys take the field's default.

    All problems are appended to `problems`, placed; the result is None if there was one.  skip: further keys that the
    table may have and that somebody else reads; given: values, by key, that were read already.
    """
    table = source.get(path) if path else source.data
    before = len(problems)
    if table is None:
        table = {}
    if not isinstance(table, dict):
        problems.append(source.problem(path, Problem(f"{dotted(path)} must be a table"), of_value=True))
        return None
    rules = field_rules(cast(Any, cls))
    if table:
        unknown_keys(source, path, [*(rule.key for rule in rules), *skip, *given], problems)
    made: dict[str, Any] = {}
    for rule in rules:
        value = given.get(rule.key)
        if value is None:
            value = _read_field(source, (*path, rule.key), rule, rule.key in table, site, problems)
        if value is not None:
            made[rule.name] = value
    if len(problems) > before:
        return None
    try:
        return cls(**made)
    except ValueError as error:  # a record that checks its own physics
        problems.append(source.problem(path, f"{dotted(path) or 'the file'}: {error}"))
        return None


def _read_field(
    source: TomlSource, path: KeyPath, rule: FieldRule, present: bool, site: Site, problems: list[Problem]
) -> Any:
    """The field's value, or None when the record shall use its own default or a problem was noted."""
    if rule.is_record and not rule.length:
        if not present and not rule.required:
            return None
        return read_record(source, path, rule.kind, site, problems)
    if not present:
        if rule.required:
            form = f"write for example {rule.key} = {_example(rule)}"
            where = dotted(path[:-1])
            text = f'key "{rule.key}" is missing' + (f" in [{where}]" if where else "")
            problems.append(source.problem(path[:-1], Problem(text, way_out=form)))
        return None
    value = source.get(path)
    if not rule.length:
        found = _read_one(source, path, value, rule, site, problems)
        return None if found is _BAD else found
    if not isinstance(value, list) or len(value) != rule.length:
        given = f"{len(value)} values" if isinstance(value, list) else "not an array"
        text = f'"{rule.key}" needs an array of {rule.length} values, got {given}'
        problems.append(source.problem(path, Problem(text), of_value=True))
        return None
    items = [
        read_record(source, (*path, i), rule.kind, site, problems)
        if rule.is_record
        else _read_one(source, (*path, i), item, rule, site, problems)
        for i, item in enumerate(value)
    ]
    return None if any(item is _BAD or item is None for item in items) else tuple(items) if rule.is_tuple else items


def _example(rule: FieldRule) -> str:
    if rule.kind is bool:
        return "true"
    if rule.is_enum:
        return f'"{next(iter(rule.kind)).name.lower()}"'
    if rule.is_record:
        return "{ … }"
    return "3" if rule.kind is int and rule.unit == "1" else example_of(rule.unit, rule.of)


def _read_one(
    source: TomlSource, path: KeyPath, value: Any, rule: FieldRule, site: Site, problems: list[Problem]
) -> Any:
    try:
        return read_value(value, rule, site)
    except InputRefused as error:
        problems.append(source.problem(path, error.problems[0], of_value=True))
        return _BAD


def read_value(value: Any, rule: FieldRule, site: Site) -> Any:
    """One value of a field, as a file writes it, in the record's unit.  InputRefused, without a place, if it is none."""

    def refused(problem: Problem) -> InputRefused:
        return InputRefused(replace(problem, message=f"{rule.key}: {problem.message}"))

    if rule.kind is bool:
        if isinstance(value, bool):
            return value
        raise refused(Problem("must be true or false, without quotes"))
    if rule.is_enum:
        members = {member.name.lower(): member for member in rule.kind}
        if isinstance(value, str) and value.lower() in members:
            return members[value.lower()]
        raise refused(
            Problem(f"{str(value)[:40]!r} is not one of the choices", way_out=suggestion(str(value), members))
        )
    try:
        number = read_quantity(value, rule.unit, rule.of, site, whole=rule.kind is int)
    except InputRefused as error:
        raise refused(error.problems[0]) from error
    bad = range_problem(number, rule.unit, rule.low, rule.high, rule.why, value, rule.of)
    if bad is not None:
        raise refused(bad)
    return round(number) if rule.kind is int else number


def values_of(record: Any, only: Any = None) -> dict[str, Any]:
    """The record's values in record units, by key in a file; `only`: a TOML table, to leave out keys not in it."""
    out: dict[str, Any] = {}
    for rule in field_rules(cast(Any, type(record))):
        if only is not None and rule.key not in only:
            continue
        value = getattr(record, rule.name)
        part = only[rule.key] if only is not None else None
        if rule.is_record and not rule.length:
            out[rule.key] = values_of(value, part)
        elif rule.is_record:
            out[rule.key] = [values_of(v, part[i] if part is not None else None) for i, v in enumerate(value)]
        elif rule.length:
            out[rule.key] = [_plain(v, rule) for v in value]
        else:
            out[rule.key] = _plain(value, rule)
    return out


def _plain(value: Any, rule: FieldRule) -> Any:
    if rule.is_enum:
        return rule.kind(value).name.lower()
    return float(value) if rule.kind is float else value
