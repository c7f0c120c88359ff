"""Seeded draws of plants that the plant file's [uncertainty] allows.

A ± is read as the half width of a 95 % interval, so a value is drawn from a normal distribution with the standard
deviation ± / 1.96 round the file's value, and held inside the field's own range.  Draw i depends on (seed, label, i)
only: each value has a stream of its own, so that another uncertain value shifts no other.  Draws are independent of each
other; a plant's file states no correlation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

from plant_model.parameters import PlantParameters, cross_check
from scenarios.chance import generator
from scenarios.errors import InputRefused, Problem
from scenarios.plant_file import Plant
from scenarios.record_fields import FieldRule, field_rules

R = TypeVar("R")
HALF_WIDTHS_95 = 1.959963984540054  # normal quantile of 0.975
ATTEMPTS = 50


@dataclass(frozen=True, slots=True)
class UncertainValue:
    """One uncertain parameter: `key` as in the file, attribute path in the record, nominal value and ± in its unit."""

    key: str
    path: tuple[str, ...]
    rule: FieldRule
    nominal: float
    half_width: float


def _numbers(
    record: Any, key: str = "", path: tuple[str, ...] = ()
) -> Iterator[tuple[str, tuple[str, ...], FieldRule]]:
    for rule in field_rules(cast(Any, type(record))):
        name = f"{key}.{rule.key}" if key else rule.key
        if rule.is_record and not rule.length:
            yield from _numbers(getattr(record, rule.name), name, (*path, rule.name))
        elif rule.is_number:
            yield name, (*path, rule.name), rule


def value_at(record: Any, path: tuple[str, ...]) -> Any:
    """The value at an attribute path."""
    for name in path:
        record = getattr(record, name)
    return record


def with_value(record: R, path: tuple[str, ...], value: Any) -> R:
    """A copy of a frozen record with the value at an attribute path replaced."""
    if len(path) > 1:
        value = with_value(getattr(record, path[0]), path[1:], value)
    return cast(R, replace(cast(Any, record), **{path[0]: value}))


def uncertain_values(plant: Plant[PlantParameters]) -> tuple[UncertainValue, ...]:
    """What the plant file is not sure of; a ± of 0 says that it is.  InputRefused for a table, which has no single ±."""
    found = []
    for key, path, rule in _numbers(plant.parameters):
        half_width = plant.uncertainty.get(key, 0.0)
        if half_width == 0.0:
            continue
        if rule.length:
            way_out = "delete the line: a table cannot be drawn from one ±"
            raise InputRefused(Problem(f"uncertainty.{key} is of a table", file=str(plant.path), way_out=way_out))
        found.append(UncertainValue(key, path, rule, float(value_at(plant.parameters, path)), half_width))
    return tuple(found)


def _drawn(value: UncertainValue, seed: int, label: str, number: int, attempt: int) -> float:
    stream = generator(seed, f"plant draw {label} {value.key} {attempt}", number)
    drawn = value.nominal + value.half_width / HALF_WIDTHS_95 * float(stream.standard_normal())
    low, high = value.rule.low, value.rule.high
    drawn = drawn if low is None else max(drawn, low)
    return drawn if high is None else min(drawn, high)


def draw_plant(plant: Plant[PlantParameters], seed: int, number: int, label: str = "search") -> PlantParameters:
    """Draw `number` of the plants that the file allows; number 0 is the file's own plant.

    A draw whose values contradict each other (`plant_model.parameters.cross_check`) is drawn again, from the next of its
    own streams.  InputRefused when fifty in a row do: then the ± are too wide for the plant.
    """
    values = uncertain_values(plant)
    if number == 0 or not values:
        return plant.parameters
    wrong: list[str] = []
    for attempt in range(ATTEMPTS):
        parameters = plant.parameters
        for value in values:
            drawn = _drawn(value, seed, label, number, attempt)
            parameters = with_value(parameters, value.path, round(drawn) if value.rule.kind is int else drawn)
        wrong = cross_check(parameters)
        if not wrong:
            return parameters
    problem = f"{ATTEMPTS} draws of plant {number} in a row contradict themselves, the last so: {wrong[0]}"
    raise InputRefused(Problem(problem, file=str(plant.path), way_out="make the ± in [uncertainty] narrower"))
