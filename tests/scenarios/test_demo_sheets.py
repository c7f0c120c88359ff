"""The demo plant's sheets are what the generator makes now, and suit the plant's geometry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from controller.registry import SHIPPED, cross_check
from plant_model.derived import derive
from plant_model.parameters import PlantParameters
from plant_model.rotor_geometry import trapped_fraction_frac
from scenarios.demo_sheets import SHEETS, demo_settings, write_demo_sheets
from scenarios.preparation import prepare
from scenarios.starting_sheet import slide_tables


def test_the_sheets_of_the_library_are_fresh(tmp_path: Path) -> None:
    """Stale means: geometry or chosen values changed, and `python -m scenarios.demo_sheets` was not run."""
    made = write_demo_sheets(tmp_path)
    assert {path.name for path in made} == {path.name for path in SHEETS.iterdir()}
    for path in made:
        assert path.read_bytes() == (SHEETS / path.name).read_bytes(), path.name


@pytest.mark.parametrize("name", SHIPPED)
def test_a_sheet_reads_back_as_the_settings_it_was_made_from(name: str) -> None:
    library = SHEETS.parent
    sheet = SHEETS / f"demo_{name}.toml"
    prepared = prepare([library / "demo_shift.toml"], controller=name, settings=sheet)[0]
    assert prepared.settings == demo_settings(name)
    assert cross_check(prepared.settings) == []


def test_slide_tables_follow_the_geometry() -> None:
    curves = derive(PlantParameters(), "R717").curves
    trapped, ratio, gain = slide_tables(curves)
    assert len(trapped) == len(ratio) == len(gain) == 11
    assert trapped[-1] == 1.0
    assert np.all(np.diff(trapped) > 0.0)
    assert np.all(np.diff(ratio) > 0.0)
    # gain × slope is one number: the loop gain does not depend on the position
    slope = [
        (trapped_fraction_frac(curves, x + 0.02) - trapped_fraction_frac(curves, x - 0.02)) / 0.04
        for x in np.linspace(0.1, 0.9, 9).tolist()
    ]
    product = np.array(gain[1:-1]) * slope
    assert np.ptp(product) / product.mean() < 0.01


@pytest.mark.parametrize("name", ["scheduled_pi", "model_based"])
def test_only_law_and_set_point_differ(name: str) -> None:
    one, other = demo_settings("three_position").common, demo_settings(name).common
    for layer in ("protection", "inhibit", "sequence", "volume_ratio", "motor", "auxiliaries"):
        assert getattr(one, layer) == getattr(other, layer), layer
    differing = [f for f in one.capacity.__dataclass_fields__ if getattr(one.capacity, f) != getattr(other.capacity, f)]
    # the model-based law decides by itself when to turn, so its drive's zones are its own
    assert differing == ["suction_set_point_kpa_abs", *(["drive"] if name == "model_based" else [])]
