"""One setting of a shipped controller changed while it runs: found by its key in the sheet, read and checked as there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple, cast

from scenarios.as_written import as_written, range_as_written
from scenarios.cross_checks import every_field
from scenarios.errors import InputRefused, Problem, shortened
from scenarios.event_kinds import SettingsChange
from scenarios.quantities import Site
from scenarios.record_fields import FieldRule, as_keys, field_rules
from scenarios.record_tables import read_value, suggestion

CrossCheck = Callable[[Any], Iterable[str]]


class Change(NamedTuple):
    """One change: when, the setting's dotted key, its value as written, and the number of its event."""

    time_ms: int
    setting: str
    value: Any
    number: int = 0


def setting_keys(settings: Any) -> dict[str, FieldRule]:
    """Every setting that can be changed by itself: its dotted key under [settings], and its rule."""
    fields = every_field(cast(Any, type(settings)))
    return {".".join(map(str, path)): rule for path, rule in fields if not rule.is_record}


def changed_setting(settings: Any, setting: str, value: Any, site: Site) -> tuple[Any, str]:
    """A new settings record in which `setting` has `value`, and the change in words: "pi.integral_time: 30 s → 45 s".

    InputRefused, without a place, for an unknown setting or a value that its field does not allow.  Contradictions
    between fields are not looked for: `refuse_contradictions` does, once several changes are in.
    """
    if settings is None:
        raise InputRefused(
            Problem(
                "this controller's settings are its own business, so none of them can be changed while it runs",
                way_out="name a shipped controller",
            )
        )
    rules = setting_keys(settings)
    rule = rules.get(setting)
    if rule is None:
        raise InputRefused(
            Problem(f'unknown setting "{shortened(setting)}"', value=setting, way_out=suggestion(setting, rules))
        )
    new = _read(value, rule, site)
    path = setting.split(".")
    old = setting_value(settings, setting)
    return with_setting(settings, path, new), f"{setting}: {in_words(old, rule)} → {in_words(new, rule)}"


def setting_value(settings: Any, setting: str) -> Any:
    """The value of a setting in record units, by its dotted key; KeyError if there is none."""
    for key in setting.split("."):
        names = {rule.key: rule.name for rule in field_rules(cast(Any, type(settings)))}
        settings = getattr(settings, names[key])
    return settings


def in_words(value: Any, rule: FieldRule) -> str:
    """A setting's value as people write it; a table is told by its values."""
    if isinstance(value, tuple | list):
        return ", ".join(in_words(one, rule) for one in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if rule.is_enum:
        return str(rule.kind(value).name).lower()
    return as_written(float(value), rule.unit, rule.of, rule.name)


def reach_in_words(rule: FieldRule) -> str:
    """What a setting may be, in words."""
    if rule.is_enum:
        return " or ".join(str(member.name).lower() for member in rule.kind)
    if rule.kind is bool:
        return "true or false"
    if rule.low is None or rule.high is None:
        return ""
    words = range_as_written(rule.low, rule.high, rule.unit, rule.of, rule.name)
    return f"{rule.length} values, each {words}" if rule.length else words


def refuse_contradictions(settings: Any, cross_check: CrossCheck) -> None:
    """InputRefused for settings that contradict each other, all contradictions in words."""
    found = [Problem(as_keys(type(settings), text)) for text in cross_check(settings)]
    if found:
        raise InputRefused(found)


def settings_over_time(settings: Any, changes: Iterable[Change], site: Site) -> list[tuple[Change | None, Any]]:
    """The settings records in force one after the other, each with the last change of its moment; first `settings`.

    changes: in any order; those of one moment act in the order given.  InputRefused as `changed_setting`.
    """
    records: list[tuple[Change | None, Any]] = [(None, settings)]
    for change in sorted(changes, key=lambda one: one.time_ms):
        before, record = records[-1]
        new, _ = changed_setting(record, change.setting, change.value, site)
        if before is not None and before.time_ms == change.time_ms:
            records.pop()
        records.append((change, new))
    return records


def changes_of(events: Iterable[tuple[int, Any]]) -> list[Change]:
    """The settings changes among numbered events."""
    return [Change(e.at_ms, e.setting, e.value, i) for i, e in events if isinstance(e, SettingsChange)]


def change_problems(
    changes: Sequence[Change], settings: Any, cross_check: CrossCheck, site: Site
) -> list[tuple[int, Problem]]:
    """What is wrong with changes of `settings` (None where they are the controller's own): number of the event, problem."""
    found: list[tuple[int, Problem]] = []
    for change in changes:
        try:
            changed_setting(settings, change.setting, change.value, site)
        except InputRefused as error:
            found += [(change.number, problem) for problem in error.problems]
    if not found and changes:
        for last, record in settings_over_time(settings, changes, site)[1:]:
            try:
                refuse_contradictions(record, cross_check)
            except InputRefused as error:
                found += [(last.number if last else 0, problem) for problem in error.problems]
    return found


def _read(value: Any, rule: FieldRule, site: Site) -> Any:
    if not rule.length:
        return read_value(value, rule, site)
    if not isinstance(value, list | tuple) or len(value) != rule.length:
        given = f"{len(value)} values" if isinstance(value, list | tuple) else "not an array"
        raise InputRefused(Problem(f'"{rule.key}" needs an array of {rule.length} values, got {given}'))
    items = [read_value(one, rule, site) for one in value]
    return tuple(items) if rule.is_tuple else items


def with_setting(record: Any, path: list[str], value: Any) -> Any:
    """A copy of a settings record with the value (in record units) at a path of keys; nothing is checked."""
    names = {rule.key: rule.name for rule in field_rules(cast(Any, type(record)))}
    name = names[path[0]]
    return replace(record, **{name: value if len(path) == 1 else with_setting(getattr(record, name), path[1:], value)})
