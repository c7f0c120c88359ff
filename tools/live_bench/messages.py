"""What a page may ask of the bench: small JSON objects, each with `do`, checked before anything else looks at them.

Whatever is not exactly one of these is answered with an error, and the session does not notice.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from scenarios.errors import shortened

LARGEST_BYTES = 8192
SPEEDS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
MOST_CHANGES = 20

Key = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[a-z_]+$")]
Word = Annotated[str, Field(min_length=1, max_length=120)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Scalar = bool | int | Number | Word


class Message(BaseModel):
    """Base of all: no unknown keys; `ticket` comes back with the answer."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, hide_input_in_errors=True)
    ticket: Annotated[int, Field(ge=0, le=2**31)] = 0


class Run(Message):
    """Let time run."""

    do: Literal["run"]


class Pause(Message):
    """Hold time."""

    do: Literal["pause"]


class Scan(Message):
    """One scan, while paused."""

    do: Literal["scan"]


class Speed(Message):
    """How many times faster than the clock."""

    do: Literal["speed"]
    factor: Literal[1, 2, 5, 10, 20, 50, 100, 200, 500, 1000]


class Mark(Message):
    """Keep this moment, to come back to it."""

    do: Literal["mark"]
    name: Annotated[str, Field(min_length=1, max_length=60)]


class Back(Message):
    """Go back to a kept moment, 0 is the start."""

    do: Literal["back"]
    moment: Annotated[int, Field(ge=0, le=10_000)]


class Act(Message):
    """Let something happen: the keys of an [[event]] without its time."""

    do: Literal["act"]
    event: Annotated[dict[Key, Scalar], Field(min_length=1, max_length=10)]


class SettingNow(BaseModel):
    """One setting's new value, as a sheet writes it."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, hide_input_in_errors=True)
    setting: Annotated[str, Field(min_length=1, max_length=120)]
    value: Scalar | Annotated[list[Scalar], Field(max_length=64)]


class Settings(Message):
    """Change settings, all of them in the same scan."""

    do: Literal["settings"]
    changes: Annotated[list[SettingNow], Field(min_length=1, max_length=MOST_CHANGES)]


class Keep(Message):
    """Write the session as a scenario file."""

    do: Literal["keep"]


class Export(Message):
    """Write the log as CSV."""

    do: Literal["export"]


class Take(Message):
    """Take control where nobody holds it."""

    do: Literal["take"]


class Ask(Message):
    """Tell whoever holds control that one would like it."""

    do: Literal["ask"]


class HandOver(Message):
    """Give control to another viewer, or to nobody (`to` 0)."""

    do: Literal["hand_over"]
    to: Annotated[int, Field(ge=0, le=1_000_000)]


AnyMessage = (
    Run | Pause | Scan | Speed | Mark | Back | Act | Settings | Keep | Export | Take | Ask | HandOver
)  # fmt: skip
_ADAPTER: TypeAdapter[Any] = TypeAdapter(Annotated[AnyMessage, Field(discriminator="do")])
FOR_EVERYBODY = (Keep, Export, Take, Ask)  # these change nothing, or are how one comes to control


class MessageRefused(ValueError):
    """A message that is none, in words for the page."""


def read_message(raw: str | bytes) -> Any:
    """One of the models above.  MessageRefused, with what is wrong and the limit, for anything else."""
    if isinstance(raw, bytes):
        raise MessageRefused("binary messages are not understood; send one JSON object as text")
    size = len(raw.encode("utf-8", "surrogatepass"))
    if size > LARGEST_BYTES:
        raise MessageRefused(f"the message has {size} bytes; allowed: {LARGEST_BYTES}")
    try:
        data = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise MessageRefused(f"not JSON: {shortened(str(error))}") from error
    if not isinstance(data, dict):
        raise MessageRefused("one JSON object is expected")
    try:
        return _ADAPTER.validate_python(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        tag = str(data.get("do"))
        place = ".".join(str(part) for part in first["loc"] if str(part) != tag)
        raise MessageRefused(shortened(f"{place}: {first['msg']}" if place else str(first["msg"]), 200)) from error
