"""Two settings sheets of one controller against each other: what differs, by how much, and what it is for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from pathlib import Path
from typing import Any, cast

from controller.registry import CROSS_CHECKS, SHIPPED
from plant_model.properties import load_refrigerant
from scenarios.errors import InputRefused, Problem
from scenarios.preparation import known
from scenarios.quantities import Site, format_quantity
from scenarios.record_fields import FieldRule, field_rules
from scenarios.settings_sheet import Sheet, load_sheet, sheet_controller


@dataclass(frozen=True, slots=True)
class SettingDifference:
    """One setting that differs.  before, after: as text with unit; change: in `unit`, None for what is no number.

    low, high: the permitted range in `unit`, None where the field has no number.
    """

    key: str
    unit: str
    before: str
    after: str
    change: float | None
    why: str
    low: float | None = None
    high: float | None = None

    @property
    def range_text(self) -> str:
        """The permitted range as text with unit, "" where there is none."""
        if self.change is None or self.low is None or self.high is None:
            return ""
        return f"{format_quantity(self.low, self.unit)} to {format_quantity(self.high, self.unit)}"


def sheet_differences(one: Path, other: Path, refrigerant: str = "R717") -> tuple[str, list[SettingDifference]]:
    """The controller of two sheets, and the settings in which they differ, in the order of the sheet.

    A setting that a sheet leaves out has its default.  refrigerant: for pressures written as saturation temperatures.
    InputRefused for sheets of two controllers, or one that cannot be read.
    """
    load_refrigerant(refrigerant)
    saturation = known().saturation_pressure_pa
    # gauge pressures need a plant's site; without one the reading says so
    site = Site(None, lambda kelvin: saturation(refrigerant, kelvin), refrigerant)
    controller, first, second = two_sheets(one, other, site)
    return controller, settings_differences(first.settings, second.settings)


def two_sheets(one: Path, other: Path, site: Site) -> tuple[str, Sheet[Any], Sheet[Any]]:
    """Controller and content of two sheets of one shipped controller.  InputRefused for anything else."""
    names = [sheet_controller(path) for path in (one, other)]
    if names[0] != names[1]:
        raise InputRefused(
            Problem(
                f"{one} is a sheet for {names[0]}, {other} for {names[1]}: they have no settings in common",
                way_out="compare runs of the two instead",
            )
        )
    if names[0] not in SHIPPED:
        raise InputRefused(Problem(f'"{names[0]}" is no shipped controller', file=str(one), value=names[0]))
    kind = SHIPPED[names[0]].settings_type
    first, second = (load_sheet(path, names[0], kind, site, CROSS_CHECKS[kind]) for path in (one, other))
    return names[0], first, second


def settings_differences(one: Any, other: Any) -> list[SettingDifference]:
    """The settings in which two records of one type differ, in the order of the sheet."""
    return list(_differences(one, other, ""))


def _differences(one: Any, other: Any, above: str) -> Iterator[SettingDifference]:
    for rule in field_rules(cast(Any, type(one))):
        a, b = getattr(one, rule.name), getattr(other, rule.name)
        if is_dataclass(a):
            yield from _differences(a, b, f"{above}{rule.key}.")
        elif rule.is_record:
            for k, (x, y) in enumerate(zip(a, b, strict=True), 1):
                yield from _differences(x, y, f"{above}{rule.key}[{k}].")
        elif rule.length:
            for k, (x, y) in enumerate(zip(a, b, strict=True), 1):
                yield from _difference(rule, x, y, f"{above}{rule.key}[{k}]")
        else:
            yield from _difference(rule, a, b, above + rule.key)


def _difference(rule: FieldRule, a: Any, b: Any, key: str) -> Iterator[SettingDifference]:
    # to 12 digits, as the checksum: "-10 °C sat" and its kPa are one setting
    if a == b or (rule.is_number and f"{a:.12g}" == f"{b:.12g}"):
        return
    change = float(b) - float(a) if rule.is_number else None
    why = " ".join(rule.why.split())
    yield SettingDifference(key, rule.unit, _text(rule, a), _text(rule, b), change, why, rule.low, rule.high)


def _text(rule: FieldRule, value: Any) -> str:
    if rule.is_enum:
        return str(rule.kind(value).name.lower())
    if not rule.is_number:
        return "true" if value else "false"
    number = float(f"{value:.6g}") if rule.kind is float else value
    return format_quantity(number, rule.unit)
