"""The plant led along a night: it stays on the logged pressures and finds the load without being told.

What it is compared with is the engine's own run (a simulation, not a machine): that proves the balance and the observer,
and nothing about the model.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.tools.replay.nights import night
from tools.replay.playback import PROFILES, SCALED, Player

SETTLED = slice(300, None)


@pytest.fixture(scope="module")
def calm() -> object:
    return night("stop button", 4001)


def test_the_model_stays_on_what_steers_it(calm) -> None:  # type: ignore[no-untyped-def]
    played, path = calm.evidence.played, calm.evidence.targets.path
    assert not played.problem
    assert np.sqrt(np.mean((played["suction_pressure"] - path[:, 0])[SETTLED] ** 2)) < 400.0  # Pa
    assert np.sqrt(np.mean((played["discharge_pressure"] - path[:, 1])[SETTLED] ** 2)) < 600.0
    np.testing.assert_allclose(played["capacity_position"][SETTLED], path[SETTLED, 2], atol=0.02)


def test_a_plant_of_the_neighbourhood_leaves_little_over(calm) -> None:  # type: ignore[no-untyped-def]
    series = calm.evidence.series
    for name, most in (
        ("motor_power", 6000.0),
        ("discharge_temperature", 3.0),
        ("oil_temperature", 1.0),
        ("suction_temperature", 0.6),
    ):
        assert abs(float(np.nanmean(series[name][SETTLED]))) < most, name


def test_more_displacement_at_one_pressure_is_more_heat(calm) -> None:  # type: ignore[no-untyped-def]
    more = calm.evidence.player.play({"displacement": 1.02})
    ratio = more["evaporator_w"][SETTLED].mean() / calm.evidence.played["evaporator_w"][SETTLED].mean()
    assert 1.018 < ratio < 1.025  # leakage does not grow with it, so a little more than in proportion


def test_another_vessel_starts_at_rest(calm) -> None:  # type: ignore[no-untyped-def]
    # at steady pressure its size changes nothing; begun with the masses of another it took a quarter of an hour to settle
    heat_w = calm.evidence.player.play({"vessel": 1.1})["evaporator_w"] - calm.evidence.played["evaporator_w"]
    assert abs(float(np.mean(heat_w[60:600]))) < 0.005 * float(np.mean(calm.evidence.played["evaporator_w"]))


def test_a_fouled_filter_drops_more_by_its_area(calm) -> None:  # type: ignore[no-untyped-def]
    rows = calm.evidence.record.rows

    def drop_pa(fouling: float) -> float:
        played = calm.evidence.player.play(profiles={"oil_filter_fouling": np.full(rows, fouling)})
        return float((played["oil_pressure_before_filter"] - played["oil_pressure"])[SETTLED].mean())

    # laminar: at a third of the area three times the drop, less what the smaller flow takes off
    assert 2.5 < drop_pa(2.0 / 3.0) / drop_pa(0.0) < 3.0


def test_every_scale_and_profile_is_taken(calm) -> None:  # type: ignore[no-untyped-def]
    player: Player = calm.evidence.player
    for name in SCALED:
        assert not player.play({name: 1.01}).problem
    assert list(PROFILES)[:2] == ["strainer_fouling", "oil_filter_fouling"]


def test_a_fault_is_played_from_its_onset_as_from_the_start(calm) -> None:  # type: ignore[no-untyped-def]
    player: Player = calm.evidence.player
    late = np.full(calm.evidence.record.rows, 0.0)
    late[1003:] = 0.8
    some, sound = player.play(profiles={"strainer_fouling": late}), player.play()
    table = np.tile(np.array(list(PROFILES.values())), (len(late), 1))
    table[:, list(PROFILES).index("strainer_fouling")] = late
    whole = player._run(player._nominal, player.targets.path, table)
    for name in ("suction_temperature", "evaporator_w", "motor_power"):
        np.testing.assert_array_equal(some[name][:1003], sound[name][:1003])
        np.testing.assert_array_equal(some[name], whole[name])
    assert np.max(np.abs(some["evaporator_w"] - sound["evaporator_w"])) > 100.0
