"""The generated table of what may be set and what a controller sees: name, unit, range, default, reason.

It is made from the records themselves, so it cannot fall behind them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import is_dataclass
from typing import Any, NamedTuple, cast

from controller.process_image import Inputs, Outputs
from controller.registry import SHIPPED
from plant_model.parameters import PlantParameters
from scenarios.errors import InputRefused, Problem
from scenarios.quantities import format_quantity
from scenarios.record_fields import field_rules


class GuideRow(NamedTuple):
    """One line of the guide, all words."""

    name: str
    unit: str
    range: str
    default: str
    why: str


def topics() -> tuple[str, ...]:
    """What `guide` knows."""
    return ("image", "plant", *SHIPPED)


def _word(value: Any, unit: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if hasattr(value, "name"):
        return str(value.name).lower()
    if isinstance(value, tuple | list):
        return "table of " + str(len(value)) if len(value) > 4 else ", ".join(_word(v, unit) for v in value)
    if isinstance(value, int | float) and unit not in ("", "1"):
        return format_quantity(float(value), unit)
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _rows(record: Any, above: str) -> Iterator[GuideRow]:
    for rule in field_rules(cast(Any, type(record))):
        value = getattr(record, rule.name)
        if is_dataclass(value):
            yield from _rows(value, f"{above}{rule.key}.")
        elif rule.is_record:
            for number, part in enumerate(value, 1):
                yield from _rows(part, f"{above}{rule.key}[{number}].")
        else:
            reach = ""
            if rule.is_enum:
                reach = ", ".join(member.name.lower() for member in rule.kind)
            elif rule.low is not None and rule.high is not None:
                reach = f"{_word(rule.low, rule.unit)} to {_word(rule.high, rule.unit)}"
            yield GuideRow(above + rule.key, rule.unit, reach, _word(value, rule.unit), " ".join(rule.why.split()))


def _image_rows() -> Iterator[GuideRow]:
    for record, side in ((Inputs(), "input"), (Outputs(), "output")):
        for name, f in type(record).__dataclass_fields__.items():
            value, m = getattr(record, name), f.metadata
            unit = m.get("unit", "")
            reach = f"{m['low']:g} to {m['high']:g} {unit}" if "low" in m else ""
            if hasattr(value, "name"):
                reach = ", ".join(member.name for member in type(value))
            elif isinstance(value, bool):
                reach = "no, yes"
            yield GuideRow(name, unit, reach, _word(value, ""), side)


def guide(topic: str) -> list[GuideRow]:
    """The table of one topic: "image", "plant" or a shipped controller's name.  Raises InputRefused for another."""
    if topic == "image":
        return list(_image_rows())
    if topic == "plant":
        return list(_rows(PlantParameters(), ""))
    if topic in SHIPPED:
        return list(_rows(SHIPPED[topic].settings_type(), ""))
    raise InputRefused(Problem(f"nothing is known of {topic!r}", value=topic, way_out=f"known: {', '.join(topics())}"))


def as_markdown(rows: list[GuideRow]) -> str:
    """The table as Markdown."""
    lines = ["| name | unit | range | default | why |", "|---|---|---|---|---|"]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines)
