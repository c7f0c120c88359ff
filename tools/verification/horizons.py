"""How far a requirement looks ahead, and the refusal of windows that are longer than the run they are asked of."""

from __future__ import annotations

import math
from typing import Any

from scenarios.errors import Problem
from tools.verification.monitor import ROUNDING
from tools.verification.pack import Requirement
from tools.verification.term import Term

_FOLDED: dict[str, Any] = {"+": lambda a, b: a + b, "-": lambda a, b: a - b, "*": lambda a, b: a * b}


def constant_value(term: Term, settings: Any) -> float:
    """Value of a constant number in trace units.  KeyError for a setting that nobody tells."""
    if term.op == "constant":
        return float(term.value)
    if term.op == "setting":
        if settings is None:
            raise KeyError(".".join(term.value.path))
        return float(term.value.value(settings))
    values = [constant_value(part, settings) for part in term.parts]
    if term.op == "defined":
        return values[0]
    if term.op == "/":
        return values[0] / values[1] if values[1] else math.inf
    if term.op in _FOLDED:
        return float(_FOLDED[term.op](*values))
    return {
        "neg": lambda: -values[0],
        "abs": lambda: abs(values[0]),
        "min": lambda: min(values),
        "max": lambda: max(values),
    }[term.op]()


def horizon_ms(term: Term, settings: Any) -> float:
    """How far ahead of its scan a formula looks, ms.  KeyError for a setting that nobody tells."""
    if term.constant:
        return 0.0
    if term.op in ("always", "eventually", "until"):
        return constant_value(term.parts[1], settings) + max(horizon_ms(part, settings) for part in term.parts[2:])
    if term.op == "wait":
        return constant_value(term.parts[1], settings) + horizon_ms(term.parts[0], settings)
    return max((horizon_ms(part, settings) for part in term.parts), default=0.0)


def too_long(requirement: Requirement, settings: Any, duration_ms: float, scenario: str) -> Problem | None:
    """The refusal of a requirement that looks further ahead than a scenario lasts; None where it does not, where the
    settings are not known, or where the sheet makes it not apply."""
    try:
        ahead_ms = max(horizon_ms(t, settings) for t in (requirement.formula, requirement.when) if t is not None)
    except KeyError:
        return None
    if ahead_ms <= duration_ms * (1.0 + ROUNDING):
        return None
    return Problem(
        f"requirement {requirement.id} looks {ahead_ms / 1000:g} s ahead, and {scenario} lasts {duration_ms / 1000:g} s",
        file=requirement.file,
        line=requirement.line,
        value=f"{ahead_ms / 1000:g} s",
        limit=f"a window may be as long as the run, {duration_ms / 1000:g} s",
        way_out='shorten the window, lengthen the scenario, or name the scenarios it is meant for with "scenarios"',
    )
