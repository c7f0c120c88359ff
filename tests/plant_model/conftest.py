"""The demo plant, derived once, for every test of the plant's parts."""

from __future__ import annotations

import pytest

from plant_model.derived import Parameters, derive
from plant_model.parameters import PlantParameters


@pytest.fixture(scope="session")
def p() -> Parameters:
    """The demo plant on ammonia at the usual step."""
    return derive(PlantParameters(), "R717", 100)
