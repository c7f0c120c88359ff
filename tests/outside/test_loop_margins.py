"""Margins of a loop with the real PI block: its transfer function is read off the block, the rest by python-control.

SIMC PI rules: Skogestad, J. Process Control 13, 2003, Table 1 (recalled and recomputed, published checks, section 5).
The block scans a thousand times in a dead time, so that sampling does not show.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import control
import numpy as np
import pytest

from controller.pid import PiState, pi_increment

SOURCE = "Skogestad 2003, Table 1"
DEAD_S, SCAN_MS = 20.0, 20


def pi_response(gain: float, integral_s: float, frequencies: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """C(e^jwh) of the block followed by its owner's sum, from the block's answers to a pulse."""
    block = PiState()
    pi_increment(block, 0.0, gain, round(1000 * integral_s), SCAN_MS, 0.0)
    taps = [pi_increment(block, e, gain, round(1000 * integral_s), SCAN_MS, 0.0) for e in (1.0, 0.0, 0.0, 0.0)]
    assert taps[2:] == [0.0, 0.0]
    transfer = control.TransferFunction(taps[:2], [1.0, -1.0], 0.001 * SCAN_MS)
    return np.asarray(control.frequency_response(transfer, frequencies).frdata[0, 0])


CASES: list[tuple[str, float | None, float, float, dict[str, float]]] = [
    ("first order", 100.0, 0.5 * 100.0 / DEAD_S, 100.0,
     {"GM": 3.1415, "PM": 61.353, "Ms": 1.5905, "Mt": 1.000, "delay margin": 2.142, "w180": 1.5708, "wc": 0.500}),
    ("integrating", None, 0.5 / DEAD_S, 8.0 * DEAD_S,
     {"GM": 2.9634, "PM": 46.865, "Ms": 1.7035, "Mt": 1.2994, "delay margin": 1.590, "w180": 1.4869, "wc": 0.5145}),
]  # fmt: skip
PUBLISHED = {
    "first order": {"GM": 3.14, "PM": 61.4, "Ms": 1.59, "Mt": 1.00, "delay margin": 2.14, "w180": 1.57, "wc": 0.50},
    "integrating": {"GM": 2.96, "PM": 46.9, "Ms": 1.70, "Mt": 1.30, "delay margin": 1.59, "w180": 1.49, "wc": 0.51},
}


@pytest.mark.parametrize(("process", "lag_s", "gain", "integral_s", "recomputed"), CASES, ids=[c[0] for c in CASES])
def test_simc_margins(
    process: str,
    lag_s: float | None,
    gain: float,
    integral_s: float,
    recomputed: dict[str, float],
    outside: Callable[..., Any],
) -> None:
    w = np.geomspace(1e-3, 8.0, 6_001) / DEAD_S
    s = 1j * w
    lag = 1.0 / s if lag_s is None else 1.0 / (lag_s * s + 1.0)
    loop = pi_response(gain, integral_s, w) * lag * np.exp(-DEAD_S * s)
    gm, pm, _, w180, wc, _ = control.stability_margins(control.FRD(loop, w, smooth=True))
    sensitivity = 1.0 / (1.0 + loop)
    found = {
        "GM": float(gm),
        "PM": float(pm),
        "Ms": float(np.abs(sensitivity).max()),
        "Mt": float(np.abs(loop * sensitivity).max()),
        "delay margin": math.radians(float(pm)) / float(wc) / DEAD_S,
        "w180": float(w180) * DEAD_S,
        "wc": float(wc) * DEAD_S,
    }
    check = outside("SIMC PI margins with the real PI block", SOURCE + "; python-control", "c, recomputed b", 3e-3)
    for name, value in recomputed.items():
        check.relative(found[name], value, f"{process}, {name}")
    # the table is printed to three digits
    for name, value in PUBLISHED[process].items():
        assert found[name] == pytest.approx(value, abs=0.06 if name == "PM" else 0.006), name
