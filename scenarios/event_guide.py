"""The generated tables of a scenario file: its keys, the [start] table, the kinds of events and their faults.

Made from the models, whose docstrings say what a kind does, from the annotations of event_fields, and from the fault
tables.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import EnumMeta, StrEnum
from types import UnionType
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

from annotated_types import Ge, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from plant_model.instruments import Channel
from scenarios.as_written import as_written, range_as_written, unit_shown
from scenarios.event_fields import Told
from scenarios.event_kinds import EVENT_KINDS, SimpleEvent
from scenarios.fault_table import FAULTS, FaultSpec
from scenarios.guide_rows import OPTIONAL, REQUIRED, GuideRow
from scenarios.instrument_fault_table import INSTRUMENT_FAULTS
from scenarios.row import COLUMNS
from scenarios.scenario import LONGEST_RUN_MS, ScenarioFile, Start

INSTRUMENTS = tuple(channel.name.lower() for channel in Channel)


class _Shape(NamedTuple):
    """What a key's annotation says: its innermost kind, and every word of metadata on the way there."""

    kind: Any
    words: tuple[Any, ...]

    def find(self, kind: type) -> Any:
        return next((word for word in self.words if isinstance(word, kind)), None)


def _shape(hint: Any) -> _Shape:
    words: list[Any] = []
    while True:
        if get_origin(hint) is Annotated:
            hint, *more = get_args(hint)
            for word in more:
                words += word.metadata if isinstance(word, FieldInfo) else [word]
        elif get_origin(hint) in (Union, UnionType):
            inner = [arg for arg in get_args(hint) if arg is not type(None)]
            if len(inner) != 1:
                return _Shape(hint, tuple(words))
            hint = inner[0]
        else:
            return _Shape(hint, tuple(words))


def _reach(model: type[BaseModel], name: str, shape: _Shape) -> tuple[str, str]:
    """Unit and range of a key, in words."""
    told, kind = shape.find(Told), shape.kind
    if name == "instrument":
        return "", ", ".join(INSTRUMENTS)
    if name == "column":
        return "", ", ".join(COLUMNS)
    if name in ("above", "below"):
        return "", "a value of that column, with its unit"
    if name == "fault" and model is EVENT_KINDS["plant_fault"]:
        return "", ", ".join(FAULTS)
    if name == "size_frac":
        return "%", "see the fault's own row"
    if get_origin(kind) is Literal:
        return "", ", ".join(get_args(kind))
    if isinstance(kind, EnumMeta) and issubclass(kind, StrEnum):
        return "", ", ".join(member.value for member in kind)
    if told is not None and told.reach:
        return "", told.reach
    if told is not None:
        high = LONGEST_RUN_MS if name == "duration_ms" else None
        return unit_shown(told.high or 1.0, told.unit, told.of, name), _limits(told, name, high)
    least, most, below = shape.find(Ge), shape.find(Le), shape.find(Lt)
    if least is not None and (most is not None or below is not None):
        return "1", f"{least.ge} to {most.le if most is not None else below.lt - 1}"
    if name == "then":
        return "", "a table: an event of " + ", ".join(_kinds_that_wait())
    return "", "a text" if kind is str else "a table" if name == "start" else ""


def _kinds_that_wait() -> list[str]:
    models = get_args(get_args(SimpleEvent)[0])
    return [kind for kind, model in EVENT_KINDS.items() if model in models]


def _limits(told: Told, name: str, high: float | None) -> str:
    high = told.high if high is None else high
    if told.low is not None and high is not None:
        return range_as_written(told.low, high, told.unit, told.of, name)
    if told.low is None:
        return ""
    if told.unit == "ms" and told.low == 1:
        return "more than 0 s"
    return f"from {as_written(told.low, told.unit, told.of, name)}"


def _default(field: FieldInfo, shape: _Shape, name: str) -> str:
    if field.is_required():
        return REQUIRED
    value, told = field.get_default(), shape.find(Told)
    if value is None or value == () or field.default_factory is not None:
        return OPTIONAL
    if isinstance(value, StrEnum):
        return value.value
    if told is not None and isinstance(value, int | float):
        return as_written(float(value), told.unit, told.of, name)
    return str(value)


def _meaning(field: FieldInfo, shape: _Shape) -> str:
    told = shape.find(Told)
    words = [field.description or "", f"for example {told.example}" if told and told.example else ""]
    return "; ".join(word for word in words if word)


def _keys(model: type[BaseModel], above: str) -> Iterator[GuideRow]:
    hints = get_type_hints(model, include_extras=True)
    for name, field in model.model_fields.items():
        if name in ("kind", "event"):
            continue
        shape = _shape(hints[name])
        shape = _Shape(shape.kind, (*shape.words, *field.metadata))
        unit, reach = _reach(model, name, shape)
        yield GuideRow(above + (field.alias or name), unit, reach, _default(field, shape, name), _meaning(field, shape))


def _said(model: type[BaseModel]) -> str:
    return " ".join((model.__doc__ or "").split())


def _fault_row(kind: str, name: str, text: str, size: str, reach: str) -> GuideRow:
    why = f"{text}; size: {size}" if size else text
    return GuideRow(f'{kind}.fault = "{name}"', "%" if size else "", reach if size else "takes no size", "", why)


def _size_of(spec: FaultSpec) -> str:
    """What the size of a plant's fault means."""
    if not spec.sized:
        return ""
    if spec.form == "left":
        return "the share lost; 100 % leaves nothing" if spec.high == 1.0 else "the share lost"
    words = "that share of travel a minute" if spec.form == "per_minute" else "that share"
    return f"{words}, either sign" if spec.low < 0.0 else words


def _faults(kind: str) -> Iterator[GuideRow]:
    if kind == "plant_fault":
        for name, spec in FAULTS.items():
            reach = range_as_written(spec.low, spec.high, "1", name="size_frac")
            yield _fault_row(kind, name, spec.text, _size_of(spec), reach)
    if kind == "instrument_fault":
        for name, spec_of in INSTRUMENT_FAULTS.items():
            reach = range_as_written(spec_of.low, spec_of.high, "1", name="size_frac")
            yield _fault_row(kind, name, spec_of.text, spec_of.size, reach)


def event_rows() -> list[GuideRow]:
    """Every kind of event with what it does, its keys, and the faults by name."""
    rows: list[GuideRow] = []
    for kind, model in EVENT_KINDS.items():
        rows.append(GuideRow(f'[[event]] kind = "{kind}"', "", "", "", _said(model)))
        rows += _keys(model, f"{kind}.")
        rows += _faults(kind)
    return rows


def scenario_rows() -> list[GuideRow]:
    """The keys of a scenario file and of its [start] table."""
    rows = list(_keys(ScenarioFile, ""))
    rows.append(GuideRow("[start]", "", "", "", _said(Start)))
    rows += _keys(Start, "start.")
    rows.append(
        GuideRow(
            "[[event]]",
            "",
            ", ".join(EVENT_KINDS),
            OPTIONAL,
            "what happens from outside: as many as happen; see `twoslide describe events`",
        )
    )
    return rows
