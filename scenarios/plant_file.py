"""The plant file: machine, site and uncertainty in TOML.  It holds no set point.

title = "…"
refrigerant = "Ammonia"
[site]                       # barometric_pressure = "1.01 bar(a)", or altitude = "250 m"
[machine]                    # and so on: one table per nested record of the parameters
[uncertainty]                # how well a value is known, ±
"evaporator.ua" = "5 kW/K"
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any, Generic, TypeVar, cast

from plant_model.parameters import BAROMETRIC_HIGH_PA, BAROMETRIC_LOW_PA
from scenarios.cross_checks import every_field, place_cross_checks, rule_of
from scenarios.cross_file_checks import site_contradiction, site_note
from scenarios.errors import InputRefused, Problem, shortened
from scenarios.quantities import Site, standard_atmosphere_pa
from scenarios.record_fields import as_keys, field_rules
from scenarios.record_tables import (
    dotted,
    range_problem,
    read_quantity,
    read_record,
    suggestion,
    unknown_keys,
)
from scenarios.toml_source import KeyPath, TomlSource, read_toml

P = TypeVar("P")
Saturation = Callable[[str, float], float]  # (refrigerant, temperature in K) → pressure in Pa, ValueError outside

_UNREADABLE = object()  # stands for a [site] that was refused, while the rest of the file is checked
REFRIGERANTS = ("R717", "R744", "R290", "R134a", "R22")  # whose property fit is tested
SOME_REFRIGERANTS = (
    f"known are for example {', '.join(REFRIGERANTS)}, ammonia, CO2, propane, and most pure fluids by CoolProp's name"
)


@dataclass(frozen=True, slots=True)
class SiteKey:
    """A key of [site] that says where the gauge pressures start: unit, limits in it, and what it is for."""

    unit: str
    of: str
    low: float
    high: float
    fallback: float
    why: str


# the altitudes whose standard atmosphere the plant's own limits of the barometer hold
SITE_KEYS = {
    "altitude": SiteKey(
        "m", "", -1000.0, 5500.0, 0.0, "gives the barometric pressure by ISO 2533 where that is not given"
    ),
    "barometric_pressure": SiteKey(
        "Pa", "absolute", BAROMETRIC_LOW_PA, BAROMETRIC_HIGH_PA, 101325.0,
        "zero of gauge pressures; without it or an altitude they are refused",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plant(Generic[P]):
    """A plant file as read.

    uncertainty: "evaporator.ua" (keys as in the file) → ± in the field's own unit; notes: for the user.
    """

    title: str
    refrigerant: str
    site: Site
    parameters: P
    uncertainty: dict[str, float]
    path: Path
    sha256: str
    notes: tuple[str, ...] = ()


@cache
def _saturation_from_library(refrigerant: str, temperature_k: float) -> float:
    from CoolProp.CoolProp import PropsSI  # two seconds to import: only who writes "sat" waits

    return float(PropsSI("P", "T", temperature_k, "Q", 1.0, refrigerant))


def saturation_from_library(refrigerant: str, temperature_k: float) -> float:
    """Dew-point pressure, Pa, of a refrigerant that CoolProp knows.  ValueError outside its range."""
    return _saturation_from_library(refrigerant, temperature_k)


def load_plant(
    path: Path,
    parameters_type: type[P],
    cross_check: Callable[[P], Iterable[str]] | None = None,
    saturation_pressure_pa: Saturation = saturation_from_library,
    check_refrigerant: Callable[[str], Iterable[str]] | None = None,
) -> Plant[P]:
    """Read a plant file.

    parameters_type: record whose fields are the file's tables; cross_check: what is wrong between its fields, in
    words; check_refrigerant: what is wrong with a refrigerant's name, in words.
    InputRefused with every problem of the file.
    """
    source = read_toml(path)
    problems: list[Problem] = []
    title = read_text(source, ("title",), problems)
    refrigerant = read_text(source, ("refrigerant",), problems)
    if refrigerant and check_refrigerant is not None:
        told = [Problem(m, value=refrigerant, way_out=SOME_REFRIGERANTS) for m in check_refrigerant(refrigerant)]
        problems.extend(source.problem(("refrigerant",), problem, of_value=True) for problem in told)
    site, site_values = read_site(source, problems)
    if refrigerant:
        site = dataclasses.replace(
            site, refrigerant=refrigerant, saturation_pressure_pa=partial(saturation_pressure_pa, refrigerant)
        )
    parameters = _read_parameters(source, parameters_type, site, site_values, problems)
    uncertainty = _read_uncertainty(source, parameters_type, site, problems)
    if parameters is not None and cross_check is not None:
        found = (as_keys(parameters_type, message) for message in cross_check(parameters))
        place_cross_checks(source, (), parameters_type, found, problems)
    if problems or parameters is None:
        raise InputRefused(problems)
    note = site_note(site_values) if isinstance(source.get(("site", "barometric_pressure")), str) else ""
    notes = (f"{path}: {note}",) if note else ()
    return Plant(title, refrigerant, site, parameters, uncertainty, path, source.sha256, notes)


def read_text(source: TomlSource, path: KeyPath, problems: list[Problem], required: bool = True) -> str:
    """A text value; "" and a problem if it is missing, empty or no text."""
    value = source.get(path)
    if value is None:
        if required:
            text = f'key "{dotted(path)}" is missing'
            problems.append(source.problem(path, Problem(text, way_out=f'write for example {path[-1]} = "…"')))
        return ""
    if not isinstance(value, str) or not value.strip():
        problems.append(source.problem(path, f"{dotted(path)} must be a text in quotes, and not empty", of_value=True))
        return ""
    return value


def read_site(source: TomlSource, problems: list[Problem]) -> tuple[Site, dict[str, float]]:
    """The barometric pressure from [site]: given, or from the altitude by the standard atmosphere.

    Both may be given; the barometric pressure is then used, unless the altitude contradicts it (Problem).  Also returned:
    the two values by key, for the record.
    """
    table = source.get(("site",))
    if not isinstance(table, dict):
        return Site(), {}
    read: dict[str, float] = {}
    before = len(problems)
    # a value that is refused is replaced by the standard one, so that the rest of the file is still checked
    if "altitude" in table:
        read["altitude"] = _site_value(source, "altitude", problems)
        read["barometric_pressure"] = standard_atmosphere_pa(read["altitude"])
    if "barometric_pressure" in table:
        read["barometric_pressure"] = _site_value(source, "barometric_pressure", problems)
        if len(problems) == before:
            contradiction = site_contradiction(read)
            problems += [source.problem(("site", "barometric_pressure"), p, of_value=True) for p in contradiction]
    return Site(read.get("barometric_pressure")), read


def _site_value(source: TomlSource, key: str, problems: list[Problem]) -> float:
    rule = SITE_KEYS[key]
    try:
        given = source.get(("site", key))
        value = read_quantity(given, rule.unit, rule.of, Site())
        bad = range_problem(value, rule.unit, rule.low, rule.high, "", given, rule.of)
        if bad is not None:
            raise InputRefused(bad)
    except InputRefused as error:
        problem = error.problems[0]
        named = dataclasses.replace(problem, message=f"{key}: {problem.message}")
        problems.append(source.problem(("site", key), named, of_value=True))
        return rule.fallback
    return value


def _read_parameters(
    source: TomlSource, cls: type[P], site: Site, site_values: dict[str, float], problems: list[Problem]
) -> P | None:
    skip = {"title", "refrigerant", "uncertainty"}
    rule = next((r for r in field_rules(cast(Any, cls)) if r.key == "site"), None)
    if rule is None:
        table = source.get(("site",))
        if isinstance(table, dict):
            unknown_keys(source, ("site",), ("barometric_pressure", "altitude"), problems)
        elif table is not None:
            problems.append(source.problem(("site",), "site must be a table", of_value=True))
        return read_record(source, (), cls, site, problems, skip=skip | {"site"})
    both = ("barometric_pressure", "altitude")
    record = read_record(source, ("site",), rule.kind, site, problems, skip=both, given=site_values)
    parameters = read_record(source, (), cls, site, problems, skip=skip, given={"site": record or _UNREADABLE})
    return parameters if record is not None else None


def _read_uncertainty(source: TomlSource, cls: Any, site: Site, problems: list[Problem]) -> dict[str, float]:
    table = source.get(("uncertainty",))
    if table is None:
        return {}
    if not isinstance(table, dict):
        problems.append(source.problem(("uncertainty",), "uncertainty must be a table", of_value=True))
        return {}
    found: dict[str, float] = {}
    numbers = [".".join(map(str, key_path)) for key_path, rule in every_field(cls) if rule.is_number]
    for path, value in _leaves(table, ("uncertainty",)):
        names = tuple(part for p in path[1:] for part in str(p).split("."))
        rule = rule_of(cls, names)
        if rule is None or not rule.is_number:
            name = ".".join(names)
            problem = Problem(f'"{shortened(name)}" is no parameter with a number', way_out=suggestion(name, numbers))
            problems.append(source.problem(path, problem))
            continue
        try:
            spread = read_quantity(value, rule.unit, "difference" if rule.of else "", site)
        except InputRefused as error:
            problems.append(source.problem(path, error.problems[0], of_value=True))
            continue
        if spread < 0.0:
            problems.append(source.problem(path, "an uncertainty is ±, so not negative", of_value=True))
        found[".".join(names)] = spread
    return found


def _leaves(table: dict[str, Any], path: KeyPath) -> Iterable[tuple[KeyPath, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _leaves(value, (*path, key))
        else:
            yield (*path, key), value
