"""Where in a file a contradiction between fields stands, when the record's own check says it in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from scenarios.errors import Problem
from scenarios.record_fields import FieldRule, field_rules
from scenarios.toml_source import KeyPath, TomlSource


def place_cross_checks(
    source: TomlSource, path: KeyPath, cls: Any, messages: Iterable[str], problems: list[Problem]
) -> None:
    """Turn a cross check's messages into placed problems.

    A message may begin with a field ("oil.charge_kg: …") or a section ("oil: …"); it is placed at that field, else at
    the field with the longest name that it mentions and that the file gives, else at the section or at `path`.
    """
    for message in messages:
        section = _section(cls, message)
        rule = rule_of(cls, section)
        if rule is not None and not rule.is_record:
            found: KeyPath | None = section
        else:
            found = _mentioned(source, path, cls, section, message)
        problems.append(source.problem((*path, *(found or section)), message, of_value=found is not None))


def _section(cls: Any, message: str) -> KeyPath:
    """The field or section named before the first colon; () if there is none of that name."""
    name = message.split(":", 1)[0].strip() if ":" in message else ""
    exact = key_path_of(cls, name)
    if exact is not None:
        return exact
    word = name.replace(" ", "_")
    same = [key_path for key_path, rule in every_field(cls) if rule.is_record and key_path[-1] == word]
    return same[0] if len(same) == 1 else ()


def _mentioned(source: TomlSource, path: KeyPath, cls: Any, section: KeyPath, message: str) -> KeyPath | None:
    words = message.lower().replace("_", " ").replace("-", " ")
    given = [
        key_path
        for key_path, rule in every_field(cls)
        if key_path[: len(section)] == section
        and not rule.is_record
        and str(key_path[-1]).replace("_", " ") in words
        and source.get((*path, *key_path)) is not None
    ]
    return max(given, key=lambda key_path: len(str(key_path[-1])), default=None)


def every_field(cls: Any, above: KeyPath = ()) -> Iterator[tuple[KeyPath, FieldRule]]:
    """Every field of a record and of the records in it, with its key path."""
    for rule in field_rules(cls):
        yield (*above, rule.key), rule
        if rule.is_record and not rule.length:
            yield from every_field(rule.kind, (*above, rule.key))


def key_path_of(cls: Any, field_path: str) -> KeyPath | None:
    """`protection.trip_kpa_abs` or `protection.trip` as the key path in a file; None if there is no such field."""
    path: list[str | int] = []
    for name in field_path.split("."):
        rule = next((r for r in field_rules(cls) if name in (r.name, r.key)), None) if cls is not None else None
        if rule is None:
            return None
        path.append(rule.key)
        cls = rule.kind if rule.is_record and not rule.length else None
    return tuple(path)


def rule_of(cls: Any, key_path: KeyPath) -> FieldRule | None:
    """The rule of the field that a key path of names leads to; None if there is none."""
    rule: FieldRule | None = None
    for name in key_path:
        rule = next((r for r in field_rules(cls) if name in (r.name, r.key)), None) if cls is not None else None
        if rule is None:
            return None
        cls = rule.kind if rule.is_record and not rule.length else None
    return rule
