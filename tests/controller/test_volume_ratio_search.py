"""The power search finds a least of its own, keeps to its band, and stays still where it should."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from controller.process_image import Mode
from controller.registry import SHIPPED
from controller.setting_fields import Switch
from controller.volume_ratio_search import SearchSettings, SearchState, cross_check, search_power, stop_search

ON = SearchSettings(enabled=Switch.ON)


def play(
    best_pct: float,
    hours: float,
    settings: SearchSettings = ON,
    curvature: float = 2e-4,
    state: SearchState | None = None,
) -> tuple[SearchState, list[float]]:
    """Power 200 kW·(1 + curvature·(offset − best)²): a least at an offset of `best_pct`."""
    s = SearchState() if state is None else state
    offsets = []
    offset = 0.0
    for _ in range(round(3600 * hours)):
        power = 200.0 * (1.0 + curvature * (offset - best_pct) ** 2)
        offset = search_power(settings, s, power, True, 60.0, 4.0, 1_000)
        offsets.append(offset)
    return s, offsets


@pytest.mark.parametrize("best_pct", [8.0, -8.0, 0.0])
def test_it_walks_to_the_least_and_rests_there(best_pct: float) -> None:
    s, offsets = play(best_pct, 2.0)
    # 3 % steps, and a step must win 0.15 %: on 2e-4 per %² that leaves at most one step and the threshold's share
    assert s.best_pct == pytest.approx(best_pct, abs=4.5)
    assert len(set(offsets[-1800:])) == 1
    assert max(abs(b - a) for a, b in pairwise(offsets)) <= 2 * ON.step_pct
    assert not s.given_up


def test_it_gives_up_at_the_edge_of_its_band() -> None:
    s, offsets = play(60.0, 3.0, curvature=1e-4)
    assert s.given_up
    assert offsets[-1] == 0.0
    assert max(offsets) <= ON.band_pct
    stop_search(s)
    assert not s.given_up


def test_off_it_does_nothing_and_blind_or_unsteady_it_decides_nothing() -> None:
    assert set(play(8.0, 1.0, SearchSettings())[1]) == {0.0}
    for believed, power, wobble, ratio in (
        (False, 200.0, 0.0, 0.0),
        (True, 0.0, 0.0, 0.0),
        (True, 200.0, 5.0, 0.0),
        (True, 200.0, 0.0, 1.0),
    ):
        s = SearchState()
        for k in range(3_600):
            side = k // 100 % 2
            assert search_power(ON, s, power, believed, 60.0 + wobble * side, 4.0 + ratio * side, 1_000) == 0.0


def test_another_operating_point_starts_afresh_from_the_last_good_offset() -> None:
    s, _ = play(8.0, 2.0)
    good = s.best_pct
    assert search_power(ON, s, 150.0, True, 40.0, 4.0, 1_000) == good
    assert s.best_kw == 0.0
    assert s.failures == 0


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_in_the_loop_the_offset_moves_the_slide_but_never_into_the_through_path(name: str, toys: Any) -> None:
    controller = SHIPPED[name]
    settings = toys.quick(controller.settings_type())
    search = SearchSettings(enabled=Switch.ON, settle_ms=5_000, average_ms=5_000, steady_capacity_pct=20.0)
    search = replace(search, steady_pressure_pct=20.0)
    volume_ratio = replace(settings.common.volume_ratio, search=search)
    bench = toys.Bench(controller, replace(settings, common=replace(settings.common, volume_ratio=volume_ratio)))
    bench.until(Mode.AUTOMATIC)
    offsets = set()
    for _ in range(2_600):  # the power follows the offset from the beginning: a law that soon rests is searched at once
        bench.scan(motor_power_kw=200.0 - 2.0 * bench.state.common.volume_ratio.search.offset_pct)
        offsets.add(bench.state.common.volume_ratio.search.offset_pct)
    assert len(offsets) > 2
    assert bench.outputs.trip_word == 0
    bench.scan(stop_button_pressed=True)
    assert bench.state.common.volume_ratio.search.offset_pct == 0.0


def test_a_step_wider_than_the_band_is_found() -> None:
    assert cross_check(ON) == []
    assert cross_check(replace(ON, step_pct=10.0, band_pct=5.0))
