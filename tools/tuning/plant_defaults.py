"""Settings to begin with where no sheet is given."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from controller.registry import cross_check
from controller.sequence import SequenceSettings
from plant_model.derived import Parameters
from scenarios.cross_checks import every_field
from scenarios.errors import InputRefused, Problem
from scenarios.starting_sheet import starting_settings

UNLOAD_SPARE = 1.2  # of both strokes, where the default time-out is too short; common practice, no source


def default_settings(controller: str, parameters: Parameters, plant_file: str = "") -> Any:
    """A controller's defaults with what the plant file itself tells, and time enough to unload with its strokes.

    InputRefused where the plant asks for what no setting of the controller reaches, a stroke above all.
    """
    settings: Any = starting_settings(parameters, controller)[0]
    common = settings.common
    strokes_ms = common.capacity.drive.stroke_down_ms + common.volume_ratio.drive.stroke_down_ms
    most_ms = SequenceSettings.__dataclass_fields__["unload_timeout_ms"].metadata["high"]
    wanted_ms = min(most_ms, 1000 * math.ceil(0.001 * UNLOAD_SPARE * strokes_ms))
    if common.sequence.unload_timeout_ms < strokes_ms:
        settings = replace(
            settings, common=replace(common, sequence=replace(common.sequence, unload_timeout_ms=wanted_ms))
        )
    problems = [*_out_of_range(settings, plant_file), *_contradictions(settings, plant_file)]
    if problems:
        raise InputRefused(problems)
    return settings


def _out_of_range(settings: Any, plant_file: str) -> list[Problem]:
    found = []
    for key, rule in every_field(type(settings)):
        if rule.is_record or not rule.is_number or rule.length:
            continue
        value: Any = settings
        for part in key[:-1]:
            value = getattr(value, str(part))
        value = getattr(value, rule.name)
        if (rule.low is not None and value < rule.low) or (rule.high is not None and value > rule.high):
            slow = "the slides are too slow for this controller: " if rule.name.startswith("stroke_") else ""
            found.append(
                Problem(
                    f"{slow}{'.'.join(map(str, key))} would have to be {value:g} {rule.unit} on this plant",
                    file=plant_file,
                    value=f"{value:g} {rule.unit}",
                    limit=f"it reaches from {rule.low:g} to {rule.high:g} {rule.unit}",
                    way_out="a faster slide drive" if slow else "change the plant file, or give a sheet",
                )
            )
    return found


def _contradictions(settings: Any, plant_file: str) -> list[Problem]:
    return [
        Problem(
            f"the settings to begin with contradict themselves on this plant: {text}",
            file=plant_file,
            way_out="change the plant file, or give a sheet made for it",
        )
        for text in cross_check(settings)
    ]
