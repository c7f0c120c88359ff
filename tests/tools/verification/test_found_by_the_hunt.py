"""Trials that a hunt on the correct controllers once called broken: the fault was the requirement's, and they hold now."""

from __future__ import annotations

from pathlib import Path

import pytest

from scenarios.preparation import SCAN_MS, prepare
from tools.verification.campaign import LIBRARY
from tools.verification.findings import Verdict, evaluate
from tools.verification.ground import Ground
from tools.verification.pack import load_pack
from tools.verification.trial import Happening, Trial
from tools.verification.trial_judge import NAME, player_of

TRIALS = {
    # the operator asked for another demand by hand
    "MT-04": Trial(
        38, -8, 4, 30, (Happening("capacity by hand", 205, (0,)), Happening("capacity by hand", 747, (100,))), 1208
    ),
    # the other machine pumps on into a condenser without fans while this one stands tripped, until the tables end
    "RN-01": Trial(
        46, -6, 4, 68, (Happening("condenser fans", 405, (0,)), Happening("other compressor", 503, (160,))), 229
    ),
    # far from its set point the demand is as far ahead as it may be, and the noise of the next reading farther
    "MT-01": Trial(
        58,
        0,
        11,
        70,
        (
            Happening("load ramp", 234, (192, 90)),
            Happening("capacity by hand", 779, (72,)),
            Happening("capacity automatic", 963),
        ),
        468,
    ),
    # a step of the law's own, three scans after the switch was turned
    "MT-03": Trial(61, -2, 11, 62, (Happening("selected local", 579),), 488),
    # two signals whose difference is the limit up to rounding: in the trace not above it, in the cabinet above
    "TR-05": Trial(54, 2, 15, 44, (Happening("oil pump weak", 0, (95, 300)),), 1428),
}
CONTROLLERS = {"MT-03": "three_position", "TR-05": "model_based"}  # the others: scheduled_pi


@pytest.mark.parametrize("name", TRIALS)
def test_it_is_exercised_and_held(name: str, tmp_path: Path) -> None:
    controller = CONTROLLERS.get(name, "scheduled_pi")
    plant, sheet = LIBRARY / "plants" / "harrow_ness.toml", LIBRARY / "sheets" / f"demo_{controller}.toml"
    Ground(plant, controller, sheet).write(TRIALS[name], tmp_path / NAME)
    (prepared,) = prepare([tmp_path / NAME], log_ms=SCAN_MS)
    trace, _ = player_of(tmp_path)(prepared)
    found = {one.id: one for one in evaluate(load_pack(), trace, prepared.settings, NAME)}
    assert found[name].exercised
    assert [one for one in found.values() if one.verdict is Verdict.FAILED] == []
