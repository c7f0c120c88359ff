"""The reconstructed load against the one that the night really had."""

from __future__ import annotations

import numpy as np
import pytest

from tests.tools.replay.nights import BY_NAME, night
from tools.replay.diagnosis import diagnose
from tools.replay.load import estimate_load

FULL_LOAD_W = 600.0e3  # of the demo machine at −10/35 °C, as plant_model/rotor_geometry.py has it
SAMPLED = {"stop button": 4001, "safety chain": 4002, "oil pressure drift": 4003}


def error_and_cover(name: str, seed: int) -> tuple[float, float]:
    one = night(name, seed)
    load = estimate_load(one.evidence, diagnose(one.evidence, one.record, one.settings))
    true_w, good = one.true_load_w, load.good
    error = float(np.sqrt(np.mean((load.load_w[good] - true_w[good]) ** 2))) / FULL_LOAD_W
    cover = float(np.mean((true_w[good] >= load.low_w[good]) & (true_w[good] <= load.high_w[good])))
    return error, cover


@pytest.mark.parametrize(("name", "seed"), SAMPLED.items())
def test_the_load_is_found_within_five_hundredths_of_full_load(name: str, seed: int) -> None:
    error, _ = error_and_cover(name, seed)
    assert error < 0.05


def test_what_the_log_cannot_separate_is_a_range() -> None:
    one = night("stop button", 4001)
    load = estimate_load(one.evidence)
    # displacement is known to ± 2 % (evenly: 1.15 %) and no flow is logged, so the load is not known much better
    assert 0.004 < load.spread["displacement"] <= 0.02 / np.sqrt(3.0) + 1e-9
    assert load.common_sd_frac > 0.005


@pytest.mark.slow
def test_intervals_cover_at_about_their_rate() -> None:
    found = [error_and_cover(name, 4100 + seed) for name in BY_NAME for seed in range(4)]
    errors, covers = np.array(found).T
    print(f"load: RMS of full load median {np.median(errors):.4f}, worst {errors.max():.4f}; cover {covers.mean():.3f}")
    assert np.median(errors) < 0.05
    assert 0.80 <= covers.mean() <= 0.97
