"""What a model of a scenario file complains of, in this project's words: the value, the limit, the way out.

The validation library's own sentences are written for programmers and leave out the value.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic_core import ErrorDetails

from scenarios.errors import Problem, shortened
from scenarios.record_tables import suggestion

_LIMITS = {
    "greater_than_equal": ("ge", "at least {}"),
    "greater_than": ("gt", "above {}"),
    "less_than_equal": ("le", "at most {}"),
    "less_than": ("lt", "below {}"),
}
_WANTED = {
    "int_type": "a whole number, without quotes",
    "int_from_float": "a whole number, without a point",
    "int_parsing": "a whole number",
    "string_type": "a text in quotes",
    "float_type": "a number",
    "bool_type": "true or false, without quotes",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}
_FORMS = {"clock": 'write for example "06:30", between 00:00 and 23:59'}


def _shown(value: Any) -> str:
    """A value of a TOML file as the file writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{shortened(value)}"'
    if isinstance(value, list):
        return "an array"
    return "a table" if isinstance(value, dict) else shortened(str(value))


def _choices(context: Mapping[str, Any]) -> list[str]:
    """The words of "'a', 'b' or 'c'"."""
    return [part for i, part in enumerate(str(context.get("expected", "")).split("'")) if i % 2]


def problem_of(detail: ErrorDetails, name: str) -> Problem:
    """The complaint about the key called `name` as a Problem without a place."""
    kind, context, given = detail["type"], detail.get("ctx") or {}, detail.get("input")
    label = f"{name}: " if name else ""
    value = _shown(given)
    if kind in _LIMITS:
        key, words = _LIMITS[kind]
        limit = f"allowed: {words.format(context[key])}"
        return Problem(f"{label}{value} is out of range", value=value, limit=limit)
    if kind in _WANTED:
        return Problem(f"{label}{value} is not {_WANTED[kind]}", value=value)
    if kind in ("enum", "literal_error"):
        way_out = suggestion(str(given), _choices(context))
        return Problem(f"{label}{value} is not one of the choices", value=value, way_out=way_out)
    if kind == "string_too_short":
        return Problem(f"{label}must not be empty", value=value)
    if kind == "string_pattern_mismatch":
        way_out = _FORMS.get(name.rpartition(".")[2], f"form: {context['pattern']}")
        return Problem(f"{label}{value} does not have the right form", value=value, way_out=way_out)
    if kind == "union_tag_invalid":
        return Problem(f"{label}this kind of event cannot wait for something", value=value)
    return Problem(label + detail["msg"].removeprefix("Value error, "))
