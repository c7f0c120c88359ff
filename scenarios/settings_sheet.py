"""The settings sheet: one controller's values in TOML, with a checksum over the values as parsed.

    controller = "scheduled_pi"
    checksum = "sha256:…"        # over values in record units: comments, order and spelling may change
    [settings.capacity]
    set_point = "-10 °C sat"     # 50 kPa to 1500 kPa; why

A sheet without a checksum is accepted with a note; one whose checksum does not match its values is refused.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar, cast

import tomlkit
from tomlkit.items import Table

from scenarios.cross_checks import every_field, place_cross_checks
from scenarios.errors import InputRefused, Problem, StorageFailed, shortened
from scenarios.plant_file import read_text
from scenarios.quantities import Site, format_quantity
from scenarios.record_fields import FieldRule, as_keys, field_rules
from scenarios.record_tables import read_record, unknown_keys, values_of
from scenarios.toml_source import TomlSource, read_toml

S = TypeVar("S")
DEFAULTS_NAMED = 8  # in the note of what a sheet lacks
_KEYS = ("title", "purpose", "controller", "checksum", "settings")


@dataclass(frozen=True, slots=True)
class Sheet(Generic[S]):
    """A settings sheet as read; `notes` are for the user (a missing checksum), `stamp` is the values' checksum."""

    controller: str
    settings: S
    stamp: str
    notes: tuple[str, ...]
    path: Path
    sha256: str


def checksum_of(controller: str, values: dict[str, Any]) -> str:
    """`sha256:…` over canonical JSON: sorted keys, values in record units.

    Floats to 12 digits, so that the rounding of a unit conversion ("212 °F", "100 °C") does not look like a change.
    """
    text = json.dumps({"controller": controller, "settings": _rounded(values)}, sort_keys=True, separators=(",", ":"))
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return float(f"{value:.12g}") + 0.0 if isinstance(value, float) else value  # + 0.0 takes the sign off a zero


def sheet_controller(path: Path) -> str:
    """The controller that a sheet is for.  InputRefused if the file cannot be read or does not say."""
    source, problems = read_toml(path), list[Problem]()
    name = read_text(source, ("controller",), problems)
    if problems:
        raise InputRefused(problems)
    return name


def load_sheet(
    path: Path,
    controller: str,
    settings_type: type[S],
    site: Site,
    cross_check: Callable[[S], Iterable[str]] | None = None,
) -> Sheet[S]:
    """Read a sheet for `controller`; values missing in the file take the record's defaults.

    InputRefused with every problem: another controller, unknown keys, values out of range, a checksum that does not
    match.
    """
    source = read_toml(path)
    problems: list[Problem] = []
    settings = _read_settings(source, controller, settings_type, site, problems)
    if settings is not None and cross_check is not None:
        found = (as_keys(settings_type, message) for message in cross_check(settings))
        place_cross_checks(source, ("settings",), settings_type, found, problems)
    notes: tuple[str, ...] = ()
    stamp = ""
    if settings is not None:
        stamp = checksum_of(controller, values_of(settings, source.data.get("settings", {})))
        notes = _compare_checksum(source, stamp, problems)
        if "checksum" not in source.data:
            notes += _defaults_taken(source, settings_type)
    if problems or settings is None:
        raise InputRefused(problems)
    return Sheet(controller, settings, stamp, notes, path, source.sha256)


def _read_settings(
    source: TomlSource, controller: str, settings_type: type[S], site: Site, problems: list[Problem]
) -> S | None:
    unknown_keys(source, (), _KEYS, problems)
    for key in ("title", "purpose"):
        read_text(source, (key,), problems, required=False)
    written_for = read_text(source, ("controller",), problems)
    if written_for and written_for != controller:
        way_out = "name the right sheet, or the right controller"
        problem = Problem(
            f'this sheet is for the controller "{shortened(written_for)}", not for "{controller}"', way_out=way_out
        )
        problems.append(source.problem(("controller",), problem, of_value=True))
        return None
    return read_record(source, ("settings",), settings_type, site, problems)


def _compare_checksum(source: TomlSource, stamp: str, problems: list[Problem]) -> tuple[str, ...]:
    given = source.data.get("checksum")
    if given is None:
        return (f"{source.path}: no checksum, so nothing shows whether a value was changed by accident",)
    if given != stamp:
        way_out = f'read the values once more, then write checksum = "{stamp}" (or delete the line)'
        problem = Problem("the checksum does not match: a value was changed since it was made", way_out=way_out)
        problems.append(source.problem(("checksum",), problem, of_value=True))
    return ()


def _defaults_taken(source: TomlSource, settings_type: Any) -> tuple[str, ...]:
    """A word on settings that the sheet does not give: without a checksum a line may have been lost."""
    numbers = [key_path for key_path, rule in every_field(settings_type) if not (rule.is_record and not rule.length)]
    lacking = [".".join(map(str, path)) for path in numbers if source.get(("settings", *path)) is None]
    if not lacking:
        return ()
    named = ", ".join(lacking[:DEFAULTS_NAMED]) + (", …" if len(lacking) > DEFAULTS_NAMED else "")
    return (f"{source.path}: {len(lacking)} of {len(numbers)} settings are not in it and take their defaults: {named}",)


def write_sheet(path: Path, controller: str, settings: Any, title: str = "", purpose: str = "") -> str:
    """Write a complete sheet with its checksum, a comment of range and reason at every line; returns the checksum.

    The file appears whole or not at all.  StorageFailed if it cannot be written.
    """
    document = tomlkit.document()
    for key, text in (("title", title), ("purpose", purpose), ("controller", controller)):
        if text:
            document.add(key, tomlkit.string(text))
    stamp = checksum_of(controller, values_of(settings))
    document.add("checksum", tomlkit.string(stamp))
    document.add("settings", _table(settings))
    write_whole(path, tomlkit.dumps(document))
    return stamp


def restamp_sheet(path: Path, settings_type: type[S], site: Site) -> str:
    """Put the checksum of its present values into a sheet, leaving every other byte; returns the checksum.

    InputRefused if the values themselves cannot be read.
    """
    source = read_toml(path)
    problems: list[Problem] = []
    controller = read_text(source, ("controller",), problems)
    settings = _read_settings(source, controller, settings_type, site, problems)
    if problems or settings is None:
        raise InputRefused(problems)
    stamp = checksum_of(controller, values_of(settings, source.data.get("settings", {})))
    lines = path.read_bytes().decode().splitlines(keepends=True)
    if "checksum" in source.data:
        index = source.place(("checksum",))[0] - 1
        fresh, count = re.subn(r"""=\s*("[^"]*"|'[^']*')""", f'= "{stamp}"', lines[index], count=1)
        if count != 1:
            raise InputRefused(source.problem(("checksum",), f'write checksum = "{stamp}" here by hand'))
        lines[index] = fresh
    else:
        index = source.place(("controller",))[0] - 1
        lines.insert(index, f'checksum = "{stamp}"\n')
    write_whole(path, "".join(lines))
    return stamp


def write_whole(path: Path, text: str) -> None:
    """Write UTF-8 text beside `path`, then rename: a reader sees the old file or the new one, never half of it."""
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile("wb", dir=path.parent, prefix=f".{path.name}.", delete=False) as out:
            temporary = out.name
            out.write(text.encode())
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, path.stat().st_mode & 0o777 if path.exists() else 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        raise StorageFailed(f"{path}: cannot be written ({error.strerror})") from error


def _table(record: Any) -> Table:
    table = tomlkit.table()
    rules = field_rules(cast(Any, type(record)))
    for rule in sorted(rules, key=lambda r: r.is_record):  # TOML: a table's own values stand before its sub-tables
        value = getattr(record, rule.name)
        if rule.is_record and not rule.length:
            table.add(rule.key, _table(value))
        elif rule.is_record:
            several = tomlkit.aot()
            for one in value:
                several.append(_table(one))
            table.add(rule.key, several)
        else:
            item = tomlkit.item([_written(v, rule) for v in value] if rule.length else _written(value, rule))
            comment = _comment(rule)
            table.add(rule.key, item.comment(comment) if comment else item)
    return table


def _written(value: Any, rule: FieldRule) -> Any:
    if rule.is_enum:
        return rule.kind(value).name.lower()
    if not rule.is_number or rule.unit in ("", "1"):
        return float(value) if rule.kind is float else value
    return format_quantity(value, rule.unit)


def _comment(rule: FieldRule) -> str:
    if rule.is_enum:
        return "one of " + ", ".join(member.name.lower() for member in rule.kind)
    low = format_quantity(rule.low, rule.unit) if rule.low is not None else ""
    high = format_quantity(rule.high, rule.unit) if rule.high is not None else ""
    limits = f"{low} to {high}" if low and high else f"from {low}" if low else f"up to {high}" if high else ""
    return "; ".join(part for part in (limits, " ".join(rule.why.split())) if part)
