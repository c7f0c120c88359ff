"""The reconstructed load against the one that the night really had."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tools.replay.blind_table import FULL_LOAD_W
from tests.tools.replay.nights import night
from tools.replay.diagnosis import diagnose
from tools.replay.load import estimate_load

SAMPLED = {"stop button": 4001, "safety chain": 4002, "oil pressure drift": 4003}


@pytest.mark.parametrize(("name", "seed"), SAMPLED.items())
def test_the_load_is_found_within_five_hundredths_of_full_load(name: str, seed: int) -> None:
    one = night(name, seed)
    load = estimate_load(one.evidence, diagnose(one.evidence, one.record, one.settings))
    error_w = (load.load_w - one.true_load_w)[load.good]
    assert float(np.sqrt(np.mean(error_w**2))) < 0.05 * FULL_LOAD_W


def test_what_the_log_cannot_separate_is_a_range() -> None:
    one = night("stop button", 4001)
    load = estimate_load(one.evidence)
    # displacement is known to ± 2 % (evenly: 1.15 %) and no flow is logged, so the load is not known much better
    assert 0.004 < load.spread["displacement"] <= 0.02 / np.sqrt(3.0) + 1e-9
    assert load.common_sd_frac > 0.005
