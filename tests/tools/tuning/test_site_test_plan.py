"""The plan's curves against the engine, its limits against the sheet, and its band against a plant at the band's edge."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from scenarios.errors import InputRefused
from tools.tuning.site_test_plan import SHARE_OF_ROOM, SitePlan, _rooms, site_plan

LIBRARY = Path(__file__).parents[3] / "scenarios" / "library"
PLANT = LIBRARY / "plants" / "harrow_ness.toml"
SHEET = LIBRARY / "sheets" / "demo_scheduled_pi.toml"


@cache
def plan() -> SitePlan:
    return site_plan(PLANT, SHEET)


def _measured(bump: Any, change: Any = lambda p: p) -> tuple[np.ndarray, np.ndarray]:
    """The same bump on the non-linear plant: seconds after the drive went on, pressure as read without noise."""
    from plant_model.derived import derive
    from scenarios.plant_file import load_plant
    from scenarios.preparation import known
    from tools.tuning.linearisation import steady_point
    from tools.tuning.plant_rig import play

    k, p = known(), plan()
    plant = load_plant(PLANT, k.parameters_type, k.plant_cross_check, k.saturation_pressure_pa)
    parameters = derive(change(plant.parameters), plant.refrigerant)
    point = steady_point(parameters, 0.5, 1e3 * p.suction_kpa, 1e3 * p.discharge_kpa, 0.01 * p.volume_ratio_pct)
    on_ms = 100 * round(10.0 * bump.drive_on_s)

    def scan(_inputs: Any, outputs: Any, now_ms: int) -> None:
        on = 1000 <= now_ms < 1000 + on_ms
        outputs.capacity_load, outputs.capacity_unload = on and bump.loading, on and not bump.loading

    trace = play(point, scan, 121_000)
    return trace.time_s - 1.0, trace["suction_pressure_measured_pa"] / 1e3


@pytest.mark.parametrize("k", [0, 1])
def test_the_engine_follows_the_expected_curve(k: int) -> None:
    bump = plan().bumps[k]
    time_s, read_kpa = _measured(bump)
    at = (time_s > 3.0) & (time_s < bump.end_s)
    swing = abs(bump.at(120.0)[0] - plan().suction_kpa)
    off = np.abs(read_kpa[at] - np.interp(time_s[at], bump.time_s, bump.expected_kpa))
    assert off.max() < 0.10 * swing  # measured 3 and 5 %: a move of 5 % is no small signal


def test_a_plant_at_an_edge_of_its_uncertainty_moves_the_curve_within_the_band() -> None:
    """One value at its ± takes less than the band, and moves the curve the way the plant itself says."""
    bump = plan().bumps[1]
    t, nominal = _measured(bump)
    _, moved = _measured(
        bump, lambda p: replace(p, evaporator=replace(p.evaporator, conductance_w_k=p.evaporator.conductance_w_k + 6e3))
    )
    at = t > 3.0
    half = 0.5 * np.interp(t[at], bump.time_s, bump.high_kpa - bump.low_kpa)
    effect = np.abs(moved[at] - nominal[at])
    assert effect.max() > 0.01
    assert (effect <= 1.25 * half + 0.05).all()


def test_bumps_go_both_ways_and_stay_clear_of_every_limit() -> None:
    p = plan()
    assert [b.loading for b in p.bumps] == [True, False]
    for bump in p.bumps:
        sign = 1.0 if bump.loading else -1.0
        assert np.sign(bump.to_pct - bump.from_pct) == sign
        inside = bump.time_s <= bump.end_s
        assert (sign * (bump.low_kpa[inside] - bump.stop_kpa) > 0.0).all()
        assert (sign * (bump.high_kpa[inside] - bump.stop_kpa) > 0.0).all()
        assert (bump.low_kpa <= bump.expected_kpa).all()
        assert (bump.high_kpa >= bump.expected_kpa).all()
    # hold at 250 kPa in the sheet: half of the way down to it
    assert p.bumps[0].stop_kpa == pytest.approx(p.suction_kpa - SHARE_OF_ROOM * (292.2 - 250.0), abs=0.2)


def test_limits_are_the_sheets() -> None:
    text = {line.name: line.value for line in plan().limits}
    assert text["suction pressure, hold"] == "250 kPa"
    assert text["low suction pressure"] == "190 kPa"
    assert text["high discharge temperature"] == "105 °C"


def test_strokes_are_those_of_the_plant_at_these_pressures() -> None:
    strokes = {(s.slide, s.way): s for s in plan().strokes}
    up, down = strokes["capacity", "load"], strokes["capacity", "unload"]
    # 50 s and 25 s at the rated pressures; a smaller gas force helps loading and a smaller oil pressure slows both
    assert 40.0 < up.full_s < 65.0
    assert 20.0 < down.full_s < 32.0
    assert up.spread_s == pytest.approx(up.full_s * 5.0 / 50.0)
    assert up.part_s == pytest.approx(0.4 * up.full_s)


def test_room_is_counted_to_the_nearest_limit() -> None:
    limits = SimpleNamespace(suction_hold_pa=250e3, suction_unload_pa=235e3, trips=())
    assert _rooms(limits, 290.0, None)[True] == pytest.approx(40.0)
    limits = SimpleNamespace(suction_hold_pa=None, suction_unload_pa=None, trips=())
    assert _rooms(limits, 290.0, None)[True] == pytest.approx(290.0)


def test_no_room_is_refused(tmp_path: Path) -> None:
    tight = tmp_path / "tight.toml"
    text = SHEET.read_text(encoding="utf-8")
    text = "\n".join(line for line in text.splitlines() if not line.startswith("checksum"))
    for old, new in (
        ('suction_set_point = "292.2 kPa"', 'suction_set_point = "276 kPa"'),
        ('second_set_point = "275 kPa"', 'second_set_point = "276 kPa"'),
        ('suction_hold = "250 kPa"', 'suction_hold = "275 kPa"'),
    ):
        assert old in text
        text = text.replace(old, new)
    tight.write_text(text, encoding="utf-8")
    with pytest.raises(InputRefused, match="no room for a bump down: 1 kPa to the nearest limit"):
        site_plan(PLANT, tight)


def test_a_sheet_of_somebody_elses_controller_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text('controller = "mine"\n[settings]\n', encoding="utf-8")
    with pytest.raises(InputRefused, match="no shipped controller"):
        site_plan(PLANT, path)
