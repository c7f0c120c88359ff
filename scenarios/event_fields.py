"""Fields of an [[event]]: quantities read at the edge, and what every kind of event has in common.

Validation needs `context={"site": Site}` for gauge and saturated quantities.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, WithJsonSchema, model_validator

from scenarios.errors import InputRefused
from scenarios.quantities import Site, example_of
from scenarios.record_tables import range_problem, read_quantity


@dataclass(frozen=True, slots=True)
class Told:
    """What an annotation says of a field, for those who list it: unit, limits in it, an example of what one writes."""

    unit: str = ""
    of: str = ""
    low: float | None = None
    high: float | None = None
    example: str = ""
    reach: str = ""  # the range in words, where low and high do not say it


def quantity(unit: str, of: str = "", low: float | None = None, high: float | None = None, whole: bool = False) -> Any:
    """Annotation of a model field that a file gives as a quantity; the value is in `unit`."""

    def convert(value: Any, info: ValidationInfo) -> float:
        site = info.context["site"] if info.context else Site()
        try:
            number = read_quantity(value, unit, of, site, whole)
            bad = range_problem(number, unit, low, high, "", value, of)
            if bad is not None:
                raise InputRefused(bad)
        except InputRefused as error:
            raise ValueError(str(error.problems[0])) from error
        return round(number) if whole else number

    kind: Any = {"type": "string"} if unit != "1" else {"type": ["number", "string"]}
    example = example_of(unit, of)
    schema = WithJsonSchema({**kind, "examples": [part.strip('"') for part in example.split(" or ")]})
    return BeforeValidator(convert), schema, Told(unit, of, low, high, example)


_TIME, _LATER = quantity("ms", low=0, whole=True), quantity("ms", low=1, whole=True)
_HEAT, _CHANGE = quantity("W", low=0.0, high=1e8), quantity("W", low=-1e8, high=1e8)
_FRAC, _DEMAND = quantity("1", low=0.0, high=1.0), quantity("%", low=-100.0, high=100.0)
_WET_BULB, _DRIFT = quantity("K", "absolute", 213.15, 333.15), quantity("K", "difference", -60.0, 60.0)

TimeMs = Annotated[int, *_TIME]
DurationMs = Annotated[int, *_LATER]
HeatW = Annotated[float, *_HEAT]
HeatChangeW = Annotated[float, *_CHANGE]
Frac = Annotated[float, *_FRAC]
DemandPct = Annotated[float, *_DEMAND]
WetBulbK = Annotated[float, *_WET_BULB]
DriftK = Annotated[float, *_DRIFT]
SizeFrac = Annotated[float, *quantity("1")]  # of a fault: each has limits of its own
MassFlowKgS = Annotated[float, *quantity("kg/s", low=-1.0, high=100.0)]
VolumeFlowM3S = Annotated[float, *quantity("m³/s", low=0.0, high=10.0)]


def _per_hour(value: Any) -> float:
    """How often in a second, from text that says how often in an hour."""
    match = (
        re.fullmatch(r"(\d{1,6}(?:\.\d{1,9})?) ?(?:1?/ ?h|per hour|an hour)", value) if isinstance(value, str) else None
    )
    if match is None:
        raise ValueError('write how often in an hour, for example "20 /h"')
    if float(match[1]) > MOST_PER_HOUR:
        raise ValueError(f"{match[1]} /h is out of range; allowed: 0 to {MOST_PER_HOUR:g} /h")
    return float(match[1]) / 3600.0


MOST_PER_HOUR = 3600.0  # one a second: more is no door; common practice, no source
RatePerS = Annotated[
    float,
    BeforeValidator(_per_hour),
    WithJsonSchema({"type": "string", "examples": ["20 /h"]}),
    Told(reach=f"0 /h to {MOST_PER_HOUR:g} /h", example='"20 /h"'),
]
Group = Annotated[int, Field(ge=1, le=4, strict=True), Told("1", low=1, high=4, example="2")]


def _written_value(value: Any) -> Any:
    """A value as TOML has it: true, a number, a text, or an array of these; what it means, its setting says."""
    if isinstance(value, list | tuple):
        return tuple(_written_value(one) for one in value)
    if not isinstance(value, bool | int | float | str):
        raise ValueError("write the value as a settings sheet has it: a text, a number, true, false or an array")
    return value


SettingValue = Annotated[
    Any,
    BeforeValidator(_written_value),
    WithJsonSchema({"type": ["string", "number", "boolean", "array"], "description": "as in the settings sheet"}),
    Told(reach="what the setting's own row allows", example='"300 kPa"'),
]


class EventBase(BaseModel):
    """What every kind of event is: frozen, without unknown keys, with a beginning."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)
    kind: Any

    @property
    def starts_ms(self) -> int:
        """When it begins, ms from the start of the run."""
        return int(getattr(self, "at_ms", getattr(self, "from_ms", 0)))


class At(EventBase):
    """An event that begins at one time."""

    at_ms: TimeMs = Field(alias="at", description="when it happens")


class Between(EventBase):
    """An event that goes on from one time to another."""

    from_ms: TimeMs = Field(alias="from", description="when it begins")
    until_ms: TimeMs = Field(alias="until", description="when it ends")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.until_ms <= self.from_ms:
            raise ValueError('"until" must be later than "from"')
        return self


FOR_GOOD = "how long it lasts; for good where it is left out"
