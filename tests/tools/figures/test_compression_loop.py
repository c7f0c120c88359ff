"""The compression loop: its shaded area is the power that the plant model loses there."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from plant_model.compression import CompressionResult, CompressorParameters, compress
from plant_model.properties import load_refrigerant, saturation_pressure_pa
from plant_model.rotor_geometry import RotorGeometry, slide_curves
from tools.figures.compression_loop import Loop, LoopLaw, loop_law, loop_of

AMMONIA = load_refrigerant("R717")
CURVES = slide_curves(RotorGeometry(), 0.06)
MACHINE = CompressorParameters(through_path=False)
SPEED_1_S = 49.2


def moment(evaporating_c: float, condensing_c: float, capacity: float, ratio: float) -> tuple[LoopLaw, Loop, Any]:
    """The loop of a machine at two temperatures and two travels, and what the plant model says of it."""
    p1 = saturation_pressure_pa(AMMONIA, evaporating_c + 273.15)
    p2 = saturation_pressure_pa(AMMONIA, condensing_c + 273.15)
    out = CompressionResult()
    compress(MACHINE, AMMONIA, CURVES, p1, 3.0, p2, 350.0, SPEED_1_S, capacity, ratio, out)
    row = {
        "suction_pressure_pa": p1, "separator_pressure_pa": p2, "suction_superheat_k": 3.0,
        "trapped_fraction_frac": out.trapped_fraction_frac, "volume_ratio": out.volume_ratio,
    }  # fmt: skip
    law = loop_law(AMMONIA, row)
    return law, loop_of(law, CURVES.displacement_m3, MACHINE.filling_frac, SPEED_1_S), out


MOMENTS = (
    st.floats(-30.0, 0.0), st.floats(15.0, 40.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0),
)  # fmt: skip


@given(*MOMENTS)
def test_the_shaded_power_is_what_the_plant_model_loses(te: float, tc: float, capacity: float, ratio: float) -> None:
    law, loop, out = moment(te, tc, capacity, ratio)
    assert law.kappa == pytest.approx(out.isentropic_exponent, rel=1e-12)
    assert loop.lost_w == pytest.approx(out.mismatch_power_w + out.unavoidable_power_w, rel=1e-6, abs=1.0)
    assert (loop.kind == "over") == (loop.opening_pa >= 1.005 * law.discharge_pa)


def area_kpa(points: Any) -> float:
    """Area of a polygon, by the surveyor's formula."""
    x, y = np.array(points).T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


@given(*MOMENTS)
def test_the_areas_drawn_are_the_powers_told(te: float, tc: float, capacity: float, ratio: float) -> None:
    """Outside check: SciPy's quadrature of the curve, and the area of the polygons that are drawn.

    The plant model integrates the exponent's change to first order; the curve is drawn with it in full.
    """
    law, loop, _ = moment(te, tc, capacity, ratio)
    turns_w_kpa = 1000.0 * CURVES.displacement_m3 * MACHINE.filling_frac * SPEED_1_S  # W per kPa of relative volume
    first, last = math.log(max(1.0, law.volume_ratio)), law.log_ideal
    # ∫ (p − p2) dV between the opening and the ideal volume, V = V1 e^(−l)
    lost, _ = quad(lambda x: (law.pressure_pa(x) - law.discharge_pa) * math.exp(-x), last, first)
    assert loop.lost_w == pytest.approx(lost * law.trapped_frac * turns_w_kpa / 1000.0, rel=1e-3, abs=20.0)
    if loop.kind != "none":
        assert area_kpa(loop.shade) * turns_w_kpa == pytest.approx(loop.lost_w, rel=0.03, abs=60.0)
    work = law.work(law.volume_ratio) * law.suction_pa * law.trapped_frac / 1000.0 * turns_w_kpa
    assert area_kpa(loop.loop) * turns_w_kpa == pytest.approx(work, rel=0.01)


def test_the_three_kinds_in_words() -> None:
    low, high = moment(-10, 35, 1.0, 0.0)[1], moment(-10, 35, 1.0, 1.0)[1]
    assert (low.kind, high.kind) == ("under", "over")
    assert "below discharge: under-compression" in low.in_words()
    assert "above discharge: over-compression" in high.in_words()
    law = moment(-10, 35, 1.0, 0.5)[0]
    fit = LoopLaw(law.suction_pa, law.discharge_pa, law.kappa, law.bend, law.log_ideal, 1.0, math.exp(law.log_ideal))
    exact = loop_of(fit, 0.001, 1.0, 50.0)
    assert (exact.kind, exact.shade) == ("none", ())
    assert exact.lost_w == pytest.approx(0.0, abs=1e-6)
    assert exact.in_words().endswith("as good as discharge pressure.")


def test_a_port_that_is_open_before_the_flute_is_sealed_compresses_nothing() -> None:
    law, loop, _ = moment(-10, 35, 0.0, 0.0)
    assert law.volume_ratio < 1.0
    assert loop.opening_pa == law.suction_pa
    assert loop.kind == "under"


def test_at_rest_nothing_is_lost_and_equal_pressures_are_drawn() -> None:
    row = {
        "suction_pressure_pa": 5e5, "separator_pressure_pa": 5e5, "suction_superheat_k": 0.0,
        "trapped_fraction_frac": 0.2, "volume_ratio": 0.3,
    }  # fmt: skip
    loop = loop_of(loop_law(AMMONIA, row), 0.001, 1.0, 0.0)
    assert loop.lost_w == 0.0
    assert all(math.isfinite(x) for point in loop.loop for x in point)
    assert set(loop.as_data()) == {"loop", "shade", "kind", "lost_kw", "opening_kpa"}
