"""Settings to begin with where no sheet is given."""

from __future__ import annotations

from typing import Any

from plant_model.derived import Parameters
from scenarios.starting_sheet import starting_settings


def default_settings(controller: str, parameters: Parameters) -> Any:
    """A controller's defaults with what the plant file itself tells."""
    return starting_settings(parameters, controller)[0]
