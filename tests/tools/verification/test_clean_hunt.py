"""A hunt on the correct controllers, as long as one likes: what it breaks is a fault of the logic or of a requirement.

TWOSLIDE_HUNT_S=1800 pytest -n 0 -m slow -s tests/tools/verification/test_clean_hunt.py
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.registry import SHIPPED
from tools.verification.campaign import LIBRARY
from tools.verification.ground import Ground
from tools.verification.hunt import run


@pytest.mark.slow
@pytest.mark.parametrize("controller", sorted(SHIPPED))
def test_the_correct_controllers_break_nothing(controller: str, tmp_path: Path) -> None:
    ground = Ground(LIBRARY / "plants" / "harrow_ness.toml", controller, LIBRARY / "sheets" / f"demo_{controller}.toml")
    found = run(ground, 1, tmp_path, float(os.environ.get("TWOSLIDE_HUNT_S", "120")))
    print(f"{controller}: {found.rounds} rounds, {found.runs} runs; {found.bound_words}")
    for name, trial in found.broken.items():
        print(f"  {name}: {trial.told()}")
    assert found.broken == {}
    assert found.runs > 0
