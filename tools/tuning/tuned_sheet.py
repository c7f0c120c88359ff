"""The chosen settings as rows for people, and as settings sheets for the cabinet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import is_dataclass
from pathlib import Path
from typing import Any, cast

from scenarios.errors import InputRefused, Problem
from scenarios.record_fields import FieldRule, field_rules
from scenarios.settings_sheet import write_sheet
from tools.tuning.tuning_result import SettingRow

CAUTION = "An engineering aid, not a safety system: hard-wired cut-outs come first."


def setting_rows(
    chosen: Any, previous: Any, searched: set[str], reasons: dict[str, str], otherwise: str
) -> tuple[SettingRow, ...]:
    """Every setting of a sheet, in the sheet's order.

    searched: attribute paths that the search could move; reasons: path → where else a value comes from; otherwise: for
    the rest.
    """
    return tuple(_rows(chosen, previous, searched, reasons, otherwise, "", ""))


def _rows(
    chosen: Any, previous: Any, searched: set[str], reasons: dict[str, str], otherwise: str, path: str, key: str
) -> Iterator[SettingRow]:
    rules = field_rules(cast(Any, type(chosen)))
    for rule in sorted(rules, key=lambda r: r.is_record):  # as a sheet is written: a table's values before its tables
        value, before = getattr(chosen, rule.name), getattr(previous, rule.name)
        here, there = f"{path}{rule.name}", f"{key}{rule.key}"
        if is_dataclass(value):
            yield from _rows(value, before, searched, reasons, otherwise, f"{here}.", f"{there}.")
            continue
        if rule.is_record:  # a tuple of records: none of today's settings
            continue
        because = reasons.get(here) or ("searched" if here in searched else otherwise)
        unit = "" if not rule.is_number or rule.unit == "1" else rule.unit
        yield SettingRow(
            here, there, unit, rule.low, rule.high, _shown(value, rule), _shown(before, rule),
            " ".join(rule.why.split()), because, here in searched or here in reasons,
        )  # fmt: skip


def _shown(value: Any, rule: FieldRule) -> float | str | tuple[float, ...]:
    if rule.length:
        return tuple(float(v) for v in value)
    if rule.is_enum:
        return str(rule.kind(value).name.lower())
    if not rule.is_number:
        return "on" if value else "off"
    return float(value)


def sheet_path(out: Path, controller: str) -> Path:
    """The tuned sheet of a controller."""
    return out / f"tuned_{controller}.toml"


def check_not_overwritten(given: Path | None, out: Path) -> None:
    """InputRefused where the run would write over the sheet it was given."""
    if given is None or not given.exists():
        return
    folder = out.resolve()
    if given.resolve().parent == folder and given.name.startswith("tuned_"):
        text = f"--settings {given} lies in the folder whose tuned sheets are written anew"
        raise InputRefused(Problem(text, value=str(given), way_out="name another --out, so that the old sheet stays"))


def write_tuned_sheet(path: Path, controller: str, settings: Any, title: str, origin: str) -> str:
    """Write a complete sheet whole; returns its checksum."""
    return write_sheet(path, controller, settings, title=title, purpose=f"{origin}  {CAUTION}")
