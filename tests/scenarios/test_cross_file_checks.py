"""What two files, or two keys of a site, contradict each other in."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios.cross_file_checks import site_contradiction, site_note
from scenarios.errors import InputRefused
from scenarios.preparation import prepare
from scenarios.quantities import standard_atmosphere_pa

LIBRARY = Path(__file__).resolve().parents[2] / "scenarios" / "library"
PLANT = (LIBRARY / "plants" / "harrow_ness.toml").read_text(encoding="utf-8")
SCENARIO = """\
title = "A defrost"
purpose = "a group that is there"
expects = "nothing"
plant = "plant.toml"
controller = "scheduled_pi"
duration = "20 min"
[[event]]
kind = "load_step"
at = "2 min"
change = "+20 kW"
"""
DEFROST = '[[event]]\nkind = "defrost"\nat = "4 min"\ngroup = {group}\nhot_gas = "5 min"\nbleed_down = "2 min"\n'
GROUP = '[[event]]\nkind = "evaporator_group"\nat = "4 min"\ngroup = {group}\nopen = "0 %"\n'
WATCH = (
    '[[event]]\nkind = "wait_for"\ncolumn = "suction_pressure_pa"\nabove = "350 kPa"\n'
    '[event.then]\nkind = "defrost"\ngroup = {group}\nhot_gas = "5 min"\nbleed_down = "2 min"\n'
)


def told(folder: Path, event: str = "", site: str = "") -> str:
    """The refusal, or the notes."""
    assert PLANT.count('altitude = "12 m"') == 1
    (folder / "plant.toml").write_text(PLANT.replace('altitude = "12 m"', site or 'altitude = "12 m"'))
    (folder / "scenario.toml").write_text(SCENARIO + event)
    try:
        return "\n".join(prepare([folder / "scenario.toml"])[0].scenario.notes)
    except InputRefused as error:
        return "refused: " + str(error).replace(f"{folder}/", "")


@pytest.mark.parametrize("event", [DEFROST, GROUP, WATCH])
def test_an_event_of_a_group_that_does_nothing_is_refused_at_its_line(tmp_path: Path, event: str) -> None:
    assert "refused" not in told(tmp_path, event.format(group=1))
    found = told(tmp_path, event.format(group=4))
    line = (SCENARIO + event).splitlines().index("group = {group}") + 1
    assert f"refused: scenario.toml:{line}:9: " in found
    assert "group 4 of plant.toml has a conductance share of 0" in found
    assert "groups in use: " in found


def test_both_of_a_site_are_told_and_one_is_used(tmp_path: Path) -> None:
    site = 'altitude = "12 m"\nbarometric_pressure = "1000 hPa"'
    found = told(tmp_path, site=site)
    assert "barometric_pressure of 100.0 kPa is used, the altitude of 12 m is not" in found
    assert "plant.toml" in found
    assert "altitude" not in told(tmp_path)  # one alone needs no word


def test_a_barometer_that_contradicts_the_altitude_is_refused(tmp_path: Path) -> None:
    # ISO 2533: 79.50 kPa at 2000 m (from memory)
    found = told(tmp_path, site='altitude = "2000 m"\nbarometric_pressure = "1013 hPa"')
    assert "refused: plant.toml:" in found
    assert "barometric_pressure of 101.3 kPa contradicts the altitude of 2000 m" in found
    assert "79.5 kPa" in found
    assert "they may lie 5 kPa apart" in found


def test_an_altitude_that_is_refused_itself_is_told_once(tmp_path: Path) -> None:
    found = told(tmp_path, site='altitude = "2000 kPa"\nbarometric_pressure = "795 hPa"')
    assert "refused" in found
    assert "contradicts" not in found


@given(st.floats(-1000.0, 11000.0), st.floats(-20e3, 20e3))
def test_five_kpa_is_the_border(altitude_m: float, off_pa: float) -> None:
    given_ = {"altitude": altitude_m, "barometric_pressure": standard_atmosphere_pa(altitude_m) + off_pa}
    if abs(abs(off_pa) - 5e3) > 1e-6:
        assert bool(site_contradiction(given_)) == (abs(off_pa) > 5e3)
    assert site_note(given_)
    assert not site_note({"altitude": altitude_m})
