"""Measured slide tables in the plant's parameters."""

from __future__ import annotations

from dataclasses import replace

import pytest

from plant_model.derived import derive
from plant_model.initial import running_state
from plant_model.measured_slides import MeasuredSlideParameters
from plant_model.parameters import PlantParameters
from plant_model.rotor_geometry import full_load_volume_ratio, trapped_fraction_frac
from plant_model.state import Disturbances

RISING = tuple(0.15 + 0.85 * i / 10 for i in range(11))
RATIO = tuple(1.4 + 0.5 * i for i in range(11))


def test_the_plant_follows_the_tables() -> None:
    measured = MeasuredSlideParameters(use=True, trapped_fraction=RISING, volume_ratio=RATIO)
    p = derive(replace(PlantParameters(), measured_slides=measured), "R717", 100)
    for i in range(11):
        assert trapped_fraction_frac(p.curves, i / 10) == pytest.approx(RISING[i], abs=2.0e-3)
        assert full_load_volume_ratio(p.curves, i / 10) == pytest.approx(RATIO[i], abs=2.0e-2)
    s = running_state(p, Disturbances(), 290.64e3, 1.35e6, 0.5, 0.4)
    assert s.compression.trapped_fraction_frac == pytest.approx(RISING[5], abs=2.0e-3)
    assert s.compression.volume_ratio == pytest.approx(RISING[5] * RATIO[4], rel=0.01)


def test_off_the_rotors_say() -> None:
    assert derive(PlantParameters(), "R717", 100).curves.volume_ratio_high == PlantParameters().rotor.volume_ratio_high


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"trapped_fraction": (*RISING[:4], 0.2, *RISING[5:])}, "row 4"),
        ({"trapped_fraction": (*RISING[:10], 0.99)}, "full travel must trap 1"),
        ({"volume_ratio": (0.5, *RATIO[1:])}, "volume ratio, row 0"),
    ],
)
def test_bad_tables_name_row_and_value(change: dict[str, tuple[float, ...]], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        MeasuredSlideParameters(use=True, **change)  # type: ignore[arg-type]
