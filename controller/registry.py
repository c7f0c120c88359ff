"""The shipped controllers by name.  A new one adds a line to each table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from controller import model_based, scheduled_pi, three_position
from controller.contract import Controller

SHIPPED: dict[str, Controller] = {
    "three_position": three_position.CONTROLLER,
    "scheduled_pi": scheduled_pi.CONTROLLER,
    "model_based": model_based.CONTROLLER,
}

CROSS_CHECKS: dict[type, Callable[[Any], list[str]]] = {
    three_position.ThreePositionSettings: three_position.cross_check,
    scheduled_pi.ScheduledPiSettings: scheduled_pi.cross_check,
    model_based.ModelBasedSettings: model_based.cross_check,
}


def cross_check(settings: object) -> list[str]:
    """Contradictions between fields of a shipped controller's settings, in plain words; empty when there is none.

    Raises KeyError for a settings record of no shipped controller.
    """
    return CROSS_CHECKS[type(settings)](settings)
