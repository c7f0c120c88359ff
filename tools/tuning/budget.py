"""A search's budget as people write it: "10min", "90 s", "2 h" of wall time, or "300 trials"."""

from __future__ import annotations

import re
from dataclasses import dataclass

from scenarios.errors import InputRefused, Problem

_SECONDS = {"s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0}
_WAY_OUT = 'write for example "10min", "2 h" or "300 trials"'


@dataclass(frozen=True, slots=True)
class Budget:
    """Wall time in seconds, or a number of trials; the other is None."""

    seconds: float | None = None
    trials: int | None = None

    @property
    def text(self) -> str:
        """As a person would write it."""
        if self.trials is not None:
            return f"{self.trials} trials"
        return f"{(self.seconds or 0.0) / 60.0:g} min"


def parse_budget(text: str) -> Budget:
    """Read a budget.  InputRefused for what is neither a time nor a count, or not above zero.

    >>> parse_budget("10min"), parse_budget("300 trials")
    (Budget(seconds=600.0, trials=None), Budget(seconds=None, trials=300))
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([a-z]+)\s*", text.lower())
    if found is None:
        raise InputRefused(Problem(f'"{text}" is no budget', value=text, way_out=_WAY_OUT))
    number, unit = float(found[1]), found[2]
    if unit in ("trial", "trials"):
        if number != int(number) or number < 1:
            raise InputRefused(
                Problem(f'"{text}" is no whole number of trials from 1 on', value=text, way_out=_WAY_OUT)
            )
        return Budget(trials=int(number))
    if unit not in _SECONDS:
        raise InputRefused(Problem(f'"{unit}" is no unit of a budget', value=text, way_out=_WAY_OUT))
    if number <= 0.0:
        raise InputRefused(Problem(f'a budget of "{text}" allows no trial', value=text, way_out=_WAY_OUT))
    return Budget(seconds=number * _SECONDS[unit])
