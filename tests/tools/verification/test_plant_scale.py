"""The scale of a plant: one space of trials suits any machine and refrigerant."""

from __future__ import annotations

from pathlib import Path

import pytest

from plant_model.derived import derive
from scenarios.chosen_controller import plant_of
from scenarios.preparation import SCAN_MS, prepare
from scenarios.settings_sheet import write_sheet
from scenarios.starting_sheet import starting_settings
from tools.verification.campaign import LIBRARY
from tools.verification.ground import Ground
from tools.verification.plant_scale import scale_of
from tools.verification.trial import CONDENSING_K, LOAD_PCT, SUCTION_K, TEMPLATES, Happening, Trial


def happenings(end: int) -> tuple[Happening, ...]:
    return tuple(
        Happening(name, 600, tuple(size[end] for size in TEMPLATES[name].sizes)) for name in ("load step", "load ramp")
    )


@pytest.mark.parametrize("plant", ["harrow_ness", "tarn_moss", "R134a", "R744"])
def test_loads_and_conditions_suit_the_plant(plant: str, tmp_path: Path) -> None:
    """Both ends of the space are valid starts on any plant; full load is that of the machine."""
    path = LIBRARY / "plants" / f"{plant}.toml"
    if not path.is_file():
        ratings = {"R134a": (-10, 40), "R744": (-40, -5)}[plant]
        ranges = "".join(
            f'[instruments.{name}]\nhigh = "6000 kPa"\n'
            for name in ("suction_pressure", "discharge_pressure", "oil_pressure", "oil_pressure_before_filter")
        )
        path = tmp_path / f"{plant}.toml"
        path.write_text(
            f'title = "Invented"\nrefrigerant = "{plant}"\n[machine]\nrating_evaporating = "{ratings[0]} °C"\n'
            f'rating_condensing = "{ratings[1]} °C"\n{ranges}',
            encoding="utf-8",
        )
    scale, read = scale_of(path), plant_of(path)
    settings, _ = starting_settings(derive(read.parameters, read.refrigerant), "scheduled_pi")
    sheet = tmp_path / "sheet.toml"
    write_sheet(sheet, "scheduled_pi", settings, "Invented", "to begin with")
    for end in (0, 1):
        trial = Trial(LOAD_PCT[end], CONDENSING_K[end], SUCTION_K[end], 0, happenings(end + 1))
        Ground(path, "scheduled_pi", sheet).write(trial, tmp_path / "trial.toml")
        (prepared,) = prepare([tmp_path / "trial.toml"], log_ms=SCAN_MS)
        load_w = prepared.scenario.start.load_w
        assert load_w is not None
        assert abs(load_w - 0.01 * LOAD_PCT[end] * scale.full_load_w) <= 51.0
        prepared.initial_state()


def test_the_demo_machine_carries_some_600_kw_at_full_load() -> None:
    scale = scale_of(LIBRARY / "plants" / "harrow_ness.toml")
    assert 590.0 < scale.load_kw(100) < 600.0
    assert (scale.suction_c(4), scale.condensing_c(-5)) == (-6.0, 30.0)
    assert scale.size("load_pct", -50) == f"{-scale.load_kw(50):.1f}"
    assert scale.size("s", 7) == "7"
